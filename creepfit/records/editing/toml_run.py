"""Run files: loads, events and inline readings put in with comments, order and spacing of the rest kept (tomlkit)."""

from __future__ import annotations

import re
import textwrap
import tomllib
from collections.abc import Sequence
from datetime import datetime
from typing import Any

import tomlkit
from tomlkit.items import AoT, Array, Table

from creepfit.errors import InputError
from creepfit.records.editing.row import NewReading, clock_seconds, elapsed_text, moment_cell, reading_kinds, value_cell
from creepfit.records.editing.step_lists import BY_HAND, put_in_step
from creepfit.records.fields import validated
from creepfit.records.headers import Column, head_of
from creepfit.records.moments import Clock, Moment, moment
from creepfit.records.schema import ReadingsTable, table_list
from creepfit.records.step_table import STEP_KEYS

WIDTH = 120


class TomlRun:
    """A run file's text, edited in place."""

    def __init__(self, text: str, file: str) -> None:
        self.file, self.text = file, text
        self._doc = tomlkit.parse(text)

    @property
    def data(self) -> dict[str, Any]:
        """The file's tables as they read now."""
        return tomllib.loads(self.dumped())

    def dumped(self) -> str:
        """The file's text as it is now."""
        return tomlkit.dumps(self._doc)

    def add_table(self, name: str, at: Moment, clock: Clock | None, pairs: Sequence[tuple[str, str]]) -> str:
        """Put in a [[load]] or [[event]] by its time, also where they are a list of one line; return its `at` as written.

        Raises
        ------
        InputError
            Where the file has something else by that name.
        """
        table_list(self.data, name, self.file)
        where = self._at(at, clock)
        tables = self._doc.get(name)
        if tables is None:
            tables = tomlkit.aot()
            self._put_before_readings(name, tables)
        apart = isinstance(tables, AoT)
        entry = tomlkit.table() if apart else tomlkit.inline_table()
        entry.add("at", where)
        for key, value in pairs:
            entry.add(key, value)
        if apart:
            entry.add(tomlkit.nl())
        place = len(tables)
        if apart and place:  # a blank line between what was there and what comes
            last = tables[-1]
            if not tomlkit.dumps(last).endswith("\n\n") and not str(last.as_string()).endswith("\n\n"):
                last.add(tomlkit.nl())
        own = clock_or_none(at, clock)
        for i, other in enumerate(tables):
            theirs = clock_or_none(moment(_plain(other["at"])), clock)
            if own is not None and theirs is not None and theirs > own:
                place = i
                break
        tables.insert(place, entry)
        return where

    def move_table(self, name: str, index: int, at: Moment, clock: Clock | None) -> str:
        """Give a table another `at`; return it as written."""
        where = self._at(at, clock)
        self._doc[name][index]["at"] = where
        return where

    def add_reading(self, new: NewReading, clock: Clock | None) -> None:
        """Put a reading into the inline lists, by its time where they are in order.

        Raises
        ------
        InputError
            A value or a moment that the lists cannot take.
        """
        readings = self._readings()
        if "after" in readings:
            put_in_step(readings, self.data.get("load", []), new, clock, self.file)
            for title in (key for key in STEP_KEYS if isinstance(readings.get(key), Array)):
                self._set_neatly(readings, title)
            return
        lists = {key: value for key, value in readings.items() if isinstance(value, Array)}
        head = head_of(tuple(lists), self.file)
        size = len(next(iter(lists.values())))
        for key, given in (("temperature", new.temperature), ("note", new.note)):
            if given is not None and head.column(key) is None:
                self._new_list(readings, key, size)
        lists = {key: value for key, value in readings.items() if isinstance(value, Array)}
        head = head_of(tuple(lists), self.file)
        place = self._place(head.columns, lists, new.at, clock)
        for column in head.columns:
            cells = lists[column.title]
            cells.insert(place, self._cell(column, new, clock, [str(_plain(c)) for c in cells]))
        for title in head.passed_over:
            lists[title].insert(place, "")
        for title in lists:
            self._set_neatly(readings, title)

    def skip(self, entry: int, why: str) -> None:
        """Note why an entry of the inline lists is left out.

        Raises
        ------
        InputError
            No such entry.
        """
        readings = self._in_lists()
        size = len(next(v for v in readings.values() if isinstance(v, Array)))
        if not 1 <= entry <= size:
            expected = f"1 to {size}" if size else "a reading; there is none yet"
            raise InputError("no such reading", file=self.file, key=f"readings, entry {entry}", expected=expected)
        if "skip" not in readings:
            self._new_list(readings, "skip", size)
        readings["skip"][entry - 1] = why
        self._set_neatly(readings, "skip")

    def correct(self, entry: int, value: str) -> None:
        """Put another value in the place of an entry of the inline readings.

        Raises
        ------
        InputError
            No such entry, or a value that the list cannot take.
        """
        readings = self._in_lists()
        lists = {key: items for key, items in readings.items() if isinstance(items, Array)}
        column = next(c for c in head_of(tuple(lists), self.file).columns if c.name == "reading")
        cells = lists[column.title]
        if not 1 <= entry <= len(cells):
            expected = f"1 to {len(cells)}" if cells else "a reading; there is none yet"
            raise InputError("no such reading", file=self.file, key=f"readings, entry {entry}", expected=expected)
        above = [str(_plain(c)) for c in cells]
        cells[entry - 1] = value_cell(value, column.unit, reading_kinds(column), above, "VALUE")
        self._set_neatly(readings, column.title)

    def _in_lists(self) -> Table:
        """The readings, each with an entry of its own; refused in a table of steps, whose entries have no number."""
        readings = self._readings()
        if "after" in readings:
            raise InputError("a table of steps", file=self.file, key="readings.after", expected=BY_HAND)
        return readings

    def _readings(self) -> Table:
        if "readings" not in self._doc:
            raise InputError("missing", file=self.file, key="readings", expected='[readings] with file = "readings.csv"')
        readings: Table = self._doc["readings"]
        validated(ReadingsTable, self.data["readings"], file=self.file, key="readings")  # as reading the file would
        if not any(isinstance(v, Array) for v in readings.values()):
            readings["time"], readings["reading"] = tomlkit.array(), tomlkit.array()
        return readings

    @staticmethod
    def _new_list(readings: Table, key: str, size: int) -> None:
        """A list of empty cells right behind the readings, above what stands below them."""
        cells = tomlkit.array()
        cells.extend([""] * size)
        behind = next((k for k in ("reading", "time", "when") if k in readings), None)
        if behind is None:
            readings[key] = cells
        else:
            readings.value._insert_after(behind, key, cells)  # tomlkit has no public way to put a key in its place

    @staticmethod
    def _set_neatly(readings: Table, title: str) -> None:
        """Set a list anew within the width of a page, unless it has remarks in it: tomlkit leaves out the blanks."""
        cells = readings[title]
        assert isinstance(cells, Array)
        if "#" in re.sub(r'"[^"]*"', "", cells.as_string()):
            return
        start = f"{title} = ["
        inner = textwrap.fill(
            ", ".join(item.as_string().replace(" ", "\u00a0") for item in cells),
            WIDTH,
            initial_indent=start,
            subsequent_indent=" " * len(start),
            break_long_words=False,
            break_on_hyphens=False,
        )
        readings[title] = tomlkit.parse(inner.replace("\u00a0", " ") + "]")[title]

    def _cell(self, column: Column, new: NewReading, clock: Clock | None, above: Sequence[str]) -> object:
        if column.name in ("time", "when", "date", "clock"):
            if column.name == "time" and isinstance(new.at, datetime) and any(c[:4].isdigit() and "-" in c for c in above):
                column = Column("when", None, column.title, column.index)  # date-times under the name of time
            return moment_cell(column, new.at, clock, above)
        if column.name == "reading":
            return value_cell(new.value, column.unit, reading_kinds(column), above, "VALUE")
        if column.name == "temperature" and new.temperature is not None:
            return value_cell(new.temperature, column.unit, ("temperature",), above, "--temperature")
        return new.note if column.name == "note" and new.note is not None else ""

    def _place(self, columns: Sequence[Column], lists: dict[str, Array], at: Moment, clock: Clock | None) -> int:
        timed = next(c for c in columns if c.name in ("time", "when"))
        own = clock_or_none(at, clock)
        times = [clock_or_none(moment(_plain(cell)), clock) for cell in lists[timed.title]]
        if own is None or None in times or times != sorted(t for t in times if t is not None):
            return len(times)
        return sum(1 for t in times if t is not None and t <= own)

    def _at(self, at: Moment, clock: Clock | None) -> str:
        """A moment as the file's loads have theirs: elapsed where those are, else a date-time."""
        given = [str(_plain(entry["at"])) for entry in self._doc.get("load", []) if "at" in entry]
        dated = any(isinstance(_moment_or_none(text), datetime) for text in given)
        if isinstance(at, float) or (given and not dated):
            return elapsed_text(clock_seconds(at, clock))
        return moment_cell(Column("when", None, "at", 0), at, clock, given)

    def _put_before_readings(self, name: str, tables: AoT) -> None:
        """tomlkit can only append; a block of loads belongs above the readings."""
        if "readings" not in self._doc:
            self._doc.append(name, tables)
            return
        readings = self._doc["readings"]
        self._doc.remove("readings")
        self._doc.append(name, tables)
        self._doc.append("readings", readings)


def clock_or_none(at: Moment, clock: Clock | None) -> float | None:
    """Return seconds on the file's clock; None where a date-time cannot be counted."""
    try:
        return clock_seconds(at, clock)
    except InputError:
        return None


def _moment_or_none(text: str) -> Moment | None:
    try:
        return moment(text)
    except InputError:
        return None


def _plain(item: Any) -> Any:
    """What a tomlkit item is without its trivia."""
    return item.unwrap() if hasattr(item, "unwrap") else item
