"""A flow that a run could not have seen is said with its size, and not where readings rule it out."""

from __future__ import annotations

import numpy as np
import pytest

import creepfit as cf
from creepfit.answers.doubts.flow import unseen_flow

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
