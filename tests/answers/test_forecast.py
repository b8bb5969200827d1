"""Forecast: against a truth that is known, against the draws it is made of, and against its own rules."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.shares import shares
from creepfit.errors import CreepfitError, FitError, InputError
from creepfit.inference.columns import observations
from creepfit.inference.components import Member
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.groups import Group
from creepfit.inference.mixture import Draws
from creepfit.inference.nodes import Nodes
from creepfit.inference.response import families, response
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.burgers import Burgers
from creepfit.models.findley import PurePower
from creepfit.models.power_family import PowerFamilyModel
from creepfit.records.run import Gauge, LoadStep, Reading, Rig, Run

HOUR, DAY = 3600.0, 86400.0
YEAR = 365.25 * DAY
N, SIGMA = 0.2, 0.005


def truth(history: LoadHistory, times: np.ndarray) -> np.ndarray:
    """1 mm at once and 0.5 mm of creep in five days, Findley with n = 0.2, under 1 N."""
    creep = superpose(PurePower(), history, times, np.array([N]))[0]
    return history.at(times) + 0.5 * creep / 120.0**N


def five_days(initial: bool = True, unloaded: bool = True, **more: object) -> Run:
    loaded = [60.0, HOUR, *(DAY * k for k in range(1, 6))]
    after = [5 * DAY + 60.0, 5 * DAY + HOUR, 6 * DAY, 7 * DAY] if unloaded else []
    times = np.array([*([-60.0] if initial else []), *loaded, *after])
    steps = (LoadStep(0.0, 1.0), *([LoadStep(5 * DAY, 0.0)] if unloaded else []))
    history = LoadHistory.from_steps([(s.at, s.over, s.value) for s in steps])
    shown = truth(history, times) + SIGMA * np.random.default_rng(4).standard_normal(times.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    run = Run("PETG", Direct(), Gauge(0.001, SIGMA, "as given", drift=0.0), steps, readings, name="P-03")
    return replace(run, **more)  # type: ignore[arg-type]


@pytest.fixture(scope="module")
def fitted() -> Fit:
    return fit(five_days(), models=["findley"])


@pytest.fixture(scope="module")
def aged() -> Fit:
    return fit(five_days(unloaded=False, age=7 * DAY), models=["findley"])


def test_the_truth_lies_in_the_interval_and_the_interval_says_something(fitted: Fit) -> None:
    times = np.array([30 * DAY, YEAR])
    rows = forecast(fitted, ["30 d", "1 year"]).rows
    # a year is 73 times the test: flow that these readings cannot rule out makes the upper end 2.03 times the truth there,
    # and nothing else does: the lower end is 7 % below it, and after 30 d both are within 7 %
    for row, true, wide in zip(rows, truth(LoadHistory.held(1.0), times), (0.13, 1.2), strict=True):
        assert row.interval.low < true < row.interval.high
        assert row.interval.high - row.interval.low < wide * true
        assert row.interval.low > 0.9 * true
    assert rows[1].interval.median == pytest.approx(1.0 + 0.5 * (365.25 / 5) ** N, rel=0.05)


def test_rows_are_quantiles_of_the_draws(fitted: Fit) -> None:
    answer = forecast(fitted, ["5 d", "1 year"], level=0.8)
    low, median, high = np.quantile(answer.draws(), [0.1, 0.5, 0.9], axis=0)
    for i, row in enumerate(answer.rows):
        assert (row.interval.low, row.interval.median, row.interval.high) == pytest.approx((low[i], median[i], high[i]))
    assert answer.draws(500, 1).shape == (500, 2)
    assert np.array_equal(answer.draws(500, 1), answer.draws(500, 1))
    assert not np.array_equal(answer.draws(500, 1), answer.draws(500, 2))


def test_the_load_scales_the_answer_and_the_last_load_that_is_not_zero_is_the_default(fitted: Fit) -> None:
    default = forecast(fitted, "1 year").rows[0].interval
    assert default == forecast(fitted, "1 year", load="1 N").rows[0].interval
    half = forecast(fitted, "1 year", load=0.5).rows[0].interval
    assert half.high == pytest.approx(0.5 * default.high)
    mass = forecast(fitted, "1 year", load="0.1 kg").rows[0].interval
    assert mass.median == pytest.approx(0.980665 * default.median)


def test_decades_beyond_the_data(fitted: Fit) -> None:
    inside, end, ten, hundred = (r.decades_beyond for r in forecast(fitted, ["1 d", "5 d", "50 d", "500 d"]).rows)
    assert (inside, end, ten, hundred) == pytest.approx((0.0, 0.0, 1.0, 2.0))


def test_each_model_has_its_line_and_weight(aged: Fit) -> None:
    (row,) = forecast(aged, "1 year").rows
    names = [m.model for m in row.models]
    # flow too, though this run has no reading after an unloading: less data makes no answer surer
    plain = {
        "power-family",
        "power-flow",
        "burgers",
        "stretched-exponential",
        "zener",
        "kelvin-chain",
        "kelvin-chain, flow",
    }
    assert plain | {"power-family, ageing clock", "power-flow, ageing clock"} == set(names)
    assert sum(m.weight for m in row.models) == pytest.approx(1.0)
    assert names == [m.model for m in sorted(row.models, key=lambda m: -m.weight)]
    line = {m.model: m.interval for m in row.models}
    # on the ageing clock creep slows down; a single retardation time comes to rest
    assert line["zener"].median < line["power-family, ageing clock"].median < line["power-family"].median


def test_a_rare_model_has_draws_of_its_own(fitted: Fit) -> None:
    for family in families(fitted):
        rows = response(fitted, family.draws, LoadHistory.held(1.0), np.array([YEAR]))[family.rows]
        assert rows.shape[0] >= 200
        assert {g.member.model.name for g in family.draws.groups} >= {family.label.removesuffix(", flow")}


def test_ageing_never_lowers_the_upper_limit_below_the_plain_clock(aged: Fit) -> None:
    (row,) = forecast(aged, "1 year").rows
    plain = aged.unaged_draws
    assert plain is not None
    assert all(g.member.rate is None for g in plain.groups)
    times = np.array([YEAR])
    everything = np.quantile(response(aged, aged.draws, LoadHistory.held(1.0), times), 0.95)
    unaged = np.quantile(response(aged, plain, LoadHistory.held(1.0), times), 0.95)
    assert unaged > everything  # the rule has something to do here
    assert row.interval.high == pytest.approx(unaged)
    assert fit(five_days(), models=["findley"]).unaged_draws is None


def test_shares_sum_to_one_and_go_from_the_gauge_to_the_models(fitted: Fit) -> None:
    inside, beyond = (r.share for r in forecast(fitted, ["5 d", "1 year"]).rows)
    for share in (inside, beyond):
        assert sum(share.to_dict().values()) == pytest.approx(1.0)
        assert min(share.to_dict().values()) >= 0.0
    assert inside.gauge > beyond.gauge
    assert beyond.model + beyond.parameters + beyond.discrepancy > 0.8


def test_shares_of_a_variance_put_together_by_hand(fitted: Fit) -> None:
    """Models 2a apart, two nodes each 2b apart, scatter c within: variances a^2, b^2, c^2 of the logarithm."""
    a, b, c, d = 0.03, 0.02, 0.01, 0.015
    each = 5000
    rng = np.random.default_rng(8)
    zeros = np.zeros(4 * each)
    groups, log = [], np.empty(4 * each)
    for m, model in enumerate((PowerFamilyModel(), Burgers())):
        rows = np.arange(m, 4 * each, 2)
        node = np.repeat([0.1, 0.3], each)
        shape = node[:, None]
        nodes = Nodes(shape, np.ones((2 * each, 1)), np.zeros(2 * each), np.zeros(2 * each))
        groups.append(Group(Member("", model, (), 1.0), rows, nodes))
        log[rows] = (a if m else -a) + np.where(node > 0.2, b, -b) + c * rng.standard_normal(2 * each)
    draws = Draws(tuple(groups), zeros, zeros, zeros, zeros, fitted.observed)
    base = np.exp(log)[:, None]
    (share,) = shares(draws, base, base * d * rng.standard_normal((4 * each, 1)), np.array([YEAR]))
    whole = a**2 + b**2 + c**2 + d**2
    expected = {"gauge": c**2, "parameters": b**2, "model": a**2, "discrepancy": d**2}
    assert share.to_dict() == pytest.approx({k: v / whole for k, v in expected.items()}, abs=0.01)


def test_a_duty_cycle_stays_below_the_load_always_on_which_stands_beside_it(fitted: Fit) -> None:
    plan = LoadPlan((LoadStep(0.0, 1.0), LoadStep(8 * HOUR, 0.0)), 24 * HOUR)
    end_of_on = 99 * DAY + 8 * HOUR
    answer = forecast(fitted, [end_of_on, end_of_on + 60.0], history=plan)
    always = forecast(fitted, [end_of_on, end_of_on + 60.0])
    on, off = answer.rows
    assert on.always_on == always.rows[0].interval
    assert on.interval.high < always.rows[0].interval.high
    assert off.interval.median < on.interval.median - 0.9  # the instantaneous millimetre is back
    edges = np.arange(100) * DAY
    by_hand = LoadHistory.from_steps([step for t in edges for step in ((t, 0.0, 1.0), (t + 8 * HOUR, 0.0, 0.0))])
    draws = fitted.draws.deformation(by_hand, np.array([end_of_on]))
    assert on.interval.median == pytest.approx(float(np.median(draws)))
    assert "always_on" in answer.to_dict()["forecast"][0]
    assert "always_on" not in always.to_dict()["forecast"][0]


def test_without_an_initial_reading_only_increments_are_forecast() -> None:
    found = fit(five_days(initial=False, unloaded=False), models=["findley"])
    answer = forecast(found, [60.0, "30 d"])
    assert answer.quantity == "creep increment"
    first, month = answer.rows
    assert first.interval.high == pytest.approx(0.0, abs=1e-12)  # counted from the reading at 1 min
    true = truth(LoadHistory.held(1.0), np.array([60.0, 30 * DAY]))
    assert month.interval.low < true[1] - true[0] < month.interval.high
    assert all(row.modulus is None and row.why for row in answer.modulus.rows)
    plan = LoadPlan((LoadStep(0.0, 1.0), LoadStep(DAY, 0.5)))
    with pytest.raises(FitError, match="reading before loading"):
        forecast(found, "30 d", history=plan)


def test_a_hanger_goes_on_acting_and_the_initial_reading_is_the_reference() -> None:
    run = five_days(rig=Rig(preload=0.4))
    found = fit(run, models=["findley"])
    assert observations(run).history.change[0] == 0.4
    times = np.array([YEAR])
    shown = response(found, found.draws, LoadHistory.held(1.0), times)
    whole = LoadHistory.from_steps([(-120.0, 0.0, 0.4), (0.0, 0.0, 1.4)])
    both = found.draws.deformation(whole, np.array([-60.0, YEAR]))
    assert shown[:, 0] == pytest.approx(both[:, 1] - both[:, 0])
    assert np.median(shown) > np.median(found.draws.deformation(LoadHistory.held(1.0), times))


def test_a_reading_scatters_more_than_the_curve(fitted: Fit) -> None:
    curve = forecast(fitted, "5 d").rows[0].interval
    reading = forecast(fitted, "5 d", kind="reading").rows[0].interval
    spread = ((reading.high - reading.low) ** 2 - (curve.high - curve.low) ** 2) ** 0.5
    # 2 x 1.645 standard deviations of the gauge in quadrature (no drift here); the noise itself is known to a third
    assert spread == pytest.approx(2 * 1.645 * SIGMA, rel=0.4)


def test_what_json_prints(fitted: Fit) -> None:
    answer = forecast(fitted, ["30 d", "1 year"], limit="2 mm")
    content = answer.to_dict()
    assert json.loads(json.dumps(content, allow_nan=False)) == content
    assert list(content)[:5] == ["format", "version", "seed", "level", "run"]
    assert {"quantity", "unit", "forecast", "creep_modulus", "limit", "hindcast", "cautions"} <= set(content)
    row = content["forecast"][1]
    assert {"time_h", "low", "median", "high", "decades_beyond", "share", "models"} <= set(row)
    assert row["time_h"] == 8766.0
    assert content["run"] == "PETG P-03"
    table = answer.table()
    assert table["median"].tolist() == [r.interval.median for r in answer.rows]
    assert len(table) == 2


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"at": "30 kg"}, "at"),
        ({"at": []}, "no time"),
        ({"at": ["0 s"]}, "above zero"),
        ({"at": float("nan")}, "above zero"),
        ({"level": 1.0}, "probability"),
        ({"level": 90}, "probability"),
        ({"load": "3 MPa"}, "mass or a force"),
        ({"load": "0 kg"}, "not zero"),
        ({"load": "1 N", "history": LoadPlan((LoadStep(0.0, 1.0),))}, "one of them"),
        ({"limit": "2 kg"}, "limit"),
        ({"limit": -1.0}, "above zero"),
        ({"limit": "2 mm", "life": "-1 d"}, "life"),
        ({"kind": "band"}, "curve or reading"),
    ],
)
def test_bad_questions_get_one_line(fitted: Fit, asked: dict[str, object], words: str) -> None:
    with pytest.raises(InputError) as caught:
        forecast(fitted, **asked)  # type: ignore[arg-type]
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, CreepfitError)


def test_beside_a_moment_without_load_stands_the_last_one_with_it(fitted: Fit) -> None:
    """30 d fall at the end of an off phase: what is left then is not what the part will have sagged by."""
    plan = LoadPlan((LoadStep(0.0, 1.0), LoadStep(8 * HOUR, 0.0)), 24 * HOUR)
    (row,) = forecast(fitted, [30 * DAY], history=plan).rows
    assert row.peak is not None
    assert row.peak.time == pytest.approx(29 * DAY + 8 * HOUR)
    at_that_time = forecast(fitted, [row.peak.time], history=plan).rows[0].interval
    assert row.peak.interval.median == pytest.approx(at_that_time.median, rel=1e-9)
    assert row.peak.interval.high == pytest.approx(at_that_time.high, rel=1e-9)
    assert row.interval.median < 0.5 * row.peak.interval.median
    assert forecast(fitted, [30 * DAY]).rows[0].peak is None
