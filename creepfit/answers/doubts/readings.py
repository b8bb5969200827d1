"""Doubts about the readings: order, outliers, jumps, plateaus, noise, and what the schedule left out."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from scipy.special import fdtrc

from creepfit.answers.doubts.bench import copied_streak, double_times, load_instead
from creepfit.answers.doubts.catalogue import readings as words
from creepfit.answers.doubts.slips import undone_event
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.inference.freest_curve import Finding, FreestCurve, findings, shift_score, stages
from creepfit.records.run import Run
from creepfit.units import MINUTE

FIRST_BY = 1.1 * MINUTE
"""The first reading is due 1 min after loading; a tenth more is a slow hand, not a gap."""

DECADES = 3.0
NOISE_RATIO = 1.5
NOISE_ALARM = 0.005
CONTRADICTING = 6.0
"""Times the gauge's noise from which on what no curve follows is no noise."""

LEAST_CREEP = 0.0134
"""Creep a decade as a share of the deformation at its beginning: the least of 303 published curves from 1 to 100 h
(`tests/benchmarks/README.md` names them). Half of that is doubted."""

BACK = 4.0
"""Gauge noises from which on readings that go back under one load are no scatter."""

COPIED = 5.5
"""The readings have to be exp(5.5) times as likely with one that repeats the last moved off the curve. Of simulated runs
without a copy 0.4 % show one; of those with the reading of a day copied 60 % do, and 15 % another doubt
(`tests/benchmarks/README.md`)."""

STEP_SDS = 3.0
FAR_OFF = 1.0
RANGE_DIVISIONS = 3.0
NEAR = 10.0


def logger_doubts(run: Run) -> Iterator[Caution]:
    """More readings than a fit can use: what was made of them, and what was left out."""
    made = run.logger
    if made is None:
        return
    rows = f"{made.rows:,}".replace(",", " ")
    case = {"rows": rows, "made": made.made, "some": made.settling > 0, "early": made.settling}
    if made.apart:
        yield words.AVERAGED_ALL_BUT_SOME(**case, apart=made.apart, first=made.first)
    else:
        yield words.AVERAGED(**case)
    if made.early:
        yield words.LOGGER_OUT_OF_ORDER(count=made.early, first=made.first_early)


def order_doubts(run: Run) -> Iterator[Caution]:
    """Rows that are not in order of time, as typed."""
    rows = [r for r in run.readings if r.row > 0]
    typed = sorted(rows, key=lambda r: r.row)
    late = [b for a, b in pairwise(typed) if b.time < a.time]
    if late:
        yield words.OUT_OF_ORDER(count=len(late), late=late)
    yield from double_times(run)


def schedule_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Early readings, decades of time, the initial reading and readings after unloading."""
    observed = curve.observed
    decades = float(np.log10(observed.span.last / observed.span.first))
    if decades < DECADES:
        yield words.SHORT_TIME_SPAN(
            decades=decades,
            first=observed.span.first,
            last=observed.span.last,
            began_late=observed.span.first > FIRST_BY,
            came_off=came_off_by_the_end(run),
            until=1000.0 * observed.span.first,
        )
    if not observed.has_initial:
        yield words.NO_INITIAL_READING()
    if not observed.has_recovery and run.broke_at is None:  # else nothing is left to be unloaded
        yield words.NO_RECOVERY_READING(
            off=run.unloading is not None,
            test_length=run.test_length,
            to_come=run.unloading is None or run.unloading > float(observed.times[-1]),
        )


def came_off_by_the_end(run: Run) -> bool:
    """Whether the load was off at the last reading: nothing can be read under it any more."""
    return run.unloading is not None and run.unloading < run.used[-1].time


def resolution_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Creep that is of the size of the gauge's steps, or of its noise."""
    observed = curve.observed
    load = run.history.at(observed.times)
    held = [s for s in stages(observed) if len(s) > 1 and load[s[0]] != 0.0]
    if not held:
        return
    # the range, not last minus first, which a slip backwards can make nothing
    creep = max(float(np.ptp(observed.values[s.start : s.stop])) for s in held)
    step, noise = run.gauge.resolution, observed.noise.stated
    if creep >= NEAR * max(step, noise) * (1.0 - 1e-9):
        return
    finest = max(step, noise)
    yield words.CREEP_NEAR_RESOLUTION(
        creep=size(creep, run.unit),
        times=creep / finest,
        by_step=step >= noise,
        finest=size(finest, run.unit),
        sized=run.specimen.length_enters is not None,
        bent=run.specimen.deflects,
        came_off=came_off_by_the_end(run),
    )


def shape_doubts(run: Run, curve: FreestCurve, sizes_believed: bool = True) -> Iterator[Caution]:
    """What no creep curve can follow: outliers, copied readings, jumps, plateaus, a rate that grows.

    Where sizes or units cannot be right (`sizes_believed` False), nothing is said about rupture.
    """
    seen = findings(curve)
    load = [c for c in (load_instead(run, curve, f) for f in seen) if c is not None]
    if load:  # under another load than was noted all other findings mean nothing
        yield from load
        return
    plateau = [f for f in seen if f.kind == "plateau"]
    still = None if plateau else _never_moved(run, curve, seen)
    copied = [] if plateau or still else _copied(run, curve, seen)
    for i in copied:
        yield words.COPIED_READING(at=run.used[i])
    for f in plateau:
        yield words.PLATEAU(first=run.used[f.first], last=run.used[f.last])
    if still is not None:
        yield still[0]
    streaks = [c for c in (copied_streak(run, curve, f) for f in seen) if c is not None]
    yield from streaks[:1]
    for f in seen:
        if f.kind == "jump" and (streaks or (still is not None and f.first in still[1])):
            continue  # each end of a streak looks like one, and so does a piece of what goes back all along
        at, off = run.used[f.first], f.size or 0.0
        moved = size(abs(off), run.unit)
        if f.kind == "outlier" and f.first not in copied:
            yield words.OUTLIER(at=at, off=moved, above=off > 0.0)
        elif f.kind == "jump":
            yield undone_event(run, curve, f) or words.JUMP(first=at, size=size(off, run.unit))
        elif f.kind == "acceleration" and sizes_believed:
            yield words.ACCELERATING(first=at, size=size(off, run.unit), last=run.used[f.last])
    if not seen and not copied and still is None:
        yield from _noise_doubt(run, curve)


def _copied(run: Run, curve: FreestCurve, findings: list[Finding]) -> list[int]:
    """Places of readings equal to the one before in every digit although the others say that the curve moved on.

    An outlier that repeats the one before it is one; where nothing else was found a smaller deviation is enough.
    """
    values = [(r.value, r.repeats, r.spread) for r in run.used]
    load = run.history.at(curve.observed.times)
    pairs = [i for stage in stages(curve.observed) for i in stage[1:] if values[i] == values[i - 1] and load[i] != 0.0]
    if findings:
        return [f.first for f in findings if f.kind == "outlier" and f.first in pairs]
    return [i for i in pairs if curve.off_curve(i) > FAR_OFF and shift_score(curve, i) > COPIED]


def _never_moved(run: Run, curve: FreestCurve, findings: list[Finding]) -> tuple[Caution, range] | None:
    """A loaded stage of two decades or more that, as far as its gauge goes, crept less than any plastic does, or back.

    With its places among the used readings. Single readings and steps that stand out explain themselves and are left out
    of what went back.
    """
    alone = {f.first for f in findings if f.kind == "outlier"}
    steps = {f.first for f in findings if f.kind == "jump"}
    observed = curve.observed
    load = run.history.at(observed.times)
    if not observed.has_initial:
        return None
    for stage in stages(observed):
        begin, end = observed.times[stage[0]], observed.times[stage[-1]]
        if load[stage[0]] == 0.0 or begin <= 0.0 or len(stage) < 4 or end < 100.0 * begin:
            continue
        if abs(load[stage[0]]) < np.abs(load[: stage[0] + 1]).max():
            continue  # where part of the load came off a bar goes back
        least = LEAST_CREEP * abs(observed.values[stage[0]] - observed.values[0]) * np.log10(end / begin)
        way, noise = np.sign(observed.values[stage[0]] - observed.values[0]), observed.noise.stated
        moved = way * (observed.values[stage[-1]] - observed.values[stage[0]])
        smoothly = pairwise(i for i in stage if i not in alone)
        went = way * sum(observed.values[j] - observed.values[i] for i, j in smoothly if j not in steps)
        back = max(moved, went) < -BACK * noise
        if not back and abs(moved) + 3.0 * noise >= 0.5 * least:
            continue
        entry = words.CREEP_BACKWARDS if back else words.NO_CREEP_SEEN
        shown, fewest = size(float(abs(moved)), run.unit), size(float(least), run.unit)
        return entry(first=run.used[stage[0]], last=run.used[stage[-1]], moved=shown, least=fewest), stage
    return None


def _noise_doubt(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Scatter about the freest curve far above what the gauge is said to have."""
    noise, plain = curve.observed.noise, curve.plain
    free = curve.observed.times.size - curve.observed.zeros.shape[1] - plain.active - len(plain.units)
    seen = float(np.sqrt(plain.residual_sum / max(free, 1)))
    ratio = seen / noise.stated
    if ratio > CONTRADICTING:
        yield _contradiction(run, curve, seen, ratio)
        return
    if free < 1:
        return
    if ratio > NOISE_RATIO and fdtrc(free, noise.degrees, ratio**2) < NOISE_ALARM:
        yield words.NOISE_ABOVE_GAUGE(seen=size(seen, run.unit), ratio=ratio, stated=size(noise.stated, run.unit))


def _contradiction(run: Run, curve: FreestCurve, seen: float, ratio: float) -> Caution:
    """Readings that no creep curve can have: this is no noise, and an answer from them is none."""
    worst = int(np.argmax(np.abs(curve.plain.residuals)))
    stated = size(curve.observed.noise.stated, run.unit)
    return words.READINGS_CONTRADICT(seen=size(seen, run.unit), ratio=ratio, stated=stated, worst=run.used[worst])


def load_step_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Deformation that goes against the load: up where it fell, or down where it was put on."""
    observed = curve.observed
    load = run.history.at(observed.times) * observed.direction
    limit = STEP_SDS * np.sqrt(2.0) * observed.noise.stated
    for i in range(1, load.size):
        change = float(observed.values[i] - observed.values[i - 1]) * observed.direction
        if (observed.zeros[i] != observed.zeros[i - 1]).any():
            continue
        if load[i] < load[i - 1] and change > limit:
            yield words.RISE_WHERE_LOAD_FELL(at=run.used[i], rose=True, change=size(change, run.unit))
        elif load[i] > load[i - 1] and -change > limit:
            yield words.FALL_WHERE_LOAD_ROSE(at=run.used[i], rose=False, change=size(-change, run.unit))


def gauge_doubts(run: Run) -> Iterator[Caution]:
    """Readings at the end of the gauge's travel."""
    limit = run.gauge.range
    if limit is None:
        return
    at_end = [r for r in run.used if abs(r.value - limit) <= RANGE_DIVISIONS * run.gauge.resolution]
    if at_end:
        yield words.GAUGE_RANGE_END(at_end=at_end)
