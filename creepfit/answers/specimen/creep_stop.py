"""When does creep stop? When the change over a window stays under a threshold, always with what is still to come.

On a logarithmic time axis creep that follows t^n never stops; a model that levels off (n < 0) is no stop either, as the
readings of a short test cannot tell it from one that does not.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.heading import heading
from creepfit.answers.interval import Interval, interval
from creepfit.answers.response import response, unaged_draws
from creepfit.answers.specimen.increments import increments
from creepfit.answers.wording import size, size_with_range
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.units import HOUR, quantity, show_time

if TYPE_CHECKING:
    from pandas import DataFrame

FURTHEST = 10.0
"""A stop is looked for up to ten times the test: one decade is the preferred limit of an extrapolation."""

SHARE = 0.01
"""Default threshold as a share of the deformation at the end of the test."""


@dataclass(frozen=True)
class CreepStop:
    """When the change over a window is under the threshold, and what is still to come.

    Attributes
    ----------
    threshold, threshold_from : float, str
        In `unit`, and where it comes from.
    window : float
        s.
    time : float or None
        Earliest time since first loading, not before the end of the readings, from which the change over the window is
        under the threshold with probability `level`, s; None where `why` says so.
    by, still_to_come : float, Interval
        Change, counted along the load, from the last reading under load to `by` [s] under the working load.
    end_of_data : float
        Last reading under load, s.
    stopped : str
        "no", "gauge only", "material" or "cannot be told"; `sentence` says it in words.
    """

    threshold: float
    threshold_from: str
    window: float
    time: float | None
    why: str
    by: float
    still_to_come: Interval
    end_of_data: float
    stopped: str
    sentence: str
    unit: str
    level: float
    head: dict[str, Any] = field(repr=False)

    def contents(self) -> dict[str, Any]:
        """The answer without its heading, as it stands inside a fit."""
        return {
            "threshold": self.threshold,
            "threshold_from": self.threshold_from,
            "unit": self.unit,
            "window_h": self.window / HOUR,
            "time_h": None if self.time is None else self.time / HOUR,
            "why": self.why,
            "still_to_come": {
                "from_h": self.end_of_data / HOUR,
                "by_h": self.by / HOUR,
                **self.still_to_come.to_dict(),
                "unit": self.unit,
            },
            "stopped": self.stopped,
            "sentence": self.sentence,
        }

    def to_dict(self) -> dict[str, Any]:
        return {**self.head, "creep_stop": self.contents()}

    def table(self) -> DataFrame:
        """One row."""
        from pandas import json_normalize

        return json_normalize(self.contents())


def creep_stop(
    fit: Fit, window: str | float = "7 d", threshold: str | float | None = None, by: str | float = "1 year"
) -> CreepStop:
    """Earliest time from which the change over a window is under a threshold, the working load held.

    Parameters
    ----------
    fit : Fit
    window, by : str or float
        Times ("7 d") or s; `by` counts from first loading.
    threshold : str or float, optional
        Length ("0.01 mm"), or strain for a run in strain; by default the larger of the gauge's resolution and 1 % of
        the deformation at the end of the test.

    Raises
    ------
    InputError
        A window or threshold not above zero, or `by` not after the last reading under load.
    """
    end = fit.run.test_length
    span, until = _time(window, "window"), _time(by, "by")
    if until <= end:
        expected = f"a time after the last reading under load, {show_time(end)}"
        raise InputError(key="by", found=show_time(until), expected=expected)
    limit, origin = _threshold(fit, threshold, end)
    # ageing slows creep at a rate known from other materials only: it may not bring the stop forward
    pools = [d for d in (fit.draws, unaged_draws(fit)) if d is not None]
    time, why = _earliest(fit, pools, end, span, limit)
    to_come = _to_come(fit, pools, end, until)
    stopped, sentence = _stopped(fit, to_come, until, limit)
    return CreepStop(
        limit, origin, span, time, why, until, to_come, end, stopped, sentence, fit.unit, fit.level, heading(fit)
    )


def working_history(fit: Fit) -> LoadHistory:
    """The loads added in the run, the last of them left on."""
    off = fit.run.unloading
    return fit.run.history if off is None else fit.run.history.until(off)


def _time(given: str | float, key: str) -> float:
    value = quantity(given, "time", key=key) if isinstance(given, str) else float(given)
    if not 0.0 < value < np.inf:
        raise InputError(key=key, found=given, expected='a time above zero such as "7 d"')
    return value


def _threshold(fit: Fit, given: str | float | None, end: float) -> tuple[float, str]:
    if given is not None:
        kind = fit.run.specimen.reading_quantity
        value = quantity(given, kind, key="threshold") if isinstance(given, str) else float(given)
        if not 0.0 < value < np.inf:
            expected = 'a strain above zero such as "0.01 %"' if kind == "strain" else 'such as "0.01 mm", above zero'
            raise InputError(key="threshold", found=given, expected=expected)
        return value, "as asked"
    resolution = fit.run.gauge.resolution
    if fit.observed.has_initial:
        at_end = response(fit, fit.draws, working_history(fit), np.array([end]))
        deformation = float(np.median(np.abs(at_end)))
        name = f"1 % of the {fit.quantity} at the end of the test"
    else:
        deformation, name = fit.observed.scale, "1 % of the change the readings show (there is no initial reading)"
    share = SHARE * deformation
    return (share, name) if share > resolution else (resolution, "the gauge's resolution")


def _earliest(fit: Fit, pools: list[Draws], end: float, window: float, limit: float) -> tuple[float | None, str]:
    """The time and the words beside it; the crossing is bracketed on a coarse grid and found on a fine one."""
    times = np.geomspace(end, FURTHEST * end, 41)
    sure = _probability(fit, pools, times, window, limit) >= fit.level
    words = f"the next {show_time(window)} bring less than {size(limit, fit.unit)} with probability {fit.level:g}"
    if sure[0]:
        return end, f"from the last reading under load on, {words}; the readings do not tell since when"
    if not sure.any():
        return None, f"not within ten times the test ({show_time(FURTHEST * end)}) can it be said that {words}"
    k = int(np.argmax(sure))
    fine = np.geomspace(times[k - 1], times[k], 33)
    found = fine[int(np.argmax(_probability(fit, pools, fine, window, limit) >= fit.level))]
    return float(found), f"from then on, {words}"


def _probability(fit: Fit, pools: list[Draws], times: Array, window: float, limit: float) -> Array:
    """Least probability of the pools, shape (T,), that the change over the next window is under the limit."""
    history = working_history(fit)
    chances = []
    for draws in pools:
        ends = response(fit, draws, history, np.concatenate([times, times + window]))
        change = ends[:, times.size :] - ends[:, : times.size]
        chances.append((np.abs(change) < limit).mean(axis=0))
    return np.asarray(np.min(chances, axis=0))


def _to_come(fit: Fit, pools: list[Draws], end: float, until: float) -> Interval:
    """Change between two times under the working load; the upper end is the highest of pools.

    Under a load that is held nothing creeps back, so draws whose model discrepancy says so count as no change.
    """
    found = []
    for draws in pools:
        ends = response(fit, draws, working_history(fit), np.array([end, until]))
        change = fit.observed.direction * (ends[:, 1] - ends[:, 0])
        found.append(interval(np.maximum(change, 0.0), fit.level))
    return Interval(found[0].low, found[0].median, max(i.high for i in found))


def _stopped(fit: Fit, to_come: Interval, by: float, limit: float) -> tuple[str, str]:
    """Whether the material or only the gauge stopped: the last change read, its error, and what is still to come."""
    rows = [r for r in increments(fit) if r.change is not None]
    future = f"{size_with_range(to_come, fit.unit)} still to come by {show_time(by)}, level {fit.level:g}"
    if not rows:
        return "cannot be told", f"No two readings under one load and one zero to compare; the models see {future}."
    last = rows[-1]
    error = last.std_error or 0.0
    change = last.change or 0.0
    read = (
        f"between {show_time(last.start)} and {show_time(last.end)} the reading changed by "
        f"{size(change, fit.unit)}, standard error {size(error, fit.unit)}"
    )
    if last.distinguishable and change * fit.observed.direction > 0.0:
        return "no", f"Creep goes on: {read}, more than the gauge's noise; {future}."
    if to_come.low > limit:
        return "gauge only", (
            f"Only the gauge has stopped, not the material: {read}, which it cannot tell from zero, yet there is {future}."
        )
    if to_come.high < limit:
        return "material", (
            f"The material has stopped as far as the threshold of {size(limit, fit.unit)} goes: {read}; {future}."
        )
    return "cannot be told", (
        f"Whether the material or only the gauge has stopped cannot be told yet: {read}, "
        f"which it cannot tell from zero; {future}."
    )
