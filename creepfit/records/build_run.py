"""`build_run`: the tables of a file and its readings put together to a `Run`, from whatever kind of file they came.

Readings become rows with their place (`tables`), the clock turns every moment into seconds since the first load
(`moments`), each table is checked by its schema.
"""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import astuple
from datetime import datetime, timedelta
from typing import Any

from creepfit.errors import InputError
from creepfit.limits import CENTURY, MOST_STRAIN, check_largest, check_smallest, check_warming, possible
from creepfit.mechanics.specimen import Specimen
from creepfit.records.averaged import thinned_columns, thinned_rows
from creepfit.records.begun import BegunRun, UnfinishedRunError
from creepfit.records.breaking import with_break_read
from creepfit.records.defaults import default_material_kind
from creepfit.records.fields import length_or_strain, validated
from creepfit.records.headers import head_of
from creepfit.records.loads import NO_LOAD, load_sd, read_gauge, read_rig, read_steps
from creepfit.records.logged import Logged
from creepfit.records.moments import Clock, Moment, short_year
from creepfit.records.run import Event, LoadStep, Logger, Reading, Run
from creepfit.records.schema import EventTable, PriorTable, RunTable, print_data, table_list
from creepfit.records.specimen_tables import read_specimen
from creepfit.records.tables import RawReading, Table, readings_of, still_to_come
from creepfit.units import Kind, example_of, show_time

SHORTEST = 1.0
"""Seconds from the first load to the last reading; below, times are in another unit than the file says."""

UNSEEN = 1e-3
"""Share of a division below which readings are equal: nobody can have read a change that small."""


def build_run(data: dict[str, Any], table: Table | Logged, file: str) -> Run:
    """Put a run together from the tables of its file and its readings.

    Raises
    ------
    UnfinishedRunError
        No mistake in it, but too few readings or no load yet.
    InputError
        Any mistake in it.
    """
    validated(RunTable, data.get("run"), file=file, key="run")  # before the readings: a slip up here comes first
    if isinstance(table, Logged):
        raw, logger = thinned_columns(data, table, file)
        return _assembled(data, raw, file, table.file, table.passed_over, logger)
    read = readings_of(table)
    waiting = still_to_come(table, read)
    raw, logger = thinned_rows(data, read, file)
    head = head_of(table.header, table.file)
    times = [column.index for column in head.columns if column.name in ("time", "when", "date")]  # not those of remarks
    short = next(
        (year for _, cells in table.rows for i in times for cell in cells[i : i + 1] if (year := short_year(cell))), None
    )
    return _assembled(data, raw, file, table.file, head.passed_over, logger, short, waiting)


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
        raw = [_raw_reading(*row) for row in rows]
        if not isinstance(tables, dict):
            raise TypeError("tables")
    except (ValueError, TypeError, KeyError, RecursionError):
        raise InputError("a saved run that was changed by hand or cut short", file=file) from None
    return _assembled(
        tables, raw, file, file, tuple(saved.get("passed_over", ())), _logger(saved.get("logger")), saved.get("short_year")
    )


def _raw_reading(
    when: object,
    values: list[float],
    kind: Kind,
    temperature: float | None,
    where: str,
    skip: str | None = None,
    averaged: list[float] | None = None,
) -> RawReading:
    """One row of a source; raises ValueError or TypeError where it is none."""
    moment = datetime.fromisoformat(when) if isinstance(when, str) else float(when)  # type: ignore[arg-type]
    numbers = [*values, *([] if isinstance(when, str) else [moment]), *([] if temperature is None else [temperature])]
    if not values or not all(isinstance(n, int | float) and math.isfinite(n) for n in numbers):
        raise ValueError("numbers")
    if kind not in ("length", "strain") or not isinstance(where, str) or not isinstance(skip, str | None):
        raise ValueError("kind")
    if averaged is not None and not (averaged[0] >= 1 and averaged[1] >= 0.0 and 0.0 <= sum(averaged[2:]) < math.inf):
        raise ValueError("averaged")
    # results saved before it was known over how long have none
    own = None if averaged is None else (int(averaged[0]), float(averaged[1]), float(sum(averaged[2:])))
    return RawReading(moment, tuple(map(float, values)), kind, temperature, where, skip, own)


def _logger(saved: list[Any] | None) -> Logger | None:
    """Raises ValueError or TypeError where it is none."""
    if saved is None:
        return None
    kinds = (int, int, int, str, int, str, int)  # results saved before the last ones were counted have fewer
    return Logger(*(kind(value) for kind, value in zip(kinds, saved, strict=False)))


def _assembled(
    data: dict[str, Any],
    raw: Sequence[RawReading],
    file: str | None,
    table_file: str | None,
    passed_over: tuple[str, ...] = (),
    logger: Logger | None = None,
    short: str | None = None,
    waiting: Sequence[Moment] = (),
) -> Run:
    run = validated(RunTable, data.get("run"), file=file, key="run")
    if run.start is not None and not isinstance(run.start, datetime):
        expected = 'a date-time such as "2031-05-04 16:30"'
        raise InputError(file=file, key="run.start", found=data["run"]["start"], expected=expected)
    kind = raw[0].kind if raw else _gauge_kind(data)
    specimen = read_specimen(data, file, "strain" if kind == "strain" else "length")
    if raw and specimen.reading_quantity != kind:
        expected = f'{example_of("length")} (strains are for test = "direct")'
        raise InputError("strains as readings", file=table_file, key=raw[0].where, expected=expected)
    rig = read_rig(data, specimen, file)
    events = [
        validated(EventTable, table, file=file, key=f"event {i}")
        for i, table in enumerate(table_list(data, "event", file), start=1)
    ]
    moments = [(table_file, r.where, r.moment) for r in raw]
    moments += [(file, f"event {i}, at", e.at) for i, e in enumerate(events, start=1)]
    spreads = [(r.spread, r.repeats) for r in raw if r.spread is not None]
    try:
        clock, steps = read_steps(data, specimen, rig, run.start, moments, file)
    except InputError as error:
        if error.problem != NO_LOAD:
            raise
        readings = tuple(Reading(0.0, r.mean, len(r.values), where=r.where, skip=r.skip) for r in raw)
        gauge = read_gauge(data, specimen, spreads, file)
        raise _unfinished(error, BegunRun(run.material, run.specimen, file, specimen, gauge, readings)) from None
    _check_stress(specimen, steps, file)
    gauge = read_gauge(data, specimen, spreads, file)
    result = Run(
        material=run.material,
        specimen=specimen,
        gauge=gauge,
        steps=steps,
        readings=_on_clock(raw, clock, table_file),
        name=run.specimen,
        file=file,
        source=_source(data, raw, passed_over, logger, short),
        rig=rig,
        events=tuple(Event(clock.seconds(e.at, f"event {i}, at"), e.kind) for i, e in enumerate(events, 1)),
        temperature=run.temperature,
        glass_transition=run.glass_transition,
        humidity=run.humidity,
        conditioning=run.conditioning,
        age=run.age,
        note=run.note,
        print_data=print_data(data, file),
        kind=run.kind or default_material_kind(run.material),
        prior=validated(PriorTable, data.get("prior", {}), file=file, key="prior").pairs(),
        began=None if clock.zero is None else clock.zero + timedelta(seconds=clock.first_load),
        passed_over=passed_over,
        short_year=short,
        logger=logger,
        load_sd=load_sd(data, file),
        to_come=tuple(_seconds(waiting, clock)),
    )
    _check_readings(result, table_file)
    return with_break_read(result)


def _seconds(moments: Sequence[Moment], clock: Clock) -> list[float]:
    """Moments of readings still to come in s since the first load, in order."""
    times = []
    for moment in moments:
        with suppress(InputError):  # no reading yet, so nothing that could be wrong with it
            times.append(clock.seconds(moment, ""))
    return sorted(times)


def _check_stress(specimen: Specimen, steps: Sequence[LoadStep], file: str | None) -> None:
    """Refuse a load and sizes that are possible one by one and together a stress that nothing stands, or next to none."""
    load = max(abs(step.value) for step in steps)
    (low, high), within = specimen.stress_per_load_within, possible("stress")
    if within.smallest < low * load and high * load < within.largest:
        return  # as mostly: a folder of runs is read five times faster without the whole of their mechanics
    per_load = specimen.nominal.stress_per_load
    if per_load is not None:
        stress = per_load * load
        found, expected = f"{stress:.3g} MPa in the specimen", "a load and sizes that are right together"
        try:
            check_largest(stress, "stress", found, expected)
            check_smallest(stress, "stress", found, expected)
        except InputError as error:
            raise error.within(file, "load") from None


def _check_movement(run: Run, file: str | None) -> None:
    """Refuse readings further apart than any specimen moves, by the one furthest from the others."""
    strained, longest = run.specimen.reading_quantity == "strain", run.specimen.longest
    unit, factor = ("%", 100.0) if strained else ("mm", 1.0)
    most = possible("strain" if strained else "movement").largest
    limit = most if strained else min(MOST_STRAIN * longest, most)
    values = sorted(reading.value for reading in run.used)
    if values[-1] - values[0] > limit:
        middle = values[len(values) // 2]
        furthest = max(run.used, key=lambda reading: abs(reading.value - middle))
        size = f", {MOST_STRAIN:g} times the {longest:g} mm of the specimen" if limit < most else ""
        raise InputError(
            "readings further apart than any specimen moves",
            file=file,
            key=furthest.where,
            found=f"{furthest.value * factor:g} {unit}",
            expected=f"readings at most {limit * factor:g} {unit} apart{size}",
        )


def _gauge_kind(data: dict[str, Any]) -> Kind:
    """What readings still to come are, by the gauge's resolution."""
    try:
        return length_or_strain(data["gauge"]["resolution"])[0]
    except (KeyError, TypeError, InputError):  # said where the gauge is read
        return "length"


def _unfinished(error: InputError, begun: BegunRun) -> UnfinishedRunError:
    new = UnfinishedRunError(error.problem, file=error.file, key=error.key, found=error.found, expected=error.expected)
    new.begun = begun
    return new


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
        rest = (r.temperature, r.where, row, r.skip, r.over, r.typed_unit)
        readings.append(Reading(time, r.mean, r.repeats, r.spread, *rest))
    return tuple(sorted(readings, key=lambda reading: reading.time))


def _check_readings(run: Run, file: str | None) -> None:
    """Refuse readings that cannot say anything about creep, or that the gauge cannot have shown."""
    used = run.used
    begun = BegunRun.of(run)
    if len(begun.counted) < 2:
        found = "1 reading" if begun.counted else "no reading"
        few = InputError(file=file, key="readings", found=found, expected="at least two, at two times")
        raise _unfinished(few, begun)
    if not any(reading.time > 0.0 for reading in used):
        ended = len(used) < len(run.readings)
        found = f"{len(used)} before {'the run ended' if ended else 'the first load or at its very time'}"
        problem = "no reading under load"
        few = InputError(problem, file=file, key="readings", found=found, expected="readings after the load was put on")
        raise _unfinished(few, begun)
    first, last = min(used[0].time, 0.0), used[-1].time  # readings are in order of time
    if last < SHORTEST:
        found = f"the last one {show_time(last)} after the first load"
        expected = f"readings {SHORTEST:g} s after it or later"
        raise InputError("too short a run", file=file, key="readings", found=found, expected=expected)
    if last - first > CENTURY:
        found = f"{show_time(last - first)} from first to last"
        raise InputError("too long a run", file=file, key="readings", found=found, expected="100 years at most")
    unit, factor = ("%", 100.0) if run.specimen.reading_quantity == "strain" else ("mm", 1.0)
    values = [reading.value for reading in used]
    if max(values) - min(values) < UNSEEN * run.gauge.resolution:
        found = f"{len(used)} of {used[0].value * factor:g} {unit}"
        raise InputError("all readings are equal", file=file, key="readings", found=found, expected="readings that change")
    _check_movement(run, file)
    try:
        check_warming([t for t in (run.temperature, *(reading.temperature for reading in used)) if t is not None])
    except InputError as error:
        raise error.within(file, "readings") from None
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


def _source(
    data: dict[str, Any],
    raw: Sequence[RawReading],
    passed_over: tuple[str, ...],
    logger: Logger | None,
    short: str | None,
) -> str:
    tables = {key: value for key, value in data.items() if key != "readings"}
    rows = []
    for reading in raw:  # the unit that was typed is no part of what was read; `averaged` stands where it says something
        saved = {name: value for name, value in vars(reading).items() if name != "typed_unit"}
        rows.append(tuple(value for name, value in saved.items() if name != "averaged" or value))
    source = {"tables": tables, "readings": rows, "passed_over": passed_over}
    more = {"logger": None if logger is None else astuple(logger), "short_year": short}
    return json.dumps(
        {**source, **{key: value for key, value in more.items() if value is not None}},
        default=lambda when: when.isoformat(),
        ensure_ascii=False,
    )
