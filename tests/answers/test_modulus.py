"""Creep modulus: stress over total strain, with what is known of the sizes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.specimen.modulus import creep_modulus
from creepfit.inference.fitting import fit
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct, Specimen, Tension
from creepfit.models.findley import PurePower
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import Measure

HOUR, DAY = 3600.0, 86400.0
FORCE = 200.0


def bar(tolerance: float = 0.0) -> Tension:
    return Tension(length=Measure(50.0), width=Measure(10.0), thickness=Measure(4.0, tolerance))


def modulus(times: np.ndarray) -> np.ndarray:
    """MPa: 1/2000 at once and 1/5000 more at 5 d, n = 0.2."""
    return 1.0 / (1.0 / 2000.0 + (times / HOUR / 120.0) ** 0.2 / 5000.0)


def run_of(specimen: Specimen, initial: bool = True, age: float | None = None) -> Run:
    times = np.array([*([-60.0] if initial else []), 60.0, HOUR, *(DAY * k for k in range(1, 6))])
    history = LoadHistory.held(FORCE)
    creep = superpose(PurePower(), history, times, np.array([0.2]))[0] / 120.0**0.2
    # 50 mm long, 40 mm^2: elongation = F/A D L
    shown = (history.at(times) / 2000.0 + creep / 5000.0) * 50.0 / 40.0
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    return Run("PC", specimen, Gauge(0.0001, 0.0005, "as given"), (LoadStep(0.0, FORCE),), readings, age=age)


def test_it_is_stress_over_total_strain() -> None:
    times = [60.0, DAY, 5 * DAY]
    rows = creep_modulus(fit(run_of(bar()), models=["findley"]), times).rows
    for row, true in zip(rows, modulus(np.array(times)), strict=True):
        assert row.modulus is not None
        assert row.modulus.median == pytest.approx(true, rel=0.003)
        assert row.modulus.low < true < row.modulus.high
        assert row.compliance is not None
        assert row.modulus.high == pytest.approx(1.0 / row.compliance.low)
        assert row.compliance_unit == "1/MPa"
    assert rows[0].to_dict()["unit"] == "MPa"
    assert [row.to_dict()["time_h"] for row in rows] == pytest.approx([1.0 / 60.0, 24.0, 120.0])


def test_default_times_end_at_a_hundred_times_the_data() -> None:
    table = creep_modulus(fit(run_of(bar()), models=["findley"]))
    assert [row.time for row in table.rows] == [60.0, HOUR, DAY, 30 * DAY, 365.25 * DAY]
    run = run_of(bar())
    short = creep_modulus(fit(replace(run, readings=run.readings[:4]), models=["findley"]))  # to 1 d
    assert [row.time for row in short.rows] == [60.0, HOUR, DAY, 30 * DAY]
    assert len(table.table()) == 5
    assert table.to_dict()["creep_modulus"][0]["why"] is None


def test_a_tolerance_of_the_sizes_widens_the_interval() -> None:
    """4.0 +- 0.2 mm: 0.2/4/sqrt(3) = 2.9 % standard deviation, 2 x 1.645 of them from end to end."""
    exact, loose = (creep_modulus(fit(run_of(bar(t)), models=["findley"]), [DAY]).rows[0].modulus for t in (0.0, 0.2))
    assert exact is not None
    assert loose is not None
    width = np.log(loose.high / loose.low) ** 2 - np.log(exact.high / exact.low) ** 2
    assert np.sqrt(width) == pytest.approx(2 * 1.645 * 0.05 / np.sqrt(3.0), rel=0.05)


def test_without_sizes_there_is_a_compliance_in_mm_per_newton_and_no_modulus() -> None:
    (row,) = creep_modulus(fit(run_of(Direct()), models=["findley"]), [DAY]).rows
    assert row.modulus is None
    assert row.why is not None
    assert "without the specimen's sizes" in row.why
    assert row.compliance is not None
    assert row.compliance_unit == "mm/N"
    assert row.compliance.median == pytest.approx(50.0 / 40.0 / modulus(np.array([DAY]))[0], rel=0.003)
    assert row.to_dict()["low"] is None


def test_without_an_initial_reading_it_is_unknown() -> None:
    (row,) = creep_modulus(fit(run_of(bar(), initial=False), models=["findley"]), [DAY]).rows
    assert (row.modulus, row.compliance) == (None, None)
    assert row.why is not None
    assert "before loading" in row.why


def test_ageing_never_raises_the_lower_limit_above_the_plain_clock() -> None:
    rough = Gauge(0.001, 0.002, "as given")  # leaves the ageing clock as likely as the plain one
    found = fit(replace(run_of(bar(), age=DAY), gauge=rough), models=["findley"])
    (row,) = creep_modulus(found, [365.25 * DAY]).rows
    plain = found.unaged_draws
    assert plain is not None
    lowest = np.quantile(1.0 / plain.compliance(np.array([365.25 * DAY])), 0.05)
    assert row.modulus is not None
    assert row.modulus.low <= 1.001 * lowest
    assert row.modulus.low < 0.99 * np.quantile(1.0 / found.draws.compliance(np.array([365.25 * DAY])), 0.05)
