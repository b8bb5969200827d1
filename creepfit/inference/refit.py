"""Best fits of one model to thousands of sets of readings at once, for simulation.

All sets share times and loads, so the columns of a shape are orthogonalised once for all of them; then every set follows
its own shape downhill, all sets in step. One set of readings costs microseconds instead of milliseconds.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.errors import InputError
from creepfit.inference.columns import Observations
from creepfit.inference.descent import STEP, Factors, back, by_coordinate, descend, dot, orthonormal
from creepfit.mechanics.loading import Array
from creepfit.models.model import Axis, CreepModel

AT_ONCE = 2000
"""Sets of readings worked on together: more would leave the processor's cache and gain nothing."""

VALLEYS = 3
"""How many local minima of the grid are followed at most."""

WORTH = 3.0
"""A further valley is followed where its residual sum on the grid is below this many times the lowest one's."""

SETTLED = 1e-7
"""A search ends with a step that promises to lower the residual sum by less than this share; far less is left to gain."""


@dataclass(frozen=True, eq=False)
class Refits:
    """Best fits to R sets of readings.

    Attributes
    ----------
    shapes : ndarray, shape (R, d)
    amplitudes : ndarray, shape (R, K)
        In 1/MPa (mm/N without geometry).
    set_compliance : ndarray, shape (R,), or None
        Where the run can show a set that comes with the load.
    residual_sums : ndarray, shape (R,)
        Weighted with the inverse of the noise's correlation, mm^2 (or strain squared).
    converged : ndarray of bool, shape (R,)
    at_bound : ndarray of bool, shape (R,)
        Whether a shape value ended at an end of its range.
    """

    shapes: Array
    amplitudes: Array
    set_compliance: Array | None
    residual_sums: Array
    converged: NDArray[np.bool_]
    at_bound: NDArray[np.bool_]


def refit(creep: CreepModel, observed: Observations, values: Array) -> Refits:
    """Best fits of one model to many sets of readings taken at the same times under the same loads.

    Parameters
    ----------
    creep : CreepModel
    observed : Observations
        Times, loads, zeros and noise that all sets share; its own values play no part.
    values : ndarray, shape (R, T)
        Readings, mm or strain.

    Raises
    ------
    InputError
        Values of another shape, or not finite.

    Notes
    -----
    Variable projection (Golub & Pereyra 1973, from memory), as for a single fit: for each shape on a grid, amplitudes by
    non-negative least squares, exactly, through the QR of every subset of columns; from the best nodes, damped
    Gauss-Newton steps with Kaufman's derivative (1975, from memory).
    """
    values = np.asarray(values, dtype=float)
    if values.ndim != 2 or values.shape[1] != observed.times.size or not np.isfinite(values).all():
        expected = f"finite readings in an array of shape (sets, {observed.times.size})"
        raise InputError(key="values", found=f"shape {values.shape}", expected=expected)
    design = SearchColumns(creep, observed)
    blocks = [_refit_block(design, values[i : i + AT_ONCE]) for i in range(0, values.shape[0], AT_ONCE)]
    places, amplitudes, sums, converged = (np.concatenate(parts) for parts in zip(*blocks, strict=True))
    count = len(creep.terms)
    at_end = (places <= STEP) | (places >= 1.0 - STEP)
    return Refits(
        design.shapes(places),
        amplitudes[:, :count],
        amplitudes[:, count] if design.with_set else None,
        sums,
        converged,
        np.asarray(at_end.any(axis=1)),
    )


class SearchColumns:
    """Columns over shapes, whitened and with the zeros projected out; shapes as places from 0 to 1 along each axis.

    Columns lie along the last axis, shape (S, K, T), so that sums over readings run over neighbours in memory.
    """

    settled = SETTLED

    def __init__(self, creep: CreepModel, observed: Observations) -> None:
        self.creep, self.observed = creep, observed
        self.with_set = observed.has_initial and observed.has_recovery and not creep.flows
        self.axes: tuple[Axis, ...] = creep.axes(observed.span)
        ends = [(float(a.to_search(np.asarray(a.low))), float(a.to_search(np.asarray(a.high)))) for a in self.axes]
        self.low = np.array([low for low, _ in ends])
        self.width = np.array([high - low for low, high in ends])
        zeros = observed.noise.whiten(observed.zeros)
        q = np.linalg.qr(zeros)[0]
        whiten = observed.noise.whiten(np.eye(observed.times.size))
        self.transform = whiten - q @ (q.T @ whiten)

    def shapes(self, places: Array) -> Array:
        """Shape values (S, d) at places (S, d)."""
        inside = self.low + places * self.width
        columns = [np.clip(a.from_search(inside[:, i]), a.low, a.high) for i, a in enumerate(self.axes)]
        return np.stack(columns, axis=1) if columns else np.empty((places.shape[0], 0))

    def columns(self, places: Array, rows: NDArray[np.intp] | None = None) -> Array:
        """Columns (S, K, T) at places (S, d), divided by `size`; the same for every set of readings."""
        full = self.raw(places) @ self.transform.T / self.size[:, None]
        # what is left of a column that the zeros can imitate is rounding: see best_fit
        return np.where(dot(full, full)[:, :, None] > 1e-20, full, 0.0)

    def differences(self, places: Array, low: Array, high: Array, rows: NDArray[np.intp]) -> Array:
        """What each coordinate changes in the columns (d, P, K, T), all at once, as a column takes but one."""
        change = self.columns(high) - self.columns(low)
        takes = [term.axis or 0 for term in self.creep.terms] + [0] * self.with_set
        return by_coordinate(change, np.broadcast_to(takes, change.shape[:2]), places.shape[1])

    def raw(self, places: Array) -> Array:
        """Columns as they are, mm per 1/MPa, shape (S, K, T)."""
        columns = self.observed.response(self.creep, self.shapes(places)).transpose(0, 2, 1)
        if not self.with_set:
            return columns
        peak = np.broadcast_to(self.observed.peak_column(), (columns.shape[0], 1, columns.shape[2]))
        return np.concatenate([columns, peak], axis=1)

    def solve(self, columns: Array, targets: Array, factors: Factors) -> tuple[Array, Array, Array]:
        """Amplitudes and residuals, see `solve`, and the columns as they were made orthonormal."""
        return *solve(columns, targets, factors), factors[0]

    @cached_property
    def size(self) -> Array:
        """Size of each column at the middle of the ranges, so that units do not matter, shape (K,)."""
        middle = self.raw(np.full((1, len(self.axes)), 0.5))[0]
        size = np.sqrt((middle * middle).sum(axis=1))
        return np.where(size == 0.0, 1.0, size)

    def grid(self) -> tuple[Array, tuple[int, ...]]:
        """Places of the grid (S, d) and its counts."""
        # one axis is followed by every set on its own, so that the grid need only part the valleys
        counts = tuple(axis.count // 3 if len(self.axes) == 1 else axis.count for axis in self.axes)
        mesh = np.meshgrid(*(np.linspace(0.0, 1.0, n) for n in counts), indexing="ij")
        return np.stack([m.ravel() for m in mesh], axis=1) if mesh else np.empty((1, 0)), counts


def _refit_block(design: SearchColumns, values: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Places (R, d), amplitudes (R, K), residual sums (R,), converged (R,)."""
    targets = values @ design.transform.T
    if not design.axes:
        only = design.columns(np.empty((1, 0)))
        amplitudes, rest = solve(np.broadcast_to(only, (values.shape[0], *only.shape[1:])), targets)
        done = np.ones(values.shape[0], dtype=bool)
        return np.empty((values.shape[0], 0)), amplitudes / design.size, dot(rest, rest), done
    sets, places = _starts(design, targets)
    reached = descend(design, targets[sets], places, sets)
    order = np.lexsort((reached.sums, sets))
    best = order[np.concatenate([[True], np.diff(sets[order]) > 0])]
    places, amplitudes = reached.places[best], reached.amplitudes[best]
    if len(design.axes) > 1:  # retardation times in ascending order
        places = np.sort(places, axis=1)
        amplitudes, _ = solve(design.columns(places), targets)
    return places, amplitudes / design.size, reached.sums[best], reached.converged[best]


def _starts(design: SearchColumns, targets: Array) -> tuple[NDArray[np.intp], Array]:
    """Sets of readings (P,) and places (P, d) to follow: for each set the lowest local minima of the grid."""
    nodes, counts = design.grid()
    sums = grid_sums(design.columns(nodes), targets).reshape(*counts, -1)
    low = sums <= WORTH * sums.min(axis=tuple(range(len(counts))))
    padded = np.pad(sums, [(1, 1)] * len(counts) + [(0, 0)], constant_values=np.inf)
    for offset in itertools.product((-1, 0, 1), repeat=len(counts)):
        window = tuple(slice(1 + o, 1 + o + n) for o, n in zip(offset, counts, strict=True))
        low &= sums <= padded[window]
    node, sets = np.nonzero(low.reshape(nodes.shape[0], -1))
    height = sums.reshape(nodes.shape[0], -1)[node, sets]
    order = np.lexsort((height, sets))
    node, sets = node[order], sets[order]
    rank = np.arange(sets.size) - np.searchsorted(sets, sets)
    node, sets = node[rank < VALLEYS], sets[rank < VALLEYS]
    places = nodes[node]
    if len(counts) == 1:
        places = places + _vertex(padded, node, sets)[:, None] / (counts[0] - 1)
    return sets, np.clip(places, 0.0, 1.0)


def _vertex(padded: Array, node: NDArray[np.intp], sets: NDArray[np.intp]) -> Array:
    """Where the parabola through a node and its neighbours is lowest, in steps of the grid from the node."""
    left, here, right = (padded[node + k, sets] for k in (0, 1, 2))
    inside = np.isfinite(left) & np.isfinite(right)
    left, right = np.where(inside, left, here), np.where(inside, right, here)
    bend = left - 2.0 * here + right
    return np.where(bend > 0.0, 0.5 * (left - right) / np.where(bend > 0.0, bend, 1.0), 0.0)


def grid_sums(columns: Array, targets: Array) -> Array:
    """Residual sums of every shape (S) with every set of readings (R), amplitudes not negative, shape (S, R)."""
    whole = dot(targets, targets)
    best = np.broadcast_to(whole, (columns.shape[0], targets.shape[0])).copy()
    rows = np.arange(columns.shape[0])
    for subset in _subsets(columns.shape[1]):
        if rows.size == 0:
            break
        q, r, usable = orthonormal(columns[rows][:, subset])
        # einsum and not @: products this thin are slower on several threads than on one
        onto = [np.einsum("st,rt->sr", q[:, k], targets) for k in range(len(subset))]
        fits = np.broadcast_to(usable[:, None], onto[0].shape)
        for amplitude in back(r[:, :, :, None], onto):
            fits = fits & (amplitude >= 0.0)
        sums = whole - sum(o * o for o in onto)
        best[rows] = np.where(fits, np.minimum(best[rows], sums), best[rows])
        if len(subset) == columns.shape[1]:  # where all amplitudes of all sets are positive nothing can be better
            rows = rows[~fits.all(axis=1)]
    return best


def _subsets(count: int) -> Iterator[list[int]]:
    """All non-empty subsets of columns, the largest first."""
    for size in range(count, 0, -1):
        yield from (list(chosen) for chosen in itertools.combinations(range(count), size))


def solve(columns: Array, targets: Array, factors: Factors | None = None) -> tuple[Array, Array]:
    """Non-negative amplitudes (R, K) of each set's own columns (R, K, T), and residuals (R, T); see `orthonormal`.

    The best of all subsets of columns whose amplitudes come out positive is the minimum, as the problem is convex.
    """
    amplitudes = np.zeros(columns.shape[:2])
    lowest = dot(targets, targets)
    rows = np.arange(columns.shape[0])
    for subset in _subsets(columns.shape[1]):
        if rows.size == 0:
            break
        whole = len(subset) == columns.shape[1]
        q, r, usable = factors if factors is not None and whole else orthonormal(columns[rows][:, subset])
        onto = [dot(q[:, k], targets[rows]) for k in range(len(subset))]
        solved = np.stack(back(r, onto), axis=1)
        sums = dot(targets[rows], targets[rows]) - sum(o * o for o in onto)
        better = usable & (solved >= 0.0).all(axis=1) & (sums < lowest[rows])
        lowest[rows[better]] = sums[better]
        amplitudes[rows[better]] = 0.0
        amplitudes[rows[better][:, None], subset] = solved[better]
        if whole:
            rows = rows[~better]
    return amplitudes, targets - np.einsum("rkt,rk->rt", columns, amplitudes)
