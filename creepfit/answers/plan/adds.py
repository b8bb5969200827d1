"""What else a test could have: more specimens, a second temperature, a second stress; each by simulated bars.

The bars beside the first are simulated on the specimens that the plan is tried on, the same for every choice (common random
numbers): how far they differ in stiffness, what the readings leave open on each of them, and what warmth or stress does to
them. What is concluded is what pools and fits over temperature conclude from it: a scatter that is not known is integrated
over with their prior, growth and ratio have theirs. Only the curve's shape is taken as one bar's readings leave it, though
more bars tell more of it, so that the promise is rather too wide (`tests/benchmarks/plan_promise.py bars`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from creepfit.answers.plan.target import DRAWS, Answer
from creepfit.answers.plan.trial import Bench, half_width, normals
from creepfit.inference.scatter import HIGHEST, LOWEST, log_scatter_prior
from creepfit.inference.stress_law import RATIO_SPREAD
from creepfit.inference.warmth import PRIOR, SPREAD, UsualGrowth
from creepfit.mechanics.loading import Array
from creepfit.records.part import DEFAULT_SCATTER
from creepfit.units import show_number, show_time

NUMBERS = (1, 2, 3, 5)

USUAL = 3
"""Specimens that a material is usually tested on (common practice, no source)."""

WARMER = 10.0
"""K that a part is taken to be warmer by, where neither file says."""

STRESSED = 2.0
"""The other stress over that of the test."""

SCATTERS = np.geomspace(LOWEST, HIGHEST, 60)
"""Scatters between specimens that are integrated over."""


@dataclass(frozen=True)
class ManySpecimens:
    """Typical half widths over the median with `count` specimens: for their average, and for the next specimen or part.

    The scatter between them is as the bars show it, of which one shows nothing and two hardly anything; where it is
    `trusted`, it is taken to be what is usual.
    """

    count: int
    average: float
    next_one: float
    trusted: bool = False

    def to_dict(self) -> dict[str, Any]:
        return {
            "specimens": self.count,
            "scatter_trusted": self.trusted,
            "average_half_width_percent": 100.0 * self.average,
            "next_half_width_percent": 100.0 * self.next_one,
        }


@dataclass(frozen=True)
class Elsewhere:
    """Typical half widths for a bar under another condition than the test's, which `words` names.

    Taken on `trust`, with a `second` bar tested under that condition, and with the `same` bar tested under it afterwards.
    """

    name: str
    words: str
    trust: float
    second: float
    same: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "condition": self.name,
            "words": self.words,
            "on_trust_half_width_percent": 100.0 * self.trust,
            "second_bar_half_width_percent": 100.0 * self.second,
            "same_bar_half_width_percent": 100.0 * self.same,
        }


def many_specimens(bench: Bench, answers: Sequence[Answer]) -> tuple[ManySpecimens, ...]:
    """What one bar leaves open with the usual scatter trusted, and what one, two and more do, on average of those tried."""
    apart = stiffnesses(bench, len(answers))
    seen = np.random.default_rng([bench.seed, 32]).standard_normal((2, len(answers), max(NUMBERS)))
    specimens = []
    for count, trusted in ((1, True), *((number, False) for number in NUMBERS)):
        widths = []
        for k, one in enumerate(answers):
            stiffness = apart[k, :count] + one.whole_error * seen[0, k, :count]
            creep = one.creep_error * seen[1, k, :count]
            widths.append(_one_trusted(bench, one) if trusted else _pooled(bench, one, stiffness, creep))
        average, following = np.median(widths, axis=0)
        specimens.append(ManySpecimens(count, float(average), float(following), trusted))
    return tuple(specimens)


def stiffnesses(bench: Bench, count: int) -> Array:
    """How far the bars of each of some materials are off their average, log units, shape (count, bars)."""
    rng = np.random.default_rng([bench.seed, 31])
    return np.asarray(DEFAULT_SCATTER * rng.standard_normal((count, max(NUMBERS))))


def _one_trusted(bench: Bench, one: Answer) -> tuple[float, float]:
    """Half widths by one bar, from which what is asked about differs as is usual."""
    usual = (DEFAULT_SCATTER if bench.part is None else bench.target.scatter) * normals(one.values.size, bench.seed, 1)
    alone = half_width(one.values * np.exp(usual), bench.level)
    return alone, alone


def _pooled(bench: Bench, one: Answer, stiffness: Array, creep: Array) -> tuple[float, float]:
    """Half widths for the average and for the next, from how far each of some bars was seen to be off, log units (K,)."""
    count = stiffness.size
    z = [normals(one.values.size, bench.seed, which) for which in range(1, 5)]
    rest = []
    for values, error, own in ((stiffness, one.whole_error, z[:2]), (creep, one.creep_error, z[2:])):
        scatter = _scatters(values, error, bench.seed)
        mean = np.sqrt((scatter**2 + error**2) / count) * own[0]
        rest.append((mean, mean + scatter * own[1]))
    both = [half_width(_grown(one, whole, creeping), bench.level) for whole, creeping in zip(rest[0], rest[1], strict=True)]
    return both[0], both[1]


def _grown(one: Answer, whole: Array, creep: Array) -> Array:
    """The answer's draws (N,) with all deformation and its creep part multiplied, by factors given as logarithms (N,)."""
    return np.asarray(one.values * np.exp(whole) * (1.0 - one.creep + one.creep * np.exp(creep)))


def _scatters(values: Array, error: float, seed: int) -> Array:
    """Draws (N,) of the scatter between bars that were seen to be off by `values` (K,), each but for an error."""
    variance = SCATTERS**2 + error**2
    squares = float(np.square(values - values.mean()).sum())
    log_likelihood = -0.5 * (values.size - 1) * np.log(variance) - 0.5 * squares / variance
    return np.asarray(SCATTERS[_chosen(_prior() * np.exp(log_likelihood - log_likelihood.max()), seed)])


def _prior() -> Array:
    """Probability of each scatter (S,) as pools of several specimens have it before readings."""
    log_prior = log_scatter_prior(SCATTERS, 2) + np.log(SCATTERS)
    return np.asarray(np.exp(log_prior - log_prior.max()))


def left_hanging(length: float) -> str:
    """What one bar left under its load adds to later tests of its material, in words."""
    return (
        f"one bar left hanging when the others come off after {show_time(length)}, read now and then, serves every later "
        "test of that material (--known): on published curves forecasts 100 times beyond their data had a 90 % interval "
        "half as wide with such a run (0.12 to 0.14 of the value instead of 0.28)"
    )


def second_temperature(bench: Bench, answers: Sequence[Answer], above: float) -> Elsewhere:
    """What a bar at a temperature `above` [K] that of the test adds: growth of both parts of the deformation."""
    growth = UsualGrowth().growth(answers[0].values.size, bench.seed)
    trusted = above * growth.instant, above * (growth.creep - growth.instant)
    words = f"{show_number(abs(above))} K {'warmer' if above > 0.0 else 'cooler'}"
    cool = [replace(one, values=one.cool) for one in answers]
    return _elsewhere(bench, cool, "temperature", words, trusted, above * PRIOR, abs(above) * SPREAD)


def second_stress(bench: Bench, answers: Sequence[Answer]) -> Elsewhere:
    """What a bar at another stress adds: a ratio of compliances that need not be 1."""
    ratio = RATIO_SPREAD * normals(answers[0].values.size, bench.seed, 5)
    prior, spread = np.zeros(2), np.array([RATIO_SPREAD, 0.0])
    words = f"at {STRESSED:g} times the stress"
    return _elsewhere(bench, answers, "stress", words, (ratio, np.zeros_like(ratio)), prior, spread)


def _elsewhere(
    bench: Bench,
    answers: Sequence[Answer],
    name: str,
    words: str,
    trusted: tuple[Array, Array],
    prior: Array,
    spread: Array,
) -> Elsewhere:
    """Half widths for a condition that multiplies all deformation, and its creep besides.

    Parameters
    ----------
    trusted : pair of ndarray, shape (N,)
        Draws of the logarithms of both factors where no bar was tested under it.
    prior, spread : ndarray, shape (2,)
        Mean and standard deviation of their normal priors where one was.
    """
    rng = np.random.default_rng([bench.seed, 51])
    rows = []
    for one in answers:
        true = prior + spread * rng.standard_normal(2)
        off = DEFAULT_SCATTER * np.sqrt(2.0) * rng.standard_normal()
        errors = np.array([one.whole_error, one.creep_error])
        seen = true + np.sqrt(2.0) * errors * rng.standard_normal(2)
        creep = _factor(seen[1], prior[1], spread[1], np.full(1, errors[1]), bench, 6)
        between = np.hypot(SCATTERS, errors[0])
        second = _factor(seen[0] + off, prior[0], spread[0], between, bench, 7)
        same = _factor(seen[0], prior[0], spread[0], np.full(1, errors[0]), bench, 7)
        known = [_grown(one, *trusted), _grown(one, second, creep), _grown(one, same, creep)]
        rows.append([half_width(values, bench.level) for values in known])
    return Elsewhere(name, words, *(float(w) for w in np.median(rows, axis=0)))


def _factor(seen: float, prior: float, spread: float, errors: Array, bench: Bench, which: int) -> Array:
    """Draws (N,) of the logarithm of a factor that is normal before and was seen as the difference of two bars.

    `errors` (S,) is how far each of these may be off, the scatters where they are two bars; given that one, all is normal.
    """
    variance = 2.0 * errors**2
    weight = np.ones(1) if errors.size == 1 else _prior() * _likelihood(seen - prior, spread**2 + variance)
    chosen = _chosen(weight, bench.seed)
    share = spread**2 / (spread**2 + variance[chosen])
    normal = normals(chosen.size, bench.seed, which)
    return np.asarray(prior + share * (seen - prior) + np.sqrt(share * variance[chosen]) * normal)


def _likelihood(off: float, variance: Array) -> Array:
    return np.asarray(np.exp(-0.5 * off**2 / variance) / np.sqrt(variance))


def _chosen(weight: Array, seed: int) -> NDArray[np.intp]:
    """Indices (N,) drawn by weight, evenly spread and in no order."""
    uniform = (np.random.default_rng([seed, 41]).permutation(DRAWS) + 0.5) / DRAWS
    return np.minimum(np.searchsorted(np.cumsum(weight) / weight.sum(), uniform), weight.size - 1)
