"""Effective time against numerical integration of its rate, and its limits; the Arrhenius shift.

Published and computed values are in reference_curves/ageing-clock and reference_curves/arrhenius-shift.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.models.findley import PurePower

HOUR, DAY, YEAR = 3600.0, 86400.0, 365.25 * 86400.0


@pytest.mark.parametrize("age", [HOUR, 7 * DAY, YEAR])
@pytest.mark.parametrize("rate", [0.3, 0.7, 0.9, 1.0])
@pytest.mark.parametrize("reference", [None, DAY])
def test_effective_time_is_the_integral_of_the_clocks_speed(age: float, rate: float, reference: float | None) -> None:
    """d(lambda)/dt = (te0/(te + t))^mu (Struik 1978, from memory)."""
    start = age if reference is None else reference
    for t in (60.0, 10 * DAY, 3 * YEAR):
        # in the logarithm of the material's age, on which the speed is smooth
        wanted = quad(lambda u: (start / np.exp(u)) ** rate * np.exp(u), np.log(age), np.log(age + t), epsabs=0)[0]
        assert float(AgeingClock(age, rate, reference)(np.array(t))) == pytest.approx(wanted, rel=1e-8)


def test_without_ageing_it_is_plain_time() -> None:
    t = np.array([-60.0, 0.0, 60.0, YEAR])
    assert AgeingClock(DAY, 0.0)(t) == pytest.approx(t, rel=1e-12)


def test_times_before_loading_run_on_plain_time() -> None:
    assert AgeingClock(DAY, 0.9)(np.array([-120.0, 0.0])).tolist() == [-120.0, 0.0]


@given(t=st.floats(0.0, 1e10), age=st.floats(60.0, 1e9), near=st.floats(1e-9, 1e-5))
def test_it_is_continuous_where_the_rate_reaches_one(t: float, age: float, near: float) -> None:
    almost, at = AgeingClock(age, 1.0 - near)(np.array(t)), AgeingClock(age, 1.0)(np.array(t))
    assert float(almost) == pytest.approx(float(at), rel=20.0 * near + 1e-12)


@given(age=st.floats(60.0, 1e9), rate=st.floats(0.0, 1.0))
def test_it_never_runs_backwards_nor_faster_than_the_wall(age: float, rate: float) -> None:
    t = np.geomspace(1e-3, 1e10, 50)
    steps = np.diff(AgeingClock(age, rate)(t))
    assert (steps > 0.0).all()
    assert (steps <= np.diff(t) * (1.0 + 1e-9)).all()


def test_a_young_part_runs_faster_than_an_old_one() -> None:
    t = np.array(10 * DAY)
    young, own, old = (float(AgeingClock(age, 0.8, 7 * DAY)(t)) for age in (DAY, 7 * DAY, YEAR))
    assert young > own > old
    assert own == pytest.approx(float(AgeingClock(7 * DAY, 0.8)(t)))
    # at the very start the speeds stand as (te0/te)^mu
    start = np.array(1e-3)
    assert float(AgeingClock(DAY, 0.8, 7 * DAY)(start)) == pytest.approx(1e-3 * 7.0**0.8, rel=1e-6)


def test_a_held_load_creeps_by_effective_time() -> None:
    clock = AgeingClock(7 * DAY, 0.9)
    history, t = LoadHistory.held(2.0), np.array([YEAR])
    found = superpose(PurePower(), history.warped(clock), clock(t), np.array([0.2]))[0]
    assert found == pytest.approx(2.0 * (clock(t) / HOUR) ** 0.2)
