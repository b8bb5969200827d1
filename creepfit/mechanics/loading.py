"""Load histories and superposition: how a load that changes in time turns a function of time into a column.

Boltzmann superposition, eps(t) = sum_j dsigma_j D(t - t_j), is the one mechanism behind every answer
(Findley, Lai & Onaran 1976, from memory; Crawford, Plastics Engineering, 3rd ed., section 2.14).
A change that takes time enters through the integral of the creep function over the ramp.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from creepfit.units import HOUR

Array = NDArray[np.float64]
Indices = NDArray[np.intp]
TimeWarp = Callable[[Array], Array]
"""A clock: from the time on the wall to the time a material feels, s."""

DIRECT_LIMIT = 400
"""Above this many load changes `mechanics.long_history` is cheaper than the sum over all of them."""

ROUNDING = 1e-14
"""Part of the sum of all changes that rounding may leave where they cancel."""

SHORT_AND_OLD = 1e-5
"""A ramp this short beside its age acts as a step at its middle, to within its square over 24."""


class TimeFunction(Protocol):
    """A creep function and its integral from zero, both for t >= 0 [s], broadcasting over shapes."""

    def value(self, t: Array, shape: Array | None) -> Array: ...

    def integral(self, t: Array, shape: Array | None) -> Array: ...


@dataclass(frozen=True, eq=False)
class LoadHistory:
    """Load changes in order: change j grows linearly from `start[j]` to `end[j]` (equal for a step).

    Attributes
    ----------
    start, end : ndarray, shape (J,)
        Times in s.
    change : ndarray, shape (J,)
        Load changes in N, or MPa where the specimen takes a stress.
    """

    start: Array
    end: Array
    change: Array

    @classmethod
    def from_steps(cls, steps: Iterable[tuple[float, float, float]]) -> LoadHistory:
        """Build from (at [s], over [s], total load from then on), in order of time."""
        rows = np.array(list(steps), dtype=float).reshape(-1, 3)
        change = np.diff(rows[:, 2], prepend=0.0)
        changes = change != 0.0
        return cls(rows[changes, 0], (rows[:, 0] + rows[:, 1])[changes], change[changes])

    @classmethod
    def held(cls, load: float, start: float = 0.0) -> LoadHistory:
        """One load, put on at `start` [s] and never taken off."""
        return cls.from_steps([(start, 0.0, load)])

    @classmethod
    def joined(cls, histories: Iterable[LoadHistory]) -> LoadHistory:
        """The sum of several histories acting together."""
        parts = list(histories)
        start = np.concatenate([h.start for h in parts])
        order = np.argsort(start, kind="stable")
        return cls(
            start[order],
            np.concatenate([h.end for h in parts])[order],
            np.concatenate([h.change for h in parts])[order],
        )

    def scaled(self, factor: float) -> LoadHistory:
        """The same history with every load multiplied by `factor`."""
        return LoadHistory(self.start, self.end, self.change * factor)

    def with_loads_mapped(self, law: Callable[[Array], Array]) -> LoadHistory:
        """The same history with every total load L replaced by law(L): superposed, it is modified superposition.

        A step from one load to another then adds law(new) - law(old), as Findley and Lai subtract the creep of the old
        load and add that of the new (Findley, Lai & Onaran 1976, from memory). Changes follow one another; ramps stay
        linear in the mapped load. `law` must keep 0.
        """
        total = np.cumsum(self.change)
        return LoadHistory(self.start, self.end, np.diff(law(total), prepend=0.0))

    def warped(self, clock: TimeWarp) -> LoadHistory:
        """The same history on another clock; ramps stay linear, which short ramps are on any smooth clock."""
        start = clock(self.start)
        return LoadHistory(start, start if self._steps.all() else clock(self.end), self.change)

    def until(self, time: float) -> LoadHistory:
        """The changes that began before `time` [s]."""
        before = self.start < time
        return LoadHistory(self.start[before], self.end[before], self.change[before])

    def unloaded(self, time: float, by: float | None = None) -> LoadHistory:
        """The changes that began before `time` [s], and then `by` taken off: all that they come to, if not given."""
        before = self.until(time)
        return LoadHistory.joined([before, LoadHistory.held(-float(before.change.sum()) if by is None else -by, time)])

    @cached_property
    def _steps(self) -> NDArray[np.bool_]:
        return self.end <= self.start

    def at(self, times: Array) -> Array:
        """Load acting at `times` [s], of any shape. At exactly a step's own time it is the load before it.

        Between two changes it is one number, and zero where all that was put on is off again: changes in full by a
        running sum, ramps under way one by one.
        """
        t = np.asarray(times, dtype=float)
        full, load = self._completed
        out = load[np.searchsorted(full, t, side="right")]
        if self._steps.all():
            return np.asarray(out)
        flat = np.sort(np.ravel(t))
        ramp = np.flatnonzero(~self._steps)
        first = np.searchsorted(flat, self.start[ramp], side="right")
        count = np.searchsorted(flat, self.end[ramp], side="left") - first
        which = np.repeat(ramp, count)
        at = np.arange(which.size) + np.repeat(first - (np.cumsum(count) - count), count)
        part = (flat[at] - self.start[which]) / (self.end[which] - self.start[which])
        under_way = np.bincount(at, part * self.change[which], flat.size)
        return np.asarray(out + under_way[np.searchsorted(flat, t)])

    def added(self, times: Array) -> Array:
        """Load at `times` [s], shape (T,), less that at t = 0, which a preload and a plunger press with all the time."""
        return self._without_rounding(self.at(times) - self.at(np.zeros(1)))

    @cached_property
    def _completed(self) -> tuple[Array, Array]:
        """Times (J,) from which changes act in full, ascending, and the load (J + 1,) before and after them."""
        full = np.where(self._steps, np.nextafter(self.start, np.inf), self.end)
        order = np.argsort(full, kind="stable")
        return full[order], self._without_rounding(np.concatenate([[0.0], np.cumsum(self.change[order])]))

    def _without_rounding(self, load: Array) -> Array:
        """Loads with zero in place of what is left of changes that cancel."""
        return np.where(np.abs(load) <= ROUNDING * np.abs(self.change).sum(), 0.0, load)

    def peak(self, times: Array) -> Array:
        """Highest load so far at `times` [s], shape (T,): what a set that comes with the load itself follows.

        Where the first load is below zero it is the lowest so far.
        """
        return RunningLoad(self, times).peak()

    def growth(self, times: Array, exponent: float) -> Array:
        """Return (integral of load^(1/q) dt / 1 h)^q with q = `exponent`, shape (T,).

        Zapas and Crissman's (1984, from memory) functional for strain that stays: under a constant load it is
        load * t^q, it rests while the load is off and goes on from there, and it is proportional to the load.
        q = 1 is flow.
        """
        return RunningLoad(self, times).growth(exponent)


class RunningLoad:
    """Running quantities of a load at some times [s], exactly, on a grid that holds every corner.

    A step's time appears twice, before and after it, so that the load is linear between neighbours.
    """

    def __init__(self, history: LoadHistory, times: Array) -> None:
        t = np.asarray(times, dtype=float)
        knots = np.concatenate([history.start, history.end, t])
        after = np.concatenate([np.zeros_like(history.start), np.ones_like(history.end), np.zeros_like(t)])
        self._order = np.lexsort((after, knots))
        self._knots = knots[self._order]
        self._loads = history.at(np.where(after > 0, np.nextafter(knots, np.inf), knots))[self._order]
        self._corners = 2 * history.start.size
        self._sign = np.sign(history.change[0]) if history.change.size else 1.0

    def peak(self) -> Array:
        """See `LoadHistory.peak`."""
        return self._at_times(np.maximum.accumulate(self._sign * self._loads))

    def growth(self, exponent: float) -> Array:
        """See `LoadHistory.growth`."""
        power = 1.0 / exponent
        low, high = np.abs(self._loads[:-1]), np.abs(self._loads[1:])
        # of two loads that are equal but for rounding, the difference of powers is rounding alone
        level = np.abs(high - low) <= 1e-6 * high
        gap = np.where(level, 1.0, high - low)
        rising = (high ** (power + 1) - low ** (power + 1)) / ((power + 1) * gap)
        mean = np.where(level, (0.5 * (low + high)) ** power, rising)
        total = np.concatenate([[0.0], np.cumsum(mean * np.diff(self._knots) / HOUR)])
        return self._at_times(total**exponent)

    def _at_times(self, running: Array) -> Array:
        out = np.empty_like(running)
        out[self._order] = running
        return np.asarray(self._sign * out[self._corners :])


def superpose(function: TimeFunction, history: LoadHistory, times: Array, shape: Array | None = None) -> Array:
    """Superpose a creep function over a load history by direct, exact summation.

    Parameters
    ----------
    function : TimeFunction
        Creep function of time with its integral.
    history : LoadHistory
        J changes of load.
    times : ndarray, shape (T,)
        Times in s, on the history's clock.
    shape : ndarray, shape (S,), optional
        Values of the function's shape parameter; None for a function without one.

    Returns
    -------
    ndarray, shape (S, T), or (T,) without shapes
        Load times function, N (or MPa) times the function's unit.

    Notes
    -----
    A change acts on times later than its own: a reading at exactly a load's time was taken before it.
    A ramp of length r contributes [Phi(t-start) - Phi(t-end)]/r with Phi the integral of the function.
    """
    return DirectSum(history, times).superpose(function, shape)


class DirectSum:
    """A load history prepared for superposing many functions at the same times, by the sum over its changes.

    Only the pairs of a time and a step before it are worked out, side by side in one row.
    """

    def __init__(self, history: LoadHistory, times: Array) -> None:
        t = np.asarray(times, dtype=float)
        self._count = t.size
        step = history._steps
        elapsed = t[:, None] - history.start[step]
        at, which = np.nonzero(elapsed > 0.0)
        self._elapsed, self._change = elapsed[at, which], history.change[step][which]
        self._first = np.flatnonzero(np.diff(at, prepend=-1))
        self._at = at[self._first]
        # nearly always all times from one on are after a step, and a slice is laid out faster than places
        from_one_on = self._at.size > 0 and self._at.size == self._count - self._at[0]
        self._places = slice(int(self._at[0]), self._count) if from_one_on else self._at
        self._ramps: tuple[Array, ...] = ()
        if not step.all():
            start, end, change = (a[~step] for a in (history.start, history.end, history.change))
            self._ramps = np.maximum(t[:, None] - start, 0.0), np.maximum(t[:, None] - end, 0.0), end - start, change

    def superpose(self, function: TimeFunction, shape: Array | None = None) -> Array:
        """Load times function: (S, T), or (T,) without shapes; see `superpose`."""
        p = None if shape is None else np.asarray(shape, dtype=float)[:, None]
        terms = function.value(self._elapsed, p) * self._change if self._at.size else None
        if terms is not None and self._at.size < self._change.size:
            terms = np.add.reduceat(terms, self._first, axis=-1)
        whole = (self._count,) if p is None else (p.shape[0], self._count)
        if terms is not None and terms.shape == whole and not self._ramps:
            return np.asarray(terms)  # every time is after a step
        out = np.zeros(whole)
        if terms is not None:
            out[..., self._places] = terms
        if self._ramps:
            out += self._of_ramps(function, None if p is None else p[:, :, None])
        return out

    def _of_ramps(self, function: TimeFunction, p: Array | None) -> Array:
        rising, resting, length, change = self._ramps
        terms = np.maximum(function.integral(rising, p) - function.integral(resting, p), 0.0)
        old = length < SHORT_AND_OLD * resting
        if old.any():  # the two integrals would cancel all but a few digits; the middle of the ramp keeps them
            terms = np.where(old, function.value(resting + 0.5 * length, p) * length, terms)
        return np.asarray(terms @ (change / length))
