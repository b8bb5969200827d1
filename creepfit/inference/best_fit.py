"""Best fit of a separable problem: amplitudes by least squares for every shape, shapes by grid and polish.

Variable projection (Golub & Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, from memory). lmfit polishes the shape;
everything it says of errors is left aside, because at bounds and without spare readings it is silently wrong. Standard
errors come from the full Jacobian here.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from creepfit.mechanics.loading import Array
from creepfit.models.model import Axis

Basis = Callable[[Array], Array]
"""Shapes (S, d) to columns (S, N, K)."""

AT_BOUND = 1e-5
"""A shape value this close to an end of its range, relative to the range, counts as at the end."""

SINGULAR = 1e-9
"""Ratio of singular values of the scaled Jacobian below which the readings do not determine the parameters."""

STARTS = 3
"""How many local minima of the grid are polished."""


@dataclass(frozen=True, eq=False)
class BestFit:
    """The best fit and what can be said of it.

    Attributes
    ----------
    shape : ndarray, shape (d,)
    amplitudes : ndarray, shape (K,)
    fixed : ndarray, shape (Z,)
        Coefficients of the columns without sign or shape (zeros).
    residuals : ndarray, shape (N,)
        In the units of the data handed in.
    residual_sum : float
        Sum of squared residuals.
    covariance : ndarray, shape (d+K+Z, d+K+Z), or None
        Unscaled covariance (J'J)^-1 of (shape, amplitudes, fixed), NaN in the rows that are not determined.
    free : int
        Readings less parameters in play.
    at_bound : tuple of str
        "shape 0", "amplitude 2": shape values at an end of their range, amplitudes at zero.
    converged, determined : bool
    """

    shape: Array
    amplitudes: Array
    fixed: Array
    residuals: Array
    residual_sum: float
    covariance: Array | None
    free: int
    at_bound: tuple[str, ...]
    converged: bool
    determined: bool


def best_fit(
    basis: Basis,
    axes: Sequence[Axis],
    values: Array,
    fixed: Array | None = None,
    nonnegative: bool = True,
) -> BestFit:
    """Least squares over shapes, amplitudes and fixed columns.

    Parameters
    ----------
    basis : callable
        Shapes (S, d) to columns (S, N, K), whitened like `values`.
    axes : sequence of Axis
        Range and grid of each of the d shape values; empty for a linear problem.
    values : ndarray, shape (N,)
        Data.
    fixed : ndarray, shape (N, Z), optional
        Columns without shape and of free sign.
    nonnegative : bool
        Whether amplitudes are kept at or above zero.
    """
    fixed = np.empty((values.size, 0)) if fixed is None else fixed
    problem = _Projected(basis, values, fixed, nonnegative)
    if not axes:
        return _summary(problem, axes, np.empty(0), True)
    grid = _grid(axes)
    sums = problem.residual_sums(grid)
    candidates = []
    for start in _local_minima(sums, grid, axes):
        coordinates, converged = _polish(problem, axes, grid[start])
        candidates.append((problem.residual_sums(coordinates[None, :])[0], converged, coordinates))
    best = min(candidates, key=lambda c: c[0])
    at_grid = int(np.argmin(sums))
    if sums[at_grid] < best[0]:
        best = (sums[at_grid], False, grid[at_grid])
    return _summary(problem, axes, best[2], best[1])


class _Projected:
    """The problem with the fixed columns projected out, so that only shapes and amplitudes are left."""

    def __init__(self, basis: Basis, values: Array, fixed: Array, nonnegative: bool) -> None:
        self.basis, self.values, self.fixed, self.nonnegative = basis, values, fixed, nonnegative
        self.q = np.linalg.qr(fixed)[0] if fixed.shape[1] else fixed
        self.target = values - self.q @ (self.q.T @ values)

    def columns(self, shapes: Array) -> Array:
        full = self.basis(shapes)
        return np.asarray(full - self.q @ (self.q.T @ full))

    def solve(self, columns: Array) -> Array:
        """Amplitudes for one set of columns (N, K), scaled so that units do not matter."""
        size = np.linalg.norm(columns, axis=0)
        size[size == 0.0] = 1.0
        scaled = columns / size
        if not self.nonnegative:
            return np.asarray(np.linalg.lstsq(scaled, self.target, rcond=1e-15)[0] / size)
        amplitudes, _ = nnls(scaled, self.target)
        active = amplitudes > 0.0
        if active.any():  # nnls works on normal-equation steps; once the active set is known, QR gives all digits
            exact = np.linalg.lstsq(scaled[:, active], self.target, rcond=1e-15)[0]
            if (exact > 0.0).all():
                amplitudes[active] = exact
        return np.asarray(amplitudes / size)

    def residuals(self, shape: Array) -> Array:
        columns = self.columns(shape[None, :])[0]
        return np.asarray(self.target - columns @ self.solve(columns))

    def residual_sums(self, shapes: Array) -> Array:
        columns = self.columns(shapes)
        return np.array([np.sum((self.target - c @ self.solve(c)) ** 2) for c in columns])


def _grid(axes: Sequence[Axis]) -> Array:
    """All nodes, shape (S, d); axes of one kind (tau1, tau2, ...) only in ascending order."""
    nodes = np.array(list(itertools.product(*(axis.grid() for axis in axes))))
    if len(axes) > 1 and len({(a.low, a.high) for a in axes}) == 1:
        nodes = nodes[(np.diff(nodes, axis=1) > 0.0).all(axis=1)]
    return nodes


def _local_minima(sums: Array, grid: Array, axes: Sequence[Axis]) -> list[int]:
    """Nodes to start from: on one axis the lowest local minima, else the lowest nodes that lie apart."""
    if len(axes) == 1:
        padded = np.concatenate([[np.inf], sums, [np.inf]])
        minima = np.flatnonzero((padded[1:-1] <= padded[:-2]) & (padded[1:-1] <= padded[2:]))
        return [int(i) for i in minima[np.argsort(sums[minima])][:STARTS]]
    coordinates = np.stack([axis.to_search(grid[:, i]) for i, axis in enumerate(axes)], axis=1)
    coordinates = coordinates / np.ptp(coordinates, axis=0)
    chosen: list[int] = []
    for index in np.argsort(sums):
        if all(np.abs(coordinates[index] - coordinates[c]).max() > 0.15 for c in chosen):
            chosen.append(int(index))
        if len(chosen) == STARTS:
            break
    return chosen


def _polish(problem: _Projected, axes: Sequence[Axis], start: Array) -> tuple[Array, bool]:
    """Refine a shape by lmfit within its range; return it and whether the search ended by its own tolerance."""
    from lmfit import Minimizer, Parameters

    parameters = Parameters()
    for i, axis in enumerate(axes):
        low, high = float(axis.to_search(np.asarray(axis.low))), float(axis.to_search(np.asarray(axis.high)))
        value = float(np.clip(axis.to_search(start[i]), low, high))
        parameters.add(f"s{i}", value=value, min=low, max=high)

    def shape(values: Sequence[float]) -> Array:
        return np.array([axis.from_search(np.asarray(v)) for axis, v in zip(axes, values, strict=True)])

    def residuals(current: Parameters) -> Array:
        return problem.residuals(shape([current[f"s{i}"].value for i in range(len(axes))]))

    minimizer = Minimizer(residuals, parameters, calc_covar=False, nan_policy="raise")
    result = minimizer.minimize(
        method="least_squares", ftol=3e-16, xtol=3e-16, gtol=3e-16, x_scale="jac", max_nfev=300
    )
    found = np.array([result.params[f"s{i}"].value for i in range(len(axes))])
    return shape(found), bool(result.success)


def _summary(problem: _Projected, axes: Sequence[Axis], shape: Array, converged: bool) -> BestFit:
    if len(axes) > 1 and len({(a.low, a.high) for a in axes}) == 1:
        shape = np.sort(shape)
    full = problem.basis(shape[None, :])[0]
    amplitudes = problem.solve(problem.columns(shape[None, :])[0])
    rest = problem.values - full @ amplitudes
    fixed = np.linalg.lstsq(problem.fixed, rest, rcond=None)[0] if problem.fixed.shape[1] else np.empty(0)
    residuals = rest - problem.fixed @ fixed
    at_bound = [f"shape {i}" for i, axis in enumerate(axes) if _is_at_bound(axis, shape[i])]
    if problem.nonnegative:
        at_bound += [f"amplitude {k}" for k, a in enumerate(amplitudes) if a <= 0.0]
    covariance, in_play = _covariance(problem, axes, shape, amplitudes)
    return BestFit(
        shape,
        amplitudes,
        fixed,
        residuals,
        float(residuals @ residuals),
        covariance,
        problem.values.size - in_play,
        tuple(at_bound),
        converged,
        covariance is not None,
    )


def _is_at_bound(axis: Axis, value: float) -> bool:
    low, high = axis.to_search(np.asarray(axis.low)), axis.to_search(np.asarray(axis.high))
    here = axis.to_search(np.asarray(value))
    return bool(min(here - low, high - here) < AT_BOUND * (high - low))


def _covariance(
    problem: _Projected, axes: Sequence[Axis], shape: Array, amplitudes: Array
) -> tuple[Array | None, int]:
    """Return (J'J)^-1 over (shape, amplitudes, fixed) and the number of parameters in play.

    Amplitudes at zero are out of play; shape values that no longer move anything have no error, and neither has
    anything if the rest is singular.
    """
    slopes = []
    for i, axis in enumerate(axes):
        here = float(axis.to_search(np.asarray(shape[i])))
        step = 1e-4
        up, down = shape.copy(), shape.copy()
        up[i], down[i] = axis.from_search(np.asarray(here + step)), axis.from_search(np.asarray(here - step))
        change = (problem.basis(up[None, :])[0] - problem.basis(down[None, :])[0]) @ amplitudes
        slopes.append(change / (up[i] - down[i]))
    full = problem.basis(shape[None, :])[0]
    jacobian = np.column_stack([*slopes, full, problem.fixed])
    size = np.linalg.norm(jacobian, axis=0)
    in_play = size > 1e-14 * max(float(np.linalg.norm(problem.values)), 1e-300)
    in_play[: len(axes)] &= size[: len(axes)] * np.abs(shape) > 1e-9 * np.linalg.norm(problem.target)
    if problem.nonnegative:
        in_play[len(axes) : len(axes) + amplitudes.size] &= amplitudes > 0.0
    scaled = jacobian[:, in_play] / size[in_play]
    number = int(in_play.sum())
    if number > problem.values.size:
        return None, number
    _, singular, v = np.linalg.svd(scaled, full_matrices=False)
    if number == 0 or singular[-1] < SINGULAR * singular[0]:
        return None, number
    inverse = (v.T / singular**2) @ v / np.outer(size[in_play], size[in_play])
    covariance = np.full((jacobian.shape[1], jacobian.shape[1]), np.nan)
    covariance[np.ix_(in_play, in_play)] = inverse
    return covariance, number
