"""Ageing may never make an answer safer: cases in which the draws with ageing alone would say too much."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

import creepfit as cf
from creepfit.inference.fitting import Fit
from creepfit.inference.priors import Priors
from creepfit.records.part_files import build_part
from creepfit.units import DAY

BEAM = {
    "format": 1,
    "part": {"name": "arm", "support": "cantilever"},
    "segment": [{"section": "rectangle", "length": "80 mm", "width": "12 mm", "thickness": "5 mm"}],
    "load": [{"force": "2 N", "at": "end"}],
}


@pytest.fixture(scope="module")
def young(creep_run: Callable[..., Any], truth: Any) -> Fit:
    """A bar two days old that all but surely ages, read roughly: with the clock it creeps far less than without."""
    run = creep_run(truth(share=0.03, n=0.1), noise=0.05, resolution=0.001, unload=None, age=2 * DAY)
    # without flow, as what is promised counts that more often than a forecast does
    return cf.fit(run, models=["findley"], priors=Priors(ageing_weight=0.98, weights={"power-family": 1.0}))


def test_the_life_of_a_limit_is_that_at_which_the_upper_end_of_the_forecast_reaches_it(young: Fit) -> None:
    limit = 1.2 * cf.forecast(young, at=["5 d"]).rows[0].interval.median
    found = cf.forecast(young, at=["5 d"], limit=limit, life="60 d").limit
    assert found is not None
    assert found.life is not None
    assert found.life.low is not None
    at_life = cf.forecast(young, at=[found.life.low])
    assert at_life.rows[0].interval.high == pytest.approx(limit, rel=2e-3)
    # the case depends on the rule: by the draws themselves the limit would be kept longer
    assert np.quantile(at_life.draws(), 0.95) < 0.97 * limit


def test_the_probability_of_keeping_a_limit_and_the_load_that_keeps_it_are_the_careful_ones(young: Fit) -> None:
    later = cf.forecast(young, at=["60 d"])
    own, upper = later.draws()[:, 0], later.rows[0].interval.high
    found = cf.forecast(young, at=["60 d"], limit=upper, life="60 d").limit
    assert found is not None
    assert found.life is not None
    assert np.mean(own <= upper) > 0.96
    assert found.life.kept == pytest.approx(0.95, abs=0.002)
    # a lower limit takes a load in proportion, here below the highest tested
    found = cf.forecast(young, at=["60 d"], limit=0.8 * upper, life="60 d").limit
    assert found is not None
    assert found.load is not None
    assert found.load.value == pytest.approx(0.8 * young.run.working_load, rel=2e-3)


def test_a_young_part_sags_further_than_an_old_one_and_neither_less_far_than_without_ageing(young: Fit) -> None:
    """By the medians: a clock that runs as (specimen's age / part's age)^mu. Upper ends are those of plain time."""
    sags = {}
    for age in ("2 h", "2 d", "3 years"):
        part = build_part(BEAM | {"part": {**BEAM["part"], "age": age}}, None)  # type: ignore[dict-item]
        sags[age] = cf.sag(part, young, at=["30 d"], specimen_scatter=0.0).rows[0].interval
    medians = [i.median for i in sags.values()]
    assert medians[0] > 1.01 * medians[1]
    assert medians[1] > 1.01 * medians[2]
    without = cf.fit(young.run, models=["findley"], priors=replace(young.priors, ageing_weight=1e-9))
    plain = cf.sag(build_part(BEAM, None), without, at=["30 d"], specimen_scatter=0.0).rows[0].interval
    for age in ("2 d", "3 years"):
        assert sags[age].high == pytest.approx(plain.high, rel=0.02)
    assert plain.high > 1.05 * medians[1]
