"""Workbooks that hold whole runs, one a sheet, for people who keep their readings in a spreadsheet.

A sheet is a run if its first cell says "creepfit run". Below it stand, with empty rows wherever one likes:

    creepfit run        1                     (the format)
    run.material        PETG                  keys and values, named as in a run file; further cells are remarks
    specimen.length     60 mm
    [load]                                    then a header of keys and a row for each load; so [event], [segment]
    at                  mass
    0 s                 0.4 kg
    [readings]                                then a header as in a CSV file and the readings, to the end
    time [h]            reading [mm]
    0.0167              12.53
"""

from __future__ import annotations

import io
import os
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import Any

from creepfit.errors import InputError
from creepfit.records.build_run import build_run
from creepfit.records.fields import did_you_mean
from creepfit.records.outputs import check_ending, write_kept
from creepfit.records.run import Run
from creepfit.records.schema import RUN_TABLES, check_format
from creepfit.records.sheets import CellRows, table_of, workbook_cells
from creepfit.records.tables import Table

FIRST_CELL = "creepfit run"
NO_RUN = "no sheet holds a run"
_LISTS = ("load", "event", "segment", "upright")


def read_workbook(path: str | os.PathLike[str]) -> list[Run]:
    """Read every run in a workbook, in the order of its sheets; sheets that are no runs are passed over.

    Raises
    ------
    InputError
        No workbook, no run in it, or any mistake in one: with sheet and key or row.
    """
    runs = []
    for sheet in read_sheets(path).values():
        if isinstance(sheet, InputError):
            raise sheet
        runs.append(sheet)
    return runs


def read_sheets(path: str | os.PathLike[str]) -> dict[str, Run | InputError]:
    """Read every run in a workbook by itself: for "FILE, sheet NAME" its run, or what is wrong with it.

    Raises
    ------
    InputError
        No workbook, or no run in it.
    """
    file = os.fspath(path)
    sheets = workbook_cells(Path(path), file)
    places = {f"{file}, sheet {name}": cells for name, cells in sheets.items() if _is_run(cells)}
    if not places:
        raise InputError(NO_RUN, file=file, expected=f'"{FIRST_CELL}" in the first cell of a sheet, and 1 beside it')
    runs: dict[str, Run | InputError] = {}
    for place, cells in places.items():
        try:
            runs[place] = _read_sheet(cells, place)
        except InputError as error:
            runs[place] = error
    return runs


def _is_run(cells: CellRows) -> bool:
    return bool(cells) and bool(cells[0]) and str(cells[0][0]).strip().casefold() == FIRST_CELL


def run_of_sheet(cells: dict[str, CellRows], file: str, sheet: str | None) -> tuple[str, dict[str, Any], Table]:
    """Return name, tables and readings of the one sheet that is a run, or of the one that is named.

    Raises
    ------
    InputError
        No such sheet, or several runs and none named.
    """
    runs = {name: rows for name, rows in cells.items() if _is_run(rows) and sheet in (None, name)}
    if len(runs) != 1:
        names = "; ".join(f'"{file}, sheet {name}"' for name, rows in cells.items() if _is_run(rows))
        problem = NO_RUN if not names else "several runs in one workbook" if sheet is None else "no run on such a sheet"
        raise InputError(problem, file=file, found=sheet, expected=names and f"one of them: {names}")
    name, rows = next(iter(runs.items()))
    return (name, *_parts(rows, f"{file}, sheet {name}"))


def _read_sheet(cells: CellRows, place: str) -> Run:
    return build_run(*_parts(cells, place), place)


def _parts(cells: CellRows, place: str) -> tuple[dict[str, Any], Table]:
    data: dict[str, Any] = {"format": cells[0][1] if len(cells[0]) > 1 else None}
    readings: Table | None = None
    row = 1
    while row < len(cells):
        title = _text(cells[row])
        if title == "[readings]":
            readings = table_of(cells[row + 1 :], place, row + 2)
            break
        if title in {f"[{name}]" for name in _LISTS}:
            name = title[1:-1]
            row, data[name] = _list_of_tables(cells, row + 1, place)
            continue
        if title.startswith("["):
            blocks = [*(f"[{name}]" for name in _LISTS), "[readings]"]
            problem = f"unknown block{did_you_mean(title, blocks)}"
            raise InputError(problem, file=place, key=f"row {row + 1}", found=title, expected=", ".join(blocks))
        if title:
            _set(data, title, cells[row], place, row + 1)
        row += 1
    check_format(data, place, RUN_TABLES)
    if readings is None:
        raise InputError("missing", file=place, key="[readings]", expected="a block [readings] at the end of the sheet")
    return data, readings


def _set(data: dict[str, Any], title: str, cells: tuple[object, ...], place: str, row: int) -> None:
    table, dot, key = title.partition(".")
    if not dot or table in _LISTS:
        expected = 'a key such as "run.material", or a block such as "[load]"'
        raise InputError(file=place, key=f"row {row}", found=title, expected=expected)
    value = _value(cells[1] if len(cells) > 1 else None)
    if value is None:
        return  # a key left open, as in the template
    keys = data.setdefault(table, {})
    if key in keys:
        raise InputError("a key stands twice", file=place, key=f"row {row}", found=title)
    keys[key] = value


def _list_of_tables(cells: CellRows, row: int, place: str) -> tuple[int, list[dict[str, Any]]]:
    """Read header and rows of a block up to the next empty row or block; return the row after it."""
    if row >= len(cells) or not _text(cells[row]):
        raise InputError("a block without its header", file=place, key=f"row {row + 1}", expected="a row of keys")
    header = [str(cell).strip() if cell is not None else "" for cell in cells[row]]
    row += 1
    tables: list[dict[str, Any]] = []
    while row < len(cells) and any(_value(cell) is not None for cell in cells[row]):
        if _text(cells[row]).startswith("["):
            break
        given = zip(header, (_value(cell) for cell in cells[row]), strict=False)
        tables.append({key: value for key, value in given if key and value is not None})
        row += 1
    return row, tables


def _text(row: tuple[object, ...]) -> str:
    return "" if not row or row[0] is None else str(row[0]).strip()


def _value(cell: object) -> object:
    """Return a cell as a TOML file would hold it; None for an empty one."""
    if isinstance(cell, time):  # a spreadsheet's 0:30
        cell = timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second)
    if isinstance(cell, timedelta):
        return f"{cell.total_seconds()!r} s"
    if isinstance(cell, str):
        return cell.strip() or None
    return cell


def workbook_template(path: str | os.PathLike[str], force: bool = False) -> str:
    """Write a workbook with one invented run, that reads back and fits, to be overwritten with one's own; say so.

    Raises
    ------
    OutputExistsError, InputError
        As `outputs.write_kept`; also for a file name that does not end in .xlsx.
    """
    check_ending(path, ".xlsx")
    import openpyxl

    from creepfit.records.templates import template_rows

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "P-03"
    for row in template_rows(datetime.now()):
        sheet.append(row)
    for column, width in (("A", 22), ("B", 18), ("C", 70)):
        sheet.column_dimensions[column].width = width
    stream = io.BytesIO()
    book.save(stream)
    return write_kept(path, stream.getvalue(), force)
