"""Run files to runs: TOML with its readings inline, in a CSV file or in a sheet of a workbook, or a workbook by itself."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any, overload

from creepfit.errors import InputError
from creepfit.records.build_run import build_run
from creepfit.records.fields import validated
from creepfit.records.file_content import read_bytes, read_toml
from creepfit.records.logged import Logged, logged_csv
from creepfit.records.run import Run
from creepfit.records.schema import RUN_TABLES, ReadingsTable, check_format
from creepfit.records.sheets import WORKBOOK_SUFFIXES, sheet_table
from creepfit.records.step_table import inline_readings, unfolded
from creepfit.records.tables import Table, csv_table
from creepfit.records.workbook import read_workbook

TABLE_SUFFIXES = (".csv", ".tsv", ".dat")
LARGEST_TABLE = 1_000_000_000
"""Bytes of a CSV file: ten million rows with date-times and temperatures have half of that."""


def read_run(path: str | os.PathLike[str]) -> Run:
    """Read one run.

    Parameters
    ----------
    path : path
        A TOML run file, or a workbook that holds one run (see `workbook.read_workbook`).

    Raises
    ------
    InputError
        Any mistake in it, as one line: file, key or row, what was found, what is expected.
    """
    path = Path(path)
    if path.suffix.casefold() in WORKBOOK_SUFFIXES:
        runs = read_workbook(path)
        if len(runs) > 1:
            names = ", ".join(run.label for run in runs)
            raise InputError("several runs in one workbook", file=str(path), found=names, expected="one run")
        return runs[0]
    file = str(path)
    if path.suffix.casefold() in TABLE_SUFFIXES:
        expected = (
            f"a run file around it: creepfit new run {path.with_suffix('.toml').name} --from {path.name} asks for the rest"
        )
        raise InputError("a table of readings alone", file=file, expected=expected)
    return run_of_tables(read_toml(path, file), path)


def run_of_tables(data: dict[str, Any], path: Path) -> Run:
    """Return the run of a file whose tables are read already; see `read_run`."""
    file = str(path)
    check_format(data, file, RUN_TABLES)
    return build_run(data, readings_table(data, file, path.parent, by_columns=True), file)


@overload
def readings_table(data: dict[str, Any], file: str, folder: Path) -> Table: ...


@overload
def readings_table(data: dict[str, Any], file: str, folder: Path, by_columns: bool) -> Table | Logged: ...


def readings_table(data: dict[str, Any], file: str, folder: Path, by_columns: bool = False) -> Table | Logged:
    """The readings a run file names or holds; with `by_columns` a long CSV file is not taken apart row by row."""
    expected = 'a table [readings] with file = "readings.csv", or time = [...] and reading = [...]'
    if "readings" not in data:
        raise InputError("missing", file=file, key="readings", expected=expected)
    table = validated(ReadingsTable, data["readings"], file=file, key="readings")
    inline = {k: v for k, v in data["readings"].items() if k not in ("file", "sheet")}
    if table.file is not None and inline:
        found = f"file and {' and '.join(inline)}"
        raise InputError("readings both in a file and inline", file=file, key="readings", found=found)
    if table.file is None:
        if table.sheet is not None:
            raise InputError("a sheet without a file", file=file, key="readings.sheet", found=table.sheet)
        if not inline:
            raise InputError("no readings", file=file, key="readings", expected=expected)
        return inline_readings(inline, data, file)
    path = folder / table.file
    shown = str(path)
    if not os.path.exists(shown):  # unlike a Path's own it does not mind a name that is too long
        raise InputError("there is no such file", file=file, key="readings.file", found=table.file)
    if path.suffix.casefold() in WORKBOOK_SUFFIXES:
        return unfolded(sheet_table(path, shown, table.sheet), data, file)
    if table.sheet is not None:
        expected = "a workbook (.xlsx) where a sheet is named"
        raise InputError(file=file, key="readings.file", found=table.file, expected=expected)
    content = read_bytes(path, shown, LARGEST_TABLE)
    if content[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):  # the first bytes of .xlsx and of .xls
        raise InputError("a workbook by its content", file=shown, expected="a CSV file, or one saved as .xlsx")
    return (logged_csv(content, shown) if by_columns else None) or unfolded(csv_table(content, shown), data, file)
