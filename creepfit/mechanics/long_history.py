"""Superposition over load histories of many changes in one pass: hourly loads over years, daily use.

Every creep function is a spring, a dashpot and exponentials with retardation rates e^(j h) on one fixed grid,
plus the rates of Kelvin units. One pass over the load changes gives the load, its integral and the decaying
share of the load at every rate; every function at every shape value is then a weight vector on those states.
(Trapezoidal rule for the spectrum of retardation rates: relative error exp(-pi^2/h), at all times alike.)
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import exprel

from creepfit.mechanics.loading import DIRECT_LIMIT, Array, DirectSum, LoadHistory, RunningLoad, TimeFunction, TimeWarp

STEP = 0.5
"""Step h of the grid in ln(rate); exp(-pi^2/h) = 3e-9, recovery, a difference of large numbers, needs it."""

SLOWEST = 1e-6
"""Slowest rate of the grid times the length of the history: all below act as one dashpot to within 1e-7."""

FORGOTTEN = 40.0
"""Rate times age beyond which a change has no influence left: exp(-40) = 4e-18."""

SLOW = 8.0
"""Rate times longest age between output times up to which moments of the ages replace the exponentials."""

MOMENTS = 28
"""How many: with ages counted from the middle of their range, the series ends at (SLOW/2)^28/28! = 2e-13."""


class ModalWeights(Protocol):
    """Spring (S,), dashpot (S,) per s and weights (S, R) of the exponentials, over shapes and rates."""

    @property
    def spring(self) -> Array: ...

    @property
    def dashpot(self) -> Array: ...

    @property
    def weights(self) -> Array: ...


class ModalFunction(TimeFunction, Protocol):
    """A creep function that knows its weights on the grid; one with rates of its own needs no others."""

    def modes(self, rates: Array, step: float, shape: Array | None) -> ModalWeights: ...

    def own_rates(self, shape: Array | None) -> Array: ...


class LongHistory:
    """A load history prepared for superposing many functions at the same times, in one pass over its changes.

    Each change counts towards the first output time after it; the states go from one output time to the next
    by x(t + dt) = x(t) exp(-rate dt) + the changes between. Ramps are split at output times.

    Parameters
    ----------
    history : LoadHistory
        J changes of load, on the clock of `times`.
    times : ndarray, shape (T,)
        Output times in s, in any order.
    shortest : float
        Shortest time constant of the functions in s (the offset of a power family, 1 s). The pure power of
        time has none: within this time after a change it is only approximate.
    """

    def __init__(self, history: LoadHistory, times: Array, shortest: float = 1.0) -> None:
        self._times, self._where = np.unique(np.asarray(times, dtype=float), return_inverse=True)
        start, end, self._change, block = _pieces(history, self._times)
        self._blocks = _Blocks(block, self._times.size)
        self._length = end - start
        self._age = self._times[block] - end
        self._ramps = bool(self._length.any())
        longest = float((self._age + self._length).max(initial=0.0))
        self._longest = longest if longest > np.finfo(float).tiny else shortest  # of less there is no inverse
        extent = max(float(self._times[-1] - start.min()), shortest) if start.size else shortest
        first, last = np.floor(np.log(SLOWEST / extent) / STEP), np.ceil(np.log(FORGOTTEN / shortest) / STEP)
        self._grid = np.exp(STEP * np.arange(first, last + 1.0))
        self._known: dict[bytes, Array] = {}

    def superpose(self, function: ModalFunction, shape: Array | None = None) -> Array:
        """Superpose a creep function over the history, to 1e-7 of its value under the highest load.

        Parameters
        ----------
        function : ModalFunction
            Creep function of time.
        shape : ndarray, shape (S,), optional
            Values of the function's shape parameter; None for a function without one.

        Returns
        -------
        ndarray, shape (S, T), or (T,) without shapes
            Load times function, as `loading.superpose`.
        """
        own = function.own_rates(shape)
        rates = np.unique(own) if own.size else self._grid
        modes = function.modes(rates, STEP, shape)
        key = rates.tobytes()
        if key not in self._known:
            self._known[key] = self._decaying(rates)
        load, integral = self._load_and_integral
        out = modes.spring[:, None] * load + modes.dashpot[:, None] * integral
        out = (out + modes.weights @ (load - self._known[key]))[:, self._where]
        return np.asarray(out[0] if shape is None else out)

    @cached_property
    def _load_and_integral(self) -> tuple[Array, Array]:
        """Load (T,) and its integral over time in s (T,) at the sorted output times."""
        load = np.cumsum(self._blocks.sum(self._change))
        between = self._blocks.sum(self._change * (self._age + 0.5 * self._length))
        between[1:] += load[:-1] * np.diff(self._times)
        return load, np.cumsum(between)

    def _decaying(self, rates: Array) -> Array:
        """Sum of changes times exp(-rate age), at ascending rates and sorted output times: (R, T)."""
        slow = int(np.searchsorted(rates * self._longest, SLOW))
        out = np.empty((rates.size, self._times.size))
        out[:slow] = self._slow(rates[:slow])
        self._fast(rates[slow:], out[slow:])
        if rates.size:
            passing = np.exp(-np.outer(np.diff(self._times), rates))
            for i in range(1, self._times.size):
                out[:, i] += out[:, i - 1] * passing[i - 1]
        return out

    def _slow(self, rates: Array) -> Array:
        """Modes that decay little between two output times, by the power series of the exponential."""
        half = 0.5 * rates[:, None] * self._longest
        series = np.cumprod(np.hstack([np.exp(-half), -half / np.arange(1.0, MOMENTS)]), axis=1)
        return np.asarray(series @ self._moments)

    @cached_property
    def _moments(self) -> Array:
        """Moments of the ages, from -1 for none to 1 for the longest, weighted by the changes: (MOMENTS, T).

        The mean of a^k over a ramp with ages from b to a is (a^k + a^(k-1) b + ... + b^k)/(k + 1).
        """
        out = np.empty((MOMENTS, self._times.size))
        young = 2.0 / self._longest * self._age - 1.0
        old = young + 2.0 / self._longest * self._length
        latest, total = self._change, self._change
        for k in range(MOMENTS):
            out[k] = self._blocks.sum(total) / (k + 1 if self._ramps else 1)
            if self._ramps:
                latest = latest * young
                total = total * old + latest
            else:
                total = total * young
        return out

    def _fast(self, rates: Array, out: Array) -> None:
        """Modes that decay between two output times: the exponentials of all that is not forgotten."""
        age, change, length, blocks = self._age, self._change, self._length, self._blocks
        looked = 0.0
        for rate, row in zip(rates, out, strict=True):
            if rate > 1.6 * looked:  # close neighbours forget nearly the same changes
                looked = rate
                remembered = age < FORGOTTEN / rate
                if not remembered.all():
                    age, change, length, blocks = (
                        age[remembered],
                        change[remembered],
                        length[remembered],
                        blocks.of(remembered),
                    )
            left = age * -rate
            np.exp(left, out=left)
            left *= change
            if self._ramps:
                left *= _ramp_factor(rate * length)
            row[:] = blocks.sum(left)


def _ramp_factor(x: Array) -> Array:
    """(1 - exp(-x))/x: what is left of a change right after its ramp, x the rate times the ramp's length."""
    if x.max(initial=0.0) < 0.01:  # the usual case, where the series is exact to 1e-13 and much cheaper
        return np.asarray(1.0 - x / 2.0 * (1.0 - x / 3.0 * (1.0 - x / 4.0 * (1.0 - x / 5.0))))
    return np.asarray(exprel(-x))


class _Blocks:
    """Sums over blocks of values that lie side by side: several times as fast as counting one by one."""

    def __init__(self, block: NDArray[np.intp], count: int) -> None:
        self._block, self._count = block, count
        self._starts = np.flatnonzero(np.concatenate([block[:1] >= 0, block[1:] != block[:-1]]))

    def of(self, remembered: NDArray[np.bool_]) -> _Blocks:
        """The same for some of the values."""
        return _Blocks(self._block[remembered], self._count)

    def sum(self, values: Array) -> Array:
        """Sum of the values of each block, 0 for an empty one."""
        out = np.zeros(self._count)
        if self._starts.size:
            out[self._block[self._starts]] = np.add.reduceat(values, self._starts)
        return out


def _pieces(history: LoadHistory, times: Array) -> tuple[Array, Array, Array, NDArray[np.intp]]:
    """Start, end, change and next output time of the changes, in its order; ramps split at sorted `times`."""
    start, end, change = history.start, np.maximum(history.start, history.end), history.change
    block = np.searchsorted(times, start, side="right")
    crossed = np.zeros_like(block)
    if (end > start).any():
        crossed = np.maximum(np.searchsorted(times, end, side="left") - block, 0)
    if crossed.any():
        whole = np.repeat(np.arange(start.size), crossed + 1)
        number = np.arange(whole.size) - np.repeat(np.cumsum(crossed + 1) - (crossed + 1), crossed + 1)
        block = block[whole] + number
        bounds = np.append(times, np.inf)
        left = np.where(number > 0, bounds[block - 1], start[whole])
        right = np.where(number < crossed[whole], bounds[block], end[whole])
        length = (end - start)[whole]
        share = np.where(length > 0.0, (right - left) / np.where(length > 0.0, length, 1.0), 1.0)
        start, end, change = left, right, change[whole] * share
    order = np.argsort(block, kind="stable")
    seen = order[: np.searchsorted(block[order], times.size)]
    return start[seen], end[seen], change[seen], block[seen]


class Superposition:
    """Columns of one load history at the same times: directly for few changes, by one pass a clock for many.

    What several models share (the pass over the changes, set columns, functions without a shape value) is worked out once.

    Parameters
    ----------
    history : LoadHistory
        J changes of load, on wall time.
    times : ndarray, shape (T,)
        Times in s, on wall time.
    """

    def __init__(self, history: LoadHistory, times: Array) -> None:
        self.history = history
        self.times = np.asarray(times, dtype=float)
        self._known: dict[Hashable, Array] = {}
        self._passes: dict[tuple[TimeWarp | None, float], DirectSum | LongHistory] = {}

    def column(
        self,
        function: ModalFunction,
        shape: Array | None = None,
        clock: TimeWarp | None = None,
        shortest: float = 1.0,
    ) -> Array:
        """Superpose a creep function on a clock: (S, T), or (T,) without shapes; see `LongHistory`."""
        if shape is None:
            return self._once((function, clock, shortest), lambda: self._column(function, None, clock, shortest))
        return self._column(function, shape, clock, shortest)

    def _column(self, function: ModalFunction, shape: Array | None, clock: TimeWarp | None, shortest: float) -> Array:
        direct = self.history.start.size <= DIRECT_LIMIT
        key = clock, 0.0 if direct else min(shortest, 1.0)
        if key not in self._passes:
            self._passes[key] = DirectSum(*self._on(clock)) if direct else LongHistory(*self._on(clock), key[1])
        return self._passes[key].superpose(function, shape)

    def load(self) -> Array:
        """Load at the times, shape (T,)."""
        return self._once("load", lambda: self.history.at(self.times))

    def peak(self) -> Array:
        """Highest load so far, shape (T,)."""
        return self._once("peak", self._running.peak)

    def growth(self, exponent: float) -> Array:
        """Growing set with this exponent, shape (T,); see `LoadHistory.growth`."""
        return self._once(exponent, lambda: self._running.growth(exponent))

    @cached_property
    def _running(self) -> RunningLoad:
        return RunningLoad(self.history, self.times)

    def _on(self, clock: TimeWarp | None) -> tuple[LoadHistory, Array]:
        if clock is None:
            return self.history, self.times
        return self.history.warped(clock), clock(self.times)

    def _once(self, key: Hashable, compute: Callable[[], Array]) -> Array:
        if key not in self._known:
            self._known[key] = compute()
        return self._known[key]
