"""Doubts about what was written down at the bench: times of the load, columns, rows typed twice, readings copied.

Such a mistake looks like a slip of the gauge or like rupture, and what is advised against those would make it worse.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

import numpy as np

from creepfit.answers.doubts.catalogue import readings as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.inference.freest_curve import Finding, FreestCurve, stages
from creepfit.records.run import LoadStep, Reading, Run

UNSEEN = 0.3
"""A load change that moved the gauge by less than this part of the jump beside it did not happen when noted."""

ABOUT = 2.0
"""A jump within this factor of what the load is known to do may be the load."""

MOST_STRAIN = 0.2
"""Largest strain that a creep test of a plastic under a steady load is believed to reach (common practice, no source)."""

CLOSE_TIMES, FAR_READINGS = 2.0, 100.0
"""Latest over first time under load, and largest over smallest reading, of columns that were swapped: times of a creep
test are spread over decades and readings are not."""

NOTHING = 1e-9
"""A reading below this share of the largest one is zero."""

STREAK = 3
"""Equal readings in a row, with a jump behind them, that are asked about."""

FEW_DOUBLES = 0.25
"""Share of the times that may be there twice: where there are more, several readings at a time are a habit."""


def wrong_columns(run: Run, curve: FreestCurve) -> Caution | None:
    """Columns that were swapped, or readings in a wrong unit: nothing else can be said of the shape then."""
    times, values = curve.observed.times, np.abs([r.value for r in run.used])
    loaded, moved = times[times > 0.0], values[values > NOTHING * values.max(initial=0.0)]
    if loaded.size >= 3 and moved.size >= 3:
        spread, read = loaded.max() / loaded.min(), moved.max() / moved.min()
        if spread < CLOSE_TIMES and read > FAR_READINGS:
            return words.COLUMNS_SWAPPED(first=loaded.min(), last=loaded.max(), spread=read)
    per_reading = run.specimen.geometry.strain_per_reading
    strain = 0.0 if per_reading is None else float(np.max(np.abs(curve.observed.deformation))) * per_reading
    if strain > MOST_STRAIN:
        return words.ABSURD_STRAIN(strain=size(strain, "1"))
    return None


def double_times(run: Run) -> Iterator[Caution]:
    """Two readings at one time under load or after it: different ones, or the same one typed twice."""
    rows = sorted((r for r in run.used if r.row > 0 and r.time > 0.0), key=lambda r: r.time)
    groups = [list(g) for _, g in groupby(rows, key=lambda r: r.time)]
    twice = [g for g in groups if len({r.value for r in g}) > 1]
    few = max(1.0, FEW_DOUBLES * len(groups))
    if twice and len(twice) <= few:
        yield words.SAME_TIME_TWICE(twice=[r for g in twice for r in g])
    same = [g for g in groups if len(g) > 1 and len({r.value for r in g}) == 1]
    if same and len(same) <= few:
        yield words.ROW_TWICE(twice=[r for g in same for r in g])


def load_instead(run: Run, curve: FreestCurve, f: Finding) -> Caution | None:
    """A jump (or a first reading off the curve) that is a load put on or taken off at another time than noted."""
    if f.kind not in ("jump", "outlier") or not f.size:
        return None
    place = _place(curve, f)
    for step, change in _steps_beside(run, curve, place, outlier=f.kind == "outlier"):
        shift = -f.size if f.kind == "outlier" else f.size
        if shift * change * curve.observed.direction <= 0.0 or not _as_big(run, curve, abs(f.size), step, change):
            continue
        seen = _seen_at(curve, step.at)
        if seen is None or abs(seen) < UNSEEN * abs(f.size):
            return _load_caution(run, curve, f, place, step, change)
    return None


def _place(curve: FreestCurve, f: Finding) -> int:
    """The first reading after the shift: behind an outlier that begins a stage, the next one."""
    return min(f.first + 1, curve.observed.times.size - 1) if f.kind == "outlier" else f.first


def _steps_beside(run: Run, curve: FreestCurve, place: int, outlier: bool) -> list[tuple[LoadStep, float]]:
    """The load change before a reading and the one after it, with how much each adds."""
    time = float(curve.observed.times[place])
    values = [0.0, *(s.value for s in run.steps)]
    changes = [(s, (s.value - before) * curve.observed.direction) for s, before in zip(run.steps, values, strict=False)]
    before = [c for c in changes if c[0].at < time][-1:]
    if outlier:  # only a reading right behind a load change can have been taken before it
        first = place - 1
        stage = next(s for s in stages(curve.observed) if first in s)
        return before if before and stage[0] == first and first > 0 else []
    return before + [c for c in changes if c[0].at >= time][:1]


def _seen_at(curve: FreestCurve, time: float) -> float | None:
    """How far the readings moved across a moment; None where there is none on one side."""
    times, values = curve.observed.times, curve.observed.values
    before, after = np.flatnonzero(times <= time), np.flatnonzero(times > time)
    return float(values[after[0]] - values[before[-1]]) if before.size and after.size else None


def _as_big(run: Run, curve: FreestCurve, shift: float, step: LoadStep, change: float) -> bool:
    """Whether a jump is about as large as other load changes say this one is; True where there is no other to tell."""
    expected, before = [], 0.0
    for other in run.steps:
        seen, added, before = _seen_at(curve, other.at), other.value - before, other.value
        if other is not step and seen is not None and added != 0.0 and abs(seen) > UNSEEN * shift:
            expected.append(abs(seen / added * change))
    return not expected or any(max(shift / t, t / shift) < ABOUT for t in expected)


def _load_caution(run: Run, curve: FreestCurve, f: Finding, place: int, step: LoadStep, change: float) -> Caution:
    before: Reading = run.used[place - 1]
    seen = _seen_at(curve, step.at)
    return words.LOAD_TIME(
        before=before,
        after=run.used[place],
        size=size(abs(f.size or 0.0), run.unit),
        put_on=change > 0.0,
        at=step.at,
        seen=seen is not None,
        moved=None if seen is None else size(abs(seen), run.unit),
    )


def copied_streak(run: Run, curve: FreestCurve, f: Finding) -> Caution | None:
    """Equal readings in a row that end where the readings jump: copied, or a plunger that stuck and let go."""
    if f.kind not in ("jump", "outlier"):
        return None
    stage = next(s for s in stages(curve.observed) if f.first in s)
    used, first = run.used, f.first - 1
    while first > stage[0] and used[first - 1].value == used[f.first - 1].value:
        first -= 1
    count = f.first - first
    if first < stage[0] or count < STREAK or run.history.at(curve.observed.times[stage[0] : stage[0] + 1])[0] == 0.0:
        return None
    return words.COPIED_STREAK(
        count=count,
        first=used[first],
        last=used[f.first - 1],
        jump=size(used[f.first].value - used[f.first - 1].value, run.unit),
    )
