"""The doubt that a run raises against its own forecast: what was tried on its first part failed on the rest."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from creepfit.answers.doubts.catalogue import forecast as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size as size_in_words
from creepfit.inference.hindcast import Hindcast
from creepfit.inference.run_fit import Fit
from creepfit.inference.tested import beyond
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.long_history import Superposition

COMPARED = 1000
"""Draws by which the forecast without what its trial missed is known."""


def trial_doubts(fit: Fit, horizon: float) -> Iterator[Caution]:
    """What the trial missed, where the forecast at `horizon` [s] without it would have been surer than that."""
    missed, past = fit.mixture.missed, fit.trial
    if not missed or horizon <= fit.run.test_length or not isinstance(past, Hindcast):
        return
    held, at = LoadHistory.held(fit.observed.load), np.array([horizon])
    without = replace(fit.mixture, missed=0.0).draws(COMPARED, fit.seed).deformation(held, at)[:, 0]
    middle, upper = np.quantile(np.abs(without), (0.5, 0.95))
    reached = LoadHistory.held(1.0)
    added = missed * float(beyond(Superposition(reached, at), fit.observed.span.last)[0])
    if added <= upper - middle:
        return
    yield words.TRIAL_FAILED(
        fitted_to=past.fitted_to,
        inside=past.inside,
        readings=past.readings,
        level=past.level,
        most=size_in_words(past.shortfall, fit.unit),
        share=past.shortfall / float(np.abs(fit.observed.deformation).max()),
        horizon=horizon,
    )
