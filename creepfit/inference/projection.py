"""Variable projection: a separable least-squares problem with its linear part solved for every shape.

What is linear (amplitudes, kept at or above zero; fixed columns of free sign) is solved exactly, so that only the shapes
are left to search (Golub & Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, from memory).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.nonnegative import exact_amplitudes, nonnegative_amplitudes
from creepfit.mechanics.loading import Array

Basis = Callable[[Array], Array]
"""Shapes (S, d) to columns (S, N, K)."""

HIDDEN = 1e-10
"""A column of which the fixed columns leave less than this share cannot be told from them."""


class ProjectedData:
    """Values (N,) with the fixed columns (N, Z) projected out: the same whatever is fitted to them."""

    def __init__(self, values: Array, fixed: Array | None = None) -> None:
        self.values = values
        self.fixed = np.empty((values.size, 0)) if fixed is None else fixed
        self.q = np.linalg.qr(self.fixed)[0] if self.fixed.shape[1] else self.fixed
        self.target = values - self.q @ (self.q.T @ values)
        self.size, self.size_of_target = float(np.linalg.norm(values)), float(np.linalg.norm(self.target))


class ProjectedProblem:
    """The problem with the fixed columns projected out, so that only shapes and amplitudes are left.

    Parameters
    ----------
    basis : callable
        Shapes (S, d) to columns (S, N, K).
    data : ProjectedData
    nonnegative : bool
        Whether amplitudes are kept at or above zero.
    """

    def __init__(self, basis: Basis, data: ProjectedData, nonnegative: bool) -> None:
        self.basis, self.data, self.nonnegative = basis, data, nonnegative
        self.values, self.fixed, self.q, self.target = data.values, data.fixed, data.q, data.target

    def columns(self, shapes: Array) -> Array:
        """Columns (S, N, K) at shapes (S, d), less what the fixed columns make up of them."""
        return self.beside_fixed(self.basis(shapes))

    def beside_fixed(self, full: Array) -> Array:
        """Columns (S, N, K), less what the fixed ones make up of them."""
        rest = np.asarray(full - self.q @ (self.q.T @ full))
        # what is left of a column that the fixed ones can imitate is rounding, and would fit as noise does
        hidden = (rest * rest).sum(axis=1) <= HIDDEN**2 * (full * full).sum(axis=1)
        return np.where(hidden[:, None, :], 0.0, rest)

    def solve(self, columns: Array) -> Array:
        """Amplitudes for one set of columns (N, K), scaled so that units do not matter."""
        size = np.sqrt((columns * columns).sum(axis=0))
        size[size == 0.0] = 1.0
        scaled = columns / size
        amplitudes = np.linalg.lstsq(scaled, self.target, rcond=1e-15)[0]
        if self.nonnegative and not (amplitudes > 0.0).all():
            amplitudes = exact_amplitudes(scaled, self.target, amplitudes > 0.0)
        return np.asarray(amplitudes / size)

    def residuals(self, shape: Array) -> Array:
        """What is left of the values at one shape (d,), shape (N,)."""
        columns = self.columns(shape[None, :])[0]
        return np.asarray(self.target - columns @ self.solve(columns))

    def residual_sums(self, shapes: Array) -> Array:
        """Residual sums of many shapes (S, d) at once, to the digits that a search needs; `residuals` has them all."""
        return self.lowest(shapes[:, None, :])[1]

    def lowest(self, shapes: Array) -> tuple[NDArray[np.intp], Array]:
        """Position of the best shape in each row of (R, P, d), and its residual sum; both of shape (R,).

        Amplitudes of any sign, by QR of all at once, give bounds from below; active sets are then needed only
        where a bound that is not reached is the lowest of its row.
        """
        columns = self.columns(shapes.reshape(shapes.shape[0] * shapes.shape[1], shapes.shape[2]))
        columns = columns[:, :, columns.any(axis=(0, 1))]
        size = np.sqrt((columns * columns).sum(axis=1, keepdims=True))
        scaled = columns / np.where(size == 0.0, 1.0, size)
        q, r = np.linalg.qr(scaled)
        singular = np.abs(np.diagonal(r, axis1=1, axis2=2)).min(axis=1) < 1e-12
        r[singular] = np.eye(r.shape[1], r.shape[2])
        amplitudes = np.linalg.solve(r, (self.target @ q)[..., None])
        rest = self.target - (scaled @ amplitudes)[..., 0]
        bounds = np.where(singular, 0.0, (rest * rest).sum(axis=1)).reshape(shapes.shape[:2])
        negative = (amplitudes[..., 0] < 0.0).any(axis=1) if self.nonnegative else False
        reached = ~(singular | negative).reshape(shapes.shape[:2])
        best = np.argmin(bounds, axis=1)
        rows = np.arange(best.size)
        while (rows := rows[~reached[rows, best[rows]]]).size:
            x = scaled[rows * shapes.shape[1] + best[rows]]
            targets = np.broadcast_to(self.target, x.shape[:2])
            solved = nonnegative_amplitudes(x, targets) if self.nonnegative else np.array([self.solve(c) for c in x])
            left = targets - (x @ solved[..., None])[..., 0]
            bounds[rows, best[rows]], reached[rows, best[rows]] = (left * left).sum(axis=1), True
            best[rows] = np.argmin(bounds[rows], axis=1)
        return best, bounds[np.arange(best.size), best]
