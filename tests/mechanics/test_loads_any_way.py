"""Forces in any direction, couples and pairs between faces on a beam, and what no change of the drawing may change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.mechanics.beam import Beam, Support
from creepfit.mechanics.beam_axis import Arc, Straight
from creepfit.mechanics.beam_loads import EndMoment, FacePair, LineLoad, PointLoad
from creepfit.mechanics.section import Rectangle

BAR = Rectangle(12.0, 4.0)
I = BAR.second_moment  # noqa: E741  (the field's own symbol)
ARM = Beam((Straight(section=BAR, length=80.0),))


def test_an_end_moment_bends_by_the_handbook() -> None:
    # Gere & Timoshenko, deflection tables: M L^2/(2EI) at the end, M L^2/(16EI) in the middle of two rests (from memory)
    assert ARM.influence(EndMoment()).per_compliance == pytest.approx(80.0**2 / (2.0 * I), rel=1e-12)
    resting = replace(ARM, support=Support("simply-supported"))
    # clockwise at the right end lifts the middle
    assert resting.influence(EndMoment(), 40.0).per_compliance == pytest.approx(-(80.0**2) / (16.0 * I), rel=1e-12)
    assert resting.peak_stress([(EndMoment(), 1.0)]).value == pytest.approx(2.0 / I, rel=1e-9)


def test_an_inclined_force_is_its_components() -> None:
    inclined = ARM.influence(PointLoad(direction=-60.0)).per_compliance
    assert inclined == pytest.approx(np.sin(np.pi / 3.0) * ARM.influence(PointLoad()).per_compliance, rel=1e-12)
    # along the bar it only stretches: F L/(E A), read along it
    along = ARM.influence(PointLoad(direction=0.0), direction=0.0)
    assert along.per_compliance == pytest.approx(80.0 / BAR.area, rel=1e-12)


def test_the_opening_of_a_clip_is_that_of_the_thin_ring() -> None:
    # a slit ring opens by 3 pi F R^3/(EI) (Timoshenko, Strength of Materials, from memory)
    thin = Rectangle(12.0, 0.5)
    slit = Beam((Arc(section=thin, radius=40.0, angle=359.9),), shear_ratio=1e-9)
    pair = FacePair(0.0, None)
    # the two faces nearly meet: forces across the slit, square to the line that joins centre and slit
    opening = slit.influence_on(pair, pair)
    assert sum(opening.bending) == pytest.approx(3.0 * np.pi * 40.0**3 / thin.second_moment, rel=2e-3)


@pytest.mark.parametrize("angle", [30.0, 90.0, 200.0])
def test_turning_the_whole_drawing_changes_nothing(angle: float) -> None:
    hook = (
        Straight(section=BAR, length=50.0),
        Arc(section=BAR, radius=20.0, angle=-120.0),
        Straight(section=BAR, length=10.0),
    )
    one = Beam(hook, heading=90.0).influence(PointLoad(direction=-90.0), None, -90.0)
    other = Beam(hook, heading=90.0 + angle).influence(PointLoad(direction=angle - 90.0), None, angle - 90.0)
    assert other.by_segment == pytest.approx(one.by_segment, rel=1e-10)


def test_a_line_load_is_many_points() -> None:
    points = (np.arange(200) + 0.5) * 0.4
    summed = sum(0.4 * ARM.influence(PointLoad(float(p), -50.0)).per_compliance for p in points)
    assert ARM.influence(LineLoad(0.0, 80.0, -50.0)).per_compliance == pytest.approx(summed, rel=1e-4)


def test_forces_of_the_rests_hold_down_where_the_load_overhangs() -> None:
    bar = Beam((Straight(section=BAR, length=100.0),), Support("overhanging", (0.0, 60.0)))
    assert bar.rest_forces(PointLoad(100.0)) == pytest.approx((-40.0 / 60.0, 100.0 / 60.0))
    assert bar.rest_forces(PointLoad(30.0)) == pytest.approx((0.5, 0.5))
    assert ARM.rest_forces(PointLoad()) == ()
