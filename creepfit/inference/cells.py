"""Cells of a posterior's grid, nodes times noise scales: those whose probability matters."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any, Generic, Protocol, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr

from creepfit.inference.nodes import GridNodes
from creepfit.inference.truncated import SURELY_INSIDE, Quadrant
from creepfit.mechanics.loading import Array, Indices

AllShare = TypeVar("AllShare", contravariant=True)
"""What all members share: the likelihood of one specimen or of several."""

KEEP = 11.0
"""Nodes less probable than the best by exp(-KEEP), one in 60 000, are left out."""


@dataclass(frozen=True, eq=False)
class Cells:
    """Those of M nodes times S noise scales whose probability is within exp(-KEEP) of the best cell's.

    Attributes
    ----------
    node, scale : ndarray of int, shape (C,)
        Node and noise scale of each cell.
    log_joint : ndarray, shape (C,)
        Logarithm of prior times evidence.
    quadrant : Quadrant, arrays of shape (C,)
        The amplitudes' normals, mm under the reference load.
    scales : int
        S.
    """

    node: Indices
    scale: Indices
    log_joint: Array
    quadrant: Quadrant
    scales: int

    @cached_property
    def log_evidence(self) -> float:
        """Logarithm of the sum over the cells."""
        most = float(self.log_joint.max(initial=-np.inf))
        return most + float(np.log(np.exp(self.log_joint - most).sum())) if np.isfinite(most) else most

    @cached_property
    def profile(self) -> Array:
        """Best cell of each noise scale, shape (S,), -inf where there is none."""
        out = np.full(self.scales, -np.inf)
        np.maximum.at(out, self.scale, self.log_joint)
        return out

    def take(self, index: Indices | slice) -> Cells:
        """The same for a selection."""
        return Cells(self.node[index], self.scale[index], self.log_joint[index], self.quadrant.take(index), self.scales)


class Projected(Protocol[AllShare]):
    """What the evidence needs of M nodes, whatever the amplitudes of one or many specimens have to do with one another."""

    def plausible(self, shared: AllShare) -> NDArray[np.bool_]:
        """Where the amplitudes that fit best are not negative, shape (M,)."""

    def bound(self, shared: AllShare, noise: Array, noise_prior: Array, node_prior: Array, of: Indices) -> Array:
        """Upper bound of the log evidence with the priors of nodes and noise scales, shape (S, M).

        `noise` (G, S) are the scales of each grid, `noise_prior` their log prior, `node_prior` (M,) that of the nodes, and
        `of` (M,) says which grid a node is of, in ascending order. There are thousands of nodes and few scales, so a
        scale's nodes lie side by side.
        """

    def gaussians(self, shared: AllShare, node: Indices, per_noise: Array) -> tuple[Array, Quadrant]:
        """Log evidence before the cut to the positive quadrant, and the amplitudes' normals, both for cells (C,)."""


@dataclass(frozen=True, eq=False)
class Grid(Generic[AllShare]):
    """A member's M nodes, what the evidence needs of them, and S noise scales with their log prior."""

    nodes: GridNodes
    projected: Projected[AllShare]
    noise: Array
    log_prior: Array


def cells_over(grids: Sequence[Grid[Any]], creep: Projected[AllShare], shared: AllShare) -> list[Cells]:
    """Cells of several grids, each with as many noise scales, where prior times evidence can matter.

    `creep` is what the evidence needs of the nodes of all grids, one grid after the other. A node's evidence is at most
    what its two amplitudes would reach if neither had a prior or a sign. That bound costs one product for each cell and
    rules most of them out.
    """
    size = np.array([grid.nodes.log_prior.size for grid in grids])
    ends = np.concatenate([[0], np.cumsum(size)])
    of = np.repeat(np.arange(size.size), size)
    node_prior = np.concatenate([grid.nodes.log_prior for grid in grids])
    noise, noise_prior = np.array([grid.noise for grid in grids]), np.array([grid.log_prior for grid in grids])
    per_noise = noise**-2.0
    bound = creep.bound(shared, noise, noise_prior, node_prior, of)
    highest = bound.max(axis=0)

    def exact(node: Indices, scale: Indices) -> Cells:
        own = of.take(node) * noise.shape[1] + scale
        log_gauss, quadrant = creep.gaussians(shared, node, per_noise.take(own))
        log_joint = log_gauss + noise_prior.take(own) + node_prior.take(node)
        return Cells(node, scale, log_joint, quadrant, noise.shape[1])

    plausible = creep.plausible(shared)
    hoped = np.where(plausible | ~np.logical_or.reduceat(plausible, ends[:-1])[of], highest, -np.inf)
    best = np.array([a + int(np.argmax(hoped[a:b])) for a, b in pairwise(ends)])
    first = exact(best, bound[:, best].argmax(axis=0))
    reached = first.log_joint + first.quadrant.log_probability()
    least = np.minimum(reached - KEEP, highest[best])[of]  # the best one at least: far out KEEP is lost in rounding
    here = np.flatnonzero(highest >= least)
    matters = np.flatnonzero((bound.take(here, axis=1) >= least.take(here)).T)
    node = matters // noise.shape[1]
    scale = matters - node * noise.shape[1]
    cells = exact(here.take(node), scale)
    grid = of.take(cells.node)
    return with_quadrants(replace(cells, node=cells.node - ends.take(grid)), reached, grid)


def with_quadrant(whole: Cells, reached: float = -np.inf) -> Cells:
    """Add the quadrant's probability, and keep the cells where it matters; `reached` is what one of them has."""
    return with_quadrants(whole, np.array([reached]), np.zeros(whole.node.size, dtype=np.intp))[0]


def with_quadrants(whole: Cells, reached: Array, grid: Indices) -> list[Cells]:
    """The same for the cells of several grids, which `grid` (C,) numbers in ascending order: those of each.

    Either amplitude's own tail probability bounds the quadrant's from above, which rules out more cells cheaply; it is one
    where both lie far inside.
    """
    inside = whole.quadrant.inside
    near = np.flatnonzero(inside < SURELY_INSIDE)
    log_joint = whole.log_joint.copy()
    log_joint[near] += log_ndtr(inside[near])
    ends = np.searchsorted(grid, np.arange(reached.size + 1))
    best = whole.take(np.array([a + int(np.argmax(log_joint[a:b])) for a, b in pairwise(ends)]))
    reached = np.maximum(reached, best.log_joint + best.quadrant.log_probability())
    near = near[log_joint[near] >= reached[grid[near]] - KEEP]
    log_joint[near] = whole.log_joint[near] + whole.quadrant.take(near).log_probability()
    most = np.maximum.reduceat(log_joint, ends[:-1])
    kept = log_joint >= most[grid] - KEEP
    exact = replace(whole, log_joint=log_joint).take(np.flatnonzero(kept))
    ends = np.concatenate([[0], np.cumsum(kept)])[ends]
    return [exact.take(slice(a, b)) for a, b in pairwise(ends)]
