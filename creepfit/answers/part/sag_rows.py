"""Sag of a part at single times: those asked for, the largest and smallest around them, and what is left unloaded."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from creepfit.answers.interval import Interval, IntervalAt
from creepfit.answers.part.loads import CourseCreep
from creepfit.answers.part.response import PartResponse
from creepfit.answers.part.segment_shares import SegmentShare, segment_shares
from creepfit.mechanics.load_plan import follow
from creepfit.mechanics.loading import Array
from creepfit.units import HOUR, MINUTE

FOLLOWED = 24
"""Times in log time at which a sag is followed for its largest, besides every change of a load."""


@dataclass(frozen=True)
class SagRow:
    """Sag at one time asked for, s and mm.

    Where loads come and go, `peak` is the largest sag up to that time, `trough` the smallest of the last cycle, then or
    just before a load changes, and `always_on` is the sag with all loads on from the start.
    """

    time: float
    interval: Interval
    decades_beyond: float
    peak: IntervalAt | None = None
    trough: IntervalAt | None = None
    always_on: Interval | None = None

    def to_dict(self) -> dict[str, Any]:
        row: dict[str, Any] = {
            "time_h": self.time / HOUR,
            **self.interval.to_dict(),
            "decades_beyond": self.decades_beyond,
        }
        for name in ("peak", "trough", "always_on"):
            value = getattr(self, name)
            if value is not None:
                row[name] = value.to_dict()
        return row


@dataclass(frozen=True)
class Unloaded:
    """What is left of the sag `after` s after all loads but the part's own weight came off at `off_at` [s], mm."""

    off_at: float
    after: float
    interval: Interval

    def to_dict(self) -> dict[str, float]:
        return {"unloaded_at_h": self.off_at / HOUR, "after_h": self.after / HOUR, **self.interval.to_dict()}


def rows_at(
    response: PartResponse, times: Array, level: float
) -> tuple[tuple[SagRow, ...], IntervalAt, tuple[SegmentShare, ...]]:
    """Sag at the times asked for, right after loading, and who contributes at the latest of them."""
    courses = response.courses
    cycles = [courses.cycle(float(t)) for t in times]
    first = courses.first_loading
    loaded = min([first + MINUTE, *(plan.starts + plan.on for plan in courses.plans)])
    creep = response.creep(np.concatenate([times, *cycles, [loaded]]))
    intervals = _at(response, creep, times, level)
    beside: list[Interval | None] = [None] * times.size
    if not courses.always_on:
        held = response.creep(times, held=True)
        beside = list(_at(response, held, times, level))
    rows = []
    for i, t in enumerate(times):
        moments = [
            IntervalAt(float(c), size) for c, size in zip(cycles[i], _at(response, creep, cycles[i], level), strict=True)
        ]
        peak = None if courses.always_on else _largest_until(response, float(t), level)
        trough = min(moments, key=lambda m: abs(m.interval.median), default=None)
        beyond = response.fit.decades_beyond(t)
        rows.append(SagRow(float(t), intervals[i], beyond, peak, trough, beside[i]))
    last = rows[int(np.argmax(times))]
    moment = last.time if last.peak is None else last.peak.time
    shares = segment_shares(response, creep[0].at([moment]))
    return tuple(rows), IntervalAt(loaded, _at(response, creep, np.array([loaded]), level)[0]), shares


def _largest_until(response: PartResponse, time: float, level: float) -> IntervalAt:
    """The largest sag up to a time [s], downward or upward, and when its median comes."""
    courses = response.courses
    moments = np.unique(np.concatenate([follow(courses.plans, time, FOLLOWED), courses.cycle(time), [time]]))
    moments = moments[(moments > 0.0) & (moments <= time)]
    along = response.sag(response.creep(moments))
    middle = np.median(along.draws, axis=0)
    place = int(np.argmax(np.abs(middle)))
    way = 1.0 if middle[place] >= 0.0 else -1.0
    largest = along.map(lambda draws: way * (way * draws).max(axis=1, keepdims=True))
    return IntervalAt(float(moments[place]), largest.intervals(level)[0])


def _at(response: PartResponse, creep: tuple[CourseCreep, ...], times: Array, level: float) -> list[Interval]:
    if times.size == 0:
        return []
    return response.sag(tuple(c.at(times) for c in creep)).intervals(level)


def left_at(response: PartResponse, off_at: float, after: Array, level: float) -> tuple[Unloaded, ...]:
    """What is left at times [s] after all loads but the part's own weight came off at `off_at` [s]."""
    times = off_at + after
    sizes = _at(response, response.creep(times, off_at=off_at), times, level)
    return tuple(Unloaded(off_at, float(a), i) for a, i in zip(after, sizes, strict=True))
