"""Integrals along a beam's axis as sums over nodes: up to each node, from each node on, between two points of it.

Gauss's nodes lie on panels that end at joints, at loads and where something is read, so that whatever is smooth within a
panel is integrated to rounding.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from creepfit.mechanics.beam_axis import BeamAxis
from creepfit.mechanics.loading import Array

_MANY_NODES, _FEW_NODES = 10, 6
_SHORT = 1.0 / 6.0
"""Of the axis: where no panel is longer, curved or tapered, few nodes do: sags of chains differ by less than 1e-8."""

_QUARTER = np.pi / 2.0
"""rad that a panel of an arc turns through at most: ten nodes meet its sines to 1e-8."""


@dataclass(frozen=True, eq=False)
class AxisIntegrals:
    """Nodes on an axis and what integrals of values at them are.

    Attributes
    ----------
    edges : ndarray, shape (p + 1,)
        Where panels end, mm along the axis.
    distance, weight : ndarray, shape (n,)
        Of the nodes, mm: the integral over the whole axis is `weight @ values`.
    forward, backward : ndarray, shape (n, n)
        `forward @ values` are integrals from the start to each node, `backward @ values` from each node to the end.
    """

    edges: Array
    distance: Array
    weight: Array
    forward: Array
    backward: Array

    @classmethod
    def over(cls, axis: BeamAxis, breaks: Sequence[float]) -> AxisIntegrals:
        """On an axis, with panels that end at `breaks` (mm along it) too."""
        edges = np.union1d(_panel_edges(axis), breaks)
        half = np.diff(edges)[:, None] / 2.0
        nodes, weights, to_node = _rule(_nodes_needed(axis, edges))
        distance = (edges[:-1, None] + half * (1.0 + nodes)).ravel()
        weight = (half * weights).ravel()
        forward = np.zeros((distance.size, distance.size))
        for k, h in enumerate(half[:, 0]):
            here = slice(k * nodes.size, (k + 1) * nodes.size)
            forward[here, here] = h * to_node
            forward[here, : here.start] = weight[: here.start]
        return cls(edges, distance, weight, forward, weight - forward)

    def between(self, start: float, end: float) -> Array:
        """Weights (n,) of the integral between two ends of panels."""
        return self.weight * ((self.distance < end).astype(np.float64) - (self.distance < start))

    def up_to(self, points: Array, density: Array) -> Array:
        """Integrals from the start to any points (m,) of K densities at the nodes, shape (K, n); shape (K, m)."""
        from scipy.interpolate import PchipInterpolator  # slow to import, and little bends far

        panels = (density * self.weight).reshape(density.shape[0], self.edges.size - 1, -1).sum(axis=2)
        at_edges = np.concatenate([np.zeros((density.shape[0], 1)), np.cumsum(panels, axis=1)], axis=1)
        along = np.concatenate([self.edges, self.distance])
        order = np.argsort(along)
        known = np.concatenate([at_edges, density @ self.forward.T], axis=1)
        return np.asarray(PchipInterpolator(along[order], known[:, order], axis=1)(points))


def _nodes_needed(axis: BeamAxis, edges: Array) -> int:
    """Nodes of each panel between the edges."""
    plain = all(segment.curvature == 0.0 and segment.end_section is None for segment in axis.segments)
    return _FEW_NODES if plain and np.diff(edges).max() <= _SHORT * (axis.end - axis.start) else _MANY_NODES


@lru_cache
def _rule(count: int) -> tuple[Array, Array, Array]:
    """Gauss's nodes and weights on (-1, 1), and integrals of the polynomial through the nodes from -1 to each of them."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    powers = np.arange(count)
    integrals = (nodes[:, None] ** (powers + 1) - (-1.0) ** (powers + 1)) / (powers + 1)
    return nodes, weights, integrals @ np.linalg.inv(nodes[:, None] ** powers)


def _panel_edges(axis: BeamAxis) -> Array:
    """Joints, and cuts inside arcs and tapers: fewer than the closed forms of small rotations ask for."""
    cuts = []
    for i, segment in enumerate(axis.segments):
        turns = abs(segment.curvature) * segment.axis_length / _QUARTER
        panels = max(1, int(np.ceil(turns - 1e-9)), 1 if segment.end_section is None else 2)
        cuts.append(np.linspace(axis.joints[i], axis.joints[i + 1], panels + 1))
    return np.unique(np.concatenate(cuts))
