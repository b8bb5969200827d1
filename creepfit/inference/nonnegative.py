"""Least squares with amplitudes that are not negative, many small problems at once.

Active sets as Lawson & Hanson (Solving Least Squares Problems, 1974, chapter 23, from memory): a column comes in where the
residuals ask for it most, and goes out where its amplitude would turn negative. Written here because scipy's takes one
problem at a time, and importing that takes longer than fitting a run.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.loading import Array, Indices

Mask = NDArray[np.bool_]

ASKED = 1e-13
"""A column of unit size that would take up less than this share of the target is asked for by rounding."""

HIDDEN = 1e-9
"""A column of which free ones leave less than this share cannot be told from them."""

FEW = 8
"""Columns up to which all equations are solved, whichever are in use; of more columns few are, and theirs are taken out."""

RIDGE = 4e-15
"""Keeps normal equations of columns that depend on one another solvable; the second pass takes it out of all others."""


def nonnegative_amplitudes(columns: Array, targets: Array, begin: Mask | None = None) -> Array:
    """Amplitudes that leave the smallest residual sums.

    Parameters
    ----------
    columns : ndarray, shape (S, N, K)
        Of each problem; units do not matter.
    targets : ndarray, shape (S, N)
    begin : ndarray of bool, shape (S, K), optional
        Columns that are likely to be in use, where the search begins.

    Returns
    -------
    ndarray, shape (S, K)
    """
    size = np.sqrt((columns * columns).sum(axis=1))
    nothing = size == 0.0
    size = np.where(nothing, 1.0, size)
    problems = _Problems(columns / size[:, None, :], targets)
    amplitudes, used, barred = np.zeros(size.shape), np.zeros(size.shape, dtype=bool), nothing.copy()
    sums = (targets * targets).sum(axis=1)
    least = ASKED * np.sqrt(sums)
    slopes = problems.right.copy()
    rows, tried = np.arange(sums.size), used if begin is None else begin & ~nothing
    while rows.size and size.shape[1]:
        found, tried = problems.positive(rows, amplitudes[rows], tried)
        rest = problems.left(rows, found)
        total = (rest * rest).sum(axis=1)
        lower = total < sums[rows]
        on = rows[lower]
        amplitudes[on], used[on], sums[on], barred[on] = found[lower], tried[lower], total[lower], nothing[on]
        slopes[on] = problems.onto(on, rest[lower])
        open_still = np.where(used[rows] | barred[rows], -1.0, slopes[rows])
        entering = open_still.argmax(axis=1)
        asked = open_still[np.arange(rows.size), entering] > least[rows]
        rows, entering = rows[asked], entering[asked]
        # what comes in and lowers nothing is left out until another column has, so that none goes round in circles
        barred[rows, entering] = True
        tried = used[rows]
        tried[np.arange(rows.size), entering] = True
    return np.asarray(amplitudes / size)


def beside_free(targets: Array, free: Array, bound: Array, near: Mask) -> tuple[Array, Array, Array]:
    """Non-negative amplitudes of some columns beside others of either sign.

    Parameters
    ----------
    targets : ndarray, shape (S, N)
    free, bound : ndarray, shape (S, N, F) and (S, N, B)
        Columns of either sign, and those whose amplitudes are not negative.
    near : ndarray of bool, shape (S, B)
        Of those the ones that are likely to be in use.

    Returns
    -------
    tuple of ndarray
        Residuals (S, N), amplitudes not negative (S, B), and of either sign (S, F).
    """
    q, singular, back = np.linalg.svd(free, full_matrices=False)
    told = singular > 1e-10 * singular[:, :1]
    q = np.where(told[:, None, :], q, 0.0)
    across = q.transpose(0, 2, 1)
    a = bound - q @ (across @ bound)
    usable = np.linalg.norm(a, axis=1) > HIDDEN * np.maximum(np.linalg.norm(bound, axis=1), 1e-300)
    target = targets - (q @ (across @ targets[..., None]))[..., 0]
    amplitudes = nonnegative_amplitudes(np.where(usable[:, None, :], a, 0.0), target, near)
    residuals = target - (a @ amplitudes[..., None])[..., 0]
    left = targets - (bound @ amplitudes[..., None])[..., 0]
    inner = (across @ left[..., None])[..., 0] / np.where(told, singular, 1.0)
    return residuals, amplitudes, (inner[:, None, :] @ back)[:, 0, :]


def exact_amplitudes(columns: Array, target: Array, likely: Mask) -> Array:
    """The same of one problem to the last digit, by singular values of the columns in use: best fits show them all.

    Parameters
    ----------
    columns : ndarray, shape (N, K)
        Each of unit size, or nought.
    target : ndarray, shape (N,)
    likely : ndarray of bool, shape (K,)
        Columns that are likely to be in use: nothing is searched where they are.

    Returns
    -------
    ndarray, shape (K,)
    """
    found = _of_used(columns, target, likely)
    asked = (target - columns @ found) @ columns
    if (found[likely] > 0.0).all() and (asked[~likely] <= ASKED * np.sqrt(target @ target)).all():
        return found
    amplitudes = nonnegative_amplitudes(columns[None], target[None], likely[None])[0]
    found = _of_used(columns, target, amplitudes > 0.0)
    return found if (found[amplitudes > 0.0] > 0.0).all() else amplitudes


def _of_used(columns: Array, target: Array, used: Mask) -> Array:
    """Amplitudes (K,) of any sign of the columns in use."""
    found = np.zeros(used.size)
    found[used] = np.linalg.lstsq(columns[:, used], target, rcond=1e-15)[0]
    return found


class _Problems:
    """Least squares of any sign over columns of unit size (S, N, K), of which each problem uses some."""

    def __init__(self, columns: Array, targets: Array) -> None:
        self.columns, self.targets = columns, targets
        self.across = columns.transpose(0, 2, 1)
        self.gram = self.across @ columns
        self.right = (self.across @ targets[..., None])[..., 0]

    def _of(self, rows: Indices, every: Array) -> Array:
        return every if rows.size == every.shape[0] else every[rows]

    def left(self, rows: Indices, amplitudes: Array) -> Array:
        return np.asarray(self._of(rows, self.targets) - (self._of(rows, self.columns) @ amplitudes[..., None])[..., 0])

    def onto(self, rows: Indices, residuals: Array) -> Array:
        return np.asarray((self._of(rows, self.across) @ residuals[..., None])[..., 0])

    def positive(self, rows: Indices, start: Array, used: Mask) -> tuple[Array, Mask]:
        """From amplitudes `start` (P, K) go towards those of the columns in use, without what turns negative on the way."""
        found, used = self.solve(rows, used), used.copy()
        at = np.arange(rows.size)
        while True:
            negative = used[at] & (found[at] <= 0.0)
            some = negative.any(axis=1)
            at, negative = at[some], negative[some]
            if not at.size:
                return found, used
            old, new = start[at], found[at]
            share = np.where(negative, old / np.where(negative & (old > new), old - new, 1.0), np.inf)
            reach = share.min(axis=1, keepdims=True)
            used[at] &= share > reach
            start[at] = np.where(used[at], old + reach * (new - old), 0.0)
            found[at] = self.solve(rows[at], used[at])

    def solve(self, rows: Indices, used: Mask) -> Array:
        """Amplitudes (P, K) of the columns in use.

        By normal equations, and once more for what these leave, which has the digits of QR (Björck, Linear Algebra Appl.
        88 (1987) 31, from memory) unless a column is made up of others but for 1e-7 of its size. Such a one could lower
        the residuals by no more than that share of amplitudes, as none of these may be large against one another.
        """
        if used.shape[1] > FEW:
            return self._solved_for_used(rows, used)
        both = used[:, :, None] & used[:, None, :]
        normal = np.where(both, self._of(rows, self.gram), 0.0)
        each = np.arange(used.shape[1])
        normal[:, each, each] = 1.0 + RIDGE
        out = np.linalg.solve(normal, np.where(used, self._of(rows, self.right), 0.0)[..., None])[..., 0]
        more = np.where(used, self.onto(rows, self.left(rows, out)), 0.0)
        out += np.linalg.solve(normal, more[..., None])[..., 0]
        return out

    def _solved_for_used(self, rows: Indices, used: Mask) -> Array:
        """The same with the columns in use side by side, those of none in place of what some problems have fewer."""
        first = np.argsort(~used, axis=1, kind="stable")[:, : int(used.sum(axis=1).max())]
        along = np.arange(rows.size)[:, None]
        own = used[along, first]
        columns = self.across[rows[:, None], first] * own[..., None]
        normal = columns @ columns.transpose(0, 2, 1)
        each = np.arange(first.shape[1])
        normal[:, each, each] = 1.0 + RIDGE
        targets = self.targets[rows][..., None]
        found = np.linalg.solve(normal, columns @ targets)
        found += np.linalg.solve(normal, columns @ (targets - columns.transpose(0, 2, 1) @ found))
        out = np.zeros(used.shape)
        out[along, first] = found[..., 0] * own
        return out
