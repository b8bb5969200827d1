"""What every answer is made from: draws with and without ageing, the rule between them, and cautions that come along."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import creepfit as cf
from creepfit.answers.outlook import outlook
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.response import Predicted
from creepfit.mechanics.loading import LoadHistory
from creepfit.records.run import Run
from creepfit.units import DAY, HOUR, YEAR

STEPS = np.linspace(0.0, 1.0, 101)
"""Draws whose quantiles are their probabilities."""


@pytest.fixture(scope="module")
def aged(creep_run: Callable[..., Run]) -> Fit:
    return cf.fit(creep_run(age=DAY), models=["findley"])


def test_the_end_away_from_zero_is_never_nearer_than_without_ageing() -> None:
    wider = Predicted(1.0 + STEPS, 1.0 + 2.0 * STEPS)
    assert wider.interval(0.9).to_dict() == pytest.approx({"low": 1.05, "median": 1.5, "high": 2.9})
    narrower = Predicted(1.0 + STEPS, 1.0 + 0.5 * STEPS)
    assert narrower.interval(0.9).high == pytest.approx(1.95)
    # a specimen that is pulled the other way
    below = wider.map(lambda draws: -draws).interval(0.9)
    assert below.to_dict() == pytest.approx({"low": -2.9, "median": -1.5, "high": -1.05})


def test_of_what_is_safe_when_large_the_low_end_is_held() -> None:
    life = Predicted(2.0 + STEPS, 1.0 + STEPS)
    assert life.interval(0.9, more_is_safe=True).to_dict() == pytest.approx({"low": 1.05, "median": 2.5, "high": 2.95})
    assert float(life.least(lambda t: t > 1.5)) == pytest.approx(51 / 101, abs=0.02)


def test_each_time_has_its_own_side() -> None:
    draws = np.column_stack([STEPS + 1.0, -STEPS - 1.0])
    low, median, high = Predicted(draws, 2.0 * draws).ends(0.9)
    assert median == pytest.approx([1.5, -1.5])
    assert low == pytest.approx([1.05, -3.9])
    assert high == pytest.approx([3.9, -1.05])


def test_draws_that_never_reach_a_limit_are_read_as_they_are() -> None:
    life = Predicted(np.where(STEPS < 0.6, STEPS, np.inf)).as_drawn()
    low, median, high = life.ends(0.9, more_is_safe=True)
    assert (low, median) == pytest.approx((0.05, 0.5))
    assert np.isinf(high)


def test_a_forecast_from_python_carries_the_cautions_of_the_command_line(aged: Fit) -> None:
    codes = {c.code for c in cf.forecast(aged, "1 year").cautions}
    assert {"not-a-strength-check", "outside-the-test", "beyond-ten-times"} <= codes
    assert "beyond-ten-times" not in {c.code for c in cf.forecast(aged, "6 d").cautions}
    # a load that is far below the tested is doubted by the load of the question, not of the run
    assert "stress-well-below-test" in {c.code for c in cf.forecast(aged, "6 d", load="0.1 N").cautions} - codes


def test_a_saved_forecast_is_the_one_that_was_shown(tmp_path: Path) -> None:
    """Of a young specimen the rule on ageing moves the upper end, and `check --against` scores what was printed."""
    path = tmp_path / "run.toml"
    path.write_text(YOUNG, encoding="utf-8")
    result = cf.fit(cf.read_run(path), models=["findley"])
    cf.save_fit(result, tmp_path / "saved.json")
    rows = json.loads((tmp_path / "saved.json").read_text())["summary"]["forecast"]
    late = rows[-1]
    shown = cf.forecast(result, late["time_h"] * HOUR).rows[0].interval
    assert {name: late[name] for name in ("low", "median", "high")} == pytest.approx(shown.to_dict())
    drawn = result.draws.deformation(LoadHistory.held(result.run.working_load), np.array([late["time_h"] * HOUR]))
    assert shown.high > 1.003 * np.quantile(drawn, 0.95)  # the rule has something to do here


YOUNG = """\
format = 1
[run]
material = "PLA"
specimen = "young"
age = "1 h"
[specimen]
test = "cantilever"
length = "80 mm"
width = "12 mm"
thickness = "5 mm"
[gauge]
resolution = "0.01 mm"
repeatability = "0.01 mm"
[[load]]
at = "0 s"
force = "2 N"
[readings]
time = ["-1 min", "1 min", "1 h", "1 d", "2 d", "3 d", "4 d", "5 d"]
reading = ["1.00 mm", "2.00 mm", "2.08 mm", "2.16 mm", "2.18 mm", "2.19 mm", "2.20 mm", "2.21 mm"]
"""


@pytest.mark.parametrize("level", [1.5, 0.0, -0.1, True, "high", float("nan"), 90])
def test_a_level_that_is_none_is_refused_where_it_is_given(creep_run: Callable[..., Run], aged: Fit, level: object) -> None:
    for ask in (
        lambda: cf.fit(creep_run(), level=level),  # type: ignore[call-overload]
        lambda: cf.fit_pooled([creep_run(), creep_run(seed=1)], level=level),  # type: ignore[arg-type]
        lambda: cf.forecast(aged, "1 d", level=level),  # type: ignore[arg-type]
        lambda: cf.creep_modulus(aged, level=level),  # type: ignore[arg-type]
        lambda: cf.creep_stop(aged, level=level),  # type: ignore[arg-type]
        lambda: cf.recovery(aged, level=level),  # type: ignore[arg-type]
        lambda: cf.increments(aged, level=level),  # type: ignore[arg-type]
        lambda: cf.compare([aged, cf.fit(creep_run(seed=1, name="b"))], level=level),  # type: ignore[arg-type]
    ):
        with pytest.raises(InputError, match=r"level: found .* expected a probability between 0 and 1"):
            ask()


def test_level_is_taken_everywhere(creep_run: Callable[..., Run], aged: Fit) -> None:
    for wide, narrow in (
        (cf.creep_stop(aged, level=0.99).still_to_come, cf.creep_stop(aged, level=0.5).still_to_come),
        (
            cf.recovery(aged, "1 d", level="99 %").residuals[0].left,
            cf.recovery(aged, "1 d", level="50 %").residuals[0].left,
        ),
        (cf.forecast(aged, "1 d", level=0.99).rows[0].interval, cf.forecast(aged, "1 d", level=0.5).rows[0].interval),
        (cf.creep_modulus(aged, "1 d", 0.99).rows[0].modulus, cf.creep_modulus(aged, "1 d", 0.5).rows[0].modulus),
    ):
        assert wide is not None
        assert narrow is not None
        assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)
    assert cf.recovery(aged, "1 d", level=0.5).to_dict()["level"] == 0.5
    assert cf.creep_stop(aged, level=0.5).to_dict()["level"] == 0.5
    coarse = cf.fit(creep_run(noise=0.02), models=["findley"])
    sure = [sum(bool(r.distinguishable) for r in cf.increments(coarse, level)) for level in (0.5, 0.99)]
    assert sure[0] > sure[1]


def test_times_are_text_or_seconds_everywhere(aged: Fit) -> None:
    for said, seconds in (
        (cf.forecast(aged, "1 d").rows, cf.forecast(aged, np.array([DAY])).rows),  # type: ignore[arg-type]
        (cf.creep_modulus(aged, ["1 d"]).rows, cf.creep_modulus(aged, DAY).rows),
        (cf.recovery(aged, "1 d").residuals, cf.recovery(aged, [int(DAY)]).residuals),
        (cf.next_reading(aged, by="1 d").to_dict(), cf.next_reading(aged, by=DAY).to_dict()),
        (cf.creep_stop(aged, by="1 year").to_dict(), cf.creep_stop(aged, by=YEAR).to_dict()),
    ):
        assert str(said) == str(seconds)
    for ask in (cf.forecast, cf.creep_modulus, cf.recovery):
        for wrong in ("0 d", -1.0, [], ["soon"], float("inf"), [None], "1 kg"):
            with pytest.raises(InputError, match=r"at|times|after"):
                ask(aged, wrong)


def test_the_largest_factor_reaches_the_limit_just_then(aged: Fit) -> None:
    ahead = outlook(aged)
    limit, life = 1.2 * float(np.median(ahead.response(np.array([DAY])).draws)), 30 * DAY
    factor = ahead.largest_factor(limit, life)
    reached = ahead.response(np.array([life])).draws[:, 0] * factor.draws
    assert reached == pytest.approx(limit)
    with pytest.raises(InputError, match="at most 100 times the data"):
        ahead.largest_factor(limit, 2.0 * aged.horizon)
