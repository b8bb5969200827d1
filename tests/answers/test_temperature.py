"""What warmth does: the dependence of runs at two temperatures, answers elsewhere than at the test's, and refusals."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import creepfit as cf
from creepfit.answers.doubts.temperature import dependence_doubts, warming_doubts
from creepfit.errors import InputError
from creepfit.mechanics.temperature import Climate

COOL, WARM = 23.0, 38.0
GROWTH = 0.012
"""Per K, of the whole curve."""


@pytest.fixture(scope="module")
def fits(creep_run, truth) -> list[cf.Fit]:
    soft = truth(modulus=2000.0 * np.exp(-GROWTH * (WARM - COOL)))
    runs = [creep_run(truth(), name="cool", temperature=COOL), creep_run(soft, seed=1, name="warm", temperature=WARM)]
    return [cf.fit(r) for r in runs]


@pytest.fixture(scope="module")
def found(fits) -> cf.TemperatureDependence:
    return cf.temperature_dependence(fits, at=["1 min", "1 year"], to=["30 degC"])


def test_growth_per_ten_kelvin_holds_the_truth(found) -> None:
    for time in (60.0, 365.25 * 86400.0):
        factor = found.per_ten_kelvin(time)
        assert factor.low < np.exp(10.0 * GROWTH) < factor.high
        assert factor.high / factor.low < 1.6  # one bar each: what bars differ by over 15 K


def test_it_shows_itself_in_words_and_as_a_figure(found) -> None:
    assert repr(found).startswith("<TemperatureDependence: PETG, 2 runs at 23, 38 degC; ")
    assert "<table" in found._repr_html_()
    assert cf.text(found)
    assert cf.plot(found).axes


def test_rows_are_there_for_every_temperature_and_time(found) -> None:
    assert [(c.temperature, c.tested) for c in found.curves[::2]] == [(23.0, True), (30.0, False), (38.0, True)]
    assert found.curves[0].compliance.median < found.curves[2].compliance.median < found.curves[4].compliance.median
    assert found.curves[0].decades_beyond == 0.0
    assert found.curves[1].decades_beyond == pytest.approx(np.log10(365.25 / 5.0), abs=1e-3)
    table = found.table()
    assert len(table) == 6


def test_a_shift_is_claimed_only_where_it_is_shown(found) -> None:
    answer = found.to_dict()
    assert answer["shift"]["verdict"] in ("open", "not supported")
    assert answer["shift"]["activation"] is None
    assert answer["shift"]["why"]
    assert found.shift_factors == ()
    assert not found.growth(50, 1).strength.any()


def test_an_answer_elsewhere_holds_the_truth_there(fits, found, truth) -> None:
    at = ["5 d", "1 year"]
    here, there = cf.forecast(fits[0], at=at), cf.forecast(cf.at_temperature(fits[0], "33 degC", found), at=at)
    for cold, warm in zip(here.rows, there.rows, strict=True):
        assert warm.interval.median / cold.interval.median == pytest.approx(np.exp(10.0 * GROWTH), rel=0.08)
    unknown = cf.forecast(cf.at_temperature(fits[0], "33 degC"), at=at)
    for own, usual in zip(there.rows, unknown.rows, strict=True):
        assert usual.interval.high - usual.interval.low > own.interval.high - own.interval.low  # unknown is never zero
    share = unknown.rows[0].share
    assert share.temperature is not None
    assert share.temperature > 0.5
    assert sum(share.to_dict().values()) == pytest.approx(1.0)
    assert here.rows[0].share.temperature is None


def test_within_three_kelvin_nothing_changes(fits) -> None:
    assert cf.at_temperature(fits[0], "25.9 degC") is fits[0]
    assert cf.at_temperature(fits[0], Climate.daily(21.0, 25.0)) is fits[0]


def test_a_climate_that_stays_is_one_temperature(fits) -> None:
    one = cf.forecast(cf.at_temperature(fits[0], "30 degC"), at=["1 year"]).to_dict()["forecast"]
    same = cf.forecast(cf.at_temperature(fits[0], Climate.daily(30.0, 30.0)), at=["1 year"]).to_dict()["forecast"]
    assert one == same


def test_a_day_that_swings_is_answered_at_its_hottest(fits) -> None:
    swing = cf.forecast(cf.at_temperature(fits[0], Climate.daily(15.0, 31.0)), at=["1 year"]).rows[0].interval
    hot = cf.forecast(cf.at_temperature(fits[0], "31 degC"), at=["1 year"]).rows[0].interval
    # further from the test on its cool side, so no narrower
    assert swing.median == pytest.approx(hot.median, rel=1e-6)


@pytest.mark.parametrize(
    ("degrees", "transition", "said"),
    [
        (34.0, None, "at most 33 degC"),
        (30.0, 44.0, "glass transition of 44 degC"),
        (-300.0, None, "a temperature such as"),
    ],
)
def test_temperatures_out_of_reach_are_refused(fits, degrees, transition, said) -> None:
    fit = replace(fits[0], run=replace(fits[0].run, glass_transition=transition))
    with pytest.raises(InputError, match=said):
        cf.at_temperature(fit, degrees)


def test_a_warm_run_extends_the_reach_by_ten_kelvin_beyond_it(fits, found) -> None:
    assert cf.at_temperature(fits[0], 48.0, found).warming is not None
    with pytest.raises(InputError, match="at most 48 degC"):
        cf.at_temperature(fits[0], 48.5, found)


def test_one_temperature_or_none_is_refused(fits) -> None:
    with pytest.raises(InputError, match="two temperatures"):
        cf.temperature_dependence([fits[0]])
    nowhere = replace(fits[0], run=replace(fits[0].run, temperature=None))
    with pytest.raises(InputError, match="not known"):
        cf.temperature_dependence([fits[1], nowhere])
    with pytest.raises(InputError, match="not known"):
        cf.at_temperature(nowhere, 30.0)


def test_one_name_at_two_temperatures_is_asked_about(fits) -> None:
    """Copied files keep the name of the first: the answer is ten times as sure, and was said to count the usual scatter."""
    named = [replace(f, run=replace(f.run, name="P-1")) for f in fits]
    raised = {c.code: c for c in dependence_doubts(named, (23.0, 38.0), (), "supported")}
    assert "taken as one bar's" in raised["one-name-at-several-temperatures"].text
    assert "P-1" in raised["one-name-at-several-temperatures"].text
    assert "one-bar-a-temperature" not in raised
    apart = [replace(f, run=replace(f.run, name=f"P-{i}")) for i, f in enumerate(fits)]
    raised = {c.code: c for c in dependence_doubts(apart, (23.0, 38.0), (), "supported")}
    assert "one-name-at-several-temperatures" not in raised
    assert "usual scatter" in raised["one-bar-a-temperature"].text


def test_cautions_follow_the_case(fits, found) -> None:
    codes = {c.code for c in found.cautions}
    assert {"one-bar-a-temperature", "two-temperatures", "glass-transition-unsaid"} <= codes
    near = [replace(f, run=replace(f.run, glass_transition=55.0)) for f in fits]
    assert "near-glass-transition" in {c.code for c in dependence_doubts(near, (23.0, 38.0), (), "supported")}
    far = [replace(f, run=replace(f.run, glass_transition=105.0)) for f in fits]
    assert {c.code for c in dependence_doubts([*far, *far], (23.0, 30.0, 38.0), (), "supported")} == {
        "one-bar-a-temperature"
    }
    assert [c.code for c in warming_doubts(cf.at_temperature(fits[0], 30.0))] == ["warmth-assumed"]
    assert list(warming_doubts(cf.at_temperature(fits[0], 30.0, found))) == []
    assert list(warming_doubts(fits[0])) == []
    assert "warmth-assumed" in {c.code for c in cf.forecast(cf.at_temperature(fits[0], 30.0)).cautions}


def test_set_at_another_temperature_is_not_known(fits) -> None:
    found = cf.recovery(cf.at_temperature(fits[0], 30.0), after=["1 d"])
    assert found.to_dict()["permanent_set"]["median"] is None
    assert "another temperature" in found.to_dict()["permanent_set"]["why"]
    assert cf.recovery(fits[0], after=["1 d"]).to_dict()["permanent_set"]["high"] is not None
