"""Tables of readings, from a CSV file, an XLSX sheet or written inline, to readings with their row named.

A table has a header (see `headers`): `time [h]` (or `time` with a unit in every cell, or `when` with date-times, or date
and time of day), one or more columns `reading [mm]`, and optionally `temperature [degC]`, `note` and `skip`, the reason
for which a row is left out. Several readings in a row are repeats. What stands above the header is a title.
"""

from __future__ import annotations

import csv
import io
import re
import statistics
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from typing import Any

from creepfit.errors import InputError
from creepfit.limits import check_largest
from creepfit.records.fields import length_or_strain
from creepfit.records.file_content import decoded
from creepfit.records.headers import EXPECTED, FURTHEST_DOWN, Column, blank, head_of, is_date, is_head, reading_unit
from creepfit.records.moments import Moment, date_time, day_of, is_day, moment, time_of_day
from creepfit.units import MISSING_UNIT, Kind, example_of, number, quantity, unit_factor


@dataclass(frozen=True)
class Table:
    """Cells as they stood: the header and the rows below it, each with the name of its place.

    `comma_parts_thousands` is true where commas part the columns, so that one inside a cell may be either; `head_row` is
    the header's own row in a sheet.
    """

    file: str | None
    header: tuple[object, ...]
    rows: tuple[tuple[str, tuple[object, ...]], ...]
    comma_parts_thousands: bool = False
    head_row: int = 0


@dataclass(frozen=True)
class RawReading:
    """One row: its moment, its repeats in mm or as strain, temperature in degC, place, and why it is left out if it is."""

    moment: Moment
    values: tuple[float, ...]
    kind: Kind
    temperature: float | None
    where: str
    skip: str | None = None
    averaged: tuple[int, float, float] | None = None
    """Of a logger's readings made one: how many independent ones it is worth, their standard deviation, over how long."""
    typed_unit: str = field(default="", compare=False)
    """The unit it was typed in, in its cell or its column's head; "" where that is not known."""

    @property
    def mean(self) -> float:
        return statistics.fmean(self.values)

    @property
    def repeats(self) -> int:
        """Readings that it is worth."""
        return len(self.values) if self.averaged is None else self.averaged[0]

    @property
    def spread(self) -> float | None:
        """Standard deviation among the repeats."""
        if self.averaged is not None:
            return self.averaged[1]
        return statistics.stdev(self.values) if len(self.values) > 1 else None

    @property
    def over(self) -> float:
        """Seconds that a mean of a logger's readings is over."""
        return 0.0 if self.averaged is None else self.averaged[2]


def csv_table(content: bytes, file: str) -> Table:
    """Split a CSV file into cells; columns are parted by semicolons, tabs or commas, as the header shows.

    Raises
    ------
    InputError
        Not UTF-8, no header, or not CSV.
    """
    lines = decoded(content, file, spreadsheet=True).splitlines(keepends=True)
    first, delimiter = csv_head(lines, file)
    reader = csv.reader(io.StringIO("".join(lines[first:]), newline=""), delimiter=delimiter, strict=True)
    rows: list[tuple[str, tuple[object, ...]]] = []
    try:
        rows.extend(
            (f"row {first + reader.line_num}", tuple(row))
            for row in reader
            if any(cell.strip() for cell in row) and not row[0].startswith("#")
        )
    except csv.Error as error:
        raise InputError(f"not CSV ({error})", file=file, key=f"row {first + reader.line_num}") from None
    return Table(file, rows[0][1], tuple(rows[1:]), delimiter == ",")


def csv_head(lines: Sequence[str], file: str | None) -> tuple[int, str]:
    """Return the line of the header, the first that can be one, and what parts its columns.

    Raises
    ------
    InputError
        Nothing but comments.
    """
    numbers = [i for i, line in enumerate(lines) if line.strip() and line[0] != "#" and not re.fullmatch(r"sep=.\s*", line)]
    if not numbers:
        raise InputError("the file is empty", file=file, expected=EXPECTED)
    for i in numbers[:FURTHEST_DOWN]:
        delimiter = _delimiter(lines[i])
        try:
            cells = next(csv.reader([lines[i]], delimiter=delimiter))
        except csv.Error:
            continue
        if is_head(cells):
            return i, delimiter
    return numbers[0], _delimiter(lines[numbers[0]])


def _delimiter(line: str) -> str:
    return next((d for d in ";\t" if d in re.sub(r'"[^"]*"|\[[^\]]*\]', "", line)), ",")


def inline_table(columns: dict[str, Any], file: str | None) -> Table:
    """Arrange the lists of an inline [readings] table as rows.

    Raises
    ------
    InputError
        Where a key holds no list, or the lists differ in length.
    """
    for key, cells in columns.items():
        if not isinstance(cells, list):
            raise InputError(file=file, key=f"readings.{key}", found=cells, expected="a list, in [ ]")
    first = next(iter(columns))
    for key, cells in columns.items():
        if len(cells) != len(columns[first]):
            raise InputError(
                file=file,
                key=f"readings.{key}",
                found=f"{len(cells)} entries",
                expected=f"{len(columns[first])}, as many as in readings.{first}",
            )
    rows = tuple((f"readings, entry {i + 1}", cells) for i, cells in enumerate(zip(*columns.values(), strict=True)))
    return Table(file, tuple(columns), rows)


def readings_of(table: Table) -> tuple[RawReading, ...]:
    """Read a table; rows without any reading (days still to come) are passed over.

    Raises
    ------
    InputError
        An unknown, double or missing column, a cell that is no number, a wrong unit, mixed units.
    """
    columns = _columns(table)
    for where, cells in table.rows:
        extra = cells[len(table.header) :]
        if any(not blank(cell) for cell in extra):
            hint = "; a decimal comma needs quotes, or semicolons between the columns"
            raise InputError(
                file=table.file,
                key=where,
                found=f"{len(cells)} cells",
                expected=f"{len(table.header)}{hint if table.comma_parts_thousands else ''}",
            )
    readings, day = [], None
    for row in table.rows:
        day = _day(table, columns, row, day)
        if (reading := _reading(table, columns, row, day)) is not None:
            readings.append(reading)
    for reading in readings:
        first = readings[0]
        if reading.kind != first.kind:
            raise InputError(
                f"lengths and strains in one table ({first.where} is {example_of(first.kind).split(' such')[0]})",
                file=table.file,
                key=reading.where,
                expected=f"readings of one kind, {example_of(first.kind)}",
            )
    return tuple(readings)


def _columns(table: Table) -> tuple[Column, ...]:
    """The columns that count; a date of which no row has the time of day is refused."""
    columns = head_of(table.header, table.file).columns
    date_column = next((c for c in columns if c.name == "when" and is_date(c)), None)
    if date_column is not None:
        place = date_column.index
        cells = [row[place] for _, row in table.rows if place < len(row) and not blank(row[place])]
        if cells and all(is_day(cell) for cell in cells):
            expected = 'a column "time of day" beside the date, or the time in its cells, such as "4.5.2031 16:30"'
            raise InputError("a date without the time of day", file=table.file, key="header", expected=expected)
    return columns


PlacedRow = tuple[str, tuple[object, ...]]


def _cells(columns: Sequence[Column], row: PlacedRow) -> list[tuple[Column, object]]:
    return [(c, row[1][c.index] if c.index < len(row[1]) else None) for c in columns]


def _day(table: Table, columns: Sequence[Column], row: PlacedRow, before: date | None) -> date | None:
    """The day of a row; where its cell is empty that of the row above, as people write it once a day."""
    for column, cell in _cells(columns, row):
        if column.name == "date" and not blank(cell):
            try:
                return day_of(cell)
            except InputError as error:
                raise error.within(table.file, f"{row[0]}, {column.title}") from None
    return before


def _reading(table: Table, columns: Sequence[Column], row: PlacedRow, day: date | None) -> RawReading | None:
    where, cells = row[0], _cells(columns, row)
    written: list[tuple[Column, object]] = []
    for column, cell in cells:
        if column.name == "reading":
            repeats = cell if isinstance(cell, list) else [cell]
            written.extend((column, one) for one in repeats if not blank(one))
    if not written:
        return None
    values = [_value(table, where, column, cell) for column, cell in written]
    kinds = {kind for kind, _ in values}
    if len(kinds) > 1:
        expected = f"readings of one kind, {example_of('length')}"
        raise InputError("lengths and strains in one row", file=table.file, key=where, expected=expected)
    temperature, skip = None, None
    for column, cell in cells:
        if column.name == "temperature" and not blank(cell):
            temperature = _with_unit(table, where, column, cell, "temperature")
        if column.name == "skip" and not blank(cell):
            skip = " ".join(str(cell).split())
    at = next((c, cell) for c, cell in cells if c.name in ("time", "when", "clock"))
    numbers, unit = tuple(v for _, v in values), _typed_unit(*written[0])
    return RawReading(_moment(table, where, *at, day), numbers, values[0][0], temperature, where, skip, typed_unit=unit)


def _typed_unit(column: Column, cell: object) -> str:
    """The unit that stands behind a number, else that of its column."""
    behind = re.search(r"[A-Za-zµ]+$", str(cell).strip())
    return behind[0] if behind else column.unit or ""


def _moment(table: Table, where: str, column: Column, cell: object, day: date | None) -> Moment:
    place = f"{where}, {column.title}"
    try:
        if blank(cell):
            raise InputError("a reading without a time", expected=f"a {column.title}")
        if column.name == "clock":
            if day is None:
                raise InputError("a time of day without a date", found=str(cell), expected="a date in this row or above it")
            return datetime.combine(day, time_of_day(cell))
        if isinstance(cell, timedelta):
            return cell.total_seconds()
        if isinstance(cell, time):  # a spreadsheet's 0:30
            return timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second).total_seconds()
        if column.name == "when":
            return cell if isinstance(cell, datetime) else date_time(str(cell))
        return moment(cell) if column.unit is None else _with_unit(table, where, column, cell, "time")
    except InputError as error:
        raise error if error.key else error.within(table.file, place) from None


def _value(table: Table, where: str, column: Column, cell: object) -> tuple[Kind, float]:
    place = f"{where}, {column.title}"
    if column.unit is None:
        try:
            return length_or_strain(cell)
        except InputError as error:
            if error.problem == MISSING_UNIT:
                expected = f'{error.expected}, or a header such as "{column.title} [mm]"'
                raise InputError(MISSING_UNIT, file=table.file, key=place, found=cell, expected=expected) from None
            raise error.within(table.file, place) from None
    kind, factor = reading_unit(column.unit, table.file, place)
    if isinstance(cell, str) and (own := _with_own_unit(cell, kind)) is not None:
        return kind, own
    return kind, _possible(_number(table, place, cell) * factor, kind, table, place, cell)


def _with_unit(table: Table, where: str, column: Column, cell: object, kind: Kind) -> float:
    place = f"{where}, {column.title}"
    if column.unit is None:
        return quantity(cell, kind, file=table.file, key=place)
    if isinstance(cell, str) and (own := _with_own_unit(cell, kind)) is not None:
        return own
    factor, offset = unit_factor(column.unit, kind)
    return _possible(_number(table, place, cell) * factor + offset, kind, table, place, cell)


def _possible(value: float, kind: Kind, table: Table, place: str, cell: object) -> float:
    try:
        check_largest(value, kind, cell, example_of(kind))
    except InputError as error:
        raise error.within(table.file, place) from None
    return value


def _with_own_unit(cell: str, kind: Kind) -> float | None:
    """A cell that brings its unit although the head has one, such as "0.5 %" from a spreadsheet; None where it does not."""
    if not re.search(r"[A-Za-z%°µ]\s*$", cell):
        return None
    try:
        return quantity(cell, kind)
    except InputError:
        return None


def _number(table: Table, place: str, cell: object) -> float:
    if isinstance(cell, datetime):
        cell = str(cell)
    if table.comma_parts_thousands and re.fullmatch(r"\s*[+-]?[1-9]\d{0,2},000\s*", str(cell)):
        raise InputError(
            "the comma could part decimals or thousands", file=table.file, key=place, found=cell, expected="a number"
        )
    return number(cell, file=table.file, key=place)


def moments_of(table: Table) -> list[tuple[str, Moment]]:
    """Return place and moment of every row that has one, with a reading or still without."""
    columns = _columns(table)
    moments, day = [], None
    for row in table.rows:
        day = _day(table, columns, row, day)
        column, cell = next((c, x) for c, x in _cells(columns, row) if c.name in ("time", "when", "clock"))
        if not blank(cell):
            moments.append((row[0], _moment(table, row[0], column, cell, day)))
    return moments


def still_to_come(table: Table, read: Sequence[RawReading]) -> tuple[Moment, ...]:
    """Return the moments of rows that were laid out for a reading and have none yet, where they name one."""
    if len(read) == len(table.rows):
        return ()
    columns, taken = _columns(table), {r.where for r in read}
    moments: list[Moment] = []
    day = None
    for row in table.rows:
        day = _day(table, columns, row, day)
        column, cell = next((c, x) for c, x in _cells(columns, row) if c.name in ("time", "when", "clock"))
        if row[0] not in taken and not blank(cell):
            with suppress(InputError):  # what stands in a row without a reading counts for nothing
                moments.append(_moment(table, row[0], column, cell, day))
    return tuple(moments)
