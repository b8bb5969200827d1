"""Run files to runs: TOML with its readings inline, in a CSV file or in a sheet of a workbook.

The way of a file: tables are checked one by one (`schema`), readings become rows with their place (`tables`), the
clock turns every moment into seconds since the first load (`moments`), and `build_run` puts the record together.
"""

from __future__ import annotations

import itertools
import json
import os
from collections.abc import Sequence
from dataclasses import astuple
from datetime import datetime
from pathlib import Path
from typing import Any

from creepfit.errors import InputError
from creepfit.records.defaults import default_material_kind
from creepfit.records.fields import read_bytes, read_toml, validated
from creepfit.records.loads import read_gauge, read_rig, read_steps
from creepfit.records.moments import Clock
from creepfit.records.run import Event, Reading, Run
from creepfit.records.schema import (
    RUN_TABLES,
    EventTable,
    PriorTable,
    ReadingsTable,
    RunTable,
    check_format,
    print_data,
    table_list,
)
from creepfit.records.sheets import WORKBOOK_SUFFIXES, sheet_table
from creepfit.records.specimen_tables import read_specimen
from creepfit.records.tables import RawReading, Table, csv_table, inline_table, readings_of
from creepfit.units import example_of


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
        from creepfit.records.workbook import read_workbook

        runs = read_workbook(path)
        if len(runs) > 1:
            names = ", ".join(run.label for run in runs)
            raise InputError("several runs in one workbook", file=str(path), found=names, expected="one run")
        return runs[0]
    file = str(path)
    data = read_toml(path, file)
    check_format(data, file, RUN_TABLES)
    return build_run(data, _readings_table(data, file, path.parent), file)


def run_from_source(source: str, file: str | None = None) -> Run:
    """Return the run whose `Run.source` this was: as read, without the files it came from.

    Raises
    ------
    InputError
        Where the text is no such source.
    """
    try:
        saved = json.loads(source)
        tables, rows = saved["tables"], saved["readings"]
        raw = [
            RawReading(datetime.fromisoformat(when) if isinstance(when, str) else float(when), tuple(values), *rest)
            for when, values, *rest in rows
        ]
    except (ValueError, TypeError, KeyError):
        raise InputError("a saved run that cannot be understood", file=file) from None
    return _assembled(tables, raw, file, file)


def build_run(data: dict[str, Any], table: Table, file: str) -> Run:
    """Put a run together from the tables of its file and its readings.

    Raises
    ------
    InputError
        Any mistake in it.
    """
    validated(RunTable, data.get("run"), file=file, key="run")  # before the readings: a slip up here comes first
    return _assembled(data, readings_of(table), file, table.file)


def _assembled(data: dict[str, Any], raw: Sequence[RawReading], file: str | None, table_file: str | None) -> Run:
    run = validated(RunTable, data.get("run"), file=file, key="run")
    if run.start is not None and not isinstance(run.start, datetime):
        expected = 'a date-time such as "2031-05-04 16:30"'
        raise InputError(file=file, key="run.start", found=data["run"]["start"], expected=expected)
    _check_count(raw, table_file)
    specimen = read_specimen(data, file, "strain" if raw[0].kind == "strain" else "length")
    if specimen.reading_quantity != raw[0].kind:
        expected = f'{example_of("length")} (strains are for test = "direct")'
        raise InputError("strains as readings", file=table_file, key=raw[0].where, expected=expected)
    rig = read_rig(data, specimen, file)
    events = [
        validated(EventTable, table, file=file, key=f"event {i}")
        for i, table in enumerate(table_list(data, "event", file), start=1)
    ]
    moments = [(table_file, r.where, r.moment) for r in raw]
    moments += [(file, f"event {i}, at", e.at) for i, e in enumerate(events, start=1)]
    clock, steps = read_steps(data, specimen, rig, run.start, moments, file)
    gauge = read_gauge(data, specimen, [(r.spread, len(r.values)) for r in raw if r.spread is not None], file)
    result = Run(
        material=run.material,
        specimen=specimen,
        gauge=gauge,
        steps=steps,
        readings=_on_clock(raw, clock, table_file),
        name=run.specimen,
        file=file,
        source=_source(data, raw),
        rig=rig,
        events=tuple(Event(clock.seconds(e.at, f"event {i}, at"), e.kind) for i, e in enumerate(events, 1)),
        temperature=run.temperature,
        humidity=run.humidity,
        conditioning=run.conditioning,
        age=run.age,
        note=run.note,
        print_data=print_data(data, file),
        kind=run.kind or default_material_kind(run.material),
        prior=validated(PriorTable, data.get("prior", {}), file=file, key="prior").pairs(),
    )
    _check_readings(result, table_file)
    return result


def _readings_table(data: dict[str, Any], file: str, folder: Path) -> Table:
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
        return inline_table(inline, file)
    path = folder / table.file
    shown = str(path)
    if not path.exists():
        raise InputError("there is no such file", file=file, key="readings.file", found=table.file)
    if path.suffix.casefold() in WORKBOOK_SUFFIXES:
        return sheet_table(path, shown, table.sheet)
    if table.sheet is not None:
        expected = "a workbook (.xlsx) where a sheet is named"
        raise InputError(file=file, key="readings.file", found=table.file, expected=expected)
    content = read_bytes(path, shown)
    if content[:4] in (b"PK\x03\x04", b"\xd0\xcf\x11\xe0"):  # the first bytes of .xlsx and of .xls
        raise InputError("a workbook by its content", file=shown, expected="a CSV file, or one saved as .xlsx")
    return csv_table(content, shown)


def _check_count(raw: Sequence[RawReading], file: str | None) -> None:
    if len(raw) < 2:
        found = "1 reading" if raw else "no reading"
        raise InputError(file=file, key="readings", found=found, expected="at least two, at two times")


def _on_clock(raw: Sequence[RawReading], clock: Clock, file: str | None) -> tuple[Reading, ...]:
    """Readings in order of time. Elapsed times may stand in any order, date-times that run backwards are a slip."""
    for before, after in itertools.pairwise(raw):
        a, b = before.moment, after.moment
        if isinstance(a, datetime) and isinstance(b, datetime):
            try:
                backwards = b < a
            except TypeError:
                backwards = False  # one has a time zone: the clock says so below
            if backwards:
                raise InputError(
                    "date-times run backwards",
                    file=file,
                    key=after.where,
                    found=str(b),
                    expected=f"a date-time after {a}",
                )
    readings = []
    for row, r in enumerate(raw, start=1):
        try:
            time = clock.seconds(r.moment, r.where)
        except InputError as error:
            raise error.within(file) from None
        readings.append(Reading(time, r.mean, len(r.values), r.spread, r.temperature, r.where, row))
    return tuple(sorted(readings, key=lambda reading: reading.time))


def _check_readings(run: Run, file: str | None) -> None:
    """Refuse readings that cannot say anything about creep, or that the gauge cannot have shown."""
    used = run.used
    if not any(reading.time > 0.0 for reading in used):
        ended = len(used) < len(run.readings)
        found = f"{len(used)} before {'the run ended' if ended else 'the first load or at its very time'}"
        problem = "no reading under load"
        raise InputError(problem, file=file, key="readings", found=found, expected="readings after the load was put on")
    unit, factor = ("%", 100.0) if run.specimen.reading_quantity == "strain" else ("mm", 1.0)
    if len({reading.value for reading in used}) == 1:
        found = f"{len(used)} of {used[0].value * factor:g} {unit}"
        raise InputError("all readings are equal", file=file, key="readings", found=found, expected="readings that change")
    limit = run.gauge.range
    for reading in used:
        if limit is not None and run.gauge.sign * (reading.value - limit) > 1e-9 * abs(limit):
            side = "down" if run.gauge.falls else "up"
            raise InputError(
                "a reading beyond the gauge's range",
                file=file,
                key=reading.where,
                found=f"{reading.value * factor:g} {unit}",
                expected=f"readings {side} to {limit * factor:g} {unit} (gauge.range)",
            )


def _source(data: dict[str, Any], raw: Sequence[RawReading]) -> str:
    tables = {key: value for key, value in data.items() if key != "readings"}
    return json.dumps(
        {"tables": tables, "readings": [astuple(reading) for reading in raw]},
        default=lambda when: when.isoformat(),
        ensure_ascii=False,
    )
