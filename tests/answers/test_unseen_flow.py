"""A flow that a run could not have seen is said with its size, and not where readings rule it out."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import beta

import creepfit as cf
from creepfit.answers.doubts.flow import unseen_flow
from creepfit.errors import InputError
from creepfit.inference.priors import Priors, priors_for
from creepfit.mechanics.load_plan import LoadPlan, LoadStep
from creepfit.models.coordinate import flow_share_or_faint

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[2] / "demo"
DAY, YEAR = 86400.0, 365.25 * 86400.0


def test_the_size_holds_a_flow_that_five_days_do_not_show(creep_run, truth) -> None:
    # 0.1 % of the instantaneous deformation a day: 0.5 % at the end of the test, 37 % after a year
    plain, flowing = truth(), truth(flow=0.001 / 24.0)
    for kind in (plain, flowing):
        fit = cf.fit(creep_run(kind))
        size = unseen_flow(fit, YEAR)
        assert size is not None
        instant = float(np.median(fit.draws.instant))
        assert size > 0.365 * instant
        codes = {c.code: c.text for c in cf.forecast(fit, at=["1 year"]).cautions}
        assert "would add up to" in codes["unseen-flow"]


def test_it_grows_with_the_time_asked_about_and_says_nothing_of_the_test(creep_run) -> None:
    fit = cf.fit(creep_run())
    month, year = unseen_flow(fit, 30.0 * DAY), unseen_flow(fit, YEAR)
    assert month is not None
    assert year == pytest.approx(month * YEAR / (30.0 * DAY))
    assert unseen_flow(fit, 3.0 * DAY) is None
    assert "unseen-flow" not in {c.code for c in cf.forecast(fit, at=["4 d"]).cautions}


def test_it_is_of_the_load_that_is_asked_about(creep_run) -> None:
    fit, load = cf.fit(creep_run()), 1.96
    said = {}
    month = LoadPlan((LoadStep(0.0, load), LoadStep(30.0 * DAY, 0.0)))
    for name, asked in (("whole", {}), ("half", {"load": 0.5 * load}), ("month", {"history": month})):
        text = {c.code: c.text for c in cf.forecast(fit, at=["1 year"], **asked).cautions}["unseen-flow"]
        said[name] = float(re.search(r"up to ([\d.]+) mm", text)[1])
    assert said["half"] == pytest.approx(0.5 * said["whole"], rel=0.06)  # as rounded
    assert said["month"] == pytest.approx(30.0 / 365.25 * said["whole"], rel=0.06)


def test_a_flow_too_faint_to_be_seen_is_in_the_interval(creep_run) -> None:
    # a plain power of time, judged by two kinds of flow and by the plain kind alone with its own weight
    run = creep_run()
    weights = {"power-family": 0.722, "power-flow": 0.088, "stretched-exponential": 0.14}
    plain = replace(priors_for(None), faint_flow=1e-9, weights=weights)
    with_faint, without = (
        cf.forecast(cf.fit(run, models=["power-family"], priors=p), at=["1 year"]).rows[0].interval
        for p in (priors_for(None), plain)
    )
    assert with_faint.high - with_faint.median > 1.25 * (without.high - without.median)
    assert with_faint.median == pytest.approx(without.median, rel=0.01)


def test_the_share_of_flow_is_of_two_kinds() -> None:
    c = flow_share_or_faint(Priors(faint_flow=0.4, faint_flow_mean=0.03, flow_mean=0.25), 14, 20)
    shares = c.grid(c.low, c.high, 4000)
    mass = np.exp(c.log_density(shares) - c.log_total) * c.length(c.low, c.high) / shares.size
    assert mass.sum() == pytest.approx(1.0, abs=1e-3)
    for most in (0.02, 0.05, 0.2, 0.5):
        expected = 0.4 * beta(4.0, 4.0 / 0.03 - 4.0).cdf(most) + 0.6 * beta(1.5, 1.5 / 0.25 - 1.5).cdf(most)
        assert mass[shares < most].sum() == pytest.approx(expected, abs=2e-3)


def test_no_prior_has_faint_flow_alone() -> None:
    with pytest.raises(InputError, match="faint_flow"):
        Priors(faint_flow=1.0)


def test_flow_is_spoken_of_where_it_raises_the_upper_end(creep_run, truth) -> None:
    codes = {c.code for c in cf.forecast(cf.fit(creep_run(truth(), unload=None)), at=["6 d"]).cautions}
    assert "flow-extrapolated" not in codes
    strong = cf.fit(creep_run(truth(share=0.0, kelvin=0.4, flow=0.002), age=None))
    assert "flow-extrapolated" in {c.code for c in cf.forecast(strong, at=["1 year"]).cautions}


def test_a_part_is_told_the_same_flow_as_a_share_of_its_sag() -> None:
    # the law that made the demo's readings flows: 4.07 mm in place of 2.00 at a minute, more than the interval has
    fit = cf.fit(cf.read_run(DEMO / "petg-strip.toml"))
    part = cf.read_part(DEMO / "bracket.toml")
    answer = cf.sag(part, fit, at=["1 year"])
    (said,) = (c.text for c in answer.cautions if c.code == "unseen-flow")
    assert "if the loads stayed on" not in said
    added = float(said.partition("up to ")[2].partition(" mm")[0])
    strip = cf.forecast(fit, at=["1 year"]).rows[0].interval
    own = unseen_flow(fit, YEAR)
    assert own is not None
    assert added / answer.rows[0].interval.median == pytest.approx(own / strip.median, rel=0.05)
    assert (answer.rows[0].interval.median + added) / answer.loading.interval.median > 4.07 / 2.00
    assert "unseen-flow" not in {c.code for c in cf.sag(part, fit, at=["4 d"], limit="9 mm", life="4 d").cautions}


def test_what_does_not_creep_does_not_flow() -> None:
    """It was a share of the whole sag: a mounting that gives way took its part of it."""
    fit, part = cf.fit(cf.read_run(DEMO / "petg-strip.toml")), cf.read_part(DEMO / "bracket.toml")
    soft = replace(part, body=replace(part.beam, root_compliance=3e-5))
    sags = [cf.sag(one, fit, at=["1 year"]) for one in (part, soft)]
    assert sags[1].rows[0].interval.median > 1.5 * sags[0].rows[0].interval.median
    said = [c.text for answer in sags for c in answer.cautions if c.code == "unseen-flow"]
    sizes = [float(text.partition("up to ")[2].partition(" mm")[0]) for text in said]
    assert sizes[1] == pytest.approx(sizes[0], rel=0.05)


def test_where_it_is_warmer_more_would_flow() -> None:
    fit, part = cf.fit(cf.read_run(DEMO / "petg-strip.toml")), cf.read_part(DEMO / "bracket.toml")
    sags = [cf.sag(replace(part, temperature=celsius), fit, at=["1 year"]) for celsius in (22.0, 30.0)]
    said = [c.text for answer in sags for c in answer.cautions if c.code == "unseen-flow"]
    sizes = [float(text.partition("up to ")[2].partition(" mm")[0]) for text in said]
    grown = sags[1].rows[0].interval.median / sags[0].rows[0].interval.median
    assert grown > 1.05
    assert sizes[1] / sizes[0] == pytest.approx(grown, rel=0.05)
