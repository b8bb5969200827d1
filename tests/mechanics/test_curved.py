"""Stress inside a bend: the handbook's factors, and the straight bar as the bend opens."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad

from creepfit.mechanics.curved import inside_factor
from creepfit.mechanics.section import ISection, Rectangle, Round, Section, TSection, Tube

SECTIONS: list[Section] = [
    Rectangle(10.0, 4.0), Rectangle(10.0, 4.0, 0.8, 0.2), Round(4.0), Round(4.0, 0.6, 0.0), Tube(4.0, 0.6),
    ISection(10.0, 4.0, 0.8, 1.0), TSection(10.0, 4.0, 0.8, 1.0),
]  # fmt: skip


@pytest.mark.parametrize("section", SECTIONS, ids=lambda s: type(s).__name__)
def test_a_wide_bend_is_a_straight_bar(section: Section) -> None:
    assert inside_factor(section, 2000.0) == pytest.approx(1.0, abs=3e-3)
    assert inside_factor(section, 12.0) > inside_factor(section, 20.0) > 1.0


def test_a_round_bar_by_its_own_integral() -> None:
    # sigma = M (r_n - r)/(A e r) with the integral of dA/r over strips of a circle
    over, _ = quad(lambda y: 2.0 * np.sqrt(4.0 - y**2) / (7.0 - y), -2.0, 2.0)
    area = np.pi * 4.0
    neutral = area / over
    expected = (neutral - 5.0) / (area * (7.0 - neutral) * 5.0) * (np.pi * 4.0**3 / 32.0)
    assert inside_factor(Round(4.0), 7.0) == pytest.approx(expected, rel=1e-9)
