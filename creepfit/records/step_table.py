"""Readings as a table of load steps: one row a [[load]], one column a time of each step, "5 s", "15 s", "30 s", "60 s".

So such tests are written down at the bench. It becomes the usual table, with the time of a load and that of the column
added. The title of the first column may give the unit, `reading [mm]`; its cells number the loads ("1", "2"), or are
words, and then rows are loads in their order. A row that is called "before" holds the reading before the first load.

In a run file it stands as lists: `after` holds the times within each step, `reading` a list for each [[load]], and `before`
what was read before the first one; "" where nothing was read.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from creepfit.errors import InputError
from creepfit.records.headers import STEP_TIMES, blank, times_of_steps
from creepfit.records.moments import Moment, moment
from creepfit.records.tables import Table, inline_table
from creepfit.units import quantity

BEFORE = ("before", "zero", "0", "initial", "vorher", "null")
STEP_KEYS = ("after", "before", "reading")
"""Of [readings], where they are a table of steps."""

_UNIT = re.compile(r".*[\[(](?P<unit>[^\])]+)[\])]\s*")
_NUMBER = re.compile(r"\s*(?:step|load|stufe)?\s*(\d+)\.?\s*", re.IGNORECASE)


def unfolded(table: Table, data: dict[str, Any], file: str) -> Table:
    """The table with a row for each reading; one that is no table of steps as it is.

    Parameters
    ----------
    table : Table
    data : dict
        Tables of the run file, whose [[load]]s say when each step begins.
    file : str
        The run file, for messages.

    Raises
    ------
    InputError
        A row without a load of its own, a time that runs beyond the next load, or no load at all.
    """
    times = _times(table.header)
    return table if len(times) < STEP_TIMES else _by_reading(table, times, data, file)


def inline_readings(columns: dict[str, Any], data: dict[str, Any], file: str) -> Table:
    """The table of the lists in [readings]: one row a reading, or with `after` one list a load.

    Raises
    ------
    InputError
        A list of the wrong kind or length, a time that is none, or as `unfolded`.
    """
    if "after" not in columns:
        if "before" in columns:
            raise InputError("before without after", file=file, key="readings.before", expected="after = [...] beside it")
        return inline_table(columns, file)
    others = [key for key in columns if key not in STEP_KEYS]
    if others:
        expected = "after, before and reading alone; a note, a reason to skip or a temperature needs time = [...]"
        raise InputError(f"{others[0]} in a table of steps", file=file, key=f"readings.{others[0]}", expected=expected)
    after, loads = (_list(columns.get(key), key, file) for key in ("after", "reading"))
    times: dict[int, float] = {}
    for i, text in enumerate(after, start=1):
        key = f"readings.after, entry {i}"
        times[i] = quantity(text, "time", file=file, key=key)
        if times[i] <= 0.0:
            raise InputError(file=file, key=key, found=text, expected='a time such as "5 s", above zero')
    before = columns.get("before", [])
    rows: list[tuple[str, tuple[object, ...]]] = [
        (f"readings.before, entry {i}", ("before", cell))
        for i, cell in enumerate(before if isinstance(before, list) else [before], start=1)
    ]
    for i, cells in enumerate(loads, start=1):
        where = f"readings.reading, load {i}"
        if not isinstance(cells, list):
            expected = "a list for each [[load]], with one reading for each time of readings.after"
            raise InputError(file=file, key=where, found=cells, expected=expected)
        if len(cells) > len(after):
            expected = f"at most {len(after)}, as many as in readings.after"
            raise InputError(file=file, key=where, found=f"{len(cells)} entries", expected=expected)
        rows.append((where, (str(i), *cells)))
    return _by_reading(Table(file, ("reading", *map(str, after)), tuple(rows)), times, data, file)


def _list(cells: object, key: str, file: str) -> list[Any]:
    if not isinstance(cells, list) or not cells:
        raise InputError(file=file, key=f"readings.{key}", found=cells, expected="a list, in [ ]")
    return cells


def _by_reading(table: Table, times: dict[int, float], data: dict[str, Any], file: str) -> Table:
    """A table with one row a reading; `times` are those of the columns, s."""
    begins = _begins(data, file)
    match = _UNIT.fullmatch(str(table.header[0]))
    unit = match["unit"] if match else None
    rows: list[tuple[str, tuple[object, ...]]] = []
    order = 0
    for where, cells in table.rows:
        name = "" if not cells or blank(cells[0]) else str(cells[0]).strip()
        if name.casefold() in BEFORE:
            first = next((cells[i] for i in times if i < len(cells) and not blank(cells[i])), None)
            start = begins[0] if isinstance(begins[0], datetime) else _span(begins[0])
            rows += [] if first is None else [(where, (start, first))]
            continue
        number = _NUMBER.fullmatch(name)
        order = int(number[1]) if number else order + 1
        if order > len(begins):
            expected = f"a [[load]] for each row; there are {len(begins)}"
            raise InputError(f"there is no load {order}", file=table.file, key=where, found=name or None, expected=expected)
        begin = begins[order - 1]
        for index, after in times.items():
            if index < len(cells) and not blank(cells[index]):
                place = f"{where}, {str(table.header[index]).strip()}"
                _within(begins, order, after, table, place)
                at = begin + timedelta(seconds=after) if isinstance(begin, datetime) else _span(begin + after)
                rows.append((place, (at, cells[index])))
    title = "reading" if unit is None else f"reading [{unit}]"
    kind = "when" if isinstance(begins[0], datetime) else "time"
    return Table(table.file, (kind, title), tuple(rows), table.comma_parts_thousands, table.head_row)


def _times(header: Sequence[object]) -> dict[int, float]:
    """Columns whose titles are times, each with that in s."""
    return {i: quantity(text, "time") for i, text in times_of_steps(header).items()}


def _begins(data: dict[str, Any], file: str) -> list[Moment]:
    """When each load goes on."""
    loads = data.get("load")
    if not isinstance(loads, list) or not loads:
        raise InputError("no load", file=file, key="load", expected="a [[load]] for each row of a table of steps")
    begins = []
    for i, load in enumerate(loads, start=1):
        try:
            begins.append(moment(load.get("at") if isinstance(load, dict) else None))
        except InputError as error:
            raise error.within(file, f"load {i}, at") from None
    if len({isinstance(begin, datetime) for begin in begins}) > 1:
        raise InputError("date-times and elapsed times", file=file, key="load", expected="one kind for a table of steps")
    return begins


def _within(begins: list[Moment], order: int, after: float, table: Table, place: str) -> None:
    if order == len(begins):
        return
    begin, end = begins[order - 1], begins[order]
    if isinstance(begin, datetime) and isinstance(end, datetime):
        length = (end - begin).total_seconds()
    else:
        assert not isinstance(begin, datetime)
        assert not isinstance(end, datetime)
        length = end - begin
    if after > length:
        expected = f"at most {length:g} s after load {order}, when the next one goes on"
        raise InputError("a reading after the end of its step", file=table.file, key=place, expected=expected)


def _span(seconds: float) -> timedelta:
    return timedelta(seconds=seconds)
