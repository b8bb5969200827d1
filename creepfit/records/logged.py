"""CSV files of a logger, column by column: millions of rows are never rows of their own.

What is not plain numbers (or date-times) under a header of one time and one reading is left to `tables`, which goes row by
row; and so is the row of a mistake, so that its message has the same words.
"""

from __future__ import annotations

import csv
import io
import re
import warnings
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.loading import Array
from creepfit.records.file_content import encoding_of
from creepfit.records.headers import Column, head_of, reading_unit
from creepfit.records.tables import RawReading, Table, csv_head, readings_of
from creepfit.units import Kind, unit_factor

if TYPE_CHECKING:
    from pandas import DataFrame, Series

LONG = 200_000
"""Bytes from which a file is taken by columns."""

START = 1 << 16
"""Bytes in which the header stands."""

_NUMBER = r"\s*[+-]?(?:\d+(?:[.]\d*)?|[.]\d+)(?:[eE][+-]?\d+)?\s*"


@dataclass(frozen=True, eq=False)
class Logged:
    """Columns of readings in the order of the file.

    Attributes
    ----------
    file : str
    passed_over : tuple of str
        Titles of columns that do not count.
    kind : str
        "length" or "strain".
    rows : ndarray of int, shape (T,)
        Numbers of the rows in the file.
    elapsed : ndarray, shape (T,), or None
        Times in s; None where there are date-times.
    when : ndarray of datetime64[us], shape (T,), or None
    values : ndarray, shape (T,)
        mm, or strain.
    temperature : ndarray, shape (T,), or None
        degC, NaN where not taken.
    """

    file: str
    passed_over: tuple[str, ...]
    kind: Kind
    rows: NDArray[np.int64]
    elapsed: Array | None
    when: NDArray[Any] | None
    values: Array
    temperature: Array | None

    def reading(self, i: int) -> RawReading:
        """One row as it stood."""
        warm = None if self.temperature is None or np.isnan(self.temperature[i]) else float(self.temperature[i])
        return RawReading(self.moment(i), (float(self.values[i]),), self.kind, warm, f"row {self.rows[i]}")

    def moment(self, i: int) -> float | datetime:
        """Its moment."""
        if self.elapsed is not None:
            return float(self.elapsed[i])
        assert self.when is not None
        when: datetime = self.when[i].astype("datetime64[us]").item()
        return when


def logged_csv(content: bytes, file: str) -> Logged | None:
    """Read a long CSV file by columns; None for one that is short or has to be read row by row.

    Raises
    ------
    InputError
        As `tables.readings_of`.
    """
    if len(content) < LONG or b"#" in content or b"\0" in content or encoding_of(content) != "utf-8-sig":
        return None
    start = content[:START].decode("utf-8-sig", errors="ignore").splitlines(keepends=True)
    first, delimiter = csv_head(start, file)
    header = next(csv.reader([start[first]], delimiter=delimiter))
    head = head_of(header, file)
    columns = {c.name: c for c in head.columns if c.name != "note"}
    plain = {"time", "when", "reading", "temperature"}
    repeated = [c for c in head.columns if c.name == "reading"]
    if set(columns) - plain or len(repeated) > 1 or any(c.unit is None for c in columns.values() if c.name != "when"):
        return None
    decimal = "," if delimiter != "," and re.search(r"\d,\d", "".join(start[first + 1 : first + 3])) else "."
    table = Table(file, tuple(header), (), delimiter == ",")
    frame = _frame(content, table, first, delimiter, decimal)
    if frame is None:
        return None
    reading = columns["reading"]
    some = frame[reading.index].notna().to_numpy()
    rows = np.arange(first + 2, first + 2 + some.size, dtype=np.int64)
    numbers: dict[str, Array] = {}
    wrong = frame[len(header)].notna().to_numpy(copy=True)
    for name, column in columns.items():
        if name == "when":
            continue
        numbers[name], bad = _numbers(frame[column.index], column)
        wrong |= bad & some
    when = None
    if "when" in columns:
        when, bad = _date_times(frame[columns["when"].index])
        if when is None:
            return None
        wrong |= bad & some
    else:
        wrong |= np.isnan(numbers["time"]) & some
    if wrong.any():
        _told(content, table, int(rows[int(np.argmax(wrong))]), delimiter)
        return None
    kind, _ = reading_unit(reading.unit or "", file, "header")
    warm = numbers.get("temperature")
    return Logged(
        file,
        head.passed_over,
        kind,
        rows[some],
        numbers["time"][some] if when is None else None,
        None if when is None else when[some],
        numbers["reading"][some],
        None if warm is None else warm[some],
    )


def _frame(content: bytes, table: Table, first: int, delimiter: str, decimal: str) -> DataFrame | None:
    """The columns by position; None where pandas cannot make a table of it.

    All of them: asked for some, pandas refuses one that no row has.
    """
    import pandas

    beyond = len(table.header)  # a column more than there are, as pandas passes over what has none
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            frame = pandas.read_csv(
                io.BytesIO(content), sep=delimiter, header=None, names=range(beyond + 1), index_col=False,
                skiprows=first + 1, decimal=decimal, skip_blank_lines=False, keep_default_na=False,
                na_values=[""], encoding="utf-8-sig", low_memory=False,
            )  # fmt: skip
    except Exception as error:  # one of pandas's own kinds, or a warning: a row of another length, a broken quote
        place = re.search(r"in line (\d+)", str(error))
        if place is not None:
            _told(content, table, int(place[1]), delimiter)
        return None
    lines = content.count(b"\n") + (not content.endswith(b"\n"))
    return frame if len(frame) == lines - first - 1 else None  # else a cell holds a line end, and rows are not lines


def _numbers(cells: Series[Any], column: Column) -> tuple[Array, NDArray[np.bool_]]:
    """Numbers in internal units, NaN where a cell is empty; and which cells are no number that anyone can have."""
    from creepfit.limits import possible

    kind: Kind = "time" if column.name == "time" else "temperature" if column.name == "temperature" else "length"
    if column.name == "reading":
        kind, factor = reading_unit(column.unit or "", None, "header")
        offset = 0.0
    else:
        factor, offset = unit_factor(column.unit or "", kind)
    bad = np.zeros(len(cells), dtype=bool)
    if cells.dtype.kind not in "fi":
        text = cells.astype(str)
        bad = (~text.str.fullmatch(_NUMBER) & cells.notna() & (text.str.strip() != "")).to_numpy(dtype=bool)
        import pandas

        cells = pandas.to_numeric(text.str.strip(), errors="coerce")
    values = cells.to_numpy(dtype=float) * factor + offset
    within = possible(kind)
    with np.errstate(invalid="ignore"):
        beyond = (values < within.lowest) | (values > within.largest)
    return values, bad | beyond


def _date_times(cells: Series[Any]) -> tuple[NDArray[Any] | None, NDArray[np.bool_]]:
    """Date-times without a time zone, and which cells are none; None where row by row is needed."""
    import pandas

    try:
        when = pandas.to_datetime(cells, format="ISO8601", errors="coerce")
    except (ValueError, TypeError):
        return None, np.zeros(len(cells), dtype=bool)
    if when.dtype.kind != "M" or getattr(when.dt, "tz", None) is not None or when.isna().mean() > 0.5:
        return None, np.zeros(len(cells), dtype=bool)
    clock = cells.astype(str).str.contains(":", regex=False)  # a bare date has no time of day
    return when.to_numpy(dtype="datetime64[us]"), (when.isna() | ~clock).to_numpy(dtype=bool)


def _told(content: bytes, table: Table, row: int, delimiter: str) -> None:
    """Read one row by itself, which says what is wrong with it; returns where nothing is, for all to be read that way."""
    text = content.split(b"\n", row)[row - 1].decode("utf-8", errors="replace")
    cells = next(csv.reader([text], delimiter=delimiter), [])
    readings_of(replace(table, rows=((f"row {row}", tuple(cells)),)))
