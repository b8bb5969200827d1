"""Points of a member's grid: all of them, laid over its coordinates, or some of them, as draws have them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache, reduce
from itertools import pairwise

import numpy as np

from creepfit.mechanics.loading import Array, Indices
from creepfit.models.coordinate import Coordinate

Different = tuple[tuple[Array, Indices], ...]
"""Of each shape its different values (V,), ascending, and which of them each point has."""


@dataclass(frozen=True, eq=False)
class Nodes:
    """M points: shapes (M, d), shares (M, K) that sum to 1, set per creep (M,), log prior (M,).

    `known` is what `different` is, where that is known.
    """

    shapes: Array
    shares: Array
    set_share: Array
    log_prior: Array
    known: Different = ()

    def with_shares(self, shares: Array) -> Nodes:
        """The same points with other shares of their functions of time."""
        return Nodes(self.shapes, shares, self.set_share, self.log_prior, self.known)

    def without_set(self) -> Nodes:
        """The same points without a set."""
        return Nodes(self.shapes, self.shares, np.zeros_like(self.set_share), self.log_prior, self.known)

    @cached_property
    def different(self) -> Different:
        """Values of each shape, and which of them each point has, (M,)."""
        return self.known or tuple(np.unique(values, return_inverse=True) for values in self.shapes.T)

    @property
    def none(self) -> Indices:
        """The same of what takes no shape and has one value for all."""
        return np.zeros(self.log_prior.size, dtype=np.intp)

    def weights(self, function: int | None) -> Array:
        """Share of one of the functions of time, or the set per creep (None), (M,)."""
        return self.set_share if function is None else self.shares[:, function]

    def take(self, index: Indices) -> Nodes:
        """The same for a selection."""
        known = tuple((values, where[index]) for values, where in self.known)
        return Nodes(self.shapes[index], self.shares[index], self.set_share[index], self.log_prior[index], known)


@dataclass(frozen=True, eq=False)
class GridNodes:
    """All M = P R points of a grid: each of P shapes with each of R shares and sets, of which the latter change faster.

    What hangs on shapes alone, or on shares alone, is worked out for few of them: of a column (P, 1) and a row (1, R).

    Attributes
    ----------
    axes : tuple of ndarray
        Values of each coordinate, ascending, those of the shapes first.
    places : tuple of ndarray of int
        Which of them each shape has, (P,), or each share, (R,).
    dimensions : int
        How many coordinates are shapes.
    shares : ndarray, shape (K, R)
    set_share : ndarray, shape (R,)
    log_prior : ndarray, shape (M,)
        With the size of the cells, so that sums over points are integrals.
    """

    axes: tuple[Array, ...]
    places: tuple[Indices, ...]
    dimensions: int
    shares: Array
    set_share: Array
    log_prior: Array

    @property
    def _sides(self) -> tuple[int, int]:
        """P and R."""
        return self.log_prior.size // self.set_share.size, self.set_share.size

    @property
    def different_shapes(self) -> Different:
        """Values of each shape coordinate, and which of them each shape has, (P,)."""
        return tuple(zip(self.axes[: self.dimensions], self.places[: self.dimensions], strict=True))

    @property
    def different(self) -> Different:
        """Values of each shape coordinate, and which of them each point has, (P, 1)."""
        return tuple((values, place[:, None]) for values, place in self.different_shapes)

    @property
    def none(self) -> Indices:
        """The same of what takes no shape and has one value for all."""
        return np.zeros((self._sides[0], 1), dtype=np.intp)

    def weights(self, function: int | None) -> Array:
        """Share of one of the functions of time, or the set per creep (None), (1, R)."""
        return np.asarray(self.set_share if function is None else self.shares[function])[None, :]

    def take(self, index: Indices) -> Nodes:
        """A selection of the points."""
        return _Selected(self, index)

    def sides_of(self, index: Indices) -> tuple[Indices, Indices]:
        """Shape and share of some of the points."""
        sharing = self._sides[1]
        shape = index // sharing
        return shape, index - shape * sharing

    @cached_property
    def every(self) -> Nodes:
        """All of the points."""
        return self.take(np.arange(self.log_prior.size))

    def reached(self, index: Indices) -> list[Array]:
        """Of each coordinate the values, ascending, that it has at some of the points."""
        among = [np.zeros(side, dtype=bool) for side in self._sides]
        for found, own in zip(among, self.sides_of(index), strict=True):
            found[own] = True
        out = []
        for k, (values, place) in enumerate(zip(self.axes, self.places, strict=True)):
            found = np.zeros(values.size, dtype=bool)
            found[place[among[k >= self.dimensions]]] = True
            out.append(values[found])
        return out


class _Selected(Nodes):
    """Some points of a grid, whose numbers are looked up when they are asked for: draws need few of them."""

    _grid: GridNodes
    _index: Indices
    _shape: Indices
    _share: Indices

    def __init__(self, grid: GridNodes, index: Indices) -> None:
        shape, share = grid.sides_of(index)
        vars(self).update(_grid=grid, _index=index, _shape=shape, _share=share)

    @cached_property
    def known(self) -> Different:
        return tuple((values, place[self._shape]) for values, place in self._grid.different_shapes)

    @cached_property
    def shapes(self) -> Array:
        return np.array([values[place] for values, place in self.known]).reshape(len(self.known), self._index.size).T

    @cached_property
    def shares(self) -> Array:
        return np.asarray(self._grid.shares[:, self._share].T)

    @cached_property
    def set_share(self) -> Array:
        return np.asarray(self._grid.set_share[self._share])

    @cached_property
    def log_prior(self) -> Array:
        return np.asarray(self._grid.log_prior[self._index])

    @property
    def none(self) -> Indices:
        return np.zeros(self._index.size, dtype=np.intp)

    def weights(self, function: int | None) -> Array:
        return np.asarray(self._grid.weights(function)[0, self._share])

    def take(self, index: Indices) -> Nodes:
        return _Selected(self._grid, self._index[index])


def grid_over(
    coordinates: tuple[Coordinate, ...], functions: int, fine: bool, ranges: Sequence[tuple[float, float]] | None = None
) -> GridNodes:
    """Lay a grid over the whole of some coordinates, or over ranges of them, for so many functions of time.

    Over the whole range the prior sums to 1.
    """
    if ranges is None:
        return _whole_grid(coordinates, functions, fine)
    return _grid(coordinates, functions, fine, ranges)


@lru_cache(maxsize=64)
def _whole_grid(coordinates: tuple[Coordinate, ...], functions: int, fine: bool) -> GridNodes:
    """Grids over whole axes are the same for every run read over the same time, and for several members of each."""
    return _grid(coordinates, functions, fine, [(c.low, c.high) for c in coordinates])


def _grid(
    coordinates: tuple[Coordinate, ...], functions: int, fine: bool, ranges: Sequence[tuple[float, float]]
) -> GridNodes:
    axes, log_densities = [], []
    for c, (low, high) in zip(coordinates, ranges, strict=True):
        count = c.fine if fine else c.coarse
        axes.append(c.grid(low, high, count))
        log_densities.append(c.log_density(axes[-1]) - c.log_total + np.log(c.length(low, high) / count))
    dimensions = sum(c.role == "shape" for c in coordinates)
    shapes = _product(tuple(a.size for a in axes[:dimensions]))
    shares = _product(tuple(a.size for a in axes[dimensions:]))
    of_shapes = reduce(np.add.outer, log_densities[:dimensions], np.zeros(())).ravel()
    twice = np.zeros(of_shapes.size)
    if dimensions > 1:  # retardation times in ascending order; the other order is the same model again
        values = [axis[at] for axis, at in zip(axes, shapes, strict=False)]
        apart = np.min([later - earlier for earlier, later in pairwise(values)], axis=0)
        kept = np.flatnonzero(apart >= 0.0)
        of_shapes, twice = of_shapes[kept], np.where(apart[kept] > 0.0, np.log(2.0), 0.0)
        shapes = tuple(at[kept] for at in shapes)
    log_prior = reduce(np.add.outer, log_densities[dimensions:], of_shapes).reshape(of_shapes.size, -1)
    log_prior += twice[:, None]
    columns = {c.role: axis[at] for c, axis, at in zip(coordinates[dimensions:], axes[dimensions:], shares, strict=True)}
    count = log_prior.size // of_shapes.size
    set_share, own_shares = columns.get("set", np.zeros(count)), _shares(columns, functions, count)
    return GridNodes(tuple(axes), (*shapes, *shares), dimensions, own_shares, set_share, log_prior.ravel())


@lru_cache(maxsize=64)
def _product(counts: tuple[int, ...]) -> tuple[Indices, ...]:
    """Places along each axis of all combinations, the last axis running fastest, each of shape (M,)."""
    return tuple(np.ascontiguousarray(at.ravel()) for at in np.indices(counts))


def _shares(column: Mapping[str, Array], functions: int, count: int) -> Array:
    """Shares (K, R) of the creep functions: the coordinate gives that of the model's last one, the first has the rest.

    A flow beside them has its share of all.
    """
    flow = column.get("flow")
    shares = np.zeros((functions, count))
    own = shares if flow is None else shares[:-1]
    own[0] = 1.0
    if "share" in column:
        own[0], own[-1] = 1.0 - column["share"], column["share"]
    if flow is not None:
        own *= 1.0 - flow
        shares[-1] = flow
    return shares
