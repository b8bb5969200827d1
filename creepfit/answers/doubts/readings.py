"""Doubts about the readings: order, outliers, jumps, plateaus, noise, and what the schedule left out."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
from scipy.special import fdtrc

from creepfit.answers.doubts.bench import copied_streak, double_times, load_instead
from creepfit.answers.doubts.slips import undone_event
from creepfit.answers.interval import Caution
from creepfit.answers.wording import moment, moments, size
from creepfit.inference.freest_curve import BELIEVED, Finding, FreestCurve, findings, shift_score, stages
from creepfit.records.run import Run
from creepfit.units import MINUTE, show_number, show_time

FIRST_BY = 1.1 * MINUTE
"""The first reading is due 1 min after loading; a tenth more is a slow hand, not a gap."""

DECADES = 3.0
NOISE_RATIO = 1.5
NOISE_ALARM = 0.005
CONTRADICTING = 6.0
"""Times the gauge's noise from which on what no curve follows is no noise."""

CONTRADICT = "readings-contradict"
STEP_SDS = 3.0
FAR_OFF = 1.0
RANGE_DIVISIONS = 3.0
NEAR = 10.0
LOOK = "what happened at those moments: a knock, a door, a plug"


def logger_doubts(run: Run) -> Iterator[Caution]:
    """More readings than a fit can use: what was made of them, and what was left out."""
    made = run.logger
    if made is None:
        return
    text = (
        f"{made.rows:,} readings were averaged into {made.made}, evenly in the logarithm of the time since the last "
        "load change; each weighs as many as its scatter shows to be independent."
    ).replace(",", " ", (f"{made.rows:,}").count(","))
    if not made.apart:
        yield Caution("averaged", text)
        return
    left = f"{made.apart} that stand" if made.apart > 1 else "one that stands"
    yield Caution("averaged", f"{text} Left out: {left} far from the others around, the first in {made.first}.", LOOK)


def order_doubts(run: Run) -> Iterator[Caution]:
    """Rows that are not in order of time, as typed."""
    rows = [r for r in run.readings if r.row > 0]
    typed = sorted(rows, key=lambda r: r.row)
    late = [b for a, b in pairwise(typed) if b.time < a.time]
    if late:
        yield Caution(
            "out-of-order",
            f"{len(late)} reading{'s stand' if len(late) > 1 else ' stands'} after a later one: "
            f"{moments(late)}. They were sorted by time; if a time or a day was mistyped, the curve "
            "bends at the wrong place and with it the exponent.",
            "compare the times with the notes made at the bench",
        )
    yield from double_times(run)


def schedule_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Early readings, decades of time, the initial reading and readings after unloading."""
    observed = curve.observed
    decades = float(np.log10(observed.span.last / observed.span.first))
    if decades < DECADES:
        yield Caution(
            "short-time-span",
            f"The readings under load span {decades:.1f} decades of time "
            f"({show_time(observed.span.first)} to {show_time(observed.span.last)}); with fewer than 3 "
            "the models agree on the readings and part beyond them.",
            "a reading 1 min after loading" + (", in the next run" if came_off_by_the_end(run) else "")
            if observed.span.first > FIRST_BY
            else later_under_load(run, 1000.0 * observed.span.first),
        )
    if not observed.has_initial:
        yield Caution(
            "no-initial-reading",
            "No reading was taken before loading: only creep increments since the first reading under "
            "load are known, neither the total deformation, nor the creep modulus, nor a permanent set.",
            "a reading before the load goes on, best three",
        )
    if not observed.has_recovery:
        state = "none was taken after the unloading" if run.unloading is not None else "the specimen is still loaded"
        yield Caution(
            "no-recovery-reading",
            f"No reading after an unloading ({state}): flow and permanent set cannot be told from creep "
            "that recovers. Intervals leave both out, and flow of a size that these readings hide can multiply the sag "
            "of later times.",
            "unload and read at 1 min, 1 h and 1 d after it"
            if run.unloading is None or run.unloading > float(observed.times[-1])
            else f"a reading now, and one {show_time(run.test_length)} after the unloading",
        )


def came_off_by_the_end(run: Run) -> bool:
    """Whether the load was off at the last reading: nothing can be read under it any more."""
    return run.unloading is not None and run.unloading < run.used[-1].time


def later_under_load(run: Run, time: float) -> str:
    """Advice to read under load at a time or later: on this specimen where it still hangs, else on the next."""
    if came_off_by_the_end(run):
        return f"a next run that stays under load for {show_time(time)} or longer"
    return f"a reading under load at {show_time(time)} or later"


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
    of = "the gauge's step" if step >= noise else "the standard deviation of the gauge's noise"
    yield Caution(
        "creep-near-resolution",
        f"All creep that was read under one load is {size(creep, _unit(run))}, "
        f"{show_number(creep / finest, digits=2)} times {of} ({size(finest, _unit(run))}): below 10 times a forecast is "
        "mostly what is assumed about plastics in general.",
        _larger_creep(run),
    )


def _larger_creep(run: Run) -> str:
    """What makes creep larger beside the gauge's step, and was not done: bars in bending need not be told of bending."""
    bent = "bending" in run.specimen.test or run.specimen.test == "cantilever"
    bar = "a longer or thinner bar" if bent else "a longer bar, or bending instead of tension"
    bar = "" if run.specimen.test in ("direct", "segments") else f"{bar}; "
    longer = "longer under load" if not came_off_by_the_end(run) else "the next one longer under load"
    return f"a finer gauge; {bar}more load as long as creep stays in proportion; {longer}"


def shape_doubts(run: Run, curve: FreestCurve, sizes_believed: bool = True) -> Iterator[Caution]:
    """What no creep curve can follow: outliers, copied readings, jumps, plateaus, a rate that grows.

    Where sizes or units cannot be right (`sizes_believed` False), nothing is said about rupture.
    """
    found = findings(curve)
    load = [c for c in (load_instead(run, curve, f) for f in found) if c is not None]
    if load:  # under another load than was noted all other findings mean nothing
        yield from load
        return
    plateau = [f for f in found if f.kind == "plateau"] or _never_moved(run, curve)
    copied = [] if plateau else _copied(run, curve, found)
    for i in copied:
        yield _copy_caution(run, i)
    for f in plateau:
        yield _plateau_caution(run, f)
    streaks = [c for c in (copied_streak(run, curve, f) for f in found) if c is not None]
    yield from streaks[:1]
    for f in found:
        if streaks and f.kind == "jump":  # each end of a streak looks like one
            continue
        if f.kind == "outlier" and f.first not in copied:
            yield _outlier_caution(run, curve, f)
        elif f.kind == "jump":
            yield undone_event(run, curve, f) or _jump_caution(run, curve, f)
        elif f.kind == "acceleration" and sizes_believed:
            yield _acceleration_caution(run, curve, f)
    if not found and not copied:
        yield from _noise_doubt(run, curve)


def _outlier_caution(run: Run, curve: FreestCurve, f: Finding) -> Caution:
    reading, off = run.used[f.first], f.size or 0.0
    return Caution(
        "outlier",
        f"The reading at {moment(reading)} lies {size(abs(off), _unit(run))} "
        f"{'above' if off > 0.0 else 'below'} what any creep curve through the others allows. The best "
        "fits take it as read; forecasts leave open how far it is off, and are the wider for it.",
        "look it up in the notes: mistyped, or the set-up touched? Leave it out only with a reason",
    )


def _copy_caution(run: Run, i: int) -> Caution:
    return Caution(
        "copied-reading",
        f"The reading at {moment(run.used[i])} repeats the one before it digit for digit, where the "
        "curve moved on by more than the gauge's noise. A copied reading makes creep seem to stop and "
        "start again.",
        "the note made at the bench; leave the reading out if there is none",
    )


def _jump_caution(run: Run, curve: FreestCurve, f: Finding) -> Caution:
    return Caution(
        "jump",
        f"From {moment(run.used[f.first])} on all readings share a shift of "
        f"{size(f.size or 0.0, _unit(run))} (the gauge or specimen slipped, or was bumped). The best fits "
        "take it for creep; forecasts and the permanent set leave its size open, as a step of its own, and are the "
        "wider for it.",
        'if it is known what happened, note it as an [[event]] (kind = "bumped", or "slipped" to end the run there)',
    )


def _plateau_caution(run: Run, f: Finding) -> Caution:
    return Caution(
        "plateau",
        f"From {moment(run.used[f.first])} to {moment(run.used[f.last])} the readings rest, flatter than "
        "any creep curve: the specimen may touch a stop, or the plunger stick. The forecast then comes "
        "out too small.",
        "tap the gauge and look for contact; press the specimen lightly: the reading has to follow and come back",
    )


def _acceleration_caution(run: Run, curve: FreestCurve, f: Finding) -> Caution:
    return Caution(
        "accelerating",
        f"From {moment(run.used[f.first])} on the deformation grows faster than any creep curve that "
        f"slows down ({size(f.size or 0.0, _unit(run))} more at {moment(run.used[f.last])}). Do not "
        "extrapolate: it may be on the way to rupture, or the specimen slips.",
        "watch it closely from a safe distance; a new specimen at half the load",
    )


def _copied(run: Run, curve: FreestCurve, found: list[Finding]) -> list[int]:
    """Places of readings equal to the one before in every digit although the others say that the curve moved on.

    An outlier that repeats the one before it is one; where nothing else was found a smaller deviation is enough.
    """
    values = [(r.value, r.repeats, r.spread) for r in run.used]
    load = run.history.at(curve.observed.times)
    pairs = [i for stage in stages(curve.observed) for i in stage[1:] if values[i] == values[i - 1] and load[i] != 0.0]
    if found:
        return [f.first for f in found if f.kind == "outlier" and f.first in pairs]
    far = [i for i in pairs if curve.off_curve(i) > FAR_OFF]
    gains = {i: shift_score(curve, i) - 1.0 - np.log(len(pairs)) for i in far}
    return [i for i, gain in gains.items() if gain > BELIEVED - 1.0]


def _never_moved(run: Run, curve: FreestCurve) -> list[Finding]:
    """A loaded stage without creep, where plastics creep by a per cent a decade (common practice, no source)."""
    observed = curve.observed
    load = run.history.at(observed.times)
    if not observed.has_initial:
        return []
    for stage in stages(observed):
        begin, end = observed.times[stage[0]], observed.times[stage[-1]]
        if load[stage[0]] == 0.0 or begin <= 0.0 or len(stage) < 4 or end < 100.0 * begin:
            continue
        least = 0.003 * abs(observed.values[stage[0]] - observed.values[0]) * np.log10(end / begin)
        moved = abs(observed.values[stage[-1]] - observed.values[stage[0]])
        if moved + 3.0 * observed.noise.stated < least:
            return [Finding("plateau", stage[0], stage[-1])]
    return []


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
        yield Caution(
            "noise-above-gauge",
            f"The readings scatter by {size(seen, _unit(run))} about any creep curve, "
            f"{show_number(ratio, digits=2)} times what the gauge is said to have "
            f"({size(noise.stated, _unit(run))}). Intervals were widened; the cause may be temperature, "
            "a loose clamp or a changing observer, and then errors are not independent.",
            "five readings in a row without touching anything, then five with the gauge put on anew",
        )


def _contradiction(run: Run, curve: FreestCurve, seen: float, ratio: float) -> Caution:
    """Readings that no creep curve can have: this is no noise, and an answer from them is none."""
    worst = int(np.argmax(np.abs(curve.plain.residuals)))
    stated = size(curve.observed.noise.stated, _unit(run))
    return Caution(
        CONTRADICT,
        f"The readings contradict each other: no creep curve comes closer to them than {size(seen, _unit(run))}, "
        f"{show_number(ratio, digits=2)} times what the gauge is said to have ({stated}); "
        f"the farthest off is the one at {moment(run.used[worst])}. That is no noise: what is said of creep from them is "
        "not to be used.",
        "that reading in the notes made at the bench: mistyped, the gauge put on anew, the clamp, the load?",
    )


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
            yield _against("rise-where-load-fell", run, i, "rose", "fell", change)
        elif load[i] > load[i - 1] and -change > limit:
            yield _against("fall-where-load-rose", run, i, "fell", "rose", -change)


def _against(code: str, run: Run, i: int, did: str, load_did: str, change: float) -> Caution:
    return Caution(
        code,
        f"At {moment(run.used[i])} the deformation {did} by {size(change, _unit(run))} although the load "
        f"{load_did}. Either the gauge reads the other way round (gauge.falls), or a load or its time is "
        "wrong; nothing that follows can be trusted until that is settled.",
        "press the specimen by hand the way the load does and see which way the reading goes; check the load's times",
    )


def gauge_doubts(run: Run) -> Iterator[Caution]:
    """Readings at the end of the gauge's travel."""
    limit = run.gauge.range
    if limit is None:
        return
    at_end = [r for r in run.used if abs(r.value - limit) <= RANGE_DIVISIONS * run.gauge.resolution]
    if at_end:
        yield Caution(
            "gauge-range-end",
            f"The gauge was at the end of its travel at {moments(at_end)}: the specimen may have gone "
            "further than it shows, and the forecast comes out too small.",
            'set the gauge anew with travel to spare and note an [[event]] (kind = "rezeroed")',
        )


def _unit(run: Run) -> str:
    return "mm" if run.specimen.reading_quantity == "length" else "1"
