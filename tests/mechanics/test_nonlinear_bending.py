"""The hyperbolic-sine law in bending against published-form factors and direct integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_axis import Straight
from creepfit.mechanics.beam_loads import PointLoad
from creepfit.mechanics.nonlinear_bending import curvature_factor, outer_stress_factor, tip_factor, weighted_factor
from creepfit.mechanics.section import Rectangle

RATIOS = np.array([0.5, 1.0, 1.5, 2.0])


def test_factors_of_the_full_sinh_law():
    # Computed for this project from the section equilibrium with the full sinh, to the digits shown (own arithmetic).
    np.testing.assert_allclose(curvature_factor(RATIOS), [1.0249, 1.0987, 1.2218, 1.3987], atol=5e-5)
    np.testing.assert_allclose(tip_factor(RATIOS), [1.0149, 1.0594, 1.1331, 1.2376], atol=5e-5)


@pytest.mark.parametrize("ratio", [1e-6, 0.01, 0.3, 1.0, 4.0, 12.0])
def test_the_section_carries_the_moment_it_was_given(ratio):
    factor = float(curvature_factor(ratio))
    carried, _ = quad(lambda u: 3.0 * u * np.arcsinh(factor * ratio * u), 0.0, 1.0, epsabs=0.0, epsrel=1e-12)
    assert carried == pytest.approx(ratio, rel=1e-10)
    assert float(outer_stress_factor(ratio)) * ratio == pytest.approx(np.arcsinh(factor * ratio), rel=1e-9)


def test_small_stress_follows_the_cubic_law():
    # 1 + 0.6 alpha s^2 and 1 + 0.36 alpha s^2 with alpha = 1/(6 s0^2) (the cubic term of sinh; own arithmetic).
    x = np.array([0.0, 1e-3, 0.02])
    np.testing.assert_allclose(curvature_factor(x), 1.0 + x**2 / 10.0, atol=2e-9)
    np.testing.assert_allclose(tip_factor(-x), 1.0 + 0.06 * x**2, atol=2e-9)
    assert outer_stress_factor(np.zeros(3)).tolist() == [1.0, 1.0, 1.0]


def test_weighted_factor_of_a_beam_is_the_tip_factor_of_a_cantilever():
    beam = Beam((Straight(section=Rectangle(12.0, 4.0), length=60.0),))
    profile, share = beam.bending_profile(PointLoad())
    np.testing.assert_allclose(weighted_factor(RATIOS, profile, share), tip_factor(RATIOS), rtol=1e-9)


def test_a_constant_moment_gives_the_curvature_factor():
    np.testing.assert_allclose(weighted_factor(RATIOS, np.ones(1), np.ones(1)), curvature_factor(RATIOS), rtol=1e-14)


def test_absurd_stress_is_refused():
    with pytest.raises(InputError, match="no more than 100"):
        curvature_factor(np.array([1.0, 200.0]))
