"""What is promised counts flow more often than a forecast does, by shares that its prior has least of most of all."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import beta

from creepfit.inference.columns import observations
from creepfit.inference.mixture import mixture
from creepfit.inference.priors import Priors
from creepfit.inference.promises import counted
from creepfit.inference.response import Predicted
from creepfit.mechanics.specimen import Direct
from creepfit.models.coordinate import flow_share, flow_share_or_faint
from creepfit.records.run import Gauge, LoadStep, Reading, Run

HOUR, DAY = 3600.0, 86400.0


def a_run() -> Run:
    times = np.array([-60.0, 60.0, 600.0, HOUR, DAY, 2 * DAY, 3 * DAY, 5 * DAY])
    rng = np.random.default_rng(1)
    shown = (2.0 + 0.15 * np.maximum(times / HOUR, 0.0) ** 0.2) * (times > 0.0) + 0.01 * rng.standard_normal(times.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    return Run("PETG", Direct(), Gauge(0.001, 0.01, "as given"), (LoadStep(0.0, 1.0),), readings)


def test_draws_count_by_what_their_share_of_flow_would_weigh() -> None:
    """The mixture with the heavier prior of flow itself, instead of its draws weighed anew."""
    priors = Priors()
    draws = mixture(observations(a_run()), priors).draws(40_000, 1)
    often = np.bincount(counted(draws), minlength=draws.count)
    assert often.sum() == draws.count
    expected = np.ones(draws.count)
    for group in draws.groups:
        share = group.nodes.shares[:, -1]
        if group.member.model.name == "power-flow":
            own = 0.45 * beta.pdf(share, 1.5, 6.0) + 0.55 * beta.pdf(share, 4.0, 156.0)
            expected[group.rows] = 2.0 + 2.0 * beta.pdf(share, 2.0, 18.0) / own
        elif group.member.model.name == "burgers":
            expected[group.rows] = 2.0 + 2.0 * beta.pdf(share, 2.0, 18.0) / beta.pdf(share, 1.5, 6.0)
    expected *= draws.count / expected.sum()
    for group in draws.groups:
        if group.rows.size > 500:
            assert often[group.rows].mean() == pytest.approx(expected[group.rows].mean(), rel=0.03)
    assert abs(np.cumsum(often - expected)).max() < 0.03 * draws.count
    flowing = np.concatenate([g.rows for g in draws.groups if g.member.model.flows])
    assert often[flowing].mean() > 2.0


@pytest.mark.parametrize("coordinate", [flow_share(Priors(), 8, 12), flow_share_or_faint(Priors(), 14, 20)])
def test_a_prior_of_the_share_is_a_density_of_the_share(coordinate) -> None:  # type: ignore[no-untyped-def]
    share = np.geomspace(coordinate.low or 1e-6, 1.0 - 1e-9, 20_001)
    assert np.trapezoid(np.exp(coordinate.log_prior(share)), share) == pytest.approx(1.0, abs=0.005)


def test_of_what_is_promised_every_end_is_the_careful_one() -> None:
    plain, careful = np.linspace(1.0, 2.0, 1001), np.linspace(0.5, 1.8, 1001)
    found = Predicted(plain, careful=(careful,))
    assert found.lowest(0.05) == pytest.approx(0.565)
    assert found.least(lambda draws: draws > 1.9) == 0.0
    low, median, high = found.ends(0.9, more_is_safe=True)
    assert (low, median, high) == pytest.approx((0.565, 1.15, 1.95))
    assert found.map(lambda draws: 2.0 * draws).lowest(0.05) == pytest.approx(1.13)
