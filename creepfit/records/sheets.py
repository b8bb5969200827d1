"""XLSX workbooks to cells. openpyxl is imported only where a workbook is read."""

from __future__ import annotations

import io
import warnings
import zipfile
from pathlib import Path
from typing import Any

from creepfit.errors import InputError
from creepfit.records.fields import did_you_mean
from creepfit.records.file_content import read_bytes
from creepfit.records.headers import FURTHEST_DOWN, is_head
from creepfit.records.tables import Table

CellRows = tuple[tuple[object, ...], ...]
WORKBOOK_SUFFIXES = (".xlsx", ".xlsm")
LARGEST_WORKBOOK, LARGEST_UNPACKED = 50_000_000, 200_000_000
"""Bytes of the file, and of what it unpacks to."""

MOST_PACKED = 100.0
"""How many times smaller a large workbook can be packed; sheets of numbers get about ten times smaller."""

MOST_CELLS = 2_000_000
"""Cells of a workbook, empty ones before the last of a row counted: some seconds of reading."""


def workbook_cells(path: Path, file: str) -> dict[str, CellRows]:
    """Return the cells of every sheet, as values.

    Raises
    ------
    InputError
        No such file, no workbook (empty, cut short, another format), or a formula without its value.
    """
    return cells_of(read_bytes(path, file, LARGEST_WORKBOOK), file)


def cells_of(content: bytes, file: str) -> dict[str, CellRows]:
    """Return the cells of a workbook's bytes; see `workbook_cells`."""
    if content[:8] == b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1":
        raise InputError("an old or password-protected workbook", file=file, expected="a file saved as .xlsx")
    try:
        _refuse_vast(content, file)
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # styles and menus openpyxl does not know are no concern here
            values = _all_cells(content, file, data_only=True)
            formulas = _all_cells(content, file, data_only=False)
    except InputError:
        raise
    except Exception:  # openpyxl, zipfile and the XML parser raise some ten unrelated kinds on a damaged file
        raise InputError("cannot be read as a workbook", file=file, expected="a whole .xlsx file") from None
    if not values:  # the sheets are listed, but their files are lost
        raise InputError("cannot be read as a workbook", file=file, expected="a whole .xlsx file")
    for sheet, rows in values.items():
        _refuse_unsaved_formulas(file, sheet, rows, formulas[sheet])
    return values


def sheet_table(path: Path, file: str, sheet: str | None) -> Table:
    """Return one sheet as a table of readings: the first row that is not empty is the header.

    Raises
    ------
    InputError
        As `workbook_cells`; also where the sheet does not exist, is empty, or none is named among several.
    """
    return table_in(workbook_cells(path, file), file, sheet)


def table_in(cells: dict[str, CellRows], file: str, sheet: str | None) -> Table:
    """Return one sheet of a workbook's cells as a table of readings; see `sheet_table`."""
    if sheet is None and len(cells) > 1:
        raise InputError("several sheets", file=file, expected=f"sheet = one of {_quoted(cells)}")
    name = next(iter(cells)) if sheet is None else sheet
    if name not in cells:
        problem = f'no sheet "{name}"{did_you_mean(name, cells)}'
        raise InputError(problem, file=file, expected=f"one of {_quoted(cells)}")
    return table_of(cells[name], f"{file}, sheet {name}")


def table_of(cells: CellRows, place: str, first_row: int = 1) -> Table:
    """Return cells as a table; rows are named by their number in the sheet."""
    rows = [
        (f"row {first_row + i}", row)
        for i, row in enumerate(cells)
        if any(cell is not None and str(cell).strip() for cell in row)
    ]
    if not rows:
        raise InputError("the sheet is empty", file=place)
    head = next((i for i, (_, cells) in enumerate(rows[:FURTHEST_DOWN]) if is_head(cells)), 0)
    return Table(place, rows[head][1], tuple(rows[head + 1 :]), head_row=int(rows[head][0].split()[1]))


def _refuse_vast(content: bytes, file: str) -> None:
    """A workbook is packed: what is small on the disk can fill the memory."""
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        size = sum(part.file_size for part in packed.infolist())
    if size > LARGEST_UNPACKED or (size > 0.1 * LARGEST_UNPACKED and size > MOST_PACKED * len(content)):
        found = f"{len(content) / 1e6:.1f} MB, which unpack to {size / 1e6:.0f} MB"
        raise InputError("too large a workbook", file=file, found=found, expected="long readings as CSV")


def _all_cells(content: bytes, file: str, data_only: bool) -> dict[str, CellRows]:
    import openpyxl

    book = openpyxl.load_workbook(io.BytesIO(content), read_only=True, data_only=data_only)
    sheets: dict[str, CellRows] = {}
    cells = 0
    for sheet in book.worksheets:
        sheet.reset_dimensions()  # some programs write a wrong extent
        rows: list[tuple[object, ...]] = []
        for row in sheet.iter_rows():
            rows.append(_trimmed(tuple(_shown(cell) for cell in row)))
            cells += len(row)
            if cells > MOST_CELLS:
                expected = f"at most {MOST_CELLS} cells, and long readings as CSV"
                raise InputError("too large a sheet", file=f"{file}, sheet {sheet.title}", expected=expected)
        while rows and not rows[-1]:
            rows.pop()
        sheets[str(sheet.title)] = tuple(rows)
    book.close()
    return sheets


def _shown(cell: Any) -> object:
    """A cell's value; of one shown in per cent the text that is seen: 0.5 in a column [%] would be half a per cent."""
    value: object = cell.value
    if isinstance(value, float | int) and not isinstance(value, bool) and "%" in (cell.number_format or ""):
        return f"{100.0 * value:.12g} %"
    return value


def _trimmed(row: tuple[object, ...]) -> tuple[object, ...]:
    end = len(row)
    while end and (row[end - 1] is None or row[end - 1] == ""):
        end -= 1
    return row[:end]


def _refuse_unsaved_formulas(file: str, sheet: str, values: CellRows, formulas: CellRows) -> None:
    """A formula no spreadsheet has worked out yet reads as an empty cell: a reading would vanish silently."""
    for number, row in enumerate(formulas):
        for column, cell in enumerate(row):
            if isinstance(cell, str) and cell.startswith("="):
                worked_out = values[number][column] if number < len(values) and column < len(values[number]) else None
                if worked_out is None:
                    raise InputError(
                        "a formula without its value",
                        file=f"{file}, sheet {sheet}",
                        key=f"row {number + 1}",
                        found=cell,
                        expected="a number, or the workbook saved again by a spreadsheet program",
                    )


def _quoted(names: dict[str, CellRows]) -> str:
    return ", ".join(f'"{name}"' for name in names)
