"""Rows of a CSV file: one put in or marked, every other byte kept, in the file's own encoding and line ends."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace

from creepfit.errors import InputError
from creepfit.records.editing.row import NewReading, clock_seconds, moment_cell, reading_kinds, value_cell, with_comma
from creepfit.records.file_content import decoded, encoding_of
from creepfit.records.headers import Column, blank, head_of
from creepfit.records.moments import Clock
from creepfit.records.tables import Table, csv_head, csv_table, moments_of


@dataclass(frozen=True)
class CsvFile:
    """A CSV file taken apart: its lines with their ends, where the head is, what parts the columns."""

    file: str
    lines: tuple[str, ...]
    head: int
    delimiter: str
    encoding: str
    mark: bytes

    @classmethod
    def of(cls, content: bytes, file: str) -> CsvFile:
        """Take a file apart.

        Raises
        ------
        InputError
            As `tables.csv_table`.
        """
        encoding = encoding_of(content)
        text = decoded(content, file, spreadsheet=True)
        mark = content[:3] if content.startswith(b"\xef\xbb\xbf") else b""
        if encoding == "utf-16":
            mark = content[:2]
            encoding = "utf-16-le" if mark == b"\xff\xfe" else "utf-16-be"
        lines = text.splitlines(keepends=True)
        head, delimiter = csv_head(lines, file)
        return cls(file, tuple(lines), head, delimiter, "utf-8" if encoding == "utf-8-sig" else encoding, mark)

    @property
    def content(self) -> bytes:
        return self.mark + "".join(self.lines).encode(self.encoding)

    @property
    def table(self) -> Table:
        return csv_table(self.content, self.file)

    @property
    def columns(self) -> tuple[Column, ...]:
        return head_of(self.table.header, self.file).columns

    @property
    def _end(self) -> str:
        first = self.lines[self.head]
        return first[len(first.rstrip("\r\n")) :] or "\n"

    @property
    def _comma(self) -> bool:
        """Whether numbers are written with a decimal comma."""
        cells = [str(c) for _, row in self.table.rows for c in row]
        return self.delimiter != "," and sum("," in c for c in cells) > sum("." in c for c in cells) // 4

    def with_reading(self, new: NewReading, clock: Clock | None) -> CsvFile:
        """Return the file with one row more, in its place by time where the rows are in order, else at the end.

        Raises
        ------
        InputError
            A value or a moment that the table cannot take.
        """
        ready = self
        for name, given in (("note", new.note), ("temperature", new.temperature)):
            if given is not None and all(c.name != name for c in ready.columns):
                ready = ready._with_column("note" if name == "note" else "temperature [degC]")
        return ready._inserted(ready._cells(new, clock), clock_seconds_or_none(new, clock), clock)

    def with_skip(self, row: int, why: str) -> CsvFile:
        """Return the file with the reason why a row is left out written in its column `skip`.

        Raises
        ------
        InputError
            No such row of readings.
        """
        ready = self if any(c.name == "skip" for c in self.columns) else self._with_column("skip")
        place = next(c.index for c in ready.columns if c.name == "skip")
        return ready._with_cell(row, place, why)

    def with_value(self, row: int, value: str) -> CsvFile:
        """Return the file with the (first) reading of a row replaced.

        Raises
        ------
        InputError
            No such row of readings, or a value that its column cannot take.
        """
        column = next(c for c in self.columns if c.name == "reading")
        above = [str(r[column.index]) for _, r in self.table.rows if column.index < len(r)]
        return self._with_cell(row, column.index, self._number(value, column, reading_kinds(column), above, "VALUE"))

    def _with_cell(self, row: int, place: int, text: str) -> CsvFile:
        cells = dict(self.table.rows).get(f"row {row}")
        if cells is None:
            rows = [where for where, _ in self.table.rows]
            known = f"{rows[0]} to {rows[-1]}" if rows else "a row of readings; there is none yet"
            raise InputError("no row of readings", file=self.file, key=f"row {row}", expected=known)
        full = [str(c) for c in cells] + [""] * (place + 1 - len(cells))
        full[place] = text
        lines = list(self.lines)
        end = lines[row - 1][len(lines[row - 1].rstrip("\r\n")) :]
        lines[row - 1] = self._line(full) + end
        return replace(self, lines=tuple(lines))

    def _with_column(self, title: str) -> CsvFile:
        lines = list(self.lines)
        line = lines[self.head]
        body = line.rstrip("\r\n")
        lines[self.head] = f"{body}{self.delimiter}{title}{line[len(body) :]}"
        return replace(self, lines=tuple(lines))

    def _line(self, cells: Sequence[str]) -> str:
        out = io.StringIO()
        csv.writer(out, delimiter=self.delimiter, lineterminator="").writerow(cells)
        return out.getvalue()

    def _cells(self, new: NewReading, clock: Clock | None) -> list[str]:
        rows = [cells for _, cells in self.table.rows]
        columns = self.columns
        cells = [""] * (max(c.index for c in columns) + 1)
        for column in columns:
            above = [str(r[column.index]) for r in rows if column.index < len(r) and not blank(r[column.index])]
            if column.name in ("time", "when", "date", "clock"):
                text = moment_cell(column, new.at, clock, above)
                cells[column.index] = with_comma(text) if self._comma and column.name == "time" else text
            elif column.name == "temperature" and new.temperature is not None:
                cells[column.index] = self._number(new.temperature, column, ("temperature",), above, "--temperature")
            elif column.name == "note" and new.note is not None:
                cells[column.index] = new.note
        first = next(c for c in columns if c.name == "reading")
        above = [str(r[first.index]) for r in rows if first.index < len(r)]
        cells[first.index] = self._number(new.value, first, reading_kinds(first), above, "VALUE")
        while cells and not cells[-1]:
            cells.pop()
        return cells

    def _number(self, text: str, column: Column, kinds: Sequence[str], above: Sequence[str], key: str) -> str:
        cell = value_cell(text, column.unit, kinds, above, key)  # type: ignore[arg-type]
        return with_comma(cell) if self._comma else cell if self.delimiter != "," else cell.replace(",", ".")

    def _inserted(self, cells: Sequence[str], seconds: float | None, clock: Clock | None) -> CsvFile:
        lines = list(self.lines)
        if not lines[-1].endswith(("\n", "\r")):
            lines[-1] += self._end
        place = len(lines)
        while place > self.head + 1 and not lines[place - 1].strip():
            place -= 1
        known = [(int(where.split()[1]), m) for where, m in moments_of(self.table)]
        times = [_seconds(m, clock) for _, m in known]
        if seconds is not None and None not in times and times == sorted(t for t in times if t is not None):
            later = [row for (row, _), t in zip(known, times, strict=True) if t is not None and t > seconds]
            place = later[0] - 1 if later else place
        lines.insert(place, self._line(cells) + self._end)
        return replace(self, lines=tuple(lines))


def clock_seconds_or_none(new: NewReading, clock: Clock | None) -> float | None:
    """Return seconds on the file's clock; the date-time's own where the file has none."""
    return _seconds(new.at, clock)


def _seconds(at: object, clock: Clock | None) -> float | None:
    from datetime import datetime

    if isinstance(at, float):
        return at
    if not isinstance(at, datetime):
        return None
    if clock is None or clock.zero is None:
        return at.timestamp()
    return clock_seconds(at, clock)
