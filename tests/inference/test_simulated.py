"""Mixtures of many sets of readings are those of each set by itself: what they share is only worked out once."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.inference.columns import observations
from creepfit.inference.mixture import mixture
from creepfit.inference.priors import Priors
from creepfit.inference.simulated import simulated_mixtures
from creepfit.mechanics.specimen import Direct
from creepfit.records.run import Gauge, LoadStep, Reading, Run

HOUR, DAY = 3600.0, 86400.0


def test_each_set_of_readings_has_the_mixture_it_has_alone() -> None:
    times = np.array([-60.0, 60.0, 600.0, HOUR, 6 * HOUR, DAY, 3 * DAY, 5 * DAY, 5 * DAY + HOUR, 7 * DAY])
    steps = (LoadStep(0.0, 1.0), LoadStep(5 * DAY, 0.0))
    shown = np.where(times > 5 * DAY, 0.3, 1.0) * (2.0 + 0.1 * np.log10(np.maximum(times, 1.0))) * (times > 0.0)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    observed = observations(Run("PETG", Direct(), Gauge(0.001, 0.01, "as given"), steps, readings))
    rng = np.random.default_rng(3)
    sets = [size * shown + 0.01 * rng.standard_normal(times.size) for size in (1.0, 0.4, 3.0)]
    together = list(simulated_mixtures(observed, sets, Priors()))
    for values, found in zip(sets, together, strict=True):
        alone = mixture(observed.with_values(values), Priors())
        assert found.weights == pytest.approx(alone.weights, rel=1e-9, abs=1e-12)
        assert found.observed.values == pytest.approx(values)
        for one, other in zip(found.posteriors, alone.posteriors, strict=True):
            assert one.log_evidence == pytest.approx(other.log_evidence, rel=1e-9)
            np.testing.assert_allclose(one.noise, other.noise, rtol=1e-6)
