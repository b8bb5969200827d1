"""When a limit is reached and which load keeps it: by hand, by the draws, and what is capped."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.outlook import first_passage
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.limit import Limit
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.promises import counted
from creepfit.inference.response import response
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.findley import PurePower
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.report.text.forecast import forecast_lines
from creepfit.report.text.pieces import PROMISED

pytestmark = pytest.mark.few_draws

HOUR, DAY = 3600.0, 86400.0
YEAR = 365.25 * DAY


def five_days(**more: object) -> Run:
    times = np.array([-60.0, 60.0, HOUR, *(DAY * k for k in range(1, 6))])
    history = LoadHistory.held(1.0)
    creep = superpose(PurePower(), history, times, np.array([0.2]))[0]
    shown = history.at(times) + 0.5 * creep / 120.0**0.2
    shown = shown + 0.005 * np.random.default_rng(4).standard_normal(times.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    run = Run("PLA", Direct(), Gauge(0.001, 0.005, "as given"), (LoadStep(0.0, 1.0),), readings)
    return replace(run, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def fitted() -> Fit:
    return fit(five_days(), models=["findley"])


def answered(found: Fit, **asked: object) -> Limit:
    limit = forecast(found, "1 year", **asked).limit  # type: ignore[arg-type]
    assert limit is not None
    return limit


def test_first_passage_by_hand() -> None:
    times = np.array([1.0, 10.0, 100.0, 1000.0])
    deformation = np.array(
        [
            [1.0, 2.0, 3.0, 4.0],  # 2.5 halfway in log time between 10 and 100
            [2.6, 2.7, 2.8, 2.9],  # on loading
            [0.1, 0.2, 0.3, 0.4],  # never
            [1.0, 2.6, 1.0, 3.0],  # a peak counts, though the load came off: 1.5/1.6 of the first decade
        ]
    )
    found = first_passage(deformation, times, 2.5)
    assert found == pytest.approx([10.0**1.5, 0.0, np.inf, 10.0 ** (1.5 / 1.6)])


def test_life_is_the_forecast_read_the_other_way(fitted: Fit) -> None:
    for at in (2 * DAY, 60 * DAY):
        draws = response(fitted, fitted.draws, LoadHistory.held(1.0), np.array([at]))[:, 0]
        middle = float(np.median(draws[counted(fitted.draws)]))
        life = answered(fitted, limit=middle).life
        assert life is not None
        assert life.low is not None
        assert life.median == pytest.approx(at, rel=0.03)  # where half of what a promise counts has crossed
        assert life.low < at
        assert life.high is None or life.high > at


@pytest.mark.parametrize("at", [2 * DAY, 60 * DAY, 300 * DAY])
def test_what_is_said_of_a_limit_agrees_with_the_forecast_beside_it(fitted: Fit, at: float) -> None:
    """Before "2.00 mm after 140 d" stood beside "2 mm reached after 64 d"."""
    size = forecast(fitted, at).rows[0].interval
    for end, other in (("low", "high"), ("median", "median"), ("high", "low")):
        asked = forecast(fitted, at, limit=getattr(size, end), life=at)
        assert asked.limit is not None
        assert asked.limit.life is not None
        assert getattr(asked.limit.life.forecast, other) == pytest.approx(at, rel=0.02)
        assert asked.limit.life.low is not None
        assert asked.limit.life.forecast.low is not None
        assert asked.limit.life.low <= asked.limit.life.forecast.low  # a promise counts more flow, and says so
        written = asked.to_dict()["limit"]
        assert written["reached_in_forecast_h"][other] == pytest.approx(at / HOUR, rel=0.02)
        assert written["life_h"]["low"] == asked.limit.life.low / HOUR
        lines = forecast_lines(asked)
        said = next(i for i, line in enumerate(lines) if line.startswith("Limit of "))
        assert lines[said].endswith(" mm")
        assert lines[said + 1].startswith("  reached after ") or end == "high"
        promised = next(i for i, line in enumerate(lines) if line == f"  promised, {PROMISED}:")
        assert promised > said
        assert "kept for" not in " ".join(lines[said:promised])
        assert lines[promised + 1].startswith("    as it is, kept for ")


def test_a_limit_that_is_passed_on_loading(fitted: Fit) -> None:
    found = answered(fitted, limit="0.5 mm")
    life = found.life
    assert life is not None
    assert found.to_dict()["life_h"] == life.to_dict()
    assert (life.low, life.median, life.high, life.beyond) == (0.0, 0.0, 0.0, 0.0)
    assert life.why is None


def test_no_life_beyond_a_hundred_times_the_data(fitted: Fit) -> None:
    found = answered(fitted, limit="20 mm")
    assert found.life is not None
    assert found.life.horizon == pytest.approx(500 * DAY)
    assert (found.life.median, found.life.high) == (None, None)
    assert found.why is not None
    assert found.why.startswith("not within 500 d (100 times the data): probability ")
    assert found.why_no_load == ""
    some = answered(fitted, limit="2.2 mm")
    assert some.life is not None
    assert some.life.low is not None
    assert some.life.low < 500 * DAY
    reached = response(fitted, fitted.draws, LoadHistory.held(1.0), np.array([500 * DAY]))[:, 0] >= 2.2
    assert some.life.beyond == pytest.approx(1.0 - reached[counted(fitted.draws)].mean(), abs=0.01)
    assert some.life.beyond < 1.0 - reached.mean()  # what is promised counts flow more often


def test_the_load_keeps_the_limit_with_its_probability(fitted: Fit) -> None:
    load = answered(fitted, limit="1.2 mm", life="100 d").load
    assert load is not None
    assert not load.capped
    assert load.probability == pytest.approx(0.95)
    under_it = response(fitted, fitted.draws, LoadHistory.held(load.value), np.array([100 * DAY]))
    assert (under_it[counted(fitted.draws)] <= 1.2).mean() == pytest.approx(0.95, abs=0.002)
    # the upper end of the interval of the forecast under that load lies below the limit: it counts flow as it is likely
    assert forecast(fitted, "100 d", load=load.value).rows[0].interval.high < 0.99 * 1.2


def test_no_load_above_the_highest_tested(fitted: Fit) -> None:
    load = answered(fitted, limit="50 mm", life="30 d").load
    assert load is not None
    assert load.capped
    assert load.value == 1.0
    assert "not tested; rupture unchecked" in load.note


def test_no_load_for_a_life_beyond_a_hundred_times_the_data(fitted: Fit) -> None:
    found = answered(fitted, limit="2 mm", life="2 years")
    assert found.load is None
    assert found.why is not None
    assert "more than 100 times the data" in found.why
    assert found.why_no_load.startswith("no load for ")  # what the life's own words say already is not said again
    assert found.to_dict()["load"] is None


def test_a_duty_cycle_lasts_longer_and_carries_no_less(fitted: Fit) -> None:
    plan = LoadPlan((LoadStep(0.0, 1.0), LoadStep(8 * HOUR, 0.0)), 24 * HOUR)
    duty, held = (answered(fitted, limit="1.45 mm", **how) for how in ({"history": plan}, {}))
    assert duty.life is not None
    assert duty.life.median is not None
    assert held.life is not None
    assert held.life.median is not None
    assert duty.life.median > 1.5 * held.life.median
    duty, held = (answered(fitted, limit="1.2 mm", life="100 d", **how) for how in ({"history": plan}, {}))
    assert duty.load is not None
    assert held.load is not None
    assert held.load.value < duty.load.value < 1.0
    # of thousands of load changes only some are looked at, but the last peak always is
    quick = LoadPlan((LoadStep(0.0, 1.0), LoadStep(20 * 60.0, 0.0)), HOUR)
    often = answered(fitted, limit="1.2 mm", life="100 d", history=quick).load
    assert often is not None
    last = response(fitted, fitted.draws, quick.until(100 * DAY).scaled(often.value), np.array([100 * DAY - 40 * 60.0]))
    promise = counted(fitted.draws)
    assert (last[promise] <= 1.2).mean() == pytest.approx(0.95, abs=0.01)
    # at the end of every period under load the limit still holds with the probability
    ends = DAY * np.arange(100) + 8 * HOUR
    peaks = response(fitted, fitted.draws, plan.until(100 * DAY).scaled(duty.load.value), ends).max(axis=1)
    assert (peaks[promise] <= 1.2).mean() == pytest.approx(0.95, abs=0.01)


def test_ageing_makes_no_life_longer_and_no_load_higher() -> None:
    found = fit(five_days(age=7 * DAY), models=["findley"])
    limit = answered(found, limit="1.5 mm", life="100 d")
    plain = found.unaged_draws
    assert plain is not None
    unit = response(found, plain, LoadHistory.held(1.0), np.array([100 * DAY]))[counted(plain), 0]
    assert limit.load is not None
    assert limit.load.value == pytest.approx(1.5 / np.quantile(unit, 0.95), rel=2e-3)
    grid = np.geomspace(1.0, 500 * DAY, 400)
    passed = first_passage(response(found, plain, LoadHistory.held(1.0), grid), grid, 1.5)[counted(plain)]
    assert limit.life is not None
    assert limit.life.low is not None
    assert limit.life.low <= 1.01 * np.quantile(passed, 0.05)


def test_without_an_initial_reading_a_limit_cannot_be_judged() -> None:
    run = five_days()
    found = fit(replace(run, readings=run.readings[1:]), models=["findley"])
    limit = answered(found, limit="2 mm")
    assert (limit.life, limit.load) == (None, None)
    assert limit.why is not None
    assert "no reading was taken before loading" in limit.why


def test_probability_that_the_limit_is_kept_as_things_are(fitted: Fit) -> None:
    for limit in (1.7, 1.9):
        found = answered(fitted, limit=limit, life="1 year")
        draws = response(fitted, fitted.draws, LoadHistory.held(1.0), np.array([YEAR]))[:, 0]
        assert found.life is not None
        assert found.life.kept == pytest.approx(np.mean(draws[counted(fitted.draws)] < limit), abs=0.01)
        assert found.life.kept < np.mean(draws < limit)
        assert found.to_dict()["kept"] == {"time_h": pytest.approx(8766.0), "probability": found.life.kept}
    assert answered(fitted, limit="2 mm", life="2 years").to_dict()["kept"] is None  # beyond 100 times the data


def test_the_load_that_keeps_the_limit_keeps_it_with_the_probability_it_says(fitted: Fit) -> None:
    load = answered(fitted, limit="1.2 mm", life="100 d").load
    assert load is not None
    found = answered(fitted, limit="1.2 mm", life="100 d", load=load.value).life
    assert found is not None
    assert found.kept == pytest.approx(load.probability, abs=0.005)
