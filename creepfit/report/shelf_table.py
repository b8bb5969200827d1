"""The shelf as a table in a file: CSV, or XLSX for a spreadsheet."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterator
from pathlib import Path

from creepfit.answers.interval import Interval
from creepfit.answers.materials.shelf import Shelf
from creepfit.answers.materials.shelf_row import CREEP_AT, ShelfRow
from creepfit.records.outputs import check_ending, write_bytes, write_kept
from creepfit.report.csv_cells import csv_cell
from creepfit.report.text.pieces import Unit, percent, shown_unit
from creepfit.units import DAY, show_number, show_time

Cell = str | float | None

FIRST = ("file", "material", "specimen", "test")
"""The first columns."""


def check_table_name(path: str | os.PathLike[str]) -> None:
    """Raise InputError for a file of another kind."""
    check_ending(path, ".csv", ".xlsx")


def write_table(shelf: Shelf, path: str | os.PathLike[str], force: bool = False) -> str:
    """Write the shelf as a table, one row a result, and say so; unknown numbers are empty, the last column says why.

    Parameters
    ----------
    shelf : Shelf
    path : path
        Ends in .csv (UTF-8, decimal points, commas between) or .xlsx.
    force : bool
        Replace a file that is already there; one that is no such table, but may hold readings, is kept beside it.

    Raises
    ------
    OutputExistsError, InputError
        As `records.outputs.write_bytes`; also for a file name that ends otherwise.
    """
    check_table_name(path)
    content = table_bytes(shelf, Path(path).suffix.casefold())
    if not _is_table(Path(path)):
        return write_kept(path, content, force)
    write_bytes(path, content, force)
    return f"wrote {os.fspath(path)}"


def _is_table(path: Path) -> bool:
    """Whether a file is a table written here."""
    if not path.is_file():
        return False
    if path.suffix.casefold() == ".csv":
        return path.read_bytes().startswith(",".join(FIRST).encode("utf-8"))
    import openpyxl

    try:
        book = openpyxl.load_workbook(io.BytesIO(path.read_bytes()), read_only=True)  # of a path it would be left open
        return [cell.value for cell in next(iter(book.active.iter_rows(max_row=1)))][: len(FIRST)] == list(FIRST)
    except Exception:  # whatever is wrong with it, it is none of ours
        return False


def table_bytes(shelf: Shelf, suffix: str) -> bytes:
    """The content of such a file, ".csv" or ".xlsx"."""
    rows = table_rows(shelf)
    return _csv(rows) if suffix == ".csv" else _xlsx(rows)


def table_rows(shelf: Shelf) -> list[dict[str, Cell]]:
    """One dict a result, by column; the columns are the same for all. Strains are in per cent."""
    level = percent(shelf.level)
    return [dict(_cells(row, level)) for row in shelf.rows]


def shown_rows(shelf: Shelf) -> tuple[tuple[str, ...], list[tuple[str, ...]]]:
    """Heads and rows to be looked at: an interval in one cell, times in their own unit, doubts as words; the file first."""
    level = percent(shelf.level)
    heads = (
        "file", "material", "specimen", "test", "length of test", "temperature", "stress",
        f"creep modulus at 1 h, {level}", *(f"creep at {show_time(t)}, {level}" for t in CREEP_AT),
        "gone back at last reading", "set", "doubts", "not given, because",
    )  # fmt: skip
    return heads, [_shown(row) for row in shelf.rows]


def _shown(row: ShelfRow) -> tuple[str, ...]:
    size = shown_unit(row.unit)

    def cell(interval: Interval | None, unit: Unit) -> str:
        if interval is None:
            return "–"
        low, median, high = unit.interval(interval)
        return f"{median} {unit.name} ({low} to {high})"

    return (
        row.file, row.material, row.specimen, row.test, show_time(row.length),
        "–" if row.temperature is None else f"{show_number(row.temperature)} °C",
        "–" if row.stress is None else f"{show_number(row.stress)} MPa",
        cell(row.modulus, Unit("MPa")), *(cell(creep, size) for creep in row.creep),
        cell(row.recovered, Unit("%")), cell(row.permanent_set, size),
        ", ".join(code.replace("-", " ") for code in row.cautions) or "none", "; ".join(row.why),
    )  # fmt: skip


def _cells(row: ShelfRow, level: str) -> Iterator[tuple[str, Cell]]:
    yield from zip(FIRST, (row.file, row.material, row.specimen, row.test), strict=True)
    yield "temperature [degC]", row.temperature
    yield "stress [MPa]", row.stress
    yield "length of test [d]", row.length / DAY
    yield from _three("creep modulus at 1 h [MPa]", row.modulus, 1.0, level)
    scale, unit = (100.0, "%") if row.unit == "1" else (1.0, row.unit)
    yield "unit of creep and set", unit
    for time, creep in zip(CREEP_AT, row.creep, strict=True):
        yield from _three(f"creep at {show_time(time)}", creep, scale, level)
    yield from _three("gone back at last reading [%]", row.recovered, 1.0, level)
    yield from _three("set", row.permanent_set, scale, level)
    yield "cautions", ", ".join(row.cautions)
    yield "why numbers are missing", "; ".join(row.why)


def _three(name: str, interval: Interval | None, scale: float, level: str) -> Iterator[tuple[str, Cell]]:
    yield name, None if interval is None else scale * interval.median
    yield f"{name}, {level} from", None if interval is None else scale * interval.low
    yield f"{name}, {level} to", None if interval is None else scale * interval.high


def _csv(rows: list[dict[str, Cell]]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(csv_cell(head) for head in (rows[0] if rows else []))
    for row in rows:
        writer.writerow(f"{v:.6g}" if isinstance(v, float) else csv_cell(v or "") for v in row.values())
    return out.getvalue().encode("utf-8")


def _xlsx(rows: list[dict[str, Cell]]) -> bytes:
    import openpyxl
    from openpyxl.styles import Font

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "shelf"
    lines: list[list[Cell]] = [list(rows[0]) if rows else [], *(list(row.values()) for row in rows)]
    for number, cells in enumerate(lines, start=1):
        for column, value in enumerate(cells, start=1):
            cell = sheet.cell(number, column, value)
            if isinstance(value, str):
                cell.data_type = "s"  # a material called "=A1" is no formula
            if number == 1:
                cell.font = Font(bold=True)
    sheet.freeze_panes = "D2"
    for column, head in enumerate(rows[0] if rows else [], start=1):
        sheet.column_dimensions[sheet.cell(1, column).column_letter].width = max(10, min(len(head), 24))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
