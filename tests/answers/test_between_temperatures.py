"""A bar and a warmer one whose clock runs faster: what one says of the other's temperature, and of those between."""

from __future__ import annotations

import numpy as np
import pytest

import creepfit as cf
from creepfit.mechanics.temperature import arrhenius_shift

COOL, BETWEEN, WARM = 23.0, 30.0, 35.0
ACTIVATION, PER_KELVIN = 210.0, 0.01
DAY, YEAR = 86400.0, "1 year"
TIMES = (60.0, *(DAY * k for k in range(1, 6)), 5 * DAY + 60.0, 6 * DAY, 7 * DAY)


@pytest.fixture(scope="module")
def fits(creep_run, truth) -> list[cf.Fit]:
    def bar(degrees: float, seed: int) -> cf.Run:
        faster = float(arrhenius_shift(np.array(degrees), COOL, ACTIVATION))
        modulus = 2000.0 * np.exp(-PER_KELVIN * (degrees - COOL))
        material = truth(modulus=modulus, share=0.0032 * faster**0.2, n=0.2)  # from a minute on as good as t to the 0.2
        return creep_run(
            material, seed=seed, times=TIMES, initial=1, load=3.9, name=f"{degrees}", temperature=degrees, age=None
        )

    return [cf.fit(bar(COOL, 0)), cf.fit(bar(WARM, 1))]


@pytest.fixture(scope="module")
def found(fits) -> cf.TemperatureDependence:
    return cf.temperature_dependence(fits, at=["1 min", YEAR])


def year_of(fit: cf.Fit) -> cf.Interval:
    return cf.forecast(fit, at=[YEAR]).rows[0].interval


def test_at_a_tested_temperature_it_says_what_the_run_there_says(fits, found) -> None:
    """But for what bars differ by: flow that the cool bar cannot exclude would have shown on that clock."""
    assert found.verdict == "supported"
    cool, warm = fits
    own, there = year_of(warm), year_of(cf.at_temperature(cool, WARM, found))
    assert there.median == pytest.approx(own.median, rel=0.1)
    assert 0.95 * own.high < there.high < 1.3 * own.high
    assert 0.8 * own.low < there.low < 1.05 * own.low


def test_between_two_tested_temperatures_it_lies_between(fits, found) -> None:
    cool, warm = (year_of(f) for f in fits)
    between = year_of(cf.at_temperature(fits[0], BETWEEN, found))
    assert cool.median < between.median < warm.median
    assert between.high - between.low < 1.1 * max(cool.high - cool.low, warm.high - warm.low)
    assert between.high < warm.high


def test_the_factor_that_a_shift_leaves_is_said(found) -> None:
    factor = found.beside_the_clock
    assert factor.low < np.exp(10.0 * PER_KELVIN) < factor.high
    assert "Beside the clock 10 K more make all of it, from the start on, 1.1" in " ".join(cf.text(found).split())


def test_growth_for_ten_kelvin_is_that_of_the_table_below_it(found) -> None:
    rows = {(r.temperature, r.time): r.compliance for r in found.curves}
    for time in found.times:
        factor, cool, warm = found.per_ten_kelvin(time), rows[COOL, time], rows[WARM, time]
        part = 10.0 / (WARM - COOL)
        assert factor.median == pytest.approx((warm.median / cool.median) ** part, rel=0.05)
        assert factor.high < 1.1 * (warm.high / cool.low) ** part


def test_a_flow_too_faint_for_the_cool_bar_stays_in_the_upper_end(fits, found) -> None:
    """Its own readings leave a hundredth of what the warm bar's do, and the grid of its mixture none so faint."""
    there = cf.at_temperature(fits[0], WARM, found)
    flows = np.zeros(there.draws.count, dtype=bool)
    for group in there.draws.groups:
        flows[group.rows] = group.member.model.flows
    assert 0.05 < flows.mean() < 0.35
