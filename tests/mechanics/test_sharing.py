"""Frames held by what does not creep: against the elastic frame at each compliance, and a handbook's spring."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from creepfit.mechanics.beam_axis import Segment, Straight
from creepfit.mechanics.beam_loads import LineLoad, Load, PointLoad, SelfWeight
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.holds import Brace, Hold
from creepfit.mechanics.section import Rectangle, Round
from creepfit.mechanics.sharing import Shared, Sharing

BAR = Rectangle(10.0, 8.0)
ROD = Round(3.0)


def frame(*segments: Segment, **more: Any) -> Frame:
    return Frame(segments or (Straight(section=BAR, length=120.0),), **more)


CASES: dict[str, Frame] = {
    "a spring": frame(holds=(Hold(120.0, "rest", 0.1),)),
    "a soft spring": frame(holds=(Hold(120.0, "rest", 1e3),)),
    "a stiff spring": frame(holds=(Hold(120.0, "rest", 1e-5),)),
    "a mounting that turns": frame(holds=(Hold(120.0, "rest"),), root_compliance=1e-5),
    "a mounting that turns alone": frame(root_compliance=1e-5),
    "three rests": frame(holds=(Hold(0.0), Hold(70.0, "rest"), Hold(120.0, "rest", 0.1)), clamped=False),
    "a rod": frame(braces=(Brace((0.0, -60.0), 80.0, ROD, modulus=2e5),)),
    "all of it": frame(
        braces=(Brace((0.0, -60.0), 80.0, ROD, ("rigid", "pinned"), modulus=2e5),),
        holds=(Hold(120.0, "rest", 0.1), Hold(110.0, "clamp", 0.01, 1e-5)),
    ),
}
LOADS = (PointLoad(60.0), LineLoad(20.0, 100.0), SelfWeight())


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("load", LOADS, ids=lambda load: type(load).__name__)
def test_of_an_elastic_material_it_is_the_elastic_frame(name: str, load: Load) -> None:
    """At any compliance: R is then 1/(s D/D0 + 1 - s)."""
    one, read = CASES[name], PointLoad(90.0)
    sharing = Sharing(one)
    found, s = sharing.shared(load, read), sharing.shares
    for times in (0.3, 1.0, 20.0):
        compliance = times * one.compliance
        growth = (1.0 - 1.0 / (s * times + 1.0 - s)) / s
        sag = found.per_compliance * compliance + found.at_once + float(growth @ np.array(found.grown))
        elastic = one.at(compliance).influence_on(load, read)
        assert sag == pytest.approx(elastic.per_compliance * compliance + elastic.mount, rel=1e-7, abs=1e-9)


def sag_of(one: Frame, at: float) -> Shared:
    return Sharing(replace(one, compliance=at)).shared(PointLoad(60.0), PointLoad(90.0))


def test_at_which_compliance_the_modes_are_taken_is_of_no_account() -> None:
    one, other = (sag_of(CASES["a spring"], at) for at in (4e-4, 9e-4))
    assert other.per_compliance == pytest.approx(one.per_compliance, rel=1e-9)
    assert other.at_once + other.grown[0] != one.at_once + one.grown[0]  # the growth begins elsewhere, and makes up for it


def test_a_propped_shelf_on_a_spring_by_the_handbook() -> None:
    """The spring under the end of a shelf w takes 3 w L/8 / (1 + 3 E I/(k L^3)) (Gere & Timoshenko, from memory)."""
    modulus, spring = 1500.0, 25.0
    shelf = frame(holds=(Hold(120.0, "rest", 1.0 / spring),), shear_ratio=1e-9).at(1.0 / modulus)
    ratio = 3.0 * modulus * BAR.second_moment / spring / 120.0**3
    assert shelf.reactions(LineLoad())[0][1] == pytest.approx(3.0 / 8.0 * 120.0 / (1.0 + ratio), rel=1e-6)


def test_splitting_mirroring_and_turning_change_nothing() -> None:
    def bracket(*arm: Segment, heading: float = 0.0, mirrored: bool = False) -> float:
        side = -1.0 if mirrored else 1.0
        turned = np.radians(heading)
        foot = 60.0 * np.array([np.sin(turned), -np.cos(turned)])
        one = frame(
            *arm,
            heading=heading + (180.0 if mirrored else 0.0),
            braces=(Brace((side * foot[0], foot[1]), 80.0, ROD, modulus=2e5),),
            root_compliance=1e-5,
            compliance=7e-4,
        )
        load = PointLoad(None, heading - 90.0)
        found = Sharing(one).shared(load, load)
        return found.per_compliance * 1e-3 + found.at_once + sum(found.grown)

    halves = (Straight(section=BAR, length=47.0), Straight(section=BAR, length=73.0))
    assert bracket(*halves) == pytest.approx(bracket(), rel=1e-9)
    assert bracket(heading=35.0) == pytest.approx(bracket(), rel=1e-9)
    assert bracket(mirrored=True) == pytest.approx(bracket(), rel=1e-9)
