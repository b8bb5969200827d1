"""A jump that the readings show joins the likelihood as a step of unknown size: forecasts hold the truth in spite of it."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.inference.columns import Observations
from creepfit.inference.freest_curve import FreestCurve
from creepfit.inference.mixture import mixture
from creepfit.inference.noise import Noise
from creepfit.inference.priors import priors_for
from creepfit.inference.unknown_steps import steps_seen, with_unknown_steps
from creepfit.mechanics.loading import LoadHistory
from creepfit.models.model import Span

DAY = 86400.0
TIMES = np.array([-60.0, 60.0, 600.0, 3600.0, *(DAY * d for d in range(1, 8))])
HELD, MONTH = LoadHistory.held(1.0), np.array([30 * DAY])


def truth(times: np.ndarray) -> np.ndarray:
    return np.where(times > 0.0, 1.8 + 0.2 * (np.maximum(times, 0.0) / 3600.0) ** 0.2, 0.0)


def observed(slip: float, seed: int = 2) -> Observations:
    shown = truth(TIMES) + 0.003 * np.random.default_rng(seed).standard_normal(TIMES.size)
    shown = shown + np.where(TIMES > 2.5 * DAY, slip, 0.0)
    noise = Noise(0.003, 5.0, np.eye(TIMES.size), 0.0, "as given")
    zeros = np.ones((TIMES.size, 1))
    return Observations(TIMES, shown, zeros, HELD, 1.0, 1.0, noise, Span(60.0, 7 * DAY), True, False)


def interval(of: Observations) -> np.ndarray:
    return np.quantile(mixture(of, priors_for(None)).draws(2000).deformation(HELD, MONTH)[:, 0], [0.05, 0.95])


@pytest.mark.parametrize("slip", [-0.05, 0.05])
def test_a_slip_goes_into_the_forecast_as_a_step_of_unknown_size(slip: float) -> None:
    slipped = observed(slip)
    steps = steps_seen(FreestCurve(slipped))
    assert any(s.kind == "jump" and TIMES[s.first] == 3 * DAY for s in steps)
    low, high = interval(with_unknown_steps(slipped, steps))
    true = float(truth(MONTH)[0])
    assert low < true < high
    blind = interval(slipped)
    assert not blind[0] < true < blind[1]


def test_readings_without_one_are_left_as_they_are() -> None:
    plain = observed(0.0)
    assert steps_seen(FreestCurve(plain)) == ()
    assert with_unknown_steps(plain, ()) is plain


def test_a_step_that_is_none_costs_little() -> None:
    """Its column is one more amplitude: what is known of the material by the other readings stays known."""
    steps = steps_seen(FreestCurve(observed(-0.05)))
    without, with_one = interval(observed(0.0)), interval(with_unknown_steps(observed(0.0), steps))
    assert np.ptp(with_one) < 2.0 * np.ptp(without)
