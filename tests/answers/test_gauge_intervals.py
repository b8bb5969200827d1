"""What the gauge adds to an interval: drift that grows with the root of time, and which change stands out from zero."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import creepfit as cf
from creepfit.records.run import Run


def test_drift_of_a_reading_grows_with_the_root_of_time(creep_run: Callable[..., Run]) -> None:
    """A walk of 0.02 mm a root of a day beside a gauge of 0.005 mm: sd sqrt(0.005^2 + 0.02^2 t/d), in proportion."""
    run = creep_run(age=None, unload=None, gauge={"drift": 0.02})
    found = cf.fit(run, models=["findley"])
    at = ["25 d", "100 d", "400 d"]
    reading, curve = (cf.forecast(found, at=at, kind=kind) for kind in ("reading", "curve"))
    added = np.std(reading.draws() - curve.draws(), axis=0)
    stated = found.observed.noise.stated
    wanted = np.sqrt(stated**2 + 0.02**2 * np.array([25.0, 100.0, 400.0]))
    assert added / added[0] == pytest.approx(wanted / wanted[0], rel=0.04)
    # and the intervals shown are those of these draws
    for row, own in zip(reading.rows, reading.draws().T, strict=True):
        assert (row.interval.low, row.interval.high) == pytest.approx(np.quantile(own, [0.05, 0.95]), rel=1e-6)


def test_a_change_smaller_than_a_half_of_its_error_does_not_stand_out_at_even_odds(creep_run: Callable[..., Run]) -> None:
    """Two-sided at 50 %: the quantile is 0.674 for a normal and at most 1 for any Student t."""
    run = creep_run(age=None, noise=0.01, resolution=0.001, seed=3)
    run = replace(run, gauge=replace(run.gauge, drift=0.0))
    rows = [r for r in cf.increments(cf.fit(run, models=["findley"], level=0.5)) if r.change is not None]
    ratios = {abs(r.change / r.std_error): r.distinguishable for r in rows if r.change is not None and r.std_error}
    small = [told for ratio, told in ratios.items() if 1e-6 < ratio < 0.67]
    large = [told for ratio, told in ratios.items() if ratio > 1.0]
    assert small
    assert not any(small)
    assert large
    assert all(large)
