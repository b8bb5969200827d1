"""One load over time: held, by steps and ramps, on and off; and any history as a plan."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.load_plan import CORNERS, LoadPlan, LoadStep
from creepfit.mechanics.loading import LoadHistory

STEPPED = LoadPlan((LoadStep(0.0, 2.0), LoadStep(50.0, 5.0, 10.0), LoadStep(80.0, 0.0)))


@pytest.mark.parametrize(
    "history",
    [
        LoadHistory.from_steps([(0.0, 0.0, 2.0), (50.0, 10.0, 5.0), (80.0, 0.0, 0.0)]),
        LoadHistory.from_steps([(-10.0, 0.0, 1.0), (0.0, 5.0, 3.0)]),
        # ramps that overlap, as of two hoists
        LoadHistory.joined([LoadHistory.from_steps([(0.0, 30.0, 3.0)]), LoadHistory.from_steps([(10.0, 40.0, -1.0)])]),
    ],
)
def test_any_history_is_a_plan(history: LoadHistory) -> None:
    times = np.linspace(-15.0, 100.0, 231)
    assert LoadPlan.of(history).until(np.inf).at(times) == pytest.approx(history.at(times), abs=1e-12)


def test_a_plan_says_what_it_is() -> None:
    assert LoadPlan.held(3.0).is_held
    assert not STEPPED.is_held
    assert not LoadPlan((LoadStep(0.0, 3.0, 5.0),)).is_held
    assert (STEPPED.peak, LoadPlan(()).peak, LoadPlan.held(-2.0).peak) == (5.0, 0.0, -2.0)
    assert STEPPED.of_unit_size().steps[0].value == 2.0 / 5.0
    assert (LoadPlan.duty(3.0, 8.0, 16.0).on, STEPPED.on) == (8.0, np.inf)
    assert STEPPED.changes(60.0) == []


def test_only_what_began_before_is_in() -> None:
    assert STEPPED.until(50.0).change.tolist() == [2.0]
    assert STEPPED.until(50.1).end.tolist() == [0.0, 60.0]


def test_the_changes_of_the_last_cycle() -> None:
    duty = LoadPlan.duty(3.0, 8.0, 16.0)
    for time, moments in ((1.0, []), (8.0, [8.0]), (24.0, [8.0, 24.0]), (35.0, [24.0, 32.0])):
        assert duty.changes(time) == moments
    assert duty.until(100.0).at(np.array([8.0, 24.0, 32.0])).tolist() == [3.0, 0.0, 3.0]
    later = LoadPlan.duty(3.0, 8.0, 16.0, starts=5.0)
    assert later.changes(30.0) == [13.0, 29.0]
    assert later.until(1000.0).at(np.array([4.0, 6.0, 13.0, 14.0, 30.0])).tolist() == [0.0, 3.0, 3.0, 0.0, 3.0]


def test_following_holds_every_corner_or_the_latest_of_many() -> None:
    assert set(STEPPED.follow(100.0)) >= {50.0, 60.0, 80.0, 100.0}
    duty = LoadPlan.duty(1.0, 8.0, 16.0)
    times = duty.follow(24.0 * 1000 + 8.0)
    assert times.size < 3 * CORNERS
    assert times[-1] == 24.0 * 1000 + 8.0
    assert 24.0 * 1000 in times


def test_too_many_changes_are_refused_at_once() -> None:
    with pytest.raises(InputError, match="at most 2000000 load changes"):
        LoadPlan.duty(1.0, 1.0, 1.0).until(1e12)
