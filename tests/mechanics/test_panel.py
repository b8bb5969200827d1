"""Panels: Navier's series, the strip, and what no way of looking at one may change."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.panel import POINT, Panel
from creepfit.mechanics.plate import strip_factor


def navier(panel: Panel, u: float, v: float, terms: int) -> tuple[float, float]:
    """Sag times the modulus and the larger moment in the middle, of a panel on four sides, by a double sine series."""
    m = np.arange(1.0, 2.0 * terms, 2.0)[:, None]
    n = m.T
    a, b = panel.span, panel.width
    sides = np.sin(m * np.pi * u / 2.0 / a) * np.sin(n * np.pi * v / 2.0 / b)
    pressure = 16.0 / (np.pi**2 * m * n * u * v) * sides  # the signs of load and middle cancel
    x, y = (m * np.pi / a) ** 2, (n * np.pi / b) ** 2
    w = pressure / (x + y) ** 2
    stiffness = panel.thickness**3 / 12.0 / (1.0 - panel.poisson**2)
    moments = [float(np.sum(w * (one + panel.poisson * other))) for one, other in ((x, y), (y, x))]
    return float(w.sum()) / stiffness, max(moments)


@pytest.mark.parametrize("width", [60.0, 100.0, 210.0])
def test_four_sides_by_naviers_series(width: float) -> None:
    panel = Panel(100.0, width, 3.0)
    sag, moment = navier(panel, 100.0, width, 60)
    found = panel.under_spread_load()
    assert found.deflection == pytest.approx(sag, rel=1e-6)
    assert found.stress == pytest.approx(6.0 * moment / 9.0, rel=1e-3)
    side = float(np.sqrt(np.pi)) * POINT * 3.0
    sag, moment = navier(panel, side, side, 800)
    found = panel.under_force()
    assert found.deflection == pytest.approx(sag, rel=1e-5)
    assert found.stress == pytest.approx(6.0 * moment / 9.0, rel=1e-3)


def test_which_way_it_is_drawn_and_its_size_change_nothing() -> None:
    one, turned, larger = Panel(100.0, 160.0, 3.0), Panel(160.0, 100.0, 3.0), Panel(200.0, 320.0, 6.0)
    for ask in (Panel.under_force, Panel.under_spread_load):
        assert ask(turned).deflection == pytest.approx(ask(one).deflection, rel=1e-4)
        assert ask(turned).stress == pytest.approx(ask(one).stress, rel=2e-3)
        assert ask(larger).deflection == pytest.approx(ask(one).deflection / 2.0, rel=1e-6)
        assert ask(larger).stress == pytest.approx(ask(one).stress / 4.0, rel=1e-6)


@pytest.mark.parametrize("width", [25.0, 100.0, 400.0])
def test_two_sides_are_the_strip(width: float) -> None:
    panel = Panel(100.0, width, 1.0, "two sides", 0.35)
    beam = 100.0**3 / 48.0 / (width / 12.0)
    assert panel.under_force().deflection / beam == pytest.approx(strip_factor(100.0, width, 50.0, 50.0, 0.35), rel=2e-4)


def test_without_poisson_a_panel_on_two_sides_is_a_beam() -> None:
    panel = Panel(100.0, 40.0, 2.0, "two sides", 0.0)
    found, inertia = panel.under_spread_load(), 40.0 * 8.0 / 12.0
    assert found.deflection == pytest.approx(5.0 / 384.0 * 100.0**3 / inertia, rel=1e-5)
    assert found.stress == pytest.approx(100.0 / 8.0 / (40.0 * 4.0 / 6.0), rel=1e-3)


def ritz(panel: Panel, powers: int = 12, terms: int = 20) -> tuple[float, float, float]:
    """Sag times the modulus in the middle, and the moments along the span there and at a free side, by least energy.

    Sines along the span, even polynomials across: nothing is laid down at the free sides, where the energy finds them.
    """
    nu, half = panel.poisson, panel.width / 2.0
    y, weight = np.polynomial.legendre.leggauss(60)
    across = [np.polynomial.legendre.Legendre.basis(2 * k) for k in range(powers)]
    value, first, second = (np.array([f.deriv(d)(y) if d else f(y) for f in across]) / half**d for d in range(3))
    found = np.zeros(3)
    for m in range(1, 2 * terms, 2):
        a = m * np.pi / panel.span
        bent = second - a**2 * value
        energy = (bent * weight) @ bent.T
        mixed = (value * weight) @ second.T + (first * weight) @ first.T
        energy += (1.0 - nu) * a**2 * (mixed + mixed.T)
        pressure = 4.0 / (m * np.pi) / (panel.span * panel.width)
        share = np.linalg.solve(energy, pressure * value @ weight) * np.sin(m * np.pi / 2.0)
        for i, at in enumerate((0.0, 1.0)):
            w = share @ [f(at) for f in across]
            turned = share @ [f.deriv(2)(at) for f in across] / half**2
            found[1 + i] += a**2 * w - nu * turned
            found[0] += w if i == 0 else 0.0
    stiffness = panel.thickness**3 / 12.0 / (1.0 - nu**2)
    return found[0] / stiffness, found[1], found[2]


@pytest.mark.parametrize("width", [50.0, 100.0, 200.0])
def test_two_sides_by_ritzs_method(width: float) -> None:
    panel = Panel(100.0, width, 3.0, "two sides", 0.3)
    sag, inside, at_side = ritz(panel)
    found = panel.under_spread_load()
    assert found.deflection == pytest.approx(sag, rel=1e-5)
    assert inside < at_side  # the free sides are stressed most
    assert found.stress == pytest.approx(6.0 * at_side / 9.0, rel=1e-3)


def test_wide_panels_on_four_sides_are_strips() -> None:
    four, two = (Panel(100.0, 1500.0, 2.0, sides, 0.3) for sides in ("four sides", "two sides"))  # type: ignore[arg-type]
    assert four.under_force().deflection == pytest.approx(two.under_force().deflection, rel=1e-6)


@pytest.mark.parametrize("thickness", [0.0, 30.0])
def test_a_block_is_no_panel(thickness: float) -> None:
    with pytest.raises(InputError, match="thickness"):
        Panel(100.0, 120.0, thickness)
