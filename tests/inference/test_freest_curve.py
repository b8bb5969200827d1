"""The freest curve of a run: its columns are superposed alike whether its loads are few or many."""

from __future__ import annotations

import numpy as np

from creepfit.inference.columns import observations
from creepfit.inference.freest_curve import EXPONENTS, FreestCurve, findings
from creepfit.mechanics.loading import DIRECT_LIMIT, LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.model import Kelvin
from creepfit.models.power_family import PowerFamily
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, HOUR


def test_many_load_changes_give_the_columns_of_direct_summation() -> None:
    """Beyond the limit of direct summation a hundred thousand changes took a minute."""
    at = np.linspace(0.0, 5 * DAY, 2 * DIRECT_LIMIT + 10)
    steps = tuple(LoadStep(float(t), 1.0 + i % 2) for i, t in enumerate(at))
    times = np.array([-60.0, 60.0, HOUR, DAY, 3.3 * DAY, 5.1 * DAY])
    run = Run("PETG", Direct(), Gauge(0.001, 0.01, "given"), steps, tuple(Reading(float(t), t / DAY) for t in times))
    observed = observations(run)
    curve = FreestCurve(observed)
    history = observed.history
    for kind, chosen in (("rise", history.change > 0.0), ("fall", history.change < 0.0)):
        part = LoadHistory(history.start[chosen], history.end[chosen], history.change[chosen])
        assert part.start.size > DIRECT_LIMIT
        found = curve.smooth[:, [i for i, name in enumerate(curve.names) if name[0] == kind]]
        expected = superpose(PowerFamily(), part, times, EXPONENTS).T
        np.testing.assert_allclose(found, observed.factor * expected, rtol=1e-6, atol=1e-6 * np.abs(expected).max())
        unit = superpose(Kelvin(), part, times, curve.taus[3:4])[0]
        column = curve._unit(3)[:, 0 if kind == "rise" else 1]
        np.testing.assert_allclose(column, observed.factor * unit, rtol=1e-6, atol=1e-6)


def test_several_readings_at_the_last_moment_of_a_stage_are_no_time_to_gain_speed_in() -> None:
    times = (-60.0, 60.0, HOUR, DAY, DAY, DAY)
    readings = tuple(Reading(t, v) for t, v in zip(times, (0.0, 1.0, 1.1, 1.2, 2.0, 1.2), strict=True))
    run = Run("PETG", Direct(), Gauge(0.001, 0.01, "given"), (LoadStep(0.0, 1.0),), readings)
    curve = FreestCurve(observations(run))
    with np.errstate(divide="raise", invalid="raise"):
        assert all(finding.kind != "acceleration" for finding in findings(curve, 3.0))
