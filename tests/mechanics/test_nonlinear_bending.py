"""The hyperbolic-sine law in bending against published-form factors and direct integration."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import cumulative_trapezoid, quad, trapezoid
from scipy.optimize import brentq

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_axis import Straight
from creepfit.mechanics.nonlinear_bending import curvature_factor, weighted_factor
from creepfit.mechanics.section import Rectangle
from creepfit.mechanics.specimen import (
    Cantilever,
    Compression,
    Direct,
    FourPointBending,
    Segments,
    Tension,
    ThreePointBending,
)
from creepfit.mechanics.stress_law import shown_share, sinh_map, squared_map
from creepfit.units import Measure

RATIOS = np.array([0.5, 1.0, 1.5, 2.0])


def tip_factor(relative_stress):
    """Deflection at the load over that of the linear law: 3 times the integral of u^2 f(x u) over u from 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    u = (1.0 + nodes) / 2.0
    return weighted_factor(relative_stress, u, 1.5 * weights * u**2)


def test_factors_of_the_full_sinh_law():
    # Computed for this project from the section equilibrium with the full sinh, to the digits shown (own arithmetic).
    np.testing.assert_allclose(curvature_factor(RATIOS), [1.0249, 1.0987, 1.2218, 1.3987], atol=5e-5)
    np.testing.assert_allclose(tip_factor(RATIOS), [1.0149, 1.0594, 1.1331, 1.2376], atol=5e-5)


@pytest.mark.parametrize("ratio", [1e-6, 0.01, 0.3, 1.0, 4.0, 12.0])
def test_the_section_carries_the_moment_it_was_given(ratio):
    factor = float(curvature_factor(ratio))
    carried, _ = quad(lambda u: 3.0 * u * np.arcsinh(factor * ratio * u), 0.0, 1.0, epsabs=0.0, epsrel=1e-12)
    assert carried == pytest.approx(ratio, rel=1e-10)


def test_small_stress_follows_the_cubic_law():
    # 1 + 0.6 alpha s^2 and 1 + 0.36 alpha s^2 with alpha = 1/(6 s0^2) (the cubic term of sinh; own arithmetic).
    x = np.array([0.0, 1e-3, 0.02])
    np.testing.assert_allclose(curvature_factor(x), 1.0 + x**2 / 10.0, atol=2e-9)
    np.testing.assert_allclose(tip_factor(-x), 1.0 + 0.06 * x**2, atol=2e-9)


def test_weighted_factor_of_a_cantilever_is_the_tip_factor():
    bar = Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(4.0), shear_ratio=1e-9)
    load = 1.0 / bar.geometry.stress_per_load  # 1 MPa at the clamp
    found = [float(sinh_map(bar, 1.0 / ratio)(np.array(load)) / load) for ratio in RATIOS]
    np.testing.assert_allclose(found, tip_factor(RATIOS), rtol=1e-7)


def test_a_constant_moment_gives_the_curvature_factor():
    np.testing.assert_allclose(weighted_factor(RATIOS, np.ones(1), np.ones(1)), curvature_factor(RATIOS), rtol=1e-14)


def test_absurd_stress_is_refused():
    with pytest.raises(InputError, match="no more than 100"):
        curvature_factor(np.array([1.0, 200.0]))


# --- bars cut into fibres and slices: nothing of the formulas above is used ---------------------------------------------

WIDTH, DEPTH, COMPLIANCE = 12.0, 4.0, 1.0 / 2000.0
SIZES = {"width": Measure(WIDTH), "thickness": Measure(DEPTH)}


def curvature(moment, s0):
    """Curvature [1/mm] at which fibres of strain curvature * y carry a moment [N mm], by root finding; plane sections."""
    y = np.linspace(-DEPTH / 2.0, DEPTH / 2.0, 2001)
    elastic = moment * COMPLIANCE / (WIDTH * DEPTH**3 / 12.0)
    if moment == 0.0:
        return 0.0

    def excess(k):
        stress = s0 * np.arcsinh(k * y / (COMPLIANCE * s0))
        return trapezoid(stress * y * WIDTH, y) - moment

    return brentq(excess, 0.5 * elastic, 10.0 * elastic, xtol=1e-16, rtol=1e-12)


def tip_deflection(force, length, s0):
    """Deflection [mm] of a cantilever under a tip force, its curvature integrated twice along it."""
    x = np.linspace(0.0, length, 401)
    bent = np.array([curvature(force * (length - place), s0) for place in x])
    slope = cumulative_trapezoid(bent, x, initial=0.0)
    return trapezoid(slope, x)


def four_point_deflection(force, span, load_span, s0):
    """Deflection [mm] of midspan over the supports, half of the total force at each of two loads."""
    x = np.linspace(0.0, span / 2.0, 401)
    moment = 0.5 * force * np.minimum(x, (span - load_span) / 2.0)
    bent = np.array([curvature(m, s0) for m in moment])
    return trapezoid(bent * x, x)


def mapped_share(specimen, force, s0):
    """What the map makes of a force, over the force, without the share of shear."""
    shear = specimen.geometry.shear_share
    return (float(sinh_map(specimen, s0)(np.array(force))) / force - shear) / (1.0 - shear)


@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_the_map_of_a_bar_agrees_with_fibres_and_slices(ratio):
    s0, length = 15.0, 80.0
    cantilever = Cantilever(length=Measure(length), **SIZES)
    force = ratio * s0 * WIDTH * DEPTH**2 / 6.0 / length
    linear = COMPLIANCE * force * length**3 / (3.0 * WIDTH * DEPTH**3 / 12.0)
    found = tip_deflection(force, length, s0)
    assert mapped_share(cantilever, force, s0) == pytest.approx(found / linear, rel=2e-5)
    # half of a three-point bar is a cantilever of half the span under half the force
    three = ThreePointBending(span=Measure(2.0 * length), **SIZES)
    assert mapped_share(three, 2.0 * force, s0) == pytest.approx(found / linear, rel=2e-5)
    four = FourPointBending(span=Measure(2.0 * length), load_span=Measure(60.0), **SIZES)
    total = 2.0 * ratio * s0 * WIDTH * DEPTH**2 / 6.0 / (length - 30.0)
    bent = four_point_deflection(total, 2.0 * length, 60.0, s0) / four_point_deflection(total, 2.0 * length, 60.0, 1e6)
    assert mapped_share(four, total, s0) == pytest.approx(bent, rel=2e-5)


def test_what_a_specimen_shows_of_a_departure():
    # tension all of it, a tip or midspan 0.06 / (1/6) = 0.36 less shear (cubic term of sinh; own arithmetic)
    assert shown_share(Tension(length=Measure(50.0), **SIZES)) == pytest.approx(1.0)
    assert shown_share(Compression(length=Measure(50.0), **SIZES)) == pytest.approx(1.0)
    assert shown_share(Direct("strain")) == pytest.approx(1.0)
    bar = Cantilever(length=Measure(80.0), **SIZES)
    assert shown_share(bar) == pytest.approx(0.36 * (1.0 - bar.geometry.shear_share), rel=2e-3)
    wide = FourPointBending(span=Measure(80.0), load_span=Measure(60.0), **SIZES)
    assert 0.5 < shown_share(wide) < 0.6  # 0.6 where all of the bar bends alike
    hook = Segments(Beam((Straight(section=Rectangle(12.0, 4.0), length=60.0),)))
    assert shown_share(hook) == 0.36


def test_the_map_of_a_ratio_goes_with_the_square_between_two_loads_and_stays_beyond():
    law = squared_map(2.0, 4.0, 1.3)
    loads = np.array([-4.0, 0.0, 1.0, 2.0, 3.0, 4.0, 8.0])
    # (9 - 4)/(16 - 4) of 0.3 at 3: 1.125
    np.testing.assert_allclose(law(loads), loads * np.array([1.3, 1.0, 1.0, 1.0, 1.125, 1.3, 1.3]))
