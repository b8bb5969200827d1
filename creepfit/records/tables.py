"""Tables of readings, from a CSV file, an XLSX sheet or written inline, to readings with their row named.

A table has a header: `time [h]` (or `time` with a unit in every cell, or `when` with date-times), one or more
columns `reading [mm]`, and optionally `temperature [degC]` and `note`. Several readings in a row are repeats.
"""

from __future__ import annotations

import csv
import io
import re
import statistics
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, time, timedelta
from typing import Any

from creepfit.errors import InputError
from creepfit.records.fields import decoded, did_you_mean, length_or_strain
from creepfit.records.moments import Moment, date_time, moment
from creepfit.units import MISSING_UNIT, Kind, example_of, number, quantity, unit_factor

COLUMNS = ("time", "when", "reading", "temperature", "note")
_HEADER = re.compile(r"\s*(?P<name>[^\[\](]*?)\s*(?:[\[(](?P<unit>.*)[\])])?\s*")
_READING = re.compile(r"readings?[ _]?(?P<which>\w*)")
_EXPECTED_HEADER = 'columns such as "time [h]" (or "when") and "reading [mm]"'


@dataclass(frozen=True)
class Table:
    """Cells as they stood: the header and the rows below it, each with the name of its place.

    `comma_parts_thousands` is true where commas part the columns, so that one inside a cell may be either.
    """

    file: str | None
    header: tuple[object, ...]
    rows: tuple[tuple[str, tuple[object, ...]], ...]
    comma_parts_thousands: bool = False


@dataclass(frozen=True)
class RawReading:
    """One row: its moment, its repeats in mm or as strain, its temperature in degC and its place."""

    moment: Moment
    values: tuple[float, ...]
    kind: Kind
    temperature: float | None
    where: str

    @property
    def mean(self) -> float:
        return statistics.fmean(self.values)

    @property
    def spread(self) -> float | None:
        """Standard deviation among the repeats."""
        return statistics.stdev(self.values) if len(self.values) > 1 else None


@dataclass(frozen=True)
class _Column:
    name: str
    unit: str | None
    title: str
    index: int


def csv_table(content: bytes, file: str) -> Table:
    """Split a CSV file into cells; columns are parted by semicolons, tabs or commas, as the header shows.

    Raises
    ------
    InputError
        Not UTF-8, no header, or not CSV.
    """
    text = decoded(content, file)
    lines = text.splitlines(keepends=True)
    first = next((i for i, line in enumerate(lines) if line.strip() and line[0] != "#"), None)
    if first is not None and re.fullmatch(r"sep=.\s*", lines[first]):  # written by spreadsheets
        first += 1
    if first is None or first >= len(lines):
        raise InputError("the file is empty", file=file, expected=_EXPECTED_HEADER)
    delimiter = next((d for d in ";\t" if d in re.sub(r'"[^"]*"|\[[^\]]*\]', "", lines[first])), ",")
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
        if any(not _blank(cell) for cell in extra):
            hint = "; a decimal comma needs quotes, or semicolons between the columns"
            raise InputError(
                file=table.file,
                key=where,
                found=f"{len(cells)} cells",
                expected=f"{len(table.header)}{hint if table.comma_parts_thousands else ''}",
            )
    found = [reading for row in table.rows if (reading := _reading(table, columns, row)) is not None]
    for reading in found:
        if reading.kind != found[0].kind:
            raise InputError(
                f"lengths and strains in one table ({found[0].where} is {example_of(found[0].kind).split(' such')[0]})",
                file=table.file,
                key=reading.where,
                expected=f"readings of one kind, {example_of(found[0].kind)}",
            )
    return tuple(found)


def _columns(table: Table) -> list[_Column]:
    columns: list[_Column] = []
    for index, title in enumerate(table.header):
        if _blank(title):
            continue
        if (column := _column(table, str(title), index)) is not None:
            columns.append(column)
    for name in ("time", "when", "temperature"):
        same = [c for c in columns if c.name == name]
        if len(same) > 1:
            raise InputError("a column stands twice", file=table.file, key="header", found=same[1].title.strip())
    names = [c.name for c in columns]
    if "time" in names and "when" in names:
        raise InputError("two columns of time", file=table.file, key="header", expected='"time" or "when"')
    if not {"time", "when"} & set(names) or "reading" not in names:
        lacking = "reading" if {"time", "when"} & set(names) else "time"
        raise InputError(
            f'no column "{lacking}"',
            file=table.file,
            key="header",
            found=", ".join(str(t).strip() for t in table.header if not _blank(t)),
            expected=_EXPECTED_HEADER,
        )
    return columns


def _column(table: Table, title: str, index: int) -> _Column | None:
    """Understand one cell of the header; None for a column that is passed over."""
    parts = _HEADER.fullmatch(title)
    name = parts["name"].casefold() if parts else title.casefold()
    unit = parts["unit"].strip() if parts and parts["unit"] else None
    if reading := _READING.fullmatch(name):
        twice = [c for c in map(str, table.header[:index]) if reading["which"] and c.strip() == title.strip()]
        if twice:
            raise InputError("a column stands twice", file=table.file, key="header", found=title.strip())
        name = "reading"
    if name not in COLUMNS:
        problem = f'unknown column "{title.strip()}"{did_you_mean(name, COLUMNS)}'
        raise InputError(problem, file=table.file, key="header", expected=_EXPECTED_HEADER)
    if unit is not None and name in ("time", "temperature"):
        _check_unit(unit, "time" if name == "time" else "temperature", table.file, f"header, {title.strip()}")
    if unit is not None and name == "reading":
        _of_unit(unit, table.file, f"header, {title.strip()}")
    return None if name == "note" else _Column(name, unit, title.strip(), index)


def _check_unit(unit: str, kind: Kind, file: str | None, key: str) -> None:
    try:
        unit_factor(unit, kind)
    except InputError as error:
        expected = 'a unit of time such as "h"' if kind == "time" else 'a unit of temperature such as "degC"'
        raise InputError(error.problem, file=file, key=key, found=unit, expected=expected) from None


def _of_unit(unit: str, file: str | None, key: str) -> tuple[Kind, float]:
    """Return whether a reading's unit is one of length or of strain, and its factor."""
    try:
        return "length", unit_factor(unit, "length")[0]
    except InputError as error:
        try:
            return "strain", unit_factor(unit, "strain")[0]
        except InputError:
            expected = 'a unit of length or strain such as "mm" or "%"'
            raise InputError(error.problem, file=file, key=key, found=unit, expected=expected) from None


def _reading(table: Table, columns: list[_Column], row: tuple[str, tuple[object, ...]]) -> RawReading | None:
    where, cells = row
    cell_of = {c: cells[c.index] if c.index < len(cells) else None for c in columns}
    written: list[tuple[_Column, object]] = []
    for column, cell in cell_of.items():
        if column.name == "reading":
            repeats = cell if isinstance(cell, list) else [cell]
            written.extend((column, one) for one in repeats if not _blank(one))
    if not written:
        return None
    values = [_value(table, where, column, cell) for column, cell in written]
    kinds = {kind for kind, _ in values}
    if len(kinds) > 1:
        expected = f"readings of one kind, {example_of('length')}"
        raise InputError("lengths and strains in one row", file=table.file, key=where, expected=expected)
    temperature = None
    for column, cell in cell_of.items():
        if column.name == "temperature" and not _blank(cell):
            temperature = _with_unit(table, where, column, cell, "temperature")
    when = next((c, cell) for c, cell in cell_of.items() if c.name in ("time", "when"))
    kind = values[0][0]
    return RawReading(_moment(table, where, *when), tuple(v for _, v in values), kind, temperature, where)


def _moment(table: Table, where: str, column: _Column, cell: object) -> Moment:
    place = f"{where}, {column.title}"
    try:
        if _blank(cell):
            raise InputError("a reading without a time", expected=f"a {column.title}")
        if isinstance(cell, timedelta):
            return cell.total_seconds()
        if isinstance(cell, time):  # a spreadsheet's 0:30
            return timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second).total_seconds()
        if column.name == "when":
            return cell if isinstance(cell, datetime) else date_time(str(cell))
        return moment(cell) if column.unit is None else _with_unit(table, where, column, cell, "time")
    except InputError as error:
        raise error if error.key else error.within(table.file, place) from None


def _value(table: Table, where: str, column: _Column, cell: object) -> tuple[Kind, float]:
    place = f"{where}, {column.title}"
    if column.unit is None:
        try:
            return length_or_strain(cell)
        except InputError as error:
            if error.problem == MISSING_UNIT:
                expected = f'{error.expected}, or a header such as "{column.title} [mm]"'
                raise InputError(MISSING_UNIT, file=table.file, key=place, found=cell, expected=expected) from None
            raise error.within(table.file, place) from None
    kind, factor = _of_unit(column.unit, table.file, place)
    return kind, _number(table, place, cell) * factor


def _with_unit(table: Table, where: str, column: _Column, cell: object, kind: Kind) -> float:
    place = f"{where}, {column.title}"
    if column.unit is None:
        return quantity(cell, kind, file=table.file, key=place)
    factor, offset = unit_factor(column.unit, kind)
    return _number(table, place, cell) * factor + offset


def _number(table: Table, place: str, cell: object) -> float:
    if isinstance(cell, datetime):
        cell = str(cell)
    if table.comma_parts_thousands and re.fullmatch(r"\s*[+-]?[1-9]\d{0,2},000\s*", str(cell)):
        raise InputError(
            "the comma could part decimals or thousands", file=table.file, key=place, found=cell, expected="a number"
        )
    return number(cell, file=table.file, key=place)


def _blank(cell: object) -> bool:
    return cell is None or (isinstance(cell, str) and not cell.strip())


def row_count(rows: Sequence[object]) -> str:
    """Return "1 reading" or "3 readings"."""
    return f"{len(rows)} reading{'' if len(rows) == 1 else 's'}"
