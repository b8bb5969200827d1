"""The growth laws of the permanent set: how likely each takes a set to be."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

import creepfit as cf
from creepfit.inference.priors import Priors
from creepfit.records.run import Run


@pytest.mark.parametrize(("believed", "likelier_than_not"), [(0.62, True), (0.38, False)])
def test_under_each_law_a_set_is_as_likely_as_was_believed_where_readings_say_nothing(
    creep_run: Callable[..., Run], truth: Any, believed: float, likelier_than_not: bool
) -> None:
    """A set that is believed in by more than a half has a median above zero, else one of zero.

    The readings after unloading are so rough that they change next to nothing about that.
    """
    run = creep_run(truth(share=0.03), age=None, noise=0.3, resolution=0.001, seed=5)
    priors = Priors(weights={"power-family": 1.0}, set_weight=believed)
    laws = dict(cf.recovery(cf.fit(run, models=["findley"], priors=priors)).permanent_set.laws)
    assert {"comes with the load", "grows as t^0.5", "flow"} <= set(laws)
    for name, interval in laws.items():
        assert (interval.median > 0.0) is likelier_than_not, name


def test_a_set_has_a_probability_and_an_interval_of_its_own(creep_run: Callable[..., Run], truth: Any) -> None:
    """0.1 mm that came with the load and stays: sure to be there; without it, what may remain is within the bounds."""

    def found(extra: Callable[[Any], Any] | None) -> Any:
        run = creep_run(truth(share=0.03), age=None, extra=extra)
        return cf.recovery(cf.fit(run, models=["findley"])).permanent_set

    none, sure = found(None), found(lambda t: 0.1 * (t > 0.0))
    assert sure.probability > 0.9
    assert sure.if_any.low < 0.1 < sure.if_any.high
    assert none.probability < 0.5
    if none.if_any is not None:
        assert 0.0 < none.if_any.low <= none.if_any.median <= none.if_any.high
