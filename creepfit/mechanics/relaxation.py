"""The force of a part that is held bent: a deflection is kept, and the force that it takes goes down.

With K(t) the deflection per newton under a held force (leverage times compliance), c what gives way beside it without
creeping (a bolt, a washer, the counterpart), the force F of a deflection d that is kept from t = 0 on solves

    integral of K(t - s) dF(s) + c F(t) + set(F, t) = d          (Boltzmann superposition; a Volterra equation).

It is solved forward in time on steps even in log time: the force is taken as linear within each step, the kernel
enters by its mean over the step (Simpson's rule; exact in the newest step, where it may rise as steeply as a power of
time). Each step has the instantaneous compliance of the newest step on its diagonal, so the march is implicit and
stable whatever the steps, and errors of early steps fade with the memory of the kernel (Hopkins & Hamming, J. Appl.
Phys. 28 (1957) 906, from memory, for this way of converting creep to relaxation).

Going from creep to relaxation by transform or by differentiation amplifies errors (Anderssen, Davies & de Hoog 2007);
here the creep functions are smooth sums without noise, and the equation stays of the second kind.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from creepfit.mechanics.loading import Array
from creepfit.units import HOUR

if TYPE_CHECKING:
    from scipy.sparse import csr_array

EARLIEST = 1e-2
"""s: where the steps begin, a hundredth of what counts as instantaneous."""

STEPS_PER_DECADE = 12
"""With 12 the force is within 0.15 % of its first value of closed forms (0.3 % of itself for a power of n = 0.5), with 24
within a quarter of that."""

TOGETHER = 200_000
"""Means of the kernel, over steps and draws, that are worked out at once: more would leave the processor's cache."""


def time_grid(end: float, marks: Array, per_decade: int = STEPS_PER_DECADE, earliest: float = EARLIEST) -> Array:
    """Times from `earliest` to `end` [s], even in log time, `marks` among them exactly and none close beside them."""
    start = min(earliest, end / 1e3)
    count = int(np.ceil(per_decade * np.log10(end / start))) + 1
    even = np.geomspace(start, end, count)
    marks = np.unique(marks)
    gap = 0.3 * np.log(10.0) / per_decade
    near = np.abs(np.log(even[:, None] / marks)).min(axis=1) < gap if marks.size else np.zeros(even.size, dtype=bool)
    return np.union1d(even[~near], marks)


@dataclass(frozen=True, eq=False)
class Kernel:
    """Deflection per newton under a held force, on a grid of times, for N draws.

    Attributes
    ----------
    times : ndarray, shape (T,)
        s, ascending, above zero; on the material's clock.
    values : ndarray, shape (N, T)
        mm/N of what creeps and recovers.
    instant : ndarray, shape (N,)
        mm/N at t = 0.
    series : float
        mm/N of what is in series and does not creep.
    set_with_load : ndarray, shape (N,)
        mm/N of set that comes with the highest force so far.
    set_growth : ndarray, shape (N,)
        mm/N of set after 1 h under a held force, that grows as (integral of F^2 dt)^0.5.
    """

    times: Array
    values: Array
    instant: Array
    series: float
    set_with_load: Array
    set_growth: Array

    def scaled(self, factor: float) -> Kernel:
        """The same with all that creeps multiplied by a factor."""
        return Kernel(
            self.times, factor * self.values, factor * self.instant, self.series,
            max(factor, 0.0) * self.set_with_load, max(factor, 0.0) * self.set_growth,
        )  # fmt: skip

    def force(self, deflection: float, until: float) -> HeldForce:
        """March to `until` [s], one of the times."""
        count = int(np.searchsorted(self.times, until * (1.0 - 1e-12))) + 1
        knots = np.concatenate([[0.0], self.times[:count]])
        width = np.diff(knots)
        newest = self._weights(width) @ self._means
        older, starts = self._older(knots)
        ready = 1
        force = np.empty((count + 1, self.instant.size))
        change = np.empty((count, self.instant.size))
        force[0] = deflection / (self.instant + self.set_with_load + self.series)
        stayed = self.set_with_load * force[0]
        squared = np.zeros(self.instant.size)
        for i in range(1, count + 1):
            held = self._columns[i] * force[0]
            if i > ready:  # to take rows out of a sparse array costs as much as to multiply some
                begun, most = starts[i - 1], starts[i - 1] + TOGETHER // self.instant.size
                ready = max(i, int(np.searchsorted(starts, most, side="right")) - 1)
                means = older[begun : starts[ready]] @ self._columns
            if i > 1:
                held += np.einsum("jn,jn->n", means[starts[i - 1] - begun : starts[i] - begun], change[: i - 1])
            # the set grows by the force of the step before: it is small, and slow
            growing = self.set_growth * np.sqrt((squared + force[i - 1] ** 2 * width[i - 1]) / HOUR)
            known = deflection - held - stayed - growing + newest[i - 1] * force[i - 1]
            force[i] = known / (newest[i - 1] + self.series)
            change[i - 1] = force[i] - force[i - 1]
            squared += width[i - 1] * (force[i] ** 2 + force[i] * force[i - 1] + force[i - 1] ** 2) / 3.0
        return HeldForce(self, knots, force.T, stayed + self.set_growth * np.sqrt(squared / HOUR))

    def _older(self, knots: Array) -> tuple[csr_array, Array]:
        """Weights of the kernel's mean over every step before the newest, for all knots; and where each one's begin."""
        count = knots.size - 1
        now, step = np.tril_indices(count, -1)  # the newest step of knot i is i - 1, those before are 0 to i - 2
        starts = np.concatenate([[0], np.cumsum(np.arange(count))])
        return self._mean_weights(knots[now + 1], knots[step], knots[step + 1]), starts

    def _mean_weights(self, now: Array, start: Array, end: Array) -> csr_array:
        """Weights of the kernel's mean over lags from `now - end` to `now - start`, by Simpson's rule."""
        middle = self._weights(now - 0.5 * (start + end))
        whole: csr_array = (self._weights(now - start) + 4.0 * middle + self._weights(now - end)) / 6.0
        return whole

    @cached_property
    def _columns(self) -> Array:
        """Instant and values by time, shape (1 + T, N): rows that lie side by side are fast to add up."""
        return np.ascontiguousarray(np.vstack([self.instant, self.values.T]))

    @cached_property
    def _means(self) -> Array:
        """Mean of the kernel from 0 to each time, shape (1 + T, N), by Simpson's rule in log time."""
        times, columns = self.times, self._columns
        between = np.sqrt(times[1:] * times[:-1])
        inner = np.asarray(self._weights(between) @ columns)
        half = np.log(times[1:] / times[:-1])[:, None] / 6.0
        rows = columns[1:] * times[:, None]
        area = half * (rows[:-1] + 4.0 * inner * between[:, None] + rows[1:])
        first = 0.5 * (self.instant + columns[1])[None, :] * times[0]
        return np.vstack([self.instant, np.cumsum(np.vstack([first, area]), axis=0) / times[:, None]])

    def _weights(self, lags: Array) -> csr_array:
        """Interpolation of `_columns` at lags, (L, 1 + T): cubic in log time, linear before the first time."""
        from scipy.sparse import csr_array  # slow to import, and few answers need it

        lags = np.maximum(lags, 0.0)
        times, count = self.times, self.times.size
        early = lags < times[0]
        x, grid = np.log(np.where(early, times[0], lags)), np.log(times)
        first = np.clip(np.searchsorted(grid, x) - 2, 0, count - 4)
        near = grid[first[:, None] + np.arange(4)]
        weights = np.ones((lags.size, 4))
        for a in range(4):
            for b in range(4):
                if a != b:
                    weights[:, a] *= (x - near[:, b]) / (near[:, a] - near[:, b])
        part = np.where(early, lags / times[0], 1.0)
        weights[early] = [1.0, 0.0, 0.0, 0.0]
        rows = np.repeat(np.arange(lags.size), 5)
        columns = np.column_stack([np.zeros(lags.size, dtype=int), 1 + first[:, None] + np.arange(4)])
        data = np.column_stack([1.0 - part, weights * part[:, None]])
        return csr_array((data.ravel(), (rows, columns.ravel())), shape=(lags.size, count + 1))


@dataclass(frozen=True, eq=False)
class HeldForce:
    """The force over time: `knots` (1 + n,) in s from 0 on, `force` (N, 1 + n) in N, `stayed` (N,) the set in mm."""

    kernel: Kernel
    knots: Array
    force: Array
    stayed: Array

    def at(self, times: Array) -> Array:
        """Force at times among the knots, shape (N, T), N."""
        index = np.searchsorted(self.knots, times * (1.0 - 1e-12))
        return np.asarray(self.force[:, index])

    def left(self, after: Array) -> Array:
        """Deflection left at times `after` [s, on the material's clock] the last knot, when it is let go; (N, A), mm."""
        kernel, knots = self.kernel, self.knots
        change = np.diff(self.force, axis=1).T
        out = []
        for lag in after:
            now = np.full(knots.size - 1, knots[-1] + float(lag))
            means = kernel._mean_weights(now, knots[:-1], knots[1:]) @ kernel._columns
            first, last = kernel._weights(np.array([now[0], float(lag)])) @ kernel._columns
            still = first * self.force[:, 0] + np.einsum("jn,jn->n", means, change)
            out.append(still - last * self.force[:, -1] + self.stayed)
        return np.array(out).T
