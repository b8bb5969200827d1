"""A run as a linear problem: readings, zero columns, and one response column for each function of a model."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from creepfit.errors import FitError
from creepfit.inference.noise import Noise, noise_of
from creepfit.mechanics.loading import Array, LoadHistory, TimeWarp
from creepfit.mechanics.long_history import Superposition
from creepfit.models.logarithmic import Logarithm
from creepfit.models.model import CreepModel, Span
from creepfit.records.run import Run

SETTLING_BEFORE = 60.0
"""Hanger and plunger are taken to have acted for a minute when the first reading is made (common practice, no source)."""

FEW = 8
"""Shapes of which it takes no less time to look for those that are alike."""

ONE_MOMENT = 0.01
"""Readings closer together than this share of the time since the load last changed tell one point of the curve."""


@dataclass(frozen=True, eq=False)
class Observations:
    """What a fit needs of a run.

    Attributes
    ----------
    times : ndarray, shape (T,)
        Reading times, s.
    values : ndarray, shape (T,)
        Readings as deformation (rising as the specimen deforms), rig deflection taken off, mm or strain; the zero is in.
    zeros : ndarray, shape (T, Z)
        One column of ones for each stretch of readings with a zero of its own.
    history : LoadHistory
        All that acts on the specimen: the load added, preload and plunger force.
    load : float
        Reference load: the size of the largest added load, N or MPa. Amplitudes are quoted as deformation under it.
    factor : float
        Reading per load and compliance (mm per N per 1/MPa).
    noise : Noise
        Covariance of the values.
    span : Span
        First and last elapsed time under load that was read.
    has_initial, has_recovery : bool
        Whether a reading was taken before loading, and after an unloading.
    """

    times: Array
    values: Array
    zeros: Array
    history: LoadHistory
    load: float
    factor: float
    noise: Noise
    span: Span
    has_initial: bool
    has_recovery: bool

    @cached_property
    def scale(self) -> float:
        """The run's own deformation: how far the readings moved, mm (or strain)."""
        return float(np.ptp(np.append(self.deformation, 0.0))) or self.noise.stated

    @cached_property
    def telling(self) -> int:
        """Readings that can speak for or against a model, those that a zero uses up taken off.

        All before loading tell the zero and no more, and several at one moment tell one point of the curve.
        """
        loaded = self.times[self.times > 0.0]
        since = _since_last_change(self.history, loaded)
        moments, last = 0, (-np.inf, 0.0)
        for time, elapsed in sorted(zip(loaded.tolist(), since.tolist(), strict=True)):
            if time - last[0] > ONE_MOMENT * last[1] or elapsed < last[1]:
                moments, last = moments + 1, (time, elapsed)
        return moments + int((self.times <= 0.0).any()) - int(self.zeros.shape[1])

    @property
    def _rough_zero(self) -> Array:
        # stretches after a new zero are laid end to end, which is all a scale needs
        if not self.zeros.shape[1]:
            return np.empty(0)
        firsts = [int(np.flatnonzero(column)[0]) for column in self.zeros.T]
        shifts = [self.values[firsts[0]]]
        for first in firsts[1:]:
            before = self.values[first - 1] - shifts[-1]
            shifts.append(self.values[first] - before)
        return np.array(shifts)

    @cached_property
    def deformation(self) -> Array:
        """Rough deformation since the first reading, for starting values and figures, shape (T,)."""
        return self.values - self.zeros @ self._rough_zero

    @cached_property
    def moved(self) -> Array:
        """The same since the mean of the initial readings, where there are any: what figures show, shape (T,)."""
        initial = self.deformation[self.times <= 0.0]
        return self.deformation - (initial.mean() if initial.size else 0.0)

    def response(self, model: CreepModel, shapes: Array, clock: TimeWarp | None = None) -> Array:
        """Response columns, mm per 1/MPa.

        Parameters
        ----------
        model : CreepModel
            The model with K functions of time.
        shapes : ndarray, shape (S, d)
            Shape values.
        clock : callable, optional
            Warp of the time axis.

        Returns
        -------
        ndarray, shape (S, T, K)
        """
        out = np.empty((shapes.shape[0], self.times.size, len(model.terms)))
        for k, term in enumerate(model.terms):
            if term.axis is None:
                out[:, :, k] = self.loads.column(term, clock=clock)
                continue
            if shapes.shape[0] <= FEW:
                out[:, :, k] = self.loads.column(term, shapes[:, term.axis], clock)
                continue
            # on a product grid each axis has few different values: superpose each once
            values, where = np.unique(shapes[:, term.axis], return_inverse=True)
            out[:, :, k] = self.loads.column(term, values, clock)[where]
        return self.factor * out

    @cached_property
    def direction(self) -> float:
        """Sign of the load where it is largest, 1 or -1: under a load below zero a specimen deforms below zero."""
        loads = np.cumsum(self.history.change)
        return -1.0 if loads.size and loads[np.argmax(np.abs(loads))] < 0.0 else 1.0

    def instant_column(self) -> Array:
        """Deformation at the readings per unit of instantaneous deformation under the reference load, shape (T,)."""
        return np.asarray(self.history.at(self.times) / self.load)

    def by_run(self) -> Sequence[tuple[Observations, float | None, float | Array]]:
        """Each run in it, in the order of the readings, with two more things.

        Its specimen's age at first loading, s, None where that is the age the mixture was made for; and its deformation
        under its own reference load where that of these observations is 1, of shape (T,) where that is not one number.
        """
        return ((self, None, 1.0),)

    @cached_property
    def loads(self) -> Superposition:
        """The readings' load history, with what all members of a mixture share worked out once."""
        return Superposition(self.history, self.times)

    def peak_column(self) -> Array:
        """What a set that comes with the load adds to the readings per compliance, mm per 1/MPa, shape (T,)."""
        return np.asarray(self.factor * self.loads.peak())

    def smooth_columns(self, order: int) -> Array:
        """Columns of a flexible curve that favours no model: a polynomial in log time, and recovery; shape (T, K)."""
        held = self.instant_column()
        since = np.log1p(np.maximum(self.times, 0.0))
        columns = [held * (since / 10.0) ** p for p in range(order + 1)]
        if self.has_recovery:
            columns.append(self.loads.column(Logarithm()))
        return np.array(columns).T

    def with_values(self, values: Array) -> Observations:
        """The same run with other readings, shape (T,): simulation and refits."""
        return replace(self, values=values)


def observations(run: Run) -> Observations:
    """Turn a run into a linear problem.

    Raises
    ------
    FitError
        Where no reading was taken under load.
    """
    used = run.used
    times = np.array([r.time for r in used])
    raw = np.array([r.value for r in used])
    added = run.history.at(times)
    values = run.gauge.sign * raw - run.rig.compliance * added
    zeros = _zero_columns(run, times)
    under_load = times[(added != 0.0) & (times > 0.0)]
    if under_load.size == 0:
        raise FitError("no reading was taken under load; creep shows only there, so read while the load hangs")
    elapsed = _since_last_change(run.history, under_load)
    span = Span(float(max(elapsed.min(), 1e-3)), float(under_load.max()))
    unloaded = times[(added == 0.0) & (times > 0.0)]
    draft = Observations(
        times,
        values,
        zeros,
        _acting(run, times),
        abs(run.peak_load),
        run.specimen.geometry.reading_per_compliance,
        Noise(1.0, 1.0, np.eye(times.size), 0.0, ""),
        span,
        bool(run.initial),
        bool(unloaded.size),
    )
    return replace(draft, noise=noise_of(run, draft.deformation))


def _zero_columns(run: Run, times: Array) -> Array:
    """Columns of ones, shape (T, Z): a new one begins after each event that moved the zero.

    As with loads, a reading at exactly an event's time was taken before it.
    """
    starts = sorted(e.at for e in run.events if not e.ends_run)
    stretch = np.searchsorted(np.array(starts), times, side="left")
    present = np.unique(stretch)
    return np.asarray(stretch[:, None] == present[None, :], dtype=float)


def _acting(run: Run, times: Array) -> LoadHistory:
    """The added load with what was there before: hanger, and the gauge's plunger.

    A plunger that is pushed in as the specimen deforms pushes back; one that follows pushes along. It presses where it
    reads, so it counts as the load that would move the reading as far.
    """
    plunger = run.gauge.force * run.specimen.geometry.plunger_share
    before = run.rig.preload + (plunger if run.gauge.falls else -plunger)
    if before == 0.0:
        return run.history
    first = min(float(times[0]), 0.0) - SETTLING_BEFORE
    return LoadHistory.joined([LoadHistory.held(before, first), run.history])


def _since_last_change(history: LoadHistory, times: Array) -> Array:
    """Time since the latest load change began, s, shape (T,)."""
    latest = np.searchsorted(history.start, times, side="left") - 1
    return np.asarray(times - history.start[np.maximum(latest, 0)])
