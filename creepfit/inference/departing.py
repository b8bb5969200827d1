"""Mixtures of a tested specimen and known runs: how much the models may miss of these, and how far it may depart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from creepfit.inference.belonging import NEGLIGIBLE
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.priors import Priors
from creepfit.inference.scatter import mean_curve, pool_mixture
from creepfit.inference.specimen_amplitudes import SpecimensLikelihood
from creepfit.inference.stacking import StackedObservations
from creepfit.inference.tested import LATE, TestedSpecimen, with_departures
from creepfit.mechanics.loading import Array

DEPARTURE_PER_DIFFERENCE = 0.18
"""Scale of a departure besides (`known.DEPARTURE`), a decade later, as a share of the deformation, for each unit of ln
compliance by which the tested specimen and the known differ at its last reading: under another load what differs more so
far also goes on differently. Of 250 published pairs the log score takes 0.2 in four folds of materials of five and 0.12 in
the other; in between lies what holds its level there without being wider than needed (`tests/benchmarks/known_runs.py`)."""

REVERTS = 0.5
"""By how much of the way what a specimen's readings show of its own under another load, its share of creep and its
exponent, goes back to the known run's in what follows: of 250 published pairs in folds by material the log score takes this
rather than 0.75 three times of five."""

SPREAD = 0.7
"""Standard deviation of ln departure: most specimens of a material go on alike, a few do not. Several known runs show by
how much they depart from each other, and the tested one's readings how much it does."""

DEPARTURES = np.geomspace(0.15, 1.0 / 0.15, 11)
"""Departures that are tried, in units of the stated one."""

FEW = 400
"""Draws that a mean curve is of."""


@dataclass(frozen=True, eq=False)
class TestedMixture:
    """A mixture of all runs for the first specimen, how likely it is, and where the size of its departure comes from."""

    probability: float
    mixture: Mixture
    source: str


def tested_mixtures(
    plain: StackedObservations, last: float, stated: float, apart: float, priors: Priors
) -> list[TestedMixture]:
    """Mixtures of all runs for the first specimen, the likelier first: one for each of the scales `LATE`.

    Parameters
    ----------
    plain : StackedObservations
        Its readings and those of the known runs.
    last : float
        Its own last reading, s.
    stated : float
        Scale of its departure where nothing has been seen of it, see `TestedSpecimen`.
    apart : float
        0 for runs under one load, up to 1 for loads that differ.
    priors : Priors
    """
    alone = priors.with_one_model()
    mean, _ = mean_curve(replace(pool_mixture(plain, alone, ageing=False).mixture, average=True).draws(FEW), plain)
    pools, logs = [], []
    for late in LATE:
        stacked = with_departures(plain, mean, last, stated, late)
        pool = pool_mixture(stacked, priors)
        tested = TestedSpecimen(
            SpecimensLikelihood(stacked, priors),
            plain,
            last,
            stated * DEPARTURES,
            -0.5 * (np.log(DEPARTURES) / SPREAD) ** 2,
            stated,
            DEPARTURE_PER_DIFFERENCE * apart,
            np.full(plain.count - 1, 1.0 / max(plain.count - 1, 1)),
            REVERTS * apart,
            late,
            int(plain.specimens[0]),
        )
        pools.append(replace(pool.mixture, tested=tested))
        logs.append(pool.log_evidence + stacked.noise.log_volume(stacked.zeros))
    likely = np.exp(np.array(logs) - logsumexp(logs))
    likely = np.where(likely < NEGLIGIBLE, 0.0, likely) / likely[likely >= NEGLIGIBLE].sum()
    order = [i for i in np.argsort(-likely) if likely[i] > 0.0]
    return [TestedMixture(float(likely[i]), *_learned(pools[i])) for i in order]


def _learned(mixture: Mixture) -> tuple[Mixture, str]:
    """The same with what several known runs show of the size of departures, and where that comes from."""
    tested = mixture.tested
    assert tested is not None
    known = len(tested.others)
    if known < 2:
        return mixture, "as an exponent n that differs by 0.03 makes it (judgement), and as its readings show"
    late, share = _late_growths(replace(mixture, average=True, tested=None).draws(FEW), tested)
    grown = late.sum(axis=2)
    middle, spread = grown.mean(axis=1), grown.var(axis=1)
    # of a departure between two specimens half the variance is either's
    sizes = tested.departures * share / np.sqrt(2.0)
    variance = spread + sizes[:, None] ** 2
    best = (middle / variance).sum(axis=1) / (1.0 / variance).sum(axis=1)
    logs = tested.log_prior - 0.5 * ((middle - best[:, None]) ** 2 / variance + np.log(variance)).sum(axis=1)
    logs -= 0.5 * np.log((1.0 / variance).sum(axis=1))
    logs -= logsumexp(logs)
    weights = 1.0 / (spread + float(np.exp(logs) @ sizes**2))
    weights /= weights.sum()
    departures = sizes / share * np.sqrt(1.0 + np.square(weights).sum())
    tested = replace(tested, departures=departures, log_prior=logs, weights=weights)
    return replace(mixture, tested=tested), f"as seen between {known} known specimens"


def _late_growths(draws: Draws, tested: TestedSpecimen) -> tuple[Array, float]:
    """By how much more than the models each known specimen grew, (known, N, 2), and the tested one's share of creep."""
    known = len(tested.others)
    rng = np.random.default_rng(0)
    uniform, normal = rng.random((1 + known, 2, draws.count)), rng.standard_normal((known, draws.count, 2))
    late, share = np.empty((known, draws.count, 2)), np.empty(draws.count)
    for group in draws.groups:
        rows = group.rows
        own = tested.curve(
            group.member,
            *group.different,
            (draws.instant[rows], draws.creep[rows]),
            (draws.scatter[rows], draws.creep_scatter[rows]),
            draws.noise[rows],
            uniform[:, :, rows],
            normal[:, rows],
            np.full(rows.size, 0.5),
            np.zeros(rows.size),
        )
        late[:, rows], share[rows] = own.late, own.share
    return late, float(np.median(share))
