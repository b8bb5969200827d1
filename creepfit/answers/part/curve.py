"""The sag of a part over time with its band, for a figure."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.answers.part.loads import Courses
from creepfit.answers.part.response import PartResponse
from creepfit.inference.response import Predicted
from creepfit.mechanics.loading import Array
from creepfit.units import MINUTE

POINTS = 80


@dataclass(frozen=True, eq=False)
class SagCurve:
    """Times [s] with low, median and high of the sag [mm], each of shape (T,).

    Where loads go on and off the curve is that of the peaks, just before they come off; `troughs`, just before they go
    on again, and `always_on` stand beside it, and are None otherwise.
    """

    times: Array
    low: Array
    median: Array
    high: Array
    troughs: SagCurve | None = None
    always_on: SagCurve | None = None


def sag_curve(response: PartResponse, end: float, level: float) -> SagCurve:
    """The curve up to a time [s]."""
    courses = response.courses
    peaks, troughs = _times(courses, end)
    creep = response.creep(np.concatenate([peaks, troughs]))
    main = _band(response.sag(tuple(c.at(peaks) for c in creep)), peaks, level)
    if courses.always_on:
        return main
    grid = _grid(end)
    always = _band(response.sag(response.creep(grid, held=True)), grid, level)
    low = _band(response.sag(tuple(c.at(troughs) for c in creep)), troughs, level) if troughs.size else None
    return SagCurve(main.times, main.low, main.median, main.high, low, always)


def _band(sag: Predicted, times: Array, level: float) -> SagCurve:
    return SagCurve(times, *sag.ends(level))


def _grid(end: float) -> Array:
    return np.geomspace(min(MINUTE, end / 10.0), end, POINTS)


def _times(courses: Courses, end: float) -> tuple[Array, Array]:
    """Times of the curve, and of the troughs beside it: of the duty with most leverage, none without a duty."""
    grid = _grid(end)
    reach = np.abs(courses.leverage().all[0])
    cyclic = [(reach[k], plan) for k, plan in enumerate(courses.plans) if plan.period is not None]
    if cyclic:
        plan = max(cyclic, key=lambda pair: pair[0])[1]
        period = plan.period or np.inf
        number = np.unique(np.maximum(np.ceil((grid - plan.starts) / period) - 1.0, 0.0))
        first = grid[grid < plan.starts + plan.on]
        peaks = np.concatenate([first, plan.starts + number * period + plan.on])
        troughs = plan.starts + (number + 1.0) * period
        within = peaks <= end
        return (peaks[within] if within.any() else peaks[:1]), troughs[troughs <= end]
    if courses.always_on:
        return grid, np.empty(0)
    starts = np.concatenate([history.start for history in courses.histories(end)])
    corners = np.unique(starts[(starts > 0.0) & (starts < end)])
    # just before and just after each change, so that a drawn line falls and rises upright
    return np.unique(np.concatenate([grid, corners, np.nextafter(corners, np.inf)])), np.empty(0)
