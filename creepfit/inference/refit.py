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
from creepfit.mechanics.loading import Array
from creepfit.models.model import Axis, CreepModel

AT_ONCE = 2000
"""Sets of readings worked on together: more would gain no speed and need memory in proportion."""

VALLEYS = 3
"""How many local minima of the grid are followed at most."""

WORTH = 3.0
"""A further valley is followed where its residual sum on the grid is below this many times the lowest one's."""

STEP = 1e-5
"""Step of the derivatives, relative to the range of a shape value."""

SETTLED = 1e-9
"""A search has ended where a step could lower the residual sum by less than this share."""

MOST_STEPS = 60
SINGULAR = 1e-11


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
    design = Design(creep, observed)
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


class Design:
    """Columns over shapes, whitened and with the zeros projected out; shapes as places from 0 to 1 along each axis."""

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

    def columns(self, places: Array) -> Array:
        """Columns of unit length (S, T, K) at places (S, d), divided by `size`."""
        full = self.transform @ self.raw(places)
        # what is left of a column that the zeros can imitate is rounding: see best_fit
        length = np.sqrt((full * full).sum(axis=1, keepdims=True))
        return np.where(length > 1e-10 * self.size, full / self.size, 0.0)

    def raw(self, places: Array) -> Array:
        """Columns as they are, mm per 1/MPa, shape (S, T, K)."""
        found = self.observed.response(self.creep, self.shapes(places))
        if not self.with_set:
            return found
        peak = np.broadcast_to(self.observed.peak_column()[None, :, None], (*found.shape[:2], 1))
        return np.concatenate([found, peak], axis=2)

    @cached_property
    def size(self) -> Array:
        """Size of each column at the middle of the ranges, so that units do not matter, shape (1, 1, K)."""
        middle = self.raw(np.full((1, len(self.axes)), 0.5))
        size = np.sqrt((middle * middle).sum(axis=1, keepdims=True))
        return np.where(size == 0.0, 1.0, size)

    def grid(self) -> tuple[Array, tuple[int, ...]]:
        """Places of the grid (S, d) and its counts."""
        counts = tuple(axis.count for axis in self.axes)
        mesh = np.meshgrid(*(np.linspace(0.0, 1.0, n) for n in counts), indexing="ij")
        return np.stack([m.ravel() for m in mesh], axis=1) if mesh else np.empty((1, 0)), counts


def _refit_block(design: Design, values: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    """Places (R, d), amplitudes (R, K), residual sums (R,), converged (R,)."""
    targets = values @ design.transform.T
    if not design.axes:
        only = design.columns(np.empty((1, 0)))
        amplitudes, rest = solve(np.broadcast_to(only, (values.shape[0], *only.shape[1:])), targets)
        done = np.ones(values.shape[0], dtype=bool)
        return np.empty((values.shape[0], 0)), amplitudes / design.size[0], (rest * rest).sum(axis=1), done
    sets, places = _starts(design, targets)
    found, sums, converged = _descend(design, targets[sets], places)
    order = np.lexsort((sums, sets))
    best = order[np.concatenate([[True], np.diff(sets[order]) > 0])]
    if len(design.axes) > 1:  # retardation times in ascending order
        found[best] = np.sort(found[best], axis=1)
    amplitudes, rest = solve(design.columns(found[best]), targets)
    return found[best], amplitudes / design.size[0], (rest * rest).sum(axis=1), converged[best]


def _starts(design: Design, targets: Array) -> tuple[NDArray[np.intp], Array]:
    """Sets of readings (P,) and places (P, d) to follow: for each set the lowest local minima of the grid."""
    nodes, counts = design.grid()
    sums = _grid_sums(design.columns(nodes), targets).reshape(*counts, -1)
    low = np.ones(sums.shape, dtype=bool)
    padded = np.pad(sums, [(1, 1)] * len(counts) + [(0, 0)], constant_values=np.inf)
    for offset in itertools.product((-1, 0, 1), repeat=len(counts)):
        window = tuple(slice(1 + o, 1 + o + n) for o, n in zip(offset, counts, strict=True))
        low &= sums <= padded[window]
    flat = np.where(low, sums, np.inf).reshape(nodes.shape[0], -1)
    first = np.argsort(flat, axis=0)[:VALLEYS]
    height = np.take_along_axis(flat, first, axis=0)
    rank, sets = np.nonzero(height <= WORTH * height[0])
    return sets, nodes[first[rank, sets]]


def _grid_sums(columns: Array, targets: Array) -> Array:
    """Residual sums of every shape (S) with every set of readings (R), amplitudes not negative, shape (S, R)."""
    whole = (targets * targets).sum(axis=1)
    best = np.broadcast_to(whole, (columns.shape[0], targets.shape[0])).copy()
    open_rows = np.arange(columns.shape[0])
    for subset in _subsets(columns.shape[2]):
        q, r = np.linalg.qr(columns[open_rows][:, :, subset])
        usable = _usable(r)
        if not usable.any():
            continue
        rows = open_rows[usable]
        onto = targets @ q[usable]
        amplitudes = np.matmul(onto, np.linalg.inv(r[usable]).transpose(0, 2, 1))
        fits = (amplitudes >= 0.0).all(axis=2)
        sums = np.where(fits, whole - (onto * onto).sum(axis=2), np.inf)
        best[rows] = np.minimum(best[rows], sums)
        if len(subset) == columns.shape[2]:  # where all amplitudes of all sets are positive nothing can be better
            settled = np.zeros(columns.shape[0], dtype=bool)
            settled[rows] = fits.all(axis=1)
            open_rows = np.flatnonzero(~settled)
    return best


def _subsets(count: int) -> Iterator[list[int]]:
    """All non-empty subsets of columns, the largest first."""
    for size in range(count, 0, -1):
        yield from (list(chosen) for chosen in itertools.combinations(range(count), size))


def _usable(r: Array) -> NDArray[np.bool_]:
    """Which of the triangular factors (S, k, k) can be inverted."""
    diagonal = np.abs(np.diagonal(r, axis1=1, axis2=2))
    return np.asarray(diagonal.min(axis=1) > SINGULAR * np.maximum(diagonal.max(axis=1), 1e-300))


def solve(columns: Array, targets: Array) -> tuple[Array, Array]:
    """Non-negative amplitudes (R, K) of each set's own columns (R, T, K), and residuals (R, T).

    The best of all subsets of columns whose amplitudes come out positive is the minimum, as the problem is convex.
    """
    amplitudes = np.zeros((columns.shape[0], columns.shape[2]))
    lowest = (targets * targets).sum(axis=1)
    rows = np.arange(columns.shape[0])
    for subset in _subsets(columns.shape[2]):
        if rows.size == 0:
            break
        q, r = np.linalg.qr(columns[rows][:, :, subset])
        usable = _usable(r)
        r[~usable] = np.eye(len(subset))
        onto = np.einsum("rtk,rt->rk", q, targets[rows])
        found = np.linalg.solve(r, onto[:, :, None])[:, :, 0]
        rest = (targets[rows] ** 2).sum(axis=1) - (onto * onto).sum(axis=1)
        better = usable & (found >= 0.0).all(axis=1) & (rest < lowest[rows])
        lowest[rows[better]] = rest[better]
        amplitudes[rows[better]] = 0.0
        amplitudes[np.ix_(rows[better], subset)] = found[better]
        if len(subset) == columns.shape[2]:
            rows = rows[~better]
    return amplitudes, targets - np.einsum("rtk,rk->rt", columns, amplitudes)


def _descend(design: Design, targets: Array, places: Array) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Follow every start downhill by damped Gauss-Newton steps: places (P, d), residual sums (P,), converged (P,)."""
    places = places.copy()
    _, rest = solve(design.columns(places), targets)
    sums = (rest * rest).sum(axis=1)
    damping = np.full(sums.size, 1e-3)
    converged = np.zeros(sums.size, dtype=bool)
    for _ in range(MOST_STEPS):
        rows = np.flatnonzero(~converged)
        if rows.size == 0:
            break
        step, gain = _step(design, targets[rows], places[rows], damping[rows])
        moved = np.clip(places[rows] + step, 0.0, 1.0)
        _, rest = solve(design.columns(moved), targets[rows])
        after = (rest * rest).sum(axis=1)
        better = after < sums[rows]
        still = (np.abs(moved - places[rows]) < 1e-12).all(axis=1)
        converged[rows] = still | (gain <= SETTLED * sums[rows])
        # steps that gain far less than they promise go back and forth across a valley; see Marquardt's rule
        kept = (sums[rows] - after) / np.maximum(gain, 1e-300)
        damping[rows] = np.where(kept > 0.75, 0.2 * damping[rows], np.where(kept > 0.25, 1.0, 5.0) * damping[rows] + 0.02)
        places[rows[better]], sums[rows[better]] = moved[better], after[better]
    return places, sums, converged


def _step(design: Design, targets: Array, places: Array, damping: Array) -> tuple[Array, Array]:
    """Step of every place (P, d), and what it should lower the residual sum by (P,); the active amplitudes are kept."""
    columns = design.columns(places)
    amplitudes, rest = solve(columns, targets)
    # columns out of play go last, where they leave the others' factors alone
    order = np.argsort(amplitudes <= 0.0, axis=1, kind="stable")[:, None, :]
    active = np.take_along_axis(np.where(amplitudes[:, None, :] > 0.0, columns, 0.0), order, axis=2)
    q = np.linalg.qr(active)[0] * np.take_along_axis(amplitudes[:, None, :] > 0.0, order, axis=2)
    slopes = []
    for i in range(places.shape[1]):
        up, down = places.copy(), places.copy()
        up[:, i], down[:, i] = np.minimum(places[:, i] + STEP, 1.0), np.maximum(places[:, i] - STEP, 0.0)
        change = (design.columns(up) - design.columns(down)) / (up[:, i] - down[:, i])[:, None, None]
        slope = np.einsum("ptk,pk->pt", change, amplitudes)
        slopes.append(slope - np.einsum("ptk,pk->pt", q, np.einsum("ptk,pt->pk", q, slope)))
    jacobian = np.stack(slopes, axis=2)
    gradient = np.einsum("ptd,pt->pd", jacobian, rest)
    # a coordinate at an end of its range that wants out stays there
    held = ((places <= 0.0) & (gradient < 0.0)) | ((places >= 1.0) & (gradient > 0.0))
    jacobian = np.where(held[:, None, :], 0.0, jacobian)
    gradient = np.where(held, 0.0, gradient)
    hessian = np.einsum("ptd,pte->pde", jacobian, jacobian)
    own = np.diagonal(hessian, axis1=1, axis2=2)
    index = np.arange(places.shape[1])
    hessian[:, index, index] = own * (1.0 + damping[:, None]) + np.where(own > 0.0, 0.0, 1.0)
    step = np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0]
    return step, (step * gradient).sum(axis=1)
