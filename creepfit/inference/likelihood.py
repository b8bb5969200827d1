"""The likelihood that members share: whitened readings without their zeros, noise grid, prior scales, and what the
evidence needs of a member's nodes under it.

Given a node of the member's grid and the noise scale the two amplitudes are Gaussian cut to the positive quadrant, the
zeros are integrated out, and the evidence is in closed form but for the quadrant's probability.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.cells import Projected
from creepfit.inference.columns import Observations
from creepfit.inference.components import ColumnPart, Member, UnitCreep, nodes_of
from creepfit.inference.nodes import GridNodes, Nodes
from creepfit.inference.priors import Priors
from creepfit.inference.time_functions import parts_of_each
from creepfit.inference.truncated import Quadrant
from creepfit.mechanics.loading import Array, Indices

LEAST_SCALE, MOST_SCALE = 0.3, 12.0
"""Noise scales that are looked at, over the stated one. Of their prior 6 % lie below where nothing moved, next to nothing
where 0.2 % of the deformation is the stated noise; above lie less than 1 %. Of a gauge far finer than that the prior is cut
off at the upper end, which is this or three times what a flexible curve leaves."""

ROUNDING = 1e-9
"""Part of a column that is left when another is taken out, below which it is nothing."""

TINY = float(np.finfo(float).tiny)

Ranges = list[tuple[float, float]]


class Likelihood:
    """The parts of the evidence that all members share: whitened readings without their zeros, noise grid, prior scales."""

    scatter: Array | float = 0.0
    creep_scatter: Array | float = 0.0

    def __init__(self, observed: Observations, priors: Priors) -> None:
        self.observed, self.priors = observed, priors
        zeros = observed.noise.whiten(observed.zeros)
        q = np.linalg.qr(zeros)[0]
        whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.transform = whiten - q @ (q.T @ whiten)
        self.free = observed.times.size - zeros.shape[1]
        column = observed.instant_column()
        self.instant = self.transform @ column
        if np.linalg.norm(self.instant) < ROUNDING * np.linalg.norm(whiten @ column):
            self.instant[:] = 0.0  # without an initial reading it is the zero's own column, and what is left is rounding
        self.size0 = max(float(self.instant @ self.instant), TINY)
        self._see()

    def _see(self) -> None:
        """What depends on the values of the readings, and not on their times alone."""
        self.values = self.transform @ self.observed.values
        self.along0 = float(self.instant @ self.values)
        self.rest = self.values - self.along0 / self.size0 * self.instant
        scales = np.array([self.priors.instant_scale, self.priors.creep_scale])
        self.prior_precision = scales**-2.0 / self.observed.scale**2
        self.numbers = (self.size0, self.along0, self.rest @ self.rest, *self.prior_precision, self.free)

    def numbers_at(self, node: Indices | None = None) -> Sequence[Array | float]:
        """Square of the instantaneous column, its product with the readings, square of what it leaves of them, precision
        of the priors of both amplitudes, and readings less zeros: of nodes, where those have any of their own."""
        return self.numbers

    def noise_range(self) -> tuple[float, float]:
        """Range of the noise scale in mm, wide enough for gauges worse than they claim."""
        noise = self.observed.noise
        return max(LEAST_SCALE * noise.stated, noise.least), max(MOST_SCALE * noise.stated, 3.0 * self.misfit[0])

    def noise_grid(self, low: Array | float, high: Array | float, count: int) -> tuple[Array, Array]:
        """Noise scales (S,) at even steps of the logarithm, and their log prior; of several ends (G,) each (G, S)."""
        step = np.asarray(np.log(np.divide(high, low)) / count)[..., None]
        scales = np.asarray(low)[..., None] * np.exp(step * (np.arange(count) + 0.5))
        return scales, self.observed.noise.log_prior(scales, self.observed.scale) + np.log(step)

    def constant(self, per_noise: Array) -> Array:
        """What does not depend on the shape: the amplitudes' half-normal priors and the noise, for 1/scale^2 given."""
        p0, p1 = self.prior_precision
        return _constant(p0, p1, self.free, per_noise)

    def projected(self, unit: UnitCreep, nodes: Nodes | GridNodes) -> Projected[Likelihood]:
        """What the evidence needs of M nodes."""
        return Projections.of(unit.parts_at(self.observed, nodes), self)

    def whole_grid(self, member: Member) -> tuple[GridNodes, Projected[Likelihood]]:
        """The coarse grid over the whole of a member's coordinates."""
        return self.grid(member)

    def grid(self, member: Member, ranges: Ranges | None = None) -> tuple[GridNodes, Projected[Likelihood]]:
        """The coarse grid, or a fine one over ranges of the coordinates."""
        nodes = nodes_of(member, ranges, fine=ranges is not None)
        return nodes, self.projected(UnitCreep(member, self.observed.span), nodes)

    def grids(self, members: Sequence[Member], ranges: Sequence[Ranges]) -> list[tuple[GridNodes, Projected[Likelihood]]]:
        """Fine grids of several members."""
        nodes = [nodes_of(member, own, fine=True) for member, own in zip(members, ranges, strict=True)]
        units = [UnitCreep(member, self.observed.span) for member in members]
        each = Projections.of_each(parts_of_each(units, nodes, self.observed), self)
        return list(zip(nodes, each, strict=True))

    @cached_property
    def misfit(self) -> tuple[float, int]:
        """Noise that a flexible curve leaves, which favours no model, and the readings it could spare."""
        x = self.transform @ self.observed.smooth_columns(min(3, max(self.free - 4, 1)))
        rest = self.values - x @ np.linalg.lstsq(x, self.values, rcond=None)[0]
        spare = max(self.free - x.shape[1], 0)
        return float(np.sqrt(rest @ rest / max(spare, 1))), spare


class Likelihoods:
    """Several likelihoods, each of the nodes of one grid: `counts` says how many nodes each grid has."""

    def __init__(self, each: Sequence[Likelihood], counts: Sequence[int]) -> None:
        self._of_grid = np.array([shared.numbers for shared in each]).T
        self._of_node = self._of_grid.repeat(counts, axis=1)

    def numbers_at(self, node: Indices | None = None) -> Sequence[Array | float]:
        """As of one likelihood: of nodes (C,), or of all grids, each (G, 1)."""
        return tuple(self._of_grid[:, :, None] if node is None else self._of_node[:, node])


@dataclass(frozen=True, eq=False)
class Projections:
    """What the evidence needs of the creep columns c (M, T), whitened and without zeros; x0 is the instantaneous column.

    Attributes
    ----------
    slope : ndarray, shape (M,)
        c . x0 / x0 . x0.
    size : ndarray, shape (M,)
        Square of what is left of c without x0.
    along : ndarray, shape (M,)
        Its product with the readings.
    parts : tuple of (ColumnPart, ndarray)
        The functions of time that c is made of, and what is left of each without x0.
    """

    slope: Array
    size: Array
    along: Array
    parts: tuple[tuple[ColumnPart, Array], ...]

    @classmethod
    def of(cls, parts: Sequence[ColumnPart], shared: Likelihood) -> Projections:
        """From the products of the functions of time, which are few; the M by T columns are never laid out."""
        return cls.of_each([parts], shared)[0]

    @classmethod
    def of_each(cls, grids: Sequence[Sequence[ColumnPart]], shared: Likelihood) -> list[Projections]:
        """Those of several grids, whose functions of time are whitened together."""
        x0, parts = shared.instant, [part for own in grids for part in own]
        white = np.concatenate([part.columns for part in parts]) @ shared.transform.T
        slopes = white @ x0 / shared.size0
        left = white - slopes[:, None] * x0
        squares = (left * left).sum(axis=1)
        ends = np.cumsum([0, *(len(part.columns) for part in parts)])
        each, rows = [], (slice(a, b) for a, b in pairwise(ends))
        for own in grids:
            made_of = [(part, next(rows)) for part in own]
            squared = []
            for k, (part, at) in enumerate(made_of):
                squared.append((part.weight**2, squares[at][part.where]))
                for other, there in made_of[:k]:
                    product = (left[at] @ left[there].T)[part.where, other.where]
                    squared.append((2.0 * part.weight * other.weight, product))
            slope = _over_nodes((part.weight, slopes[at][part.where]) for part, at in made_of)
            size = np.maximum(_over_nodes(squared), TINY)
            each.append(cls(slope, size, size, tuple((part, left[at]) for part, at in made_of)).seen(shared))
        return each

    @classmethod
    def joined(cls, several: Sequence[Projections]) -> Projections:
        """Nodes of several grids one after the other, with the readings that they have seen."""
        slope, size, along = (np.concatenate([getattr(p, name) for p in several]) for name in ("slope", "size", "along"))
        return cls(slope, size, along, ())

    def seen(self, shared: Likelihood) -> Projections:
        """The same nodes with the readings of `shared`."""
        along = _over_nodes((part.weight, (left @ shared.values)[part.where]) for part, left in self.parts)
        return Projections(self.slope, self.size, along, self.parts)

    def plausible(self, shared: Likelihood | Likelihoods) -> NDArray[np.bool_]:
        """Where the amplitudes that fit best are not negative, shape (M,)."""
        size0, along0, *_ = shared.numbers_at(np.arange(self.size.size))
        return (self.along > 0.0) & (along0 / size0 > self.slope * self.along / self.size)

    def bound(
        self, shared: Likelihood | Likelihoods, noise: Array, noise_prior: Array, node_prior: Array, of: Indices
    ) -> Array:
        """What the two amplitudes would reach if neither had a prior or a sign, shape (S, M)."""
        square = shared.numbers_at(np.arange(self.size.size))[2]
        misfit = np.maximum(square - self.along * self.along / self.size, 0.0)
        per_noise = noise**-2.0
        size0, _, _, p0, p1, free = shared.numbers_at()
        # the determinant is at least (size0/noise^2 + p0) (size/noise^2 + p1)
        rest = _constant(p0, p1, free, per_noise) - 0.5 * np.log(size0 * per_noise + p0)
        of_scale = noise_prior + rest - 0.5 * np.log(per_noise)
        # and size/noise^2 + p1 at least p1, whatever the noise: where creep leaves no trace its own column has no size
        widest = np.ravel(0.5 * np.log(per_noise.max(axis=1, keepdims=True)) - 0.5 * np.log(p1))
        of_node = np.minimum(-0.5 * np.log(self.size), widest[of]) + node_prior
        nodes = np.stack([misfit, of_node, np.ones_like(of_node)])
        scales = np.stack([-0.5 * per_noise, np.ones_like(per_noise), of_scale], axis=-1)
        bound = np.empty((noise.shape[1], of.size))
        ends = np.searchsorted(of, np.arange(noise.shape[0] + 1))
        for grid, (a, b) in enumerate(pairwise(ends)):
            np.matmul(scales[grid], nodes[:, a:b], out=bound[:, a:b])
        return bound

    def gaussians(self, shared: Likelihood | Likelihoods, node: Indices, per_noise: Array) -> tuple[Array, Quadrant]:
        """Log evidence before the cut to the positive quadrant, and the amplitudes' normals, both for cells (C,)."""
        size0, along0, square, p0, p1, free = shared.numbers_at(node)
        instant = along0 / size0
        slope, size, along = self.slope[node], self.size[node], self.along[node]
        q00 = size0 * per_noise + p0
        q01 = slope * size0 * per_noise
        q11 = (size + slope * slope * size0) * per_noise + p1
        # counted from what x0 alone comes to, and no difference in the determinant: under a fine gauge it is one of 1e16s
        h0 = np.asarray(-p0 * instant)
        h1 = along * per_noise
        determinant = q00 * (size * per_noise + p1) + p0 * slope * slope * size0 * per_noise
        quadrant = Quadrant.from_precision(q00, q01, q11, h0, h1, determinant)
        fit = h0 * quadrant.mean0 + h1 * quadrant.mean1 - p0 * instant**2
        log_gauss = 0.5 * (fit - square * per_noise - np.log(determinant))
        quadrant = replace(quadrant, mean0=quadrant.mean0 + instant)
        return log_gauss + _constant(p0, p1, free, per_noise), quadrant


def _over_nodes(summands: Iterable[tuple[Array, Array]]) -> Array:
    """Sum of products of weights and values at nodes, (M,): of all nodes of a grid rows (1, R) and columns (P, 1)."""
    weights, values = zip(*summands, strict=True)
    if len(weights) == 1 or weights[0].ndim == 1:
        return np.ravel(sum(map(np.multiply, weights, values)))
    return np.ravel(np.concatenate(values, axis=1) @ np.concatenate(weights))


def _constant(p0: Array | float, p1: Array | float, free: Array | float, per_noise: Array) -> Array:
    """See `Likelihood.constant`."""
    return np.asarray(0.5 * np.log(16.0 * p0 * p1) + 0.5 * free * np.log(per_noise / (2.0 * np.pi)))
