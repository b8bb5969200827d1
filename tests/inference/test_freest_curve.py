"""The freest curve of a run: its columns are superposed alike whether its loads are few or many."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.inference.columns import observations
from creepfit.inference.free_spectrum import EXPONENTS
from creepfit.inference.freest_curve import BELIEVED, FreestCurve, findings
from creepfit.inference.unknown_steps import SUSPECTED
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
    spectrum = FreestCurve(observed).spectrum
    history = observed.history
    for kind, chosen in (("rise", history.change > 0.0), ("fall", history.change < 0.0)):
        part = LoadHistory(history.start[chosen], history.end[chosen], history.change[chosen])
        assert part.start.size > DIRECT_LIMIT
        found = spectrum.smooth[:, [i for i, name in enumerate(spectrum.names) if name[0] == kind]]
        expected = superpose(PowerFamily(), part, times, EXPONENTS).T
        np.testing.assert_allclose(found, observed.factor * expected, rtol=1e-6, atol=1e-6 * np.abs(expected).max())
        unit = superpose(Kelvin(), part, times, spectrum.taus[3:4])[0]
        column = spectrum.unit(3)[:, 0 if kind == "rise" else 1]
        np.testing.assert_allclose(column, observed.factor * unit, rtol=1e-6, atol=1e-6)


def test_several_readings_at_the_last_moment_of_a_stage_are_no_time_to_gain_speed_in() -> None:
    times = (-60.0, 60.0, HOUR, DAY, DAY, DAY)
    readings = tuple(Reading(t, v) for t, v in zip(times, (0.0, 1.0, 1.1, 1.2, 2.0, 1.2), strict=True))
    run = Run("PETG", Direct(), Gauge(0.001, 0.01, "given"), (LoadStep(0.0, 1.0),), readings)
    curve = FreestCurve(observations(run))
    with np.errstate(divide="raise", invalid="raise"):
        assert all(finding.kind != "acceleration" for finding in findings(curve, 3.0))


@pytest.mark.parametrize("step", [0.0, 0.02, 0.2])
def test_what_is_not_tried_could_not_have_been_believed(step: float) -> None:
    """The search ends where nothing left of the residuals would not be believed: it finds the same as without that."""
    bounded = 0
    for seed in range(4):
        noise = np.random.default_rng(seed).normal(0.0, 0.01, 11)
        times = np.array([-60.0, 60.0, HOUR, 6 * HOUR, *(DAY * np.arange(1, 8))])
        values = np.where(times > 0.0, 2.0 + 0.1 * np.log10(np.maximum(times, 60.0) / 60.0), 0.0) + noise
        values[7:] += step
        readings = tuple(Reading(float(t), float(v)) for t, v in zip(times, values, strict=True))
        run = Run("PETG", Direct(), Gauge(0.001, 0.01, "given"), (LoadStep(0.0, 1.0),), readings)
        curve, whole = FreestCurve(observations(run)), FreestCurve(observations(run))
        vars(whole)["most_to_gain"] = np.inf
        for believed in (SUSPECTED, BELIEVED):
            assert findings(curve, believed) == findings(whole, believed)
            bounded += curve.most_to_gain <= believed
        telling = curve.most_telling[1]
        assert telling is not None
        assert telling.score <= curve.most_to_gain
    assert bounded == 0 if step == 0.2 else bounded > 0
