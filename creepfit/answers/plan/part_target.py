"""The sag of a part as what a planned test is to answer."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from creepfit.answers.part.checks import worst_stress
from creepfit.answers.part.loads import courses_of
from creepfit.answers.part.response import PartResponse, part_response
from creepfit.answers.plan.target import DRAWS, Answer
from creepfit.answers.temperature.warming import for_part
from creepfit.inference.mixture import DEFAULT_SEED, Draws, Mixture
from creepfit.inference.run_fit import Fit
from creepfit.mechanics.loading import Array
from creepfit.records.part import Part
from creepfit.records.run import Run
from creepfit.units import show_time


@dataclass(frozen=True, eq=False)
class PartTarget:
    """The sag of a part by the course of its loads, at its temperature, the largest of the last cycle before `by` [s].

    `response` is that of a first fit, whose parts that depend on no fit serve all others.
    """

    response: PartResponse = field(repr=False)
    by: float

    @classmethod
    def of(cls, part: Part, by: float, run: Run, mixture: Mixture) -> PartTarget:
        """The target for fits such as `mixture`, of a run as planned.

        Raises
        ------
        InputError
            A part at a temperature that the test's says nothing of.
        """
        fit = for_part(part, Fit(run, mixture.observed, {}, mixture.priors))
        return cls(part_response(part, _known(fit, mixture, mixture.draws(DRAWS, DEFAULT_SEED))), by)

    @property
    def scatter(self) -> float:
        return self.response.allowances.scatter

    @property
    def words(self) -> str:
        return f"the sag of {self.response.part.name or 'the part'} at {show_time(self.by)}"

    @property
    def warmer(self) -> float:
        warming = self.response.fit.warming
        return 0.0 if warming is None else warming.climate.highest - warming.reference

    def answer(self, mixture: Mixture, seed: int) -> Answer:
        draws, warming = mixture.draws(DRAWS, seed), self.response.fit.warming
        cool = self._sag(mixture, draws, seed)
        if warming is None:
            return Answer.of(draws, self.by, cool)
        warm = replace(draws, warmth=warming.draws(DRAWS, seed))
        return Answer.of(draws, self.by, self._sag(mixture, warm, seed), cool)

    def _sag(self, mixture: Mixture, draws: Draws, seed: int) -> Array:
        """Sag by each draw (N,), the scatter from the specimen not in it."""
        first = self.response
        fit = _known(replace(first.fit, observed=mixture.observed, seed=seed), mixture, draws)
        response = replace(first, fit=fit, allowances=replace(first.allowances, scatter=0.0))
        vars(response).update(leverage=first.leverage, bent=first.bent)
        times = np.unique(np.append(first.courses.cycle(self.by), self.by))
        sags = response.sag(response.creep(times)).draws
        return np.asarray(sags[:, int(np.argmax(np.abs(np.median(sags, axis=0))))])


def _known(fit: Fit, mixture: Mixture, draws: Draws) -> Fit:
    """The fit with a mixture and draws that are worked out already."""
    vars(fit).update(mixture=mixture, draws=draws, unaged_draws=None)
    return fit


def largest_stress(part: Part) -> float:
    """Largest outer-fibre stress of a part under all of its loads, MPa."""
    return float(worst_stress(courses_of(part)).value)
