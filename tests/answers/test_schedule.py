"""What to read next: against refits with the reading in, and that the list makes sense."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.specimen.schedule import (
    APART,
    _candidates,
    _words,
    default_schedule,
    next_reading,
    still_planned,
    times_at_the_bench,
)
from creepfit.errors import InputError
from creepfit.inference.columns import observations
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.mixture import mixture
from creepfit.inference.next_reading import joint_correlation, next_readings
from creepfit.inference.priors import Priors
from creepfit.inference.response import response
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.coordinate import ExponentPrior
from creepfit.models.findley import PurePower
from creepfit.records.run import Gauge, LoadStep, Reading, Run

HOUR, DAY = 3600.0, 86400.0
YEAR = 365.25 * DAY


def daily(first: tuple[float, ...] = (60.0,), unloaded: bool = False) -> Run:
    after = [5 * DAY + 60.0, 6 * DAY] if unloaded else []
    times = np.array([-60.0, *first, *(DAY * k for k in range(1, 6)), *after])
    steps = (LoadStep(0.0, 1.0), *([LoadStep(5 * DAY, 0.0)] if unloaded else []))
    history = LoadHistory.from_steps([(s.at, s.over, s.value) for s in steps])
    shown = history.at(times) + 0.5 * superpose(PurePower(), history, times, np.array([0.2]))[0] / 120.0**0.2
    shown = shown + 0.01 * np.random.default_rng(4).standard_normal(times.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    return Run("PA6", Direct(), Gauge(0.001, 0.01, "as given"), steps, readings)


@pytest.fixture(scope="module")
def running() -> Fit:
    return fit(daily(), models=["findley"])


def test_the_default_schedule() -> None:
    """Methods of the field: 1 min, 10 min, 1 h, 6 h, 1, 2, 4 d, end; after unloading as long as loaded."""
    loaded, after = default_schedule("6 d")
    assert loaded == (60.0, 600.0, HOUR, 6 * HOUR, DAY, 2 * DAY, 4 * DAY, 6 * DAY)
    assert after == (60.0, HOUR, 6 * HOUR, DAY, 6 * DAY)
    assert default_schedule("2 h") == ((60.0, 600.0, HOUR, 2 * HOUR), (60.0, HOUR, 2 * HOUR))
    with pytest.raises(InputError):
        default_schedule("6 kg")


def test_the_list_is_ranked_and_each_line_says_what_to_do(running: Fit) -> None:
    found = next_reading(running, count=4)
    assert 1 <= len(found.suggestions) <= 4
    gains = [s.narrowing for s in found.suggestions]
    assert gains == sorted(gains, reverse=True)
    assert all(0.03 <= g < 1.0 for g in gains)
    best = found.suggestions[0]
    # with the load still on nothing beats a reading far beyond the others
    assert best.place == "later"
    assert best.time >= 20 * DAY
    assert best.text.startswith("leave the load on and read at ")
    assert f"the 90 % interval at 1 year is expected to become {100 * best.width:.0f} % as wide" in best.text
    assert best.width < 1.0
    assert ", ".join(f"{100 * g:.0f}" for g in gains[:-1]) in found.ranked_by
    assert found.to_dict()["next"][0]["time_h"] == best.time / HOUR
    assert len(found.table()) == len(found.suggestions)


def test_a_specimen_that_was_unloaded_is_not_read_under_load_again() -> None:
    found = next_reading(fit(daily(unloaded=True), models=["findley"]), count=20)
    assert "later" not in {s.place for s in found.suggestions}


def test_without_an_early_reading_an_early_one_is_what_the_next_specimen_needs() -> None:
    # what an early reading tells is the exponent: here little is believed of it before, and no flow, which it cannot tell
    power = Priors(ExponentPrior(0.2, 0.2), weights={"power-family": 1.0})
    late, early = (
        next_reading(fit(daily(first), models=["findley"], priors=power), count=20) for first in ((), (60.0, 600.0, HOUR))
    )
    before_a_day = [
        max((s.narrowing for s in plan.suggestions if s.place == "next specimen"), default=0.0) for plan in (late, early)
    ]
    assert before_a_day[0] > 1.5 * before_a_day[1]


def test_the_expected_narrowing_is_what_refits_find(running: Fit) -> None:
    """A reading at 45 d is drawn from the prediction, added to the run and the mixture made anew, twelve times over."""
    found = next_reading(running, count=20)
    expected = next(s.narrowing for s in found.suggestions if s.place == "later" and s.time == 45 * DAY)
    run, draws = running.run, running.draws
    at = np.array([45 * DAY])
    joint = joint_correlation(running.observed.noise, running.observed.times, at)
    ahead = np.sort(next_readings(draws, running.observed.history, at, joint).sample(3)[:, 0])
    target = np.array([YEAR])

    def width(values: np.ndarray) -> float:
        return float(np.ptp(np.quantile(values, [0.05, 0.95])))

    now = width(response(running, draws, LoadHistory.held(1.0), target))
    widths = []
    for value in ahead[(np.arange(12) * ahead.size + ahead.size // 2) // 12]:
        longer = observations(replace(run, readings=(*run.readings, Reading(45 * DAY, float(value)))))
        again = mixture(longer, running.priors).draws(2000, 1)
        widths.append(width(again.deformation(LoadHistory.held(1.0), target)))
    assert 1.0 - np.mean(widths) / now == pytest.approx(expected, abs=0.12)


def test_times_that_make_no_sense(running: Fit) -> None:
    with pytest.raises(InputError):
        next_reading(running, by="-1 d")
    assert next_reading(running, by="30 years").horizon == pytest.approx(500 * DAY)


def test_the_next_specimen_is_read_where_this_one_was_not(running: Fit) -> None:
    (times,) = [t for place, _, t, _ in _candidates(running) if place == "next specimen"]
    read = np.array([60.0, *(DAY * k for k in range(1, 6))])
    assert (np.abs(np.log(times[:, None] / read)) > np.log(APART)).all()
    assert {600.0, HOUR} <= set(times)


def test_with_one_reading_after_unloading_it_is_unloaded() -> None:
    run = daily(unloaded=True)
    found = fit(replace(run, readings=run.readings[:-1]), models=["findley"])
    assert found.observed.times[-1] == 5 * DAY + 60.0
    place, _, _, quoted = _candidates(found)[0]
    assert (place, quoted) == ("after unloading", 5 * DAY)
    assert _words(found, "after unloading", DAY, 0.1, 0.9, YEAR).startswith("read on, 1 d after the unloading: the 90 %")
    held = replace(run, readings=run.readings[:-3])
    found = fit(held, models=["findley"])
    assert [place for place, *_ in _candidates(found)][:2] == ["later", "after unloading"]
    assert _words(found, "after unloading", DAY, 0.1, 0.9, YEAR).startswith("take the load off and read 1 d later")


def test_a_reading_that_does_not_narrow_the_interval_is_not_said_to(running: Fit) -> None:
    assert "not expected to narrow, the doubt to become 11 % less" in _words(running, "later", DAY, 0.11, 1.19, YEAR)


def test_a_place_left_out_earlier_plans_nothing(running: Fit) -> None:
    run = running.run
    last = max(r.time for r in run.used)
    assert not still_planned(replace(run, to_come=(0.5 * last,)))
    assert times_at_the_bench(replace(run, to_come=(0.5 * last,))) == default_schedule("5 d")
    ahead = (2.0 * last, 3.0 * last)
    assert times_at_the_bench(replace(run, to_come=(0.5 * last, *ahead)))[0][-2:] == ahead
