"""A run that is planned: the tables of a run file without readings, and the same with readings as they might come."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from creepfit.errors import InputError
from creepfit.records.begun import BegunRun, UnfinishedRunError
from creepfit.records.build_run import run_from_source
from creepfit.records.file_content import read_toml
from creepfit.records.files import read_run
from creepfit.records.run import Run
from creepfit.records.schema import RUN_TABLES, check_format
from creepfit.records.sheets import WORKBOOK_SUFFIXES

Tables = dict[str, Any]


def read_tables(tables: Tables, file: str | None = None) -> BegunRun:
    """Check the tables of a planned run; [[load]] may be missing.

    Raises
    ------
    InputError
        Any mistake in them, as for a run file.
    """
    tables = {"format": 1, **tables}
    check_format(tables, file or "plan", RUN_TABLES)
    try:
        run_from_source(_source(tables, [], []), file)
    except UnfinishedRunError as error:
        if error.begun is None:
            raise
        if error.begun.specimen.geometry.stress_per_load is None:
            expected = "a test with sizes, such as cantilever: without them no load can be proposed"
            raise InputError(file=file, key="specimen.test", found="direct", expected=expected) from None
        return error.begun
    raise InputError("readings in a run that is planned", file=file)


def with_readings(tables: Tables, times: Sequence[float], values: Sequence[float], repeats: Sequence[int]) -> Run:
    """The run with readings at `times` [s since first loading], so many taken of each, mm or strain as the gauge shows."""
    rows = [[value] * count for value, count in zip(values, repeats, strict=True)]
    plain = {name: table for name, table in tables.items() if name != "run"}
    # times are elapsed: a date would have them count from it
    plain["run"] = {key: value for key, value in tables["run"].items() if key != "start"}
    return run_from_source(_source({"format": 1, **plain}, times, rows))


def _source(tables: Tables, times: Sequence[float], rows: Sequence[Sequence[float]]) -> str:
    others = {name: table for name, table in tables.items() if name != "readings"}
    readings = [
        [t, list(row), "length", None, f"reading {i}"] for i, (t, row) in enumerate(zip(times, rows, strict=True), 1)
    ]
    return json.dumps({"tables": others, "readings": readings}, default=str)


def read_planned(path: str | os.PathLike[str]) -> Run | Tables:
    """Read a run file: the run where it has readings to be fitted, else its tables.

    Raises
    ------
    InputError
        Any mistake in it.
    """
    if Path(path).suffix.casefold() in WORKBOOK_SUFFIXES:
        return read_run(path)
    data = read_toml(Path(path), str(path))
    check_format(data, str(path), RUN_TABLES)
    if "readings" not in data:
        return data
    try:
        return read_run(path)
    except UnfinishedRunError as error:
        if error.begun is not None and sum(r.time > 0.0 for r in error.begun.counted) > 0:
            raise
        return data
