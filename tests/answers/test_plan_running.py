"""What to read next on a running test: against refits with the readings in, and that the advice makes sense."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

import creepfit as cf
from creepfit.answers.plan.hours import WorkingHours, working_hours
from creepfit.answers.plan.question import question
from creepfit.answers.plan.running import _more
from creepfit.answers.plan.ways import ways
from creepfit.answers.wording import time_words
from creepfit.errors import FitError, InputError
from creepfit.inference.columns import observations
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.mixture import mixture
from creepfit.inference.preposterior import Estimand
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.findley import PurePower
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.report.text.pieces import kept_chance

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
MONDAY = datetime(2031, 5, 5, 10, 0)


def bar(unload: bool = False, until: float = 5 * DAY) -> Run:
    """A power of time with n = 0.2, read at the usual times; invented."""
    after = [5 * DAY + 60.0, 6 * DAY, 8 * DAY] if unload else []
    times = np.array([-60.0, 60.0, 600.0, HOUR, 6 * HOUR, *(DAY * k for k in (1, 2, 3, 5)), *after])
    times = times[times <= until] if not unload else times
    steps = (LoadStep(0.0, 1.0), *([LoadStep(5 * DAY, 0.0)] if unload else []))
    history = LoadHistory.from_steps([(s.at, s.over, s.value) for s in steps])
    shown = history.at(times) + 0.5 * superpose(PurePower(), history, times, np.array([0.2]))[0] / 120.0**0.2
    shown = shown + 0.01 * np.random.default_rng(4).standard_normal(times.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    return Run("PETG", Direct(), Gauge(0.001, 0.01, "as given"), steps, readings)


@pytest.fixture(scope="module")
def whole() -> Fit:
    return fit(bar(), models=["findley"])


@pytest.fixture(scope="module")
def loaded(whole: Fit, lean: Callable[[Fit], Fit]) -> Fit:
    return lean(whole)


def test_what_readings_are_promised_to_tell_is_what_refits_with_them_find(whole: Fit) -> None:
    """Twelve truths of the plan are read at the times chosen, with the plan's own scatter, and fitted anew."""
    found = question(whole)
    on, off = ways(found.fit, found.asked, 20 * DAY, WorkingHours())
    for way, taken in ((on, (int(on.times.size) - 1,)), (off, (4, 8))):
        few = replace(way.readings, asked=replace(found.asked, cases=12))
        root = np.linalg.cholesky(few.ahead.unit_covariance[np.ix_(taken, taken)])
        steps = whole.run.steps if way.unload_at is None else (*whole.run.steps, LoadStep(way.unload_at, 0.0))
        variances = []
        for shown in few.shown(taken, root):
            further = [Reading(float(t), float(y)) for t, y in zip(way.times[list(taken)], shown, strict=True)]
            longer = observations(replace(whole.run, readings=(*whole.run.readings, *further), steps=steps))
            draws = mixture(replace(longer, has_recovery=True), whole.priors).draws(1500, 1)
            sag = draws.deformation(LoadHistory.held(1.0), np.array([found.by]))[:, 0]
            variances.append(Estimand.response(sag).values.var())
        refitted = float(np.sqrt(np.dot(variances, few.asked.truth_weights)))
        assert few.doubt(taken) == pytest.approx(refitted, rel=0.25)


def test_what_is_known_today_is_what_the_forecast_says(lean: Callable[[Fit], Fit]) -> None:
    """The draws that readings are planned on have a set still to come in them, and no rule for ageing."""
    found = lean(fit(bar()))
    assert cf.plan(found).now == cf.forecast(found, ["1 year"]).rows[0].interval


@pytest.mark.fits_anew
def test_more_readings_tell_more_and_the_same_seed_says_the_same(loaded: Fit, lean: Callable[[Fit], Fit]) -> None:
    plan = cf.plan(loaded)
    gains = [c.narrowing for c in plan.best]
    assert gains == sorted(gains)
    assert 0.2 < gains[0] < 0.9
    assert plan.best[0].readings[0].time >= 15 * DAY
    assert [m.days for m in plan.more] == [1.0, 5.0, 20.0]
    kept_on = [m.as_it_is.narrowing for m in plan.more if m.as_it_is]
    assert kept_on == sorted(kept_on)
    assert cf.plan(lean(fit(bar(), models=["findley"]))).to_dict() == plan.to_dict()
    assert cf.text(plan).startswith("PETG: what to read next\n")
    assert "%" in plan.headline or "read at" in plan.headline
    assert len(plan.table()) == len(plan.best)


def test_a_set_is_told_by_unloading_and_the_forecast_by_waiting(loaded: Fit) -> None:
    lasting, ahead = cf.plan(loaded, question="set"), cf.plan(loaded)
    assert lasting.best[0].unload_at == 5 * DAY
    assert lasting.best[0].narrowing > 0.3
    assert lasting.unloading is not None
    assert lasting.unloading.startswith("taking the load off now tells more")
    assert ahead.best[0].unload_at is None
    assert ahead.unloading is not None
    assert "leaving" in ahead.unloading
    assert ahead.unloading.endswith("; recovery and permanent set show only once the load is off")
    assert "; recovery" not in lasting.unloading


def test_a_limit_and_a_comparison_are_asked_about_as_yes_or_no(loaded: Fit) -> None:
    sag = float(np.median(cf.forecast(loaded, "1 year").draws()))
    kept = cf.plan(loaded, limit=1.05 * sag)
    assert isinstance(kept.now, float)
    assert kept.doubt == pytest.approx(min(kept.now, 1.0 - kept.now))
    assert all(c.doubt < kept.doubt and c.width is None for c in kept.best)
    assert "wrong" in cf.text(kept)
    # beside it the probability that a forecast with this limit gives, which counts more flow
    limit = cf.forecast(loaded, "1 year", limit=1.05 * sag).limit
    assert limit is not None
    assert limit.life is not None
    assert kept.question.promised == limit.life.kept
    assert kept.to_dict()["now"]["promised"] == limit.life.kept < kept.now - 0.02
    assert f"yes with {kept_chance(limit.life.kept)}" in " ".join(cf.text(kept).split())
    # one form for all probabilities of an answer, and no verdict that more days make worse
    said = " ".join(cf.text(kept).split())
    assert "wrong with 0." in said
    assert "%" not in said.partition("The doubt rests")[0]
    sure = cf.plan(loaded, limit=100.0 * sag)
    assert not sure.best
    other = fit(replace(bar(), material="PLA"), models=["findley"])
    both = cf.plan(loaded, other=other)
    assert both.now == pytest.approx(0.5, abs=0.05)
    assert "gives way less than PLA" in both.headline


def test_days_that_tell_next_to_nothing_of_a_verdict_change_nothing(loaded: Fit) -> None:
    """Draws scatter: 5.9 % of wrong verdicts today, 6.1 % after five days more was said."""
    plan = cf.plan(loaded, limit=1.05 * float(np.median(cf.forecast(loaded, "1 year").draws())))
    worse = replace(plan.more[0].as_it_is, doubt=1.03 * plan.doubt, narrowing=0.0)  # type: ignore[type-var]
    more = (replace(plan.more[0], as_it_is=worse, unloaded=None), *plan.more[1:])
    assert "no change" in cf.text(replace(plan, more=more))


def test_more_days_buy_at_least_what_fewer_do(loaded: Fit) -> None:
    """What is expected of readings scatters with the draws: 5 d came to 0.062 and 20 d, which hold those, to 0.064."""
    asked = SimpleNamespace(narrowing=lambda doubt: 1.0 - doubt / 0.1)
    doubts = {1: 0.09, 5: 0.07, 20: 0.08}
    way: Any = SimpleNamespace(
        times=np.array([6.0, 7.0, 8.0]) * DAY, since=0.0, unload_at=None, within=lambda _, days: [days],
        readings=SimpleNamespace(best=lambda _, among: [((0,), doubts[among[0]])]),
    )  # fmt: skip
    put: Any = SimpleNamespace(fit=loaded, is_size=False, asked=asked)
    found = _more(put, [way], [1, 5, 20])
    assert [m.as_it_is.doubt for m in found if m.as_it_is] == [0.09, 0.07, 0.07]


def test_what_was_unloaded_is_read_on_after_its_unloading(lean: Callable[[Fit], Fit]) -> None:
    plan = cf.plan(lean(fit(bar(unload=True), models=["findley"])), question="set")
    assert plan.unloading is None
    assert all(m.unloaded is None for m in plan.more)
    for choice in plan.best:
        assert choice.unload_at is None
        assert all(r.after is not None and r.after > 3 * DAY for r in choice.readings)


def test_readings_come_when_somebody_is_there(lean: Callable[[Fit], Fit]) -> None:
    dated = replace(bar(), began=MONDAY)
    plan = cf.plan(lean(fit(dated, models=["findley"])), question="set", hours="9-16")
    hours = working_hours("9-16")
    clocks = [r.clock for c in plan.best for r in c.readings if r.after is None or r.after > HOUR]
    assert clocks
    assert all(clock is not None and hours.holds(clock) for clock in clocks)


def test_working_hours() -> None:
    hours = working_hours("7:30-16:00")
    assert hours.nearest(MONDAY) == MONDAY
    assert hours.nearest(datetime(2031, 5, 5, 3, 0)) == datetime(2031, 5, 5, 7, 30)
    # Saturday noon is nearer to Friday's end, unless that is over
    saturday = datetime(2031, 5, 10, 12, 0)
    assert hours.nearest(saturday) == datetime(2031, 5, 9, 16, 0)
    assert hours.nearest(saturday, saturday) == datetime(2031, 5, 12, 7, 30)
    assert working_hours(weekends=True).nearest(saturday) == saturday
    assert hours.words == "Monday to Friday, 7:30 to 16:00"
    assert not hours.holds(saturday + timedelta(days=2, hours=8))
    assert [time_words(t) for t in (90.0, 6 * HOUR, 54 * HOUR + 600.0, 3 * DAY)] == ["90 s", "6 h", "2 d 6 h", "3 d"]
    for slip in ("9", "9-25", "17-8", "a-b", "8:61-17"):
        with pytest.raises(InputError):
            working_hours(slip)


def test_questions_that_cannot_be_asked(loaded: Fit) -> None:
    with pytest.raises(InputError, match="limit: missing"):
        cf.plan(loaded, question="limit")
    with pytest.raises(InputError, match="other: missing"):
        cf.plan(loaded, question="compare")
    with pytest.raises(InputError, match="a value for limit"):
        cf.plan(loaded, question="set", limit="2 mm")
    with pytest.raises(InputError):
        cf.plan(loaded, question="colour")  # type: ignore[arg-type]
    with pytest.raises(InputError):
        cf.plan(loaded, within="-1 d")
    with pytest.raises(InputError):
        cf.plan(loaded, "5 kg")
    blind = fit(replace(bar(), readings=bar().readings[1:]), models=["findley"])
    with pytest.raises(FitError, match="no reading before loading"):
        cf.plan(blind, question="set")
    with pytest.raises(FitError, match="how much of the limit is taken at once"):
        cf.plan(blind, limit="3 mm")
    with pytest.raises(InputError, match="several runs pooled"):
        cf.plan(cf.fit([bar(), replace(bar(), name="2")], pool=True))


def test_what_is_to_be_settled_first_is_said_by_plan_and_check_alike() -> None:
    """Creep that speeds up, and a load that came off unnoted: no reading is ranked, and no number stands first."""
    still = bar()
    faster = {3 * DAY: 0.3, 5 * DAY: 1.5}
    speeding = replace(still, readings=tuple(replace(r, value=r.value + faster.get(r.time, 0.0)) for r in still.readings))
    unnoted = replace(bar(unload=True), steps=still.steps)
    for run, words in ((speeding, "speeds up"), (unnoted, "whether and when the load came off")):
        fitted = fit(run, models=["findley"])
        plan, listed = cf.plan(fitted), cf.next_reading(fitted)
        assert not plan.best
        assert not plan.more
        assert not listed.suggestions
        assert plan.why == listed.why
        assert words in plan.why
        assert plan.withheld == plan.to_dict()["withheld"] == cf.forecast(fitted, "1 year").withheld
        assert plan.withheld is not None
        said = cf.text(plan)
        assert "rests most" not in said
        assert "today" not in said


def test_the_worth_of_readings_is_told_in_one_measure(loaded: Fit) -> None:
    plan = cf.plan(loaded)
    said = " ".join(cf.text(plan).split())
    for choice in plan.best:
        assert f"The 90 % interval is expected to become {100 * choice.width:.0f} % as wide as now." in said
        assert f"{100 * choice.narrowing:.0f}" in said.partition("that is expected to go, ")[2].partition(" %:")[0]
    assert said.count("of the doubt") == 0
    assert "the standard deviation of its logarithm" in said


def test_an_interval_that_readings_may_widen_is_said_to_leave_out_what_the_doubt_counts(loaded: Fit) -> None:
    plan = cf.plan(loaded)
    wider = replace(plan, best=(replace(plan.best[0], width=2.0), *plan.best[1:]))
    said = " ".join(cf.text(wider).split())
    assert "leaves that out today, and takes it in where a reading shows it." in said
    assert "expected to become 200 % as wide as now" in said
