"""Bars bent out of their plane: the plane beam where they stay in it, cranks, arcs loaded square to their plane."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_axis import Arc, Segment, Straight
from creepfit.mechanics.beam_loads import PointLoad
from creepfit.mechanics.section import ISection, Rectangle, Round, Tube
from creepfit.mechanics.space_bar import Pull, SpaceBar
from creepfit.mechanics.torsion import crank, torsional_constant

FLAT, ROD = Rectangle(10.0, 4.0), Round(6.0)
DOWN, AHEAD, SIDEWAYS = (0.0, -1.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)
HOOK: tuple[Segment, ...] = (
    Straight(section=FLAT, length=60.0),
    Arc(section=FLAT, radius=20.0, angle=-150.0),
    Straight(section=ROD, length=30.0, turn=20.0),
)
SPATIAL: tuple[Segment, ...] = (HOOK[0], replace(HOOK[1], out=70.0), replace(HOOK[2], out=-25.0))


@pytest.mark.parametrize("at", [None, 40.0, 85.0])
@pytest.mark.parametrize(("angle", "way"), [(-90.0, DOWN), (0.0, AHEAD)])
def test_in_one_plane_it_is_the_beam(at: float | None, angle: float, way: tuple[float, float, float]) -> None:
    bar, beam = SpaceBar(HOOK, heading=30.0), Beam(HOOK, heading=30.0)
    found = bar.influence(Pull(at, way), Pull(None, DOWN))
    assert found == pytest.approx(beam.influence(PointLoad(at, angle)).per_compliance, rel=1e-6)
    stress = beam.peak_stress([(PointLoad(at, angle), 2.0)]).value
    assert bar.peak_stress([(Pull(at, way), 2.0)]) == pytest.approx(stress, rel=1e-3)


@pytest.mark.parametrize(
    ("angle", "bent", "twisted"), [(90.0, np.pi / 4, 0.75 * np.pi - 2), (180.0, np.pi / 2, 1.5 * np.pi)]
)
def test_an_arc_loaded_square_to_its_plane(angle: float, bent: float, twisted: float) -> None:
    """P R^3 (pi/4 / EI + (3 pi/4 - 2)/GJ) of a quarter, P R^3 (pi/2 / EI + 3 pi/2 / GJ) of a half circle (Castigliano)."""
    bar = SpaceBar((Arc(section=ROD, radius=300.0, angle=angle),), poisson=0.3)
    expected = 300.0**3 * (bent / ROD.second_moment + 2.6 * twisted / torsional_constant(ROD)[0])
    assert bar.influence(Pull(None, SIDEWAYS), Pull(None, SIDEWAYS)) == pytest.approx(expected, rel=5e-4)


@pytest.mark.parametrize("section", [FLAT, ROD, Tube(8.0, 1.5)], ids=lambda s: type(s).__name__)
def test_a_corner_out_of_the_plane_is_a_crank(section: Rectangle) -> None:
    bar = SpaceBar(
        (Straight(section=section, length=60.0), Straight(section=section, length=40.0, turn=90.0)), poisson=0.35
    )
    known = crank(section, 60.0, section, 40.0, 2.7, 0.35)
    if isinstance(section, Rectangle):  # its arm lies flat: loaded square to their plane both bend about the width's way
        on_edge = Rectangle(section.thickness, section.width)
        known = crank(on_edge, 60.0, on_edge, 40.0, 2.7, 0.35)
    pull = Pull(None, SIDEWAYS)
    assert bar.influence(pull, pull) == pytest.approx(known.deflection, rel=1e-6)
    assert bar.peak_stress([(pull, 1.0)]) == pytest.approx(known.stress, rel=1e-6)


def test_splitting_mirroring_and_turning_change_nothing() -> None:
    one = SpaceBar(SPATIAL)
    known = one.influence(Pull(70.0, DOWN), Pull(None, DOWN))
    split = SpaceBar(
        (
            Straight(section=FLAT, length=20.0),
            Straight(section=FLAT, length=40.0),
            Arc(section=FLAT, radius=20.0, angle=-50.0, out=70.0),
            Arc(section=FLAT, radius=20.0, angle=-100.0),
            SPATIAL[2],
        )
    )
    assert split.influence(Pull(70.0, DOWN), Pull(None, DOWN)) == pytest.approx(known, rel=1e-9)
    # bent to the other side of the plane that it sets out in
    mirrored = SpaceBar((SPATIAL[0], *(replace(s, out=-s.out) for s in SPATIAL[1:])))
    assert mirrored.influence(Pull(70.0, DOWN), Pull(None, DOWN)) == pytest.approx(known, rel=1e-9)
    angle = np.radians(40.0)
    down = (float(np.sin(angle)), -float(np.cos(angle)), 0.0)
    turned = SpaceBar(SPATIAL, heading=40.0)
    assert turned.influence(Pull(70.0, down), Pull(None, down)) == pytest.approx(known, rel=1e-9)
    assert turned.peak_stress([(Pull(None, down), 1.0)]) == pytest.approx(
        one.peak_stress([(Pull(None, DOWN), 1.0)]), rel=1e-9
    )


def test_deflections_are_mutual() -> None:
    bar = SpaceBar(SPATIAL, heading=-20.0)
    here, there = Pull(45.0, DOWN), Pull(100.0, SIDEWAYS)
    assert bar.influence(here, there) == pytest.approx(bar.influence(there, here), rel=1e-9)


def test_out_leads_toward_who_looks_at_it() -> None:
    bar = SpaceBar((Straight(section=ROD, length=60.0), Straight(section=ROD, length=40.0, out=90.0, turn=90.0)))
    assert bar.position(100.0) == pytest.approx([60.0, 0.0, 40.0], abs=1e-9)


def test_what_it_does_not_know_is_refused() -> None:
    with pytest.raises(InputError, match=r"segment 1.section"):
        SpaceBar((Straight(section=ISection(10.0, 10.0, 2.0, 2.0), length=10.0),))
    with pytest.raises(InputError, match="one section along"):
        SpaceBar((Straight(section=FLAT, end_section=Rectangle(10.0, 3.0), length=10.0),))
    with pytest.raises(InputError, match="may leave its plane"):
        Beam(SPATIAL)
    with pytest.raises(InputError, match="a distance along the axis"):
        SpaceBar(SPATIAL).locate(500.0)
