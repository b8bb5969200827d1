"""The posterior of a law's one number on a grid: narrow ones are resolved, and quantiles are those of the density."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from creepfit.inference.stress_law import grid_posterior


@pytest.mark.parametrize("sd", [0.3, 0.02, 0.002, 2e-4])
def test_a_normal_posterior_keeps_its_width_however_narrow(sd: float) -> None:
    """A ratio known to 0.2 % on a range of 0.4 to 3: too coarse a grid made its interval three times too wide."""
    found = grid_posterior(lambda x: -0.5 * ((x - 0.1) / sd) ** 2, -0.9, 1.1, lambda x: np.zeros_like(x) - np.log(2.0))
    for probability in (0.05, 0.5, 0.95):
        expected = 0.1 + sd * float(ndtri(probability))
        assert found.quantile(probability) == pytest.approx(expected, abs=0.1 * sd)
    assert found.probability_above(0.1 + sd) == pytest.approx(0.1587, abs=0.01)
    # the integral of prior times evidence: sd sqrt(2 pi) / 2 as long as it lies within the range
    assert found.log_evidence == pytest.approx(np.log(sd * np.sqrt(2.0 * np.pi) / 2.0), abs=0.02)


def test_the_evidence_at_the_low_end_is_that_of_the_linear_law() -> None:
    found = grid_posterior(lambda x: -3.0 * x, 0.0, 3.0, lambda x: np.full_like(x, -np.log(3.0)))
    assert found.log_at_low == pytest.approx(0.0)
    # integral of exp(-3 x)/3 from 0 to 3
    assert found.log_evidence == pytest.approx(np.log((1.0 - np.exp(-9.0)) / 9.0), abs=0.02)
