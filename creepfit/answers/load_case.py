"""The load a question is about: one held from t = 0, a history of steps, or a duty cycle that repeats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.errors import FitError, InputError
from creepfit.inference.fitting import Fit
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.history_file import LoadPlan, read_load

LOG_TIMES = 160
"""Times between 1 s and the end at which a response is followed."""

CORNERS = 120
"""At most about this many load changes are looked at one by one; of more, a selection even in log time."""


@dataclass(frozen=True)
class LoadCase:
    """Added load over time. `peak` in N (MPa for a run in strain); `plan` None means that `peak` is held."""

    peak: float
    plan: LoadPlan | LoadHistory | None = None

    @property
    def held(self) -> bool:
        return self.plan is None

    @property
    def always_on(self) -> LoadHistory:
        """The peak load held from t = 0."""
        return LoadHistory.held(self.peak)

    def until(self, time: float) -> LoadHistory:
        """The history, complete up to `time` [s]."""
        if self.plan is None:
            return self.always_on
        return self.plan.until(time) if isinstance(self.plan, LoadPlan) else self.plan

    def times(self, end: float) -> Array:
        """Times up to `end` [s] that follow the response: evenly in log time, and every corner of the load.

        A response is largest just before the load comes off, and at exactly that time the load counts as still on.
        """
        grid = np.geomspace(min(1.0, end / 10.0), end, LOG_TIMES if self.held else CORNERS // 2)
        if self.held:
            return grid
        history = self.until(end)
        kept = (history.start > 0.0) & (history.start <= end)
        corners = np.concatenate([history.start[kept], np.minimum(history.end[kept], end)])
        if corners.size > CORNERS:
            growing = history.change[kept] * np.sign(self.peak) > 0.0
            corners = np.concatenate([_latest(history.start[kept][side], grid) for side in (growing, ~growing)])
        return np.unique(np.concatenate([grid, corners]))


def _latest(times: Array, grid: Array) -> Array:
    """The latest of ascending `times` at or before each grid point: so the last peak before the end is always in."""
    before = np.searchsorted(times, grid, side="right") - 1
    return np.asarray(times[np.unique(before[before >= 0])])


def load_case(fit: Fit, load: object, history: LoadPlan | LoadHistory | None) -> LoadCase:
    """The load case of a question.

    Parameters
    ----------
    fit : Fit
    load : str, float or None
        "0.3 kg", "2 N" or a number in N (MPa for a run in strain); None for the run's last load that is not zero.
    history : LoadPlan, LoadHistory or None
        In the place of a load that is held.

    Raises
    ------
    InputError
        Both given, a load that is none, or one to the other side than the run's.
    FitError
        A load that changes where the instantaneous response was not read.
    """
    if history is None:
        return LoadCase(fit.run.working_load if load is None else _held(fit, load))
    if load is not None:
        raise InputError(key="load", found="a load and a history", expected="one of them")
    if not (fit.observed.has_initial or fit.observed.has_recovery):
        raise FitError(
            "under a load that changes the instantaneous response counts, and it was not read: "
            "take a reading before loading, or some after unloading"
        )
    peak = history.peak if isinstance(history, LoadPlan) else _peak(history)
    if peak == 0.0:
        raise InputError("no load", key="history", expected="a load above zero")
    return LoadCase(peak, history)


def _held(fit: Fit, load: object) -> float:
    """A load that is held: in the run's direction, as a specimen tested one way says nothing of the other."""
    value = read_load(load, fit.run)
    if value * fit.run.working_load < 0.0:
        side = "above zero" if value < 0.0 else "below zero"
        raise InputError(key="load", found=load, expected=f"a load {side}, as the run's")
    return value


def _peak(history: LoadHistory) -> float:
    loads = np.cumsum(history.change)
    return float(loads[np.argmax(np.abs(loads))]) if loads.size else 0.0
