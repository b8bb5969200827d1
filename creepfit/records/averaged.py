"""From a logger's readings to the few that stand for them: on the run's clock, between its load changes and events."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array
from creepfit.records.fields import validated
from creepfit.records.loads import read_rig, read_steps
from creepfit.records.logged import Logged
from creepfit.records.moments import Clock, Moment
from creepfit.records.run import Logger
from creepfit.records.schema import EventTable, RunTable, table_list
from creepfit.records.specimen_tables import read_specimen
from creepfit.records.tables import RawReading
from creepfit.records.thinning import MOST, thinned

Averaged = tuple[list[RawReading], Logger | None]


def thinned_rows(data: dict[str, Any], raw: Sequence[RawReading], file: str) -> Averaged:
    """As `thinned_columns`, of readings that were read row by row; a row that is left out for a reason is kept as it is."""
    counted = [r for r in raw if r.skip is None]
    if len(counted) <= MOST:
        return list(raw), None
    try:
        clock, edges = _clock_and_edges(data, counted[0], file)
        times = np.array([clock.seconds(r.moment, r.where) for r in counted])
    except InputError:
        return list(raw), None  # putting the run together says what is wrong
    if isinstance(counted[0].moment, datetime) and (np.diff(times) < 0.0).any():
        return list(raw), None
    warm = np.array([np.nan if r.temperature is None else r.temperature for r in counted])
    values = np.array([r.mean for r in counted])
    repeats = np.array([float(len(r.values)) for r in counted])
    averages, logger = _averaged(times, values, warm, edges, clock, counted[0].kind, lambda i: counted[i], repeats)
    return [*averages, *(r for r in raw if r.skip is not None)], logger


def thinned_columns(data: dict[str, Any], logged: Logged, file: str) -> Averaged:
    """Average a logger's readings; few of them come back as they are.

    Raises
    ------
    InputError
        Date-times that run backwards, or what is wrong with the loads.
    """
    count = logged.values.size
    if count <= MOST:
        return [logged.reading(i) for i in range(count)], None
    clock, edges = _clock_and_edges(data, logged.reading(0), file)
    if logged.elapsed is not None:
        times = np.round(logged.elapsed - clock.first_load, 6)
    else:
        assert logged.when is not None
        first = clock.seconds(logged.moment(0), f"row {logged.rows[0]}")
        times = first + (logged.when - logged.when[0]) / np.timedelta64(1, "s")
        back = np.flatnonzero(np.diff(times) < 0.0)
        if back.size:
            i = int(back[0])
            found, before = str(logged.moment(i + 1)), logged.moment(i)
            place, expected = f"row {logged.rows[i + 1]}", f"a date-time after {before}"
            raise InputError("date-times run backwards", file=logged.file, key=place, found=found, expected=expected)
    return _averaged(times, logged.values, logged.temperature, edges, clock, logged.kind, logged.reading)


def _clock_and_edges(data: dict[str, Any], first: RawReading, file: str) -> tuple[Clock, list[float]]:
    """The run's clock, and where nothing may be averaged across."""
    run = validated(RunTable, data.get("run"), file=file, key="run")
    specimen = read_specimen(data, file, "strain" if first.kind == "strain" else "length")
    raw = enumerate(table_list(data, "event", file), start=1)
    events = [validated(EventTable, table, file=file, key=f"event {i}").at for i, table in raw]
    moments = [(file, first.where, first.moment), *((file, f"event {i}, at", at) for i, at in enumerate(events, 1))]
    start = run.start if isinstance(run.start, datetime) else None
    clock, steps = read_steps(data, specimen, read_rig(data, specimen, file), start, moments, file)
    at = [clock.seconds(when, f"event {i}, at") for i, when in enumerate(events, start=1)]
    return clock, [*at, *(s.at for s in steps), *(s.at + s.over for s in steps)]


def _averaged(
    times: Array,
    values: Array,
    temperature: Array | None,
    edges: Sequence[float],
    clock: Clock,
    kind: Any,
    reading: Callable[[int], RawReading],
    repeats: Array | None = None,
) -> Averaged:
    early = np.flatnonzero(times < np.maximum.accumulate(times))  # after a row of a later time
    order = np.argsort(times, kind="stable") if early.size else None
    if order is not None:
        times, values = times[order], values[order]
        repeats = None if repeats is None else repeats[order]
        temperature = None if temperature is None else temperature[order]

    def as_read(i: int) -> RawReading:
        return reading(i if order is None else int(order[i]))

    result = thinned(times, values, temperature, edges, repeats)
    dated = isinstance(as_read(0).moment, datetime)
    readings = []
    for b in result.bins:
        if b.count == 1:
            readings.append(as_read(b.first))
            continue
        where = f"{as_read(b.first).where} to {as_read(b.last).where.removeprefix('row ')}"
        own = (b.worth, b.spread or 0.0, b.over)
        readings.append(RawReading(_moment(clock, b.time, dated), (b.value,), kind, b.temperature, where, None, own))
    apart = as_read(result.apart[0]).where if result.apart else ""
    unsorted = reading(int(early[0])).where if early.size else ""
    made = Logger(values.size, len(result.bins), len(result.apart), apart, int(early.size), unsorted, result.settling)
    return readings, made


def _moment(clock: Clock, time: float, dated: bool) -> Moment:
    elapsed = time + clock.first_load
    return clock.zero + timedelta(seconds=elapsed) if dated and clock.zero is not None else elapsed
