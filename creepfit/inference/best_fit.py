"""Best fit of a separable problem: amplitudes by least squares for every shape, shapes by grid and polish.

The grid finds the valleys and lmfit goes down to their floors; everything it says of errors is set aside, because at
bounds and without spare readings it is silently wrong. Standard errors come from the full Jacobian here.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.descent import STEP, UNFELT
from creepfit.inference.projection import Basis, ProjectedData, ProjectedProblem
from creepfit.mechanics.loading import Array
from creepfit.models.model import Axis, are_twins

AT_BOUND = 1e-5
"""A shape value this close to an end of its range, relative to the range, counts as at the end."""

SINGULAR = 1e-9
"""Ratio of singular values of the scaled Jacobian below which the readings do not determine the parameters."""

VALLEYS = 4
"""How many local minima of the grid are polished."""

FINER = 4
"""How many times the grid across a valley is made finer: to 1/9000 of a retardation time's range."""

GAIN = 1e-13
"""A search has ended where another step could lower the residual sum by less than this share."""

NO_GAIN = 1e-11
"""Nor does it go on where taking up again lowered it by less than this."""

EVALUATIONS = 40
"""How many times one call of lmfit may evaluate the residuals."""

HOPELESS = 2.0
"""A valley this many times as high as another's floor is not looked over."""

RESCANS = 3
"""How many times a flat valley is looked over and descended again."""

RESTARTS, LATER_RESTARTS = 20, 2
"""How many times the polish may take up again, and how many while a valley tried before it is still lower."""


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
    converged : bool
        Whether the search ended by its own tolerance.
    determined : bool
        Whether the readings fix every parameter in play.
    hidden : tuple of int
        Amplitudes that cannot be told from the fixed columns; their zero stands for unknown.
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
    hidden: tuple[int, ...] = ()


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
    return best_fit_of(ProjectedProblem(basis, ProjectedData(values, fixed), nonnegative), axes)


def best_fit_of(problem: ProjectedProblem, axes: Sequence[Axis], lowest: Array | None = None) -> BestFit:
    """The same of a problem whose data are projected already.

    `lowest`, shape (d,), are shapes at which the residual sum is known to be lowest; nothing is searched then.
    """
    if not axes or lowest is not None:
        return _summary(problem, axes, np.empty(0) if lowest is None else lowest, True)
    search = _Search(problem, axes)
    best = (np.inf, np.empty(0), False)
    for start in search.valleys():
        best = min(best, search.polished(start, best[0]), key=lambda valley: valley[0])
    _, place, converged = best
    return _summary(problem, axes, search.shapes(place[None, :])[0], converged)


class _Search:
    """Minimum of the residual sum over the shapes, in coordinates that run from 0 to 1 along each axis."""

    def __init__(self, problem: ProjectedProblem, axes: Sequence[Axis]) -> None:
        self.problem, self.axes = problem, axes
        self.counts = tuple(axis.count for axis in axes)
        self.twins = are_twins(axes)
        self._seen: dict[bytes, Array] = {}
        self.low = np.array([float(axis.to_search(np.asarray(axis.low))) for axis in axes])
        self.width = np.array([float(axis.to_search(np.asarray(axis.high))) for axis in axes]) - self.low

    def shapes(self, places: Array) -> Array:
        """Shape values (S, d) at places (S, d)."""
        inside = self.low + places * self.width
        columns = [axis.from_search(inside[:, i]) for i, axis in enumerate(self.axes)]
        clipped = [np.clip(c, axis.low, axis.high) for c, axis in zip(columns, self.axes, strict=True)]
        return np.stack(clipped, axis=1)

    def valleys(self) -> list[Array]:
        """Places of the lowest local minima of the grid.

        With several axes the valleys are far narrower than the grid and slant through it, so that nodes say little: for
        each value on the first axis the others are refined first, and the minima of what that leaves are taken.
        """
        nodes = np.array(list(itertools.product(*(np.linspace(0.0, 1.0, n) for n in self.counts))))
        profile, places = self._lowest(nodes.reshape(self.counts[0], -1, len(self.axes)))
        if len(self.axes) > 1:
            profile, places = self._across(places)
        padded = np.concatenate([[np.inf], profile, [np.inf]])
        minima = np.flatnonzero((profile <= padded[:-2]) & (profile <= padded[2:]))
        chosen: list[int] = []
        places = np.sort(places, axis=1) if self.twins else places
        for i in minima[np.argsort(profile[minima], kind="stable")]:
            apart = [np.abs(places[i] - places[j]).max() > 1.0 / self.counts[0] for j in chosen]
            higher = [profile[i] > profile[j] * (1.0 + 1e-9) for j in chosen]  # else it lies on the same plateau
            if all(apart) and all(higher):
                chosen.append(int(i))
        return [places[i] for i in chosen[:VALLEYS]]

    def _lowest(self, places: Array) -> tuple[Array, Array]:
        """Least residual sum in each row of places (R, P, d), shape (R,), and where, shape (R, d)."""
        best, sums = self.problem.lowest(self.shapes(places.reshape(-1, places.shape[2])).reshape(places.shape))
        return sums, places[np.arange(best.size), best]

    def _across(self, places: Array) -> tuple[Array, Array]:
        """Refine all coordinates but the first at each place (M, d): least residual sums (M,), and where."""
        rest = len(self.axes) - 1
        offsets = np.array(list(itertools.product(np.linspace(-1.0, 1.0, 9 if rest == 1 else 5), repeat=rest)))
        closer = 4.0 if rest == 1 else 2.0
        offsets = np.column_stack([np.zeros(offsets.shape[0]), offsets]) / (np.array(self.counts) - 1.0)
        sums: Array = np.empty(0)
        for _ in range(FINER):
            sums, places = self._lowest(np.clip(places[:, None, :] + offsets, 0.0, 1.0))
            offsets = offsets / closer
        return sums, places

    def polished(self, place: Array, to_beat: float) -> tuple[float, Array, bool]:
        """Refine a place by lmfit; return its residual sum, where, and whether the search ended by its own tolerance.

        It is broken off where it can no longer come below the residual sum `to_beat`.

        A coordinate at an end of its range stays there where stepping inward does not pay: lmfit's way of keeping
        within bounds takes all slope away at a bound, so a search from there would not move, and one towards it creeps.
        """
        free = np.array([self._wants_in(place, i) for i in range(place.size)])
        start = np.where(free, np.clip(place, 1e-6, 1.0 - 1e-6), place)
        lowest, converged = self._descended(start, free, to_beat)
        for _ in range(RESCANS):
            total = self._sum(lowest)
            better = self._scanned(lowest, free) if total < HOPELESS * to_beat else lowest
            if not self._sum(better) < total:
                break
            lowest, converged = self._descended(better, free, to_beat)
        total = self._sum(lowest)
        for i, end in itertools.product(range(place.size), (0.0, 1.0)):
            there = lowest.copy()
            there[i] = end
            if self._sum(there) < total:
                free[i] = False
                lowest, converged = self._descended(there, free, to_beat)
                total = self._sum(lowest)
        return total, lowest, converged

    def _scanned(self, place: Array, free: NDArray[np.bool_]) -> Array:
        """Move along coordinates without a slope to speak of, one at a time, by comparing residual sums."""
        moving = np.flatnonzero(free)
        for i in moving[~self._slopes(place, moving).any(axis=0)]:
            steps = np.linspace(-1.0, 1.0, 2 * self.counts[i] - 1)  # the whole range first, then ever closer
            for _ in range(4):
                near = np.clip(place + steps[:, None] * np.eye(place.size)[i], 0.0, 1.0)
                likely = near[np.argsort(self.problem.residual_sums(self.shapes(near)), kind="stable")[:5]]
                place = min([place, *likely], key=self._sum)
                steps = np.linspace(-1.0, 1.0, 9) * (steps[1] - steps[0])
        return place

    def _wants_in(self, place: Array, i: int) -> bool:
        if 0.0 < place[i] < 1.0:
            return True
        inward = place.copy()
        inward[i] = abs(place[i] - 1e-6)
        return self._sum(inward) < self._sum(place)

    def _sum(self, place: Array) -> float:
        residuals = self._residuals(place)
        return float(residuals @ residuals)

    def _descended(self, place: Array, free: NDArray[np.bool_], to_beat: float) -> tuple[Array, bool]:
        """Call lmfit until nothing is left to gain: where an amplitude reaches zero its trust region shrinks to nothing."""
        moving = np.flatnonzero(free)
        if moving.size == 0:
            return place, True
        total = self._sum(place)
        for attempt in range(RESTARTS):
            place, ended = self._lmfit(place, moving)
            gain = self._gain(place, moving)
            before, total = total, self._sum(place)
            if gain <= GAIN or before - total <= NO_GAIN * before:
                return place, gain <= GAIN or ended
            if total * (1.0 - gain) > to_beat or (total > to_beat and attempt >= LATER_RESTARTS):
                break
        return place, False

    def _gain(self, place: Array, moving: NDArray[np.intp]) -> float:
        """Share of the residual sum that a full step within the range could still gain.

        The relative offset of Bates & Watts (1981, from memory), but for directions that hardly move the residuals.
        """
        residuals = self._residuals(place)
        total = float(residuals @ residuals)
        if total <= 1e-26 * float(self.problem.target @ self.problem.target):
            return 0.0
        u, size, _ = np.linalg.svd(self._slopes(place, moving), full_matrices=False)
        along = np.abs(residuals @ u)
        return float(np.sum(np.minimum(along**2, 2.0 * along * size))) / total

    def _lmfit(self, place: Array, moving: NDArray[np.intp]) -> tuple[Array, bool]:
        """Return the best place seen, and whether the search ended by itself."""
        from lmfit import Minimizer, Parameters

        parameters = Parameters()
        for i in moving:
            parameters.add(f"s{i}", value=float(place[i]), min=0.0, max=1.0)

        def at(current: Parameters) -> Array:
            here = place.copy()
            here[moving] = [current[f"s{i}"].value for i in moving]
            return here

        best = np.inf, place

        def residuals(current: Parameters) -> Array:
            nonlocal best
            here = at(current)
            left = self._residuals(here)
            best = min(best, (float(left @ left), here), key=lambda seen: seen[0])
            return left

        def slopes(current: Parameters) -> Array:
            return self._slopes(at(current), moving)

        minimizer = Minimizer(residuals, parameters, calc_covar=False, nan_policy="raise", max_nfev=EVALUATIONS)
        # steps are measured alike in all coordinates (diag), or one that hardly matters would take over-long ones
        plain = {"diag": np.ones(moving.size), "factor": 1.0}
        result = minimizer.minimize(method="leastsq", Dfun=slopes, ftol=1e-12, xtol=1e-9, gtol=0.0, **plain)
        # not its own result: cut short, it gives back the place tried last, which can be anywhere
        return best[1], not result.aborted

    def _residuals(self, place: Array) -> Array:
        key = place.tobytes()  # the search and its checks come back to the same places
        if key not in self._seen:
            self._seen[key] = self.problem.residuals(self.shapes(place[None, :])[0])
        return self._seen[key]

    def _slopes(self, place: Array, moving: NDArray[np.intp]) -> Array:
        """Derivatives (N, d) of the residuals by the moving coordinates (Golub & Pereyra 1973, eq. 4.8, from memory).

        Central differences of the columns, as forward ones leave an error that moves the minimum in the seventh digit.
        The set of amplitudes above zero is kept, as across its change the slope is no slope of either side.
        """
        steps = np.eye(place.size)[moving] * STEP
        columns = self.problem.columns(self.shapes(np.concatenate([place[None, :], place + steps, place - steps])))
        amplitudes = self.problem.solve(columns[0])
        rest = self.problem.target - columns[0] @ amplitudes
        used = (amplitudes != 0.0) & columns[0].any(axis=0)  # of a column that is nothing the amplitude is rounding
        here, amplitudes = columns[0][:, used], amplitudes[used]
        change = (columns[1 : 1 + moving.size] - columns[1 + moving.size :])[:, :, used] / (2.0 * STEP)
        size = np.sqrt((here * here).sum(axis=0))
        inverse = np.linalg.pinv(here / size) / size[:, None]
        moved = change @ amplitudes
        slopes = (moved @ inverse.T) @ here.T - moved - np.einsum("dnk,n,km->dm", change, rest, inverse)
        felt = np.linalg.norm(slopes, axis=1) > UNFELT * np.linalg.norm(self.problem.target)
        return np.where(felt, slopes.T, 0.0)


def _summary(problem: ProjectedProblem, axes: Sequence[Axis], shape: Array, converged: bool) -> BestFit:
    if are_twins(axes):
        shape = np.sort(shape)
    shapes, apart = _around(axes, shape)
    columns = problem.basis(shapes)
    full, seen = columns[0], problem.beside_fixed(columns[:1])[0]
    amplitudes = problem.solve(seen)
    hidden = tuple(int(k) for k in np.flatnonzero(~seen.any(axis=0) & full.any(axis=0)))
    rest = problem.values - full @ amplitudes
    fixed = np.linalg.lstsq(problem.fixed, rest, rcond=None)[0] if problem.fixed.shape[1] else np.empty(0)
    residuals = rest - problem.fixed @ fixed
    at_bound = [f"shape {i}" for i, axis in enumerate(axes) if _is_at_bound(axis, shape[i])]
    if problem.nonnegative:
        at_bound += [f"amplitude {k}" for k, a in enumerate(amplitudes) if a <= 0.0 and k not in hidden]
    up, down = columns[1 : 1 + apart.size], columns[1 + apart.size :]
    slopes = (up - down) @ amplitudes / apart[:, None]
    covariance, in_play = _covariance(problem, shape, slopes, full, amplitudes, hidden)
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
        hidden,
    )


def _is_at_bound(axis: Axis, value: float) -> bool:
    low, high = axis.to_search(np.asarray(axis.low)), axis.to_search(np.asarray(axis.high))
    here = axis.to_search(np.asarray(value))
    return bool(min(here - low, high - here) < AT_BOUND * (high - low))


def _around(axes: Sequence[Axis], shape: Array) -> tuple[Array, Array]:
    """Shapes (1 + 2d, d): these, a little above along each axis, and a little below; how far those are apart, (d,)."""
    shapes, d = np.repeat(shape[None, :], 1 + 2 * shape.size, axis=0), shape.size
    apart = np.empty(d)
    for i, axis in enumerate(axes):
        here = axis.to_search(shape[i])
        up, down = axis.from_search(here + 1e-4), axis.from_search(here - 1e-4)
        shapes[1 + i, i], shapes[1 + d + i, i], apart[i] = up, down, up - down
    return shapes, apart


def _covariance(
    problem: ProjectedProblem, shape: Array, slopes: Array, full: Array, amplitudes: Array, hidden: tuple[int, ...]
) -> tuple[Array | None, int]:
    """Return (J'J)^-1 over (shape, amplitudes, fixed) and the number of parameters in play.

    `slopes` (d, N) are by the shape values, `full` the columns there. Amplitudes at zero or hidden are out of play; shape
    values that no longer move anything have no error, and neither has anything if the rest is singular.
    """
    d = shape.size
    jacobian = np.concatenate([slopes.T, full, problem.fixed], axis=1)
    size = np.sqrt((jacobian * jacobian).sum(axis=0))
    in_play = size > 1e-14 * max(problem.data.size, 1e-300)
    in_play[:d] &= size[:d] * np.abs(shape) > 1e-9 * problem.data.size_of_target
    if problem.nonnegative:
        in_play[d : d + amplitudes.size] &= amplitudes > 0.0
    in_play[[d + k for k in hidden]] = False
    which = np.flatnonzero(in_play)
    number, size = which.size, size[which]
    scaled = jacobian[:, which] / size
    if number > problem.values.size:
        return None, number
    _, singular, v = np.linalg.svd(scaled, full_matrices=False)
    if number == 0 or singular[-1] < SINGULAR * singular[0]:
        return None, number
    covariance = np.full((jacobian.shape[1], jacobian.shape[1]), np.nan)
    covariance[which[:, None], which] = (v.T / singular**2) @ v / (size[:, None] * size)
    return covariance, number
