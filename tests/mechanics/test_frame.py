"""Frames against closed forms, and what must not change them: splitting, cutting at a corner, mirroring, turning."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam, Support
from creepfit.mechanics.beam_axis import Arc, Segment, Straight
from creepfit.mechanics.beam_loads import LineLoad, PointLoad, SelfWeight
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.holds import Brace, Hold
from creepfit.mechanics.section import Rectangle

SLENDER = 1e-9
"""E/G so small that shear, which the hand formulas leave out, does not show."""

BAR = Rectangle(10.0, 8.0)
SECOND_MOMENT = 10.0 * 8.0**3 / 12.0
THIN = Rectangle(10.0, 1.0)


def straight(length: float = 120.0, section: Rectangle = BAR, turn: float = 0.0) -> Straight:
    return Straight(section=section, length=length, turn=turn)


def frame(*segments: Segment, holds: tuple[Hold, ...] = (), shear: float = SLENDER, **more: object) -> Frame:
    return Frame(segments or (straight(),), holds=holds, shear_ratio=shear, **more)  # type: ignore[arg-type]


def bending(beam: Beam, load: object, at: float | None = None) -> float:
    return sum(beam.influence(load, at).bending)  # type: ignore[arg-type]


def test_propped_shelf_under_a_line_load() -> None:
    """Prop carries 3 w L/8; middle of the propped cantilever sags w L^4/(192 E I) (beam tables)."""
    found = frame(holds=(Hold(120.0, "rest"),))
    assert found.reactions(LineLoad())[0] == pytest.approx([0.0, 3.0 / 8.0 * 120.0, 0.0])
    assert bending(found, LineLoad(), 60.0) == pytest.approx(120.0**4 / 192.0 / SECOND_MOMENT)
    assert found.reactions(PointLoad(60.0))[0][1] == pytest.approx(5.0 / 16.0)


def test_clamped_at_both_ends() -> None:
    found = frame(holds=(Hold(120.0, "clamp"),))
    assert bending(found, PointLoad(60.0), 60.0) == pytest.approx(120.0**3 / 192.0 / SECOND_MOMENT)
    assert found.peak_stress([(PointLoad(60.0), 1.0)]).value == pytest.approx(120.0 / 8.0 * 4.0 / SECOND_MOMENT)


def test_three_supports() -> None:
    """Two equal spans under a line load: 3/8, 10/8 and 3/8 of w l (three moments)."""
    holds = (Hold(0.0), Hold(60.0, "rest"), Hold(120.0, "rest"))
    found = frame(holds=holds, clamped=False)
    up = [r[1] for r in found.reactions(LineLoad())]
    assert up == pytest.approx([3.0 / 8.0 * 60.0, 10.0 / 8.0 * 60.0, 3.0 / 8.0 * 60.0])


def test_two_rests_are_the_simple_beam() -> None:
    simple = Beam((straight(),), Support("simply-supported"), shear_ratio=2.76)
    found = frame(holds=(Hold(0.0), Hold(120.0, "rest")), clamped=False, shear=2.76)
    for load in (PointLoad(40.0), LineLoad(10.0, 70.0), SelfWeight()):
        assert found.influence(load, 60.0).per_compliance == pytest.approx(simple.influence(load, 60.0).per_compliance)
        here = np.linspace(0.0, 119.0, 7)
        assert found.forces(load, here).moment == pytest.approx(simple.forces(load, here).moment, abs=1e-6)


def test_ring_pressed_together() -> None:
    """P R^3/(E I) (pi/4 - 2/pi), largest moment P R/pi (Timoshenko, Strength of Materials, part II)."""
    thin = Rectangle(10.0, 1.0)
    ring = frame(
        Arc(section=thin, radius=50.0, angle=180.0), Arc(section=thin, radius=50.0, angle=180.0),
        holds=(Hold(100.0 * np.pi, "clamp"),),
    )  # fmt: skip
    top = 50.0 * np.pi
    assert bending(ring, PointLoad(top), top) == pytest.approx(
        50.0**3 * (np.pi / 4.0 - 2.0 / np.pi) / (10.0 / 12.0), rel=2e-3
    )
    assert abs(ring.forces(PointLoad(top), np.array([0.0])).moment[0]) == pytest.approx(50.0 / np.pi, rel=2e-3)


def test_a_ring_that_is_joined_is_one_that_is_clamped_at_both_ends() -> None:
    thin = Rectangle(10.0, 1.0)
    half = Arc(section=thin, radius=50.0, angle=180.0)
    joined = frame(half, half, braces=(Brace(0.0, 100.0 * np.pi, joints=("rigid", "rigid")),))
    clamped = frame(half, half, holds=(Hold(100.0 * np.pi, "clamp"),))
    load = PointLoad(120.0)
    assert joined.influence(load, 70.0).per_compliance == pytest.approx(clamped.influence(load, 70.0).per_compliance)


def test_portal_pushed_sideways() -> None:
    """Both feet clamped, k = I_b h/(I_c l) = 0.6: moments P h/2 (3k+1)/(6k+1) at the feet, P h/2 3k/(6k+1) above."""
    portal = frame(
        straight(60.0, THIN), straight(100.0, THIN, -90.0), straight(60.0, THIN, -90.0),
        heading=90.0, holds=(Hold(220.0, "clamp"),),
    )  # fmt: skip
    moment = np.abs(portal.forces(PointLoad(60.0, 0.0), np.array([0.0, 60.0])).moment)
    # the handbook leaves the shortening of the members out, which such thin ones hardly show
    assert moment == pytest.approx([30.0 * 2.8 / 4.6, 30.0 * 1.8 / 4.6], rel=5e-4)


def test_strut_of_a_bracket_carries_what_balance_asks() -> None:
    """Arm on a pin, strut from the wall 60 mm below to 80 mm out, load at 120 mm: 150 x 100/80 / (60/100) in the strut."""
    strut = Brace((0.0, -60.0), 80.0, Rectangle(10.0, 6.0))
    found = frame(holds=(Hold(0.0),), clamped=False, braces=(strut,), shear=2.76)
    pressed = -120.0 / (80.0 * 0.6)
    assert found.brace_forces([(PointLoad(), 1.0)])[0] == pytest.approx(pressed)
    assert found.reactions(PointLoad())[0] == pytest.approx([pressed * 0.8, 1.0 + pressed * 0.6, 0.0])
    influence = found.influence(PointLoad())
    # by energy: its force squared times length over area
    assert influence.axial[-1] == pytest.approx(pressed**2 * 100.0 / 60.0)
    assert influence.bending[-1] == pytest.approx(0.0, abs=1e-9)
    overhang = (40.0**3 / 3.0 + 40.0**2 * 80.0 / 3.0) / SECOND_MOMENT  # beam on two supports with an overhang
    assert sum(influence.bending) == pytest.approx(overhang)


def test_pins_at_the_ends_of_a_rigid_strut_make_it_softer() -> None:
    ends = [("pinned", "pinned"), ("rigid", "pinned"), ("pinned", "rigid"), ("rigid", "rigid")]
    sag = [
        frame(braces=(Brace((0.0, -60.0), 80.0, BAR, joints),), shear=2.76).influence(PointLoad()).per_compliance  # type: ignore[arg-type]
        for joints in ends
    ]
    assert sag[0] > max(sag[1:3])
    assert min(sag[1:3]) > sag[3]


def test_a_brace_the_other_way_round_is_the_same() -> None:
    one = frame(braces=(Brace((0.0, -60.0), 80.0, BAR, ("rigid", "pinned")),), shear=2.76)
    other = frame(braces=(Brace(80.0, (0.0, -60.0), BAR, ("pinned", "rigid")),), shear=2.76)
    for load in (PointLoad(), SelfWeight()):
        assert one.influence(load).per_compliance == pytest.approx(other.influence(load).per_compliance)


def upright_bracket(
    *arm: Segment, mirrored: bool = False, turned: float = 0.0, screws: tuple[float, ...] = (-70.0, -15.0)
) -> Frame:
    """An upright of 80 mm with two screws, an arm, and a rigid strut between them."""
    return frame(
        *(arm or (straight(),)),
        upright=(straight(80.0),),
        heading=(180.0 if mirrored else 0.0) + turned,
        upright_heading=90.0 + turned,
        holds=tuple(Hold(at) for at in screws),
        clamped=False,
        braces=(Brace(-60.0, 70.0, Rectangle(10.0, 5.0), ("rigid", "pinned")),),
        shear=2.76,
    )


LOADS = (PointLoad(), LineLoad(20.0, 100.0), SelfWeight())


@pytest.mark.parametrize("load", LOADS, ids=lambda load: type(load).__name__)
def test_splitting_a_segment_changes_nothing(load: PointLoad) -> None:
    whole, split = upright_bracket(), upright_bracket(straight(31.0), straight(89.0))
    assert split.influence(load).per_compliance == pytest.approx(whole.influence(load).per_compliance, rel=1e-10)
    assert split.peak_stress([(load, 2.0)]).value == pytest.approx(whole.peak_stress([(load, 2.0)]).value, rel=1e-6)


@pytest.mark.parametrize("load", LOADS, ids=lambda load: type(load).__name__)
def test_mirroring_changes_nothing(load: PointLoad) -> None:
    one, other = upright_bracket(), upright_bracket(mirrored=True)
    assert other.influence(load).per_compliance == pytest.approx(one.influence(load).per_compliance, rel=1e-10)
    assert other.peak_stress([(load, 2.0)]).value == pytest.approx(one.peak_stress([(load, 2.0)]).value, rel=1e-10)


@settings(max_examples=8)
@given(angle=st.floats(-180.0, 180.0))
def test_turning_the_drawing_changes_nothing(angle: float) -> None:
    one, other = upright_bracket(), upright_bracket(turned=angle)
    load, turned = PointLoad(None, -90.0), PointLoad(None, -90.0 + angle)
    there = other.influence(turned, None, -90.0 + angle).per_compliance
    assert there == pytest.approx(one.influence(load, None, -90.0).per_compliance, rel=1e-8)


def test_an_upright_is_segments_with_a_corner() -> None:
    """An upright and an arm, or one chain with a sharp corner: the same frame, drawn in two ways."""
    corner = frame(
        straight(80.0), straight(120.0, turn=-90.0), heading=90.0, clamped=False, shear=2.76,
        holds=(Hold(10.0), Hold(65.0)), braces=(Brace(20.0, 150.0, Rectangle(10.0, 5.0), ("rigid", "pinned")),),
    )  # fmt: skip
    bracket = upright_bracket()
    assert corner.influence(PointLoad()).per_compliance == pytest.approx(bracket.influence(PointLoad()).per_compliance)


def test_a_part_cut_at_a_corner_is_a_part_with_a_rigid_brace() -> None:
    """The last stretch of a clamped U drawn as a segment, or as a rigid brace to the wall."""
    chain = frame(straight(60.0), straight(100.0, turn=-90.0), straight(60.0, turn=-90.0), heading=90.0,
                  holds=(Hold(220.0, "clamp"),), shear=2.76)  # fmt: skip
    cut = frame(straight(60.0), straight(100.0, turn=-90.0), heading=90.0, shear=2.76,
                braces=(Brace(160.0, (100.0, 0.0), BAR, ("rigid", "rigid")),))  # fmt: skip
    for load in (PointLoad(90.0), PointLoad(60.0, 0.0)):
        assert cut.influence(load, 100.0).per_compliance == pytest.approx(chain.influence(load, 100.0).per_compliance)
    assert cut.influence(SelfWeight(), 100.0).per_compliance == pytest.approx(
        chain.influence(SelfWeight(), 100.0).per_compliance
    )
    assert cut.peak_stress([(PointLoad(60.0, 0.0), 1.0)]).value == pytest.approx(
        chain.peak_stress([(PointLoad(60.0, 0.0), 1.0)]).value
    )


@settings(max_examples=10)
@given(at=st.floats(5.0, 115.0), read=st.floats(5.0, 115.0))
def test_deflections_are_mutual(at: float, read: float) -> None:
    """Maxwell's theorem: here by a unit there is there by a unit here."""
    bracket = upright_bracket()
    here = bracket.influence(PointLoad(at), read).per_compliance
    assert here == pytest.approx(bracket.influence(PointLoad(read), at).per_compliance, rel=1e-9)


def test_the_drawn_shape_is_the_deflection() -> None:
    bracket = upright_bracket()
    moved, mount = bracket.shape(PointLoad(), np.array([-70.0, 120.0]))
    assert moved[:, 0] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert -moved[1, 1] == pytest.approx(bracket.influence(PointLoad()).per_compliance)
    assert not mount.any()


def test_a_frame_without_anything_is_the_cantilever() -> None:
    plain = Beam((straight(),), shear_ratio=2.76)
    for load in LOADS:
        assert frame(shear=2.76).influence(load).per_compliance == pytest.approx(plain.influence(load).per_compliance)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"clamped": False, "holds": (Hold(60.0),)}, "the part can move"),
        ({"clamped": False, "holds": (Hold(0.0, "rest"), Hold(90.0, "rest"))}, "the part can move"),
        ({"holds": (Hold(0.0),)}, "held there already"),
        ({"holds": (Hold(50.0), Hold(50.0, "rest"))}, "held there already"),
        ({"braces": (Brace((0.0, 1.0), (0.0, 2.0), BAR),)}, "both ends are on the wall"),
        ({"braces": (Brace(20.0, 20.0, BAR),)}, "both ends are at one place"),
        ({"braces": (Brace((0.0, -60.0), 80.0),)}, "section"),
        ({"holds": (Hold(500.0),)}, "a distance along the axis"),
        ({"clamped": False, "holds": (Hold(0.0), Hold(100.0)), "root_compliance": 1e-6}, "a beginning that is clamped"),
    ],
)
def test_what_is_no_frame_is_refused(options: dict[str, object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        frame(**options)  # type: ignore[arg-type]


def test_thickening_and_replacing_keep_it_a_frame() -> None:
    bracket = upright_bracket()
    thicker = replace(bracket, segments=(straight(120.0, Rectangle(10.0, 10.0)),))
    assert isinstance(thicker, Frame)
    assert thicker.influence(PointLoad()).per_compliance < bracket.influence(PointLoad()).per_compliance
