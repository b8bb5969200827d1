"""Many separable least-squares problems followed downhill together: damped Gauss-Newton steps, all searches in step.

A search has few columns over its shape, whose amplitudes are solved for, so that only the shape is left to move (variable
projection, Golub & Pereyra 1973, from memory). Arrays hold one search a row, columns along the readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.loading import Array, Indices

Factors = tuple[Array, Array, NDArray[np.bool_]]
"""Orthonormal columns (S, K, T), triangular factors (S, K, K), whether regular (S,)."""

STEP = 1e-5
"""Step of the derivatives, relative to the range of a shape value; central, as one-sided ones leave an error that moves
the minimum in the seventh digit."""

MOST_STEPS = 60

LOST = 5
"""Steps after which a search that promises no less than another of its group has ended."""

LEAST_DAMPING = 1e-12
"""Of the largest slope's square: two coordinates that move the readings alike are told apart by no less."""

STRAIGHT, LONGEST_SHARE, UNDAMPED = 0.98, 0.95, 0.01
"""Cosine of two steps along one line; the share that a step has of the last one counts up to this; least damping."""

UNFELT = 1e-9
"""Of the data: below this share the slope along a coordinate is rounding."""

ROUNDING = 1e-15
"""Of the data's square: a residual sum's last digits, below which a step that gains nothing is no step missed."""

PERFECT = 1e-26
"""Of the data's square: a residual sum that is rounding alone."""

SINGULAR = 1e-11
"""A column of which less than this share is not made up of those before it depends on them."""


class Problem(Protocol):
    """What is followed: places run from 0 to 1 along each axis."""

    settled: float
    """A search has ended where another step could lower its residual sum by less than this share."""

    def columns(self, places: Array, rows: Indices) -> Array:
        """Columns (P, K, T) of the searches `rows` at places (P, d)."""

    def differences(self, places: Array, low: Array, high: Array, rows: Indices) -> Array:
        """Columns with one coordinate at `high` less those with it at `low`, the others at `places`, shape (d, P, K, T)."""

    def solve(self, columns: Array, targets: Array, factors: Factors) -> tuple[Array, Array, Array]:
        """Amplitudes (P, K), none negative, residuals (P, T), and orthonormal columns (P, K, T).

        `factors` are of `orthonormal(columns)`; where not all columns are in use, those of the columns in use may be given
        instead.
        """


@dataclass(eq=False)
class Descent:
    """Where P searches are: places (P, d), columns (P, K, T) there, orthonormal ones (see `Problem.solve`), amplitudes,
    residuals, residual sums, what each could still gain, and whether it has ended by itself."""

    places: Array
    columns: Array
    orthonormal: Array
    amplitudes: Array
    rest: Array
    sums: Array
    gains: Array
    converged: NDArray[np.bool_]

    @classmethod
    def at(cls, problem: Problem, places: Array, rows: Indices, targets: Array) -> Descent:
        columns = problem.columns(places, rows)
        factors = orthonormal(columns)
        amplitudes, rest, used = problem.solve(columns, targets, factors)
        count = places.shape[0]
        return cls(
            places,
            columns,
            used,
            amplitudes,
            rest,
            dot(rest, rest),
            np.full(count, np.inf),
            np.zeros(count, dtype=bool),
        )

    def take(self, other: Descent, rows: Indices, which: NDArray[np.bool_]) -> None:
        """Move some of the searches, `rows`, to where another state has them."""
        for name in ("places", "columns", "orthonormal", "amplitudes", "rest", "sums"):
            getattr(self, name)[rows[which]] = getattr(other, name)[which]


def descend(problem: Problem, targets: Array, places: Array, groups: Indices) -> Descent:
    """Follow every start downhill.

    Parameters
    ----------
    problem : Problem
    targets : ndarray, shape (P, T)
        Data of each search.
    places : ndarray, shape (P, d)
        Starts.
    groups : ndarray, shape (P,)
        Searches of one number look for one minimum, and only the lowest of them counts.
    """
    everything = np.arange(places.shape[0])
    state = Descent.at(problem, places, everything, targets)
    size = dot(targets, targets)
    damping = np.full(state.sums.size, 1e-3)
    lost = np.zeros(state.sums.size, dtype=bool)
    last = np.zeros_like(places)
    for number in range(MOST_STEPS):
        rows = np.flatnonzero(~state.converged & ~lost)
        if rows.size == 0:
            break
        step, promised, state.gains[rows] = _step(problem, state, rows, damping[rows], UNFELT**2 * size[rows])
        before, gain = state.sums[rows], state.gains[rows]
        free = (damping[rows] < UNDAMPED)[:, None]
        step, last[rows] = step * _further(step, np.where(free, last[rows], 0.0))[:, None], np.where(free, step, 0.0)
        moved = np.clip(state.places[rows] + step, 0.0, 1.0)
        trial = Descent.at(problem, moved, rows, targets[rows])
        lower = trial.sums < before
        still = (np.abs(moved - state.places[rows]) < 1e-12).all(axis=1)
        ended = (gain <= problem.settled * before) | (before <= PERFECT * size[rows])
        state.converged[rows] = ended | (~lower & (gain <= 100.0 * problem.settled * before + ROUNDING * size[rows]))
        # steps that gain far less than they promise go back and forth across a valley; see Marquardt's rule
        share = (before - trial.sums) / np.maximum(promised, 1e-300)
        damping[rows] = np.where(share > 0.75, 0.2 * damping[rows], np.where(share > 0.25, 1.0, 5.0) * damping[rows] + 0.02)
        state.take(trial, rows, lower)
        last[rows[~lower]] = 0.0
        lost[rows[still]] = True
        if number >= LOST:
            lowest = np.full(groups.max() + 1, np.inf)
            np.minimum.at(lowest, groups, state.sums)
            lost |= state.sums - state.gains > lowest[groups]
    return state


def _step(problem: Problem, state: Descent, rows: Indices, damping: Array, unfelt: Array) -> tuple[Array, Array, Array]:
    """Step of some searches (P, d), what it should lower the residual sum by, and what a full one within the range could.

    Amplitudes above zero are kept (Kaufman's derivative, 1975, from memory), as across a change of which those are the
    slope is no slope of either side.
    """
    places, amplitudes, rest = (a[rows] for a in (state.places, state.amplitudes, state.rest))
    d = places.shape[1]
    q = state.orthonormal[rows]
    some = np.flatnonzero(((amplitudes <= 0.0) & q.any(axis=2)).any(axis=1))
    if some.size:
        q[some] = orthonormal(np.where(amplitudes[some, :, None] > 0.0, state.columns[rows[some]], 0.0))[0]
    low, high = np.clip(places - STEP, 0.0, 1.0), np.clip(places + STEP, 0.0, 1.0)
    differences = problem.differences(places, low, high, rows)
    slope = np.einsum("dpkt,pk->pdt", differences, amplitudes) / (high - low)[:, :, None]
    jacobian = slope - np.einsum("pkt,pdk->pdt", q, np.einsum("pkt,pdt->pdk", q, slope))
    gradient = np.einsum("pdt,pt->pd", jacobian, rest)
    # a coordinate at an end of its range that wants out stays there, and one that moves nothing where it is
    held = ((places <= 0.0) & (gradient < 0.0)) | ((places >= 1.0) & (gradient > 0.0))
    held |= dot(jacobian, jacobian) <= unfelt[:, None]
    jacobian = np.where(held[:, :, None], 0.0, jacobian)
    gradient = np.where(held, 0.0, gradient)
    hessian = np.einsum("pdt,pet->pde", jacobian, jacobian)
    gains = _gains(hessian, gradient)
    own = np.diagonal(hessian, axis1=1, axis2=2)
    index = np.arange(d)
    # alike in all coordinates, or one that hardly matters would take over-long steps
    damped = np.maximum(damping, LEAST_DAMPING)[:, None]
    hessian[:, index, index] = own + damped * own.max(axis=1, keepdims=True) + np.where(own > 0.0, 0.0, 1.0)
    step = np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0]
    return step, dot(step, gradient), gains


def by_coordinate(differences: Array, takes: Indices, d: int) -> Array:
    """Differences (P, K, T) of columns that each take one coordinate, `takes` (P, K), by that coordinate: (d, P, K, T)."""
    count, functions, _ = differences.shape
    out = np.zeros((d, *differences.shape))
    out[takes, np.arange(count)[:, None], np.arange(functions)] = differences
    return out


def _further(step: Array, last: Array) -> Array:
    """How many times its step (P, d) each search goes, its last one having been `last` (Aitken).

    Where residuals are not small, each step is one share of the last one, on in its direction or back: of forty such steps
    one can go the way. Only undamped steps are compared, as damping changes them too.
    """
    square = dot(last, last)
    along = dot(step, last)
    share = along / np.where(square > 0.0, square, 1.0)
    straight = np.abs(along) > STRAIGHT * np.sqrt(square * dot(step, step))
    return np.where(straight & (np.abs(share) < 1.0), 1.0 / (1.0 - np.minimum(share, LONGEST_SHARE)), 1.0)


def _gains(hessian: Array, gradient: Array) -> Array:
    """By how much a full step within the range could still lower residual sums, shape (P,).

    The relative offset of Bates & Watts (1981, from memory), but for directions that hardly move the residuals.
    """
    square, turned = np.linalg.eigh(hessian)
    size = np.sqrt(np.maximum(square, 0.0))
    along = np.abs(np.einsum("pde,pd->pe", turned, gradient)) / np.where(size > 0.0, size, 1.0)
    return np.asarray(np.minimum(along**2, 2.0 * along * size).sum(axis=1))


def dot(a: Array, b: Array) -> Array:
    """Scalar products along the last axis."""
    return np.asarray(np.vecdot(a, b))


def orthonormal(columns: Array) -> Factors:
    """Gram-Schmidt, twice, of few columns (S, k, T): orthonormal ones, triangular factors (S, k, k), whether regular.

    A column that depends on those before it becomes zero; one that is nothing stays so and spoils nothing. Much faster
    for thousands of small sets than LAPACK.
    """
    count = columns.shape[1]
    q, r = columns.copy(), np.zeros((columns.shape[0], count, count))
    length = np.sqrt(dot(columns, columns))
    usable = np.ones(columns.shape[0], dtype=bool)
    for k in range(count):
        for _ in range(2 if k else 0):
            part = dot(q[:, :k], q[:, k, None])
            r[:, :k, k] += part
            q[:, k] -= (part[:, None, :] @ q[:, :k])[:, 0]
        left = np.sqrt(dot(q[:, k], q[:, k]))
        regular = left > SINGULAR * length[:, k]
        r[:, k, k] = np.where(regular, left, 1.0)
        q[:, k] *= np.where(regular, 1.0 / r[:, k, k], 0.0)[:, None]
        usable &= regular | (length[:, k] == 0.0)
    return q, r, usable


def back(r: Array, onto: list[Array]) -> list[Array]:
    """Amplitudes from triangular factors (S, k, k, ...) and projections, one array a column."""
    solved: list[Array] = [np.empty(0)] * len(onto)
    for k in reversed(range(len(onto))):
        rest = onto[k]
        for j in range(k + 1, len(onto)):
            rest = rest - r[:, k, j] * solved[j]
        solved[k] = rest / r[:, k, k]
    return solved
