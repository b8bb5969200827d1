"""What readings are worth, against closed forms: normal draws read with normal noise."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from creepfit.inference.next_reading import NextReadings
from creepfit.inference.preposterior import Estimand, FurtherReadings

COUNT = 4000
THETA = ndtri((np.random.default_rng(0).permutation(COUNT) + 0.5) / COUNT)


def readings(asked: Estimand, noise: float, correlation: float = 0.0) -> FurtherReadings:
    """Three readings of theta, and one of nothing."""
    mean = np.column_stack([THETA, THETA, THETA, np.zeros(COUNT)])
    covariance = (1.0 - correlation) * np.eye(4) + correlation
    return FurtherReadings(asked, NextReadings(mean, covariance, np.full(COUNT, noise)), 7)


@pytest.mark.parametrize("noise", [0.3, 0.5, 1.0])
def test_the_standard_deviation_left_by_one_and_more_readings(noise: float) -> None:
    """1/sqrt(1 + k/s^2) after k readings with noise s."""
    found = readings(Estimand(THETA), noise)
    assert found.asked.now == pytest.approx(1.0, rel=0.01)
    for taken in ((0,), (0, 1), (0, 1, 2)):
        assert found.doubt(taken) == pytest.approx((1.0 + len(taken) / noise**2) ** -0.5, rel=0.05)
    assert found.doubt((3,)) == pytest.approx(1.0, rel=0.02)
    assert found.width(THETA, (0,), 0.9) == pytest.approx((1.0 + 1.0 / noise**2) ** -0.5, rel=0.08)


def test_readings_that_err_together_tell_less() -> None:
    """Two with noise s and correlation r are worth one with variance s^2 (1 + r) / 2."""
    found = readings(Estimand(THETA), 0.5, 0.8)
    assert found.doubt((0, 1)) == pytest.approx((1.0 + 1.0 / (0.25 * 0.9)) ** -0.5, rel=0.05)


def test_the_best_readings_leave_out_what_tells_nothing() -> None:
    found = readings(Estimand(THETA), 0.5).best(3)
    assert [len(taken) for taken, _ in found] == [1, 2, 3]
    assert all(3 not in taken for taken, _ in found)
    doubts = [doubt for _, doubt in found]
    assert doubts == sorted(doubts, reverse=True)


def test_a_verdict() -> None:
    """Is theta above zero? After one reading wrong with a probability of arctan(s)/pi (the orthant probability)."""
    yes = Estimand((THETA > 0.0).astype(float), "verdict")
    assert yes.now == pytest.approx(0.5)
    for noise in (0.5, 1.0):
        assert readings(yes, noise).doubt((0,)) == pytest.approx(np.arctan(noise) / np.pi, abs=0.02)


def test_few_draws_promise_too_little_rather_than_too_much() -> None:
    """With noise far below the distance between draws what is promised stops falling."""
    assert readings(Estimand(THETA), 1e-4).doubt((0,)) > 1e-4
    assert readings(Estimand(THETA), 1e-4).doubt((0,)) < 0.1


def test_draws_too_far_off_for_a_short_number_have_no_weight() -> None:
    with np.errstate(over="raise"):
        weights = readings(Estimand(THETA), 1e-25).weights((0,))
    np.testing.assert_allclose(weights.sum(axis=0), 1.0, rtol=1e-6)
