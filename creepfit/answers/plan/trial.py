"""A planned test tried out: specimens that could be, read at the times planned, and fitted as a run would be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Protocol

import numpy as np
from scipy.special import ndtri

from creepfit.answers.plan.beliefs import Beliefs
from creepfit.answers.plan.load import PlannedLoad
from creepfit.answers.plan.schedules import Times
from creepfit.answers.plan.target import Answer, SpecimenTarget, Target
from creepfit.asked import tails
from creepfit.inference.columns import Observations, observations
from creepfit.inference.priors import Priors
from creepfit.inference.simulated import simulated_mixtures
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.models.model import Span
from creepfit.records.part import Part
from creepfit.records.planned import Tables, with_readings
from creepfit.records.run import Run
from creepfit.units import HOUR

SPECIMENS = 28
"""Specimens that the proposal is tried on. The middle of their widths has an error of about a seventh."""

EVERY, FEWER = 3, 4
"""Other schedules are tried on every third of the same specimens, other lengths on every fourth."""

INITIAL = 3
"""Readings before the load, the gauge put on anew for each: the zero is in every answer."""

LEAN = ("power-family", "power-flow", "stretched-exponential")
"""Models that trials are fitted with: nineteen twentieths of the weight before any reading; the others rarely change a
width."""


class Deforms(Protocol):
    """Specimens that could be: J of them, each read with its own noise, mm (strain), shape (J,)."""

    @property
    def noise(self) -> Array: ...

    def deformation(self, history: LoadHistory, times: Array) -> Array:
        """Deformation at times (T,) [s] under a history of loads in N (MPa), shape (J, T)."""


@dataclass(frozen=True)
class Promise:
    """What a schedule is expected to give for what is asked.

    Half widths of the interval over its median: `typical` (half of the specimens get a narrower one), `poor` (nine in ten);
    `kept` of `tried` specimens end within what was wanted.
    """

    times: Times
    typical: float
    poor: float
    kept: int
    tried: int

    @property
    def chance(self) -> float:
        """Share of specimens whose interval ends within what was wanted."""
        return self.kept / self.tried

    def to_dict(self) -> dict[str, Any]:
        return {
            "schedule": self.times.name,
            "readings": len(self.times.since_loading),
            "length_h": self.times.length / HOUR,
            "typical_half_width_percent": 100.0 * self.typical,
            "nine_in_ten_half_width_percent": 100.0 * self.poor,
            "within_wanted": self.kept,
            "tried": self.tried,
        }


def half_width(values: Array, level: float) -> float:
    """Half width of the interval of draws (N,), over their median."""
    low, middle, high = np.quantile(values, tails(level))
    return float((high - low) / (2.0 * abs(middle)))


@dataclass(frozen=True, eq=False)
class Bench:
    """Where schedules of one planned test are tried, all on the same specimens and with the same errors of the gauge.

    Attributes
    ----------
    tables, load, belief
        Of the test.
    first : Times
        The schedule over whose length the specimens are believed to creep as usual.
    by, wanted, level : float
        Time asked about [s], half width wanted over the median, and the probability of the interval.
    part : Part or None
        The part whose sag is asked for; None for the specimen's own deformation.
    """

    tables: Tables = field(repr=False)
    load: PlannedLoad
    belief: Beliefs
    first: Times
    by: float
    wanted: float
    level: float
    seed: int
    part: Part | None = None
    count: int = SPECIMENS

    def run(self, times: Times) -> Run:
        """A run read at these times; its readings are only of the right order."""
        at = np.array([-60.0, *times.since_loading])
        moved = float(np.sqrt(self.load.at_once[0] * self.load.at_once[1]))
        later = np.arange(at.size) > len(times.under_load)
        rough = np.where(later, 0.3, 1.0) * moved * (1.0 + 0.1 * np.log10(np.maximum(at, 1.0)))
        rough[0] = 0.0
        steps = [{"at": "0 s", self.load.key: self.load.text}]
        if times.after:
            steps.append({"at": f"{times.length:.6f} s", self.load.key: self.load.none})
        gauge = {key: value for key, value in self.tables.get("gauge", {}).items() if key != "range"}
        repeats = [INITIAL, *[1] * (at.size - 1)]
        return with_readings({**self.tables, "gauge": gauge, "load": steps}, at.tolist(), rough.tolist(), repeats)

    @cached_property
    def _first_run(self) -> Run:
        return self.run(self.first)

    @cached_property
    def _first_observed(self) -> Observations:
        return observations(self._first_run)

    def observed(self, times: Times) -> Observations:
        """The linear problem of a run read at these times."""
        return self._first_observed if times == self.first else observations(self.run(times))

    def specimens(self, count: int, seed: int) -> Deforms:
        """Specimens that could be, the same for every schedule."""
        reference = replace(self._first_observed, span=Span(60.0, self.first.length), has_recovery=True)
        return self.belief.specimens(reference, count, seed)

    @cached_property
    def own_specimens(self) -> Deforms:
        return self.specimens(self.count, self.seed)

    @cached_property
    def priors(self) -> Priors:
        """Those of the fits, of the leading models alone."""
        weights = self.belief.priors.weights_by_name()
        lean = {name: weights[name] for name in LEAN if weights.get(name)}
        return replace(self.belief.priors, weights=lean or None)

    @cached_property
    def target(self) -> Target:
        """What is asked for."""
        if self.part is None:
            return SpecimenTarget(self.by)
        from creepfit.answers.plan.part_target import PartTarget  # all of a part's mechanics, which most plans need not

        observed = self._first_observed
        shown = self.shown(observed, self.own_specimens, 1, self.seed)
        mixture = next(simulated_mixtures(observed, shown, self.priors))
        return PartTarget.of(self.part, self.by, self._first_run, mixture)

    def shown(self, observed: Observations, specimens: Deforms, every: int, seed: int) -> Array:
        """What every so many specimens show, shape (J, T)."""
        root = np.linalg.cholesky(observed.noise.correlation)
        scatter = _errors(observed.times, specimens.noise.size, seed) @ root.T
        all_of_them = specimens.deformation(observed.history, observed.times) + specimens.noise[:, None] * scatter
        return np.asarray(all_of_them[::every])

    def answers(
        self, times: Times, specimens: Deforms, seed: int, every: int = 1, priors: Priors | None = None
    ) -> list[Answer]:
        """What fits of every so many specimens, read at these times, say of what is asked."""
        observed = self.observed(times)
        shown = self.shown(observed, specimens, every, seed)
        target = self.target
        return [target.answer(m, self.seed) for m in simulated_mixtures(observed, shown, priors or self.priors)]

    def half_widths(self, answers: Sequence[Answer]) -> Array:
        """Half width of the interval over its median, shape (J,)."""
        return np.array([half_width(self.with_scatter(a.values), self.level) for a in answers])

    def with_scatter(self, values: Array) -> Array:
        """Draws (N,) with the scatter from the specimen to what is asked about."""
        scatter = self.target.scatter
        return values * np.exp(scatter * normals(values.size, self.seed)) if scatter > 0.0 else values

    def promise(self, times: Times, answers: Sequence[Answer]) -> Promise:
        """What they come to."""
        return self._promise(times, self.half_widths(answers))

    def tried(self, times: Times, answers: Sequence[Answer], every: int) -> Promise:
        """Try another schedule out on every so many of the specimens that gave `answers` by the first.

        Few specimens have luck with their widths, but those of the first schedule share it: its widths are multiplied by
        what becomes of the same specimens, those of the wider half by what becomes of the wider half.
        """
        first, answered = self.half_widths(answers), self.answers(times, self.own_specimens, self.seed, every)
        same = first[::every]
        ratios, wide = self.half_widths(answered) / same, same >= np.median(same)
        typical, poor = float(np.median(ratios)), float(np.median(ratios[wide]))
        middle = float(np.median(first))
        return self._promise(times, np.where(first > middle, np.maximum(first * poor, middle * typical), first * typical))

    def _promise(self, times: Times, widths: Array) -> Promise:
        narrow = int((widths <= self.wanted).sum())
        return Promise(times, float(np.median(widths)), float(np.quantile(widths, 0.9)), narrow, widths.size)


def normals(count: int, seed: int, which: int = 0) -> Array:
    """Standard normal numbers (count,), evenly spread; another lot for every `which`."""
    rng = np.random.default_rng([seed, 7, which])
    return np.asarray(ndtri((rng.permutation(count) + 0.5) / count))


def _errors(times: Array, count: int, seed: int) -> Array:
    """Standard normal errors of readings at times (T,), shape (count, T): at one time the same in every schedule."""
    return np.array([np.random.default_rng([seed, 100 + round(t)]).standard_normal(count) for t in times]).T
