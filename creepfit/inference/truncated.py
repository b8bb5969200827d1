"""Two amplitudes, Gaussian but not negative: probability of the quadrant, and exact draws from it.

Both go through one dimension: given x1 the other is a cut normal, so the quadrant's probability is the integral over
x1 > 0 of a log-concave function, found here at its mode and so correct far out in the tails, where formulas for
the bivariate normal keep only their absolute accuracy.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.special import log_ndtr, ndtr, ndtri, ndtri_exp, owens_t

from creepfit.mechanics.loading import Array

NODES = 16
REACH = 8.0
DROP = 0.5 * REACH**2
BISECTIONS = 12

SURELY_INSIDE = 5.5
"""Means this many standard deviations inside leave out less than 4e-8 of the probability."""

CERTAINLY_INSIDE = 8.3
"""Where one mean is this far inside, 1e-16 is cut off at its edge, and the other's tail is all there is."""

FAR_OUT = -1e3
"""Standard deviations from an edge beyond which Mills' ratio is its series: right to 1e-6 of its slope."""


@dataclass(frozen=True, eq=False)
class Quadrant:
    """N bivariate normals before the cut, each array of shape (N,).

    x1 ~ N(mean1, sd1^2); x0 given x1 ~ N(mean0 + slope (x1 - mean1), spread0^2).
    """

    mean0: Array
    mean1: Array
    sd1: Array
    slope: Array
    spread0: Array

    def take(self, index: Any) -> Quadrant:
        """The same for a selection."""
        mean0, mean1, sd1, slope, spread0 = self.mean0, self.mean1, self.sd1, self.slope, self.spread0
        return Quadrant(mean0[index], mean1[index], sd1[index], slope[index], spread0[index])

    @property
    def flat(self) -> Quadrant:
        """Normals in rows, one row after the other."""
        return Quadrant(*(np.ravel(getattr(self, name)) for name in ("mean0", "mean1", "sd1", "slope", "spread0")))

    @classmethod
    def joined(cls, parts: Sequence[Quadrant]) -> Quadrant:
        """Several one after the other."""
        names = ("mean0", "mean1", "sd1", "slope", "spread0")
        return cls(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))

    @classmethod
    def from_precision(
        cls, q00: Array, q01: Array, q11: Array, h0: Array, h1: Array, determinant: Array | None = None
    ) -> Quadrant:
        """From precision matrix [[q00, q01], [q01, q11]], its determinant if known better, and precision times mean."""
        if determinant is None:
            determinant = q00 * q11 - q01 * q01
        mean0 = (q11 * h0 - q01 * h1) / determinant
        mean1 = (q00 * h1 - q01 * h0) / determinant
        return cls(mean0, mean1, np.sqrt(q00 / determinant), -q01 / q00, 1.0 / np.sqrt(q00))

    @cached_property
    def inside(self) -> Array:
        """How many of its standard deviations the mean of x0 or x1 lies above zero, the lesser of both."""
        return np.minimum(self.mean0 / self.sd0, self.mean1 / self.sd1)

    @property
    def sd0(self) -> Array:
        """Standard deviation of x0, (N,)."""
        return np.asarray(np.sqrt(self.spread0 * self.spread0 + (self.slope * self.sd1) ** 2))  # a tenth of np.hypot's time

    def log_probability(self) -> Array:
        """Logarithm of P(x0 > 0, x1 > 0)."""
        out = np.zeros(self.mean0.shape)
        near = np.flatnonzero(self.inside < SURELY_INSIDE)
        out[near] = log_ndtr(self.inside[near])
        near = near[np.maximum(self.mean0 / self.sd0, self.mean1 / self.sd1)[near] < CERTAINLY_INSIDE]
        if near.size:
            cut = self.take(near)
            sd0 = cut.sd0
            h, k, correlation = cut.mean0 / sd0, cut.mean1 / cut.sd1, cut.slope * cut.sd1 / sd0
            probability = _bivariate_normal(h, k, correlation, cut.spread0 / sd0)
            common = probability > 1e-7
            out[near[common]] = np.log(probability[common])
            # Owen's function is right to 1e-16 of 1, not of itself: far out the integral is done anew
            if not common.all():
                out[near[~common]] = cut.take(~common)._log_tail()
        return out

    def _log_tail(self) -> Array:
        unit, weight = np.polynomial.legendre.leggauss(NODES)
        low, mode, high = self._range()
        total = np.zeros(self.mean0.shape)
        top = self._log_density(mode[..., None])
        for left, right in ((low, mode), (mode, high)):
            half = 0.5 * (right - left)
            x = (left + half)[..., None] + half[..., None] * unit
            total += (np.exp(self._log_density(x) - top) * weight).sum(axis=-1) * half
        # an edge far sharper than the range lies between its nodes; there the peak alone says how hopeless it is
        total = np.maximum(total, np.finfo(float).tiny)
        return np.asarray(np.log(total) + top[..., 0] - np.log(self.sd1 * np.sqrt(2.0 * np.pi)))

    def draw(self, uniform0: Array, uniform1: Array) -> tuple[Array, Array]:
        """One draw of (x0, x1) for each entry of shape (N,), from two uniforms in (0, 1) of the same shape."""
        uniform = np.array([uniform0, uniform1])
        return self.draw_both(uniform, ndtri(uniform))

    def draw_both(self, uniform: Array, normal: Array) -> tuple[Array, Array]:
        """The same where the normal numbers of the uniform ones (2, N) are known, `ndtri`."""
        x1 = self.draw_second(uniform[1], normal[1])
        mean = self.mean0 + self.slope * (x1 - self.mean1)
        x0, edge = mean - self.spread0 * normal[0], mean / self.spread0
        near = np.flatnonzero(edge < CERTAINLY_INSIDE)
        if near.size:
            below = log_ndtr(edge[near]) + np.log(uniform[0, near])
            x0[near] = mean[near] - self.spread0[near] * ndtri_exp(below)
        return np.maximum(x0, 0.0), x1

    def draw_second(self, uniform1: Array, normal1: Array) -> Array:
        """The same draw of x1 alone."""
        x1 = self.mean1 + self.sd1 * normal1
        near = np.flatnonzero(self.inside < SURELY_INSIDE)
        if near.size:
            x1[near] = self.take(near)._draw_cut(uniform1[near])
        return np.maximum(x1, 0.0)

    def _draw_cut(self, uniform: Array) -> Array:
        """Draw x1 from its own density, by its cumulative on a grid across the peak."""
        low, mode, high = self._range()
        unit = np.linspace(0.0, 1.0, 48)
        below = low[..., None] + (mode - low)[..., None] * unit
        x = np.concatenate([below, mode[..., None] + (high - mode)[..., None] * unit], axis=-1)
        log_density = self._log_density(x)
        density = np.exp(log_density - log_density.max(axis=-1, keepdims=True))
        width = np.diff(x, axis=-1)
        # cumulative by the trapezoid rule, inverted with the density linear between neighbours
        cells = 0.5 * (density[..., 1:] + density[..., :-1]) * width
        cumulative = np.cumsum(cells, axis=-1)
        target = uniform * cumulative[..., -1]
        cell = np.minimum((cumulative < target[..., None]).sum(axis=-1), cells.shape[-1] - 1)[..., None]
        size, left, right, start, before = (
            np.take_along_axis(row, cell, -1)[..., 0]
            for row in (width, density[..., :-1], density[..., 1:], x[..., :-1], cumulative - cells)
        )
        area = np.maximum(target - before, 0.0) / np.where(size > 0.0, size, 1.0)
        part = 2.0 * area / (left + np.sqrt(np.maximum(left * left + 2.0 * (right - left) * area, 0.0)) + 1e-300)
        return np.asarray(start + np.clip(part, 0.0, 1.0) * size)

    def _range(self) -> tuple[Array, Array, Array]:
        """Low end, mode and high end of x1 >= 0 outside which the density is below exp(-DROP) of its peak.

        The log density is concave and at least as curved as the normal's alone, so REACH sd1 from the mode always lies
        outside; bisection then finds an edge that is sharper than that.
        """
        mode = self._mode()
        top = self._log_density(mode[..., None])[..., 0]
        ends = []
        for outer in (np.maximum(mode - REACH * self.sd1, 0.0), mode + REACH * self.sd1):
            inner, out = mode, outer
            for _ in range(BISECTIONS):
                middle = 0.5 * (inner + out)
                outside = top - self._log_density(middle[..., None])[..., 0] > DROP
                inner, out = np.where(outside, inner, middle), np.where(outside, middle, out)
            ends.append(out)
        return ends[0], mode, ends[1]

    def _log_density(self, x1: Array) -> Array:
        z = (x1 - self.mean1[..., None]) / self.sd1[..., None]
        edge = (self.mean0[..., None] + self.slope[..., None] * (x1 - self.mean1[..., None])) / self.spread0[..., None]
        return np.asarray(-0.5 * z * z + log_ndtr(edge))

    def _mode(self) -> Array:
        """Mode of the log density on x1 >= 0, by Newton's method on a concave function."""
        x = np.maximum(self.mean1, 0.0)
        steep = self.slope / self.spread0
        for _ in range(12):
            slope, curvature = self._derivatives(x, steep)
            x = np.maximum(x - slope / curvature, 0.0)
        return x

    def _derivatives(self, x: Array, steep: Array) -> tuple[Array, Array]:
        edge = (self.mean0 + self.slope * (x - self.mean1)) / self.spread0
        # far out the difference is all rounding, which would shrink every step to nothing; there the ratio's series holds
        far = edge < FAR_OUT
        near = np.where(far, FAR_OUT, edge)
        mills = np.exp(-0.5 * near * near - 0.5 * np.log(2.0 * np.pi) - log_ndtr(near))
        bend = mills * (mills + near)
        mills = np.where(far, -edge - 1.0 / np.where(far, edge, 1.0), mills)
        bend = np.where(far, 1.0, bend)
        slope = -(x - self.mean1) / self.sd1**2 + steep * mills
        curvature = -1.0 / self.sd1**2 - steep**2 * bend
        return slope, np.minimum(curvature, -1.0 / self.sd1**2)


def _bivariate_normal(h: Array, k: Array, correlation: Array, complement: Array) -> Array:
    """P(X < h, Y < k) of standard normals with a correlation and its complement sqrt(1 - correlation^2).

    Owen, Ann. Math. Stat. 27 (1956) 1075, eq. 2.1 (from memory; tested against numerical integration).
    """
    h = np.where(np.abs(h) < 1e-12, 1e-12, h)
    k = np.where(np.abs(k) < 1e-12, 1e-12, k)
    total = 0.5 * (ndtr(h) + ndtr(k)) - owens_t(h, (k / h - correlation) / complement)
    total -= owens_t(k, (h / k - correlation) / complement)
    return np.asarray(total - np.where(h * k < 0.0, 0.5, 0.0))
