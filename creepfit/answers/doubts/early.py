"""The first reading under load: what its being late costs this run, by what one at a minute would be worth to it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from creepfit.answers.doubts.catalogue import readings as words
from creepfit.answers.doubts.readings import FIRST_BY, came_off_by_the_end
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.inference.preposterior import Estimand, narrowing_of, with_set_to_come
from creepfit.inference.response import response
from creepfit.mechanics.loading import LoadHistory
from creepfit.units import MINUTE, YEAR

WORTH_SAYING = 0.05
"""Share of the doubt (the standard deviation of the forecast's logarithm) from which on the reading is missed."""


def late_first_doubts(fit: Fit) -> Iterator[Caution]:
    """A first reading under load that came late, where one at a minute would have made this run's forecast surer."""
    run, observed = fit.run, fit.observed
    if isinstance(fit, PooledFit):
        return
    loaded = (run.history.at(observed.times) != 0.0) & (observed.times > 0.0)
    first = float(observed.times[loaded].min()) - run.steps[0].over
    if first <= FIRST_BY:
        return
    horizon = min(YEAR, fit.horizon)
    whole = with_set_to_come(fit)  # as where readings to come are ranked
    target = response(whole, whole.draws, LoadHistory.held(run.working_load), np.array([horizon]))[:, 0]
    at = np.array([MINUTE + run.steps[0].over])
    share = narrowing_of(whole, Estimand.response(target), observed.history, at)[0]
    if share < WORTH_SAYING:
        return
    yield words.LATE_FIRST_READING(first=first, horizon=horizon, share=100.0 * share, came_off=came_off_by_the_end(run))
