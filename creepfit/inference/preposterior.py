"""What further readings are worth: how sure an answer is expected to be once they are taken (preposterior analysis).

Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), from memory. The draws of the mixture do all of it: some of
them stand for the truth, each shows readings with the gauge's scatter, and all draws are weighed by how well they foretold
these. Truths and scatter are the same for every choice of readings (common random numbers), so that choices differ by
what they tell and not by luck.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from creepfit.inference.known import KnownFit
from creepfit.inference.next_reading import NextReadings, joint_correlation, next_readings
from creepfit.inference.run_fit import Fit
from creepfit.mechanics.loading import Array, Indices, LoadHistory

TRUTHS = 200
"""Draws that stand for the truth once each where a doubt is shown to the user."""

SEARCHED = 64
"""The same while the best readings are searched for, among every second draw: what decides are differences, which truths
and scatter in common make far surer than each of the doubts."""

FEWEST = 40.0
"""Draws that must carry the weight once readings are in. Where fewer do, the readings are taken to tell less than they do
(their likelihood is flattened) until they do: what is promised is then rather too little."""

LEAST_RESPONSE = 0.02
"""Share of the median below which a response is cut before its logarithm is taken: its order of size is all that counts."""


@dataclass(frozen=True, eq=False)
class Estimand:
    """What is asked of the draws, one number for each, shape (N,).

    `kind` "size": the doubt is the standard deviation of `values`. "verdict": `values` are probabilities of a yes given
    the draw, and the doubt is that of deciding wrongly, the lesser one of the probabilities of yes and no. `cases` is how
    many draws stand for the truth, J.
    """

    values: Array
    kind: Literal["size", "verdict"] = "size"
    cases: int = TRUTHS

    @classmethod
    def response(cls, response: Array) -> Estimand:
        """A deformation to come, by its logarithm: a flow that one draw in a hundred has does not decide alone."""
        toward = response * (1.0 if np.median(response) >= 0.0 else -1.0)
        least = max(LEAST_RESPONSE * float(np.median(toward)), float(np.finfo(float).tiny))
        return cls(np.log(np.maximum(toward, least)))

    @cached_property
    def now(self) -> float:
        """Doubt before any further reading."""
        if self.kind == "verdict":
            yes = float(self.values.mean())
            return min(yes, 1.0 - yes)
        return float(self.values.std())

    @cached_property
    def truths(self) -> Indices:
        """Draws that stand for the truth, shape (J,): half of them as drawn, half by how much they add to the doubt.

        Draws come sorted by model and shape, so that one at every equal step of probability is a fair lot of them.
        """
        edges = np.cumsum(self._chosen_by)
        steps = (np.arange(self.cases) + 0.5) * edges[-1] / self.cases
        return np.asarray(np.minimum(np.searchsorted(edges, steps), edges.size - 1))

    @cached_property
    def truth_weights(self) -> Array:
        """Probability of each of them, shape (J,), sum 1."""
        weight = 1.0 / self._chosen_by[self.truths]
        return np.asarray(weight / weight.sum())

    @cached_property
    def _chosen_by(self) -> Array:
        if self.kind == "verdict":
            return np.ones(self.values.size)
        square = (self.values - self.values.mean()) ** 2
        return np.asarray(1.0 + square / max(float(square.mean()), float(np.finfo(float).tiny)))

    def doubt(self, weight: NDArray[np.float32]) -> float:
        """Doubt expected under weights (N, J) that sum to 1 over the draws, one case for each truth."""
        if self.kind == "verdict":
            yes = np.asarray(self.values.astype(np.float32) @ weight, dtype=float)
            return float(np.minimum(yes, 1.0 - yes) @ self.truth_weights)
        centred = self.values - self.values.mean()
        first, second = np.asarray(np.stack([centred, centred**2]).astype(np.float32) @ weight, dtype=float)
        return float(np.sqrt(np.maximum(second - first**2, 0.0) @ self.truth_weights))

    def narrowing(self, doubt: float) -> float:
        """Share of today's doubt that a later one has taken off, from 0 to 1."""
        return float(np.clip(1.0 - doubt / self.now, 0.0, 1.0)) if self.now > 0.0 else 0.0


@dataclass(frozen=True, eq=False)
class FurtherReadings:
    """Readings that could be taken on the specimen under one load history, and what they would tell.

    Attributes
    ----------
    asked : Estimand
        What they are taken for.
    ahead : NextReadings
        Their predictive distribution, one normal for each draw, over C readings.
    seed : int
    """

    asked: Estimand
    ahead: NextReadings
    seed: int

    @classmethod
    def of(cls, asked: Estimand, fit: Fit, history: LoadHistory, times: Array) -> FurtherReadings:
        """Readings at `times` (C,) [s] under `history`, which is as observed up to the last reading so far."""
        noise = fit.observed.noise
        joint = joint_correlation(noise, fit.observed.times, times)
        return cls(asked, next_readings(fit.draws, history, times, joint), fit.seed)

    def shown(self, taken: Sequence[int], root: Array) -> Array:
        """What each truth shows at the readings taken, shape (J, K); `root` is the root of their covariance.

        The first reading of every choice errs alike, and so the second: choices differ by when they are read.
        """
        normal = _scatter(len(taken), self.asked.cases, self.seed)
        true = self.asked.truths
        means = self.ahead.mean[np.ix_(true, np.asarray(taken, dtype=np.intp))]
        return np.asarray(means + self.ahead.noise[true, None] * (normal @ root.T))

    def weights(self, taken: Sequence[int]) -> NDArray[np.float32]:
        """Weight of each draw once some of the readings were taken, shape (N, J), for each truth's own.

        A truth has no weight in its own case, as no draw is the truth.
        """
        at = list(taken)
        root: Array = np.asarray(np.linalg.cholesky(self.ahead.unit_covariance[np.ix_(at, at)]), dtype=float)
        each = np.linalg.solve(root, self.ahead.mean[:, at].T)
        seen = np.linalg.solve(root, self.shown(at, root).T)
        per_noise = self.ahead.noise**-2.0
        # -square/2 noise^2 + log terms, as one product: what is common to a case cancels between its draws
        own = 0.5 * len(at) * np.log(per_noise) - 0.5 * per_noise * (each**2).sum(axis=0)
        left = np.vstack([per_noise * each, own, -0.5 * per_noise])
        right = np.vstack([seen, np.ones(self.asked.cases), (seen**2).sum(axis=0)])
        exact, short = self._room
        log_weight = np.matmul(left.T, right, out=exact)
        log_weight[self.asked.truths, np.arange(self.asked.cases)] = -np.inf
        with np.errstate(over="ignore"):  # a draw too far off for a short number has no weight, as it should
            np.subtract(log_weight, log_weight.max(axis=0), out=short, casting="same_kind")
        return _flattened(short)

    def doubt(self, taken: Sequence[int]) -> float:
        """Doubt expected once some of the readings were taken."""
        key = tuple(sorted(taken))
        if key not in self._known:
            self._known[key] = self.asked.doubt(self.weights(key)) if key else self.asked.now
        return self._known[key]

    def width(self, values: Array, taken: Sequence[int], level: float) -> float:
        """Expected width of the interval of some quantity of the draws, (N,), over its width now."""
        order = np.argsort(values)
        ends = np.array([0.5 - level / 2.0, 0.5 + level / 2.0])
        now = float(np.ptp(np.quantile(values, ends)))
        if now <= 0.0:
            return 1.0
        weight = self.weights(sorted(taken))[order].astype(float)
        middle = np.cumsum(weight, axis=0) - 0.5 * weight
        widths = [float(np.ptp(np.interp(ends, column, values[order]))) for column in middle.T]
        return float(np.dot(widths, self.asked.truth_weights)) / now

    def best(self, count: int, among: Iterable[int] | None = None) -> list[tuple[tuple[int, ...], float]]:
        """The one, two and more readings that leave the least doubt together, and that doubt.

        Each number of readings begins from the best of one fewer, and then each of them is chosen again beside the others:
        a pair is not the two best single ones.
        """
        left = list(range(self.ahead.mean.shape[1]) if among is None else among)
        chosen: list[int] = []
        sets = []
        for _ in range(min(count, len(left))):
            chosen, doubt = self._rough._best_added(chosen, left)
            for place in range(len(chosen) - 1):
                others = [c for i, c in enumerate(chosen) if i != place]
                again, reached = self._rough._best_added(others, left)
                if reached < doubt:
                    chosen, doubt = again, reached
            sets.append((tuple(sorted(chosen)), self.doubt(chosen)))
        return sets

    @cached_property
    def _rough(self) -> FurtherReadings:
        """The same with fewer draws and truths, for searching."""
        ahead = NextReadings(self.ahead.mean[::2], self.ahead.unit_covariance, self.ahead.noise[::2])
        return FurtherReadings(replace(self.asked, values=self.asked.values[::2], cases=SEARCHED), ahead, self.seed)

    @cached_property
    def _room(self) -> tuple[Array, NDArray[np.float32]]:
        """Where logarithms of weights (N, J) are worked out: memory that is taken anew costs more than the sums."""
        shape = self.ahead.noise.size, self.asked.cases
        return np.empty(shape), np.empty(shape, dtype=np.float32)

    @cached_property
    def _known(self) -> dict[tuple[int, ...], float]:
        return {}

    def _best_added(self, beside: list[int], among: Sequence[int]) -> tuple[list[int], float]:
        tried = {c: self.doubt([*beside, c]) for c in among if c not in beside}
        best = min(tried, key=lambda c: tried[c])
        return [*beside, best], tried[best]


@lru_cache(maxsize=32)
def _scatter(readings: int, cases: int, seed: int) -> Array:
    """Standard normal errors, each reading's evenly spread over its distribution, shape (cases, readings)."""
    rng = np.random.default_rng(seed)
    strata = [(rng.permutation(cases) + rng.random(cases)) / cases for _ in range(readings)]
    return np.asarray(ndtri(np.clip(np.array(strata).T, 1e-9, 1.0 - 1e-9)))


def _flattened(log_weight: NDArray[np.float32]) -> NDArray[np.float32]:
    """Weights (N, J) that sum to 1, flattened where next to no draw would carry any."""
    weight = np.exp(log_weight)
    weight /= weight.sum(axis=0)
    for _ in range(20):
        poor = np.flatnonzero(np.einsum("ij,ij->j", weight, weight) * FEWEST > 1.0)
        if poor.size == 0:
            break
        log_weight[:, poor] *= 0.6
        again = np.exp(log_weight[:, poor])
        weight[:, poor] = again / again.sum(axis=0)
    return weight


def narrowing_of(fit: Fit, asked: Estimand, history: LoadHistory, times: Array) -> list[float]:
    """Expected share of the doubt that one reading more at each time takes off, see `Estimand`.

    Parameters
    ----------
    fit : Fit
    asked : Estimand
        One value for each of the fit's draws.
    history : LoadHistory
        All that acts on the specimen until that reading, in N (MPa).
    times : ndarray, shape (T,)
        Of the reading, s since first loading.
    """
    if not times.size:
        return []
    # only ever one of them: a time that is over has no place among further ones whose drift goes on from the last reading
    further = FurtherReadings.of(asked, fit, history, times)
    return [asked.narrowing(further.doubt([i])) for i in range(times.size)]


def with_set_to_come(fit: Fit) -> Fit:
    """The fit as it will be once the specimen was unloaded and read: with a set that no reading has shown yet.

    Without it an unloading would be promised to tell more of flow than it does, as a set can look like it.
    """
    observed = fit.observed
    if observed.has_recovery or not observed.has_initial or isinstance(fit, KnownFit):
        return fit
    return replace(fit, observed=replace(observed, has_recovery=True))
