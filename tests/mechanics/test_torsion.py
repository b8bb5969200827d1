"""Torsion: constants of rectangles from handbooks, coil springs by Wahl, a crank by hand; and such parts from files."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.section import ISection, Rectangle, Round, Tube
from creepfit.mechanics.torsion import coil, crank, torsional_constant
from creepfit.records.part_files import build_part


def test_round_bars_and_tubes_have_their_polar_moment() -> None:
    constant, per_torque = torsional_constant(Round(10.0))
    assert constant == pytest.approx(np.pi * 1e4 / 32.0)
    assert per_torque == pytest.approx(16.0 / (np.pi * 1e3))
    assert torsional_constant(Tube(10.0, 2.0))[0] == pytest.approx(np.pi * (1e4 - 6.0**4) / 32.0)


def test_a_rectangle_lies_either_way() -> None:
    assert torsional_constant(Rectangle(10.0, 4.0)) == pytest.approx(torsional_constant(Rectangle(4.0, 10.0)))


def test_a_thin_strip_is_a_third_of_its_width_times_thickness_cubed() -> None:
    constant, per_torque = torsional_constant(Rectangle(1000.0, 1.0))
    assert constant == pytest.approx(1000.0 / 3.0 * (1.0 - 0.63 / 1000.0), rel=1e-6)
    assert per_torque == pytest.approx(1.0 / constant, rel=1e-6)


def test_a_round_wire_spring_is_8_f_d3_n_over_g_d4() -> None:
    found = coil(Round(2.0), 16.0, 10.0, 2.6)
    assert found.deflection == pytest.approx(8.0 * 16.0**3 * 10.0 * 2.6 / 2.0**4)
    wahl = 31.0 / 28.0 + 0.615 / 8.0  # index 8: 1.184
    assert found.stress == pytest.approx(np.sqrt(3.0) * wahl * 8.0 * 16.0 / (np.pi * 2.0**3))


def test_a_crank_bends_twice_and_twists_once() -> None:
    shaft, arm = Round(8.0), Rectangle(8.0, 6.0)
    found = crank(shaft, 60.0, arm, 40.0, 1e-9, 0.38)  # next to no shear and twist
    bending = 60.0**3 / 3.0 / (np.pi * 8.0**4 / 64.0) + 40.0**3 / 3.0 / (8.0 * 6.0**3 / 12.0)
    assert found.deflection == pytest.approx(bending, rel=1e-6)
    stiff = crank(shaft, 60.0, arm, 40.0, 2.76, 0.38).deflection
    twist = 60.0 * 40.0**2 * 2.76 / (np.pi * 8.0**4 / 32.0)
    assert stiff == pytest.approx(bending + twist, rel=0.02)  # but for shear
    bent, twisted = 60.0 * 32.0 / (np.pi * 8.0**3), 40.0 * 16.0 / (np.pi * 8.0**3)
    assert found.stress == pytest.approx(np.sqrt(bent**2 + 3.0 * twisted**2))


def part(**tables: Any) -> Any:
    return build_part({"format": 1, "part": {"name": "spring", "shear_ratio": 2.6}} | tables, None)


COIL = {"section": "round", "diameter": "2 mm", "coil_diameter": "16 mm", "turns": 10}
CRANK = {
    "shaft_length": "60 mm",
    "arm_length": "40 mm",
    "shaft": {"section": "round", "diameter": "8 mm"},
    "arm": {"section": "rectangle", "width": "8 mm", "thickness": "6 mm"},
}


def test_coils_and_cranks_from_files() -> None:
    spring = part(coil=COIL, load=[{"force": "1 N"}, {"force": "2 N"}])
    deflection = sum(spring.body.influence(load.load).per_compliance * load.size for load in spring.loads)
    assert deflection == pytest.approx(3.0 * 8.0 * 16.0**3 * 10.0 * 2.6 / 2.0**4)
    stress = spring.body.peak_stress([(load.load, load.size) for load in spring.loads]).value
    assert stress == pytest.approx(3.0 * coil(Round(2.0), 16.0, 10.0, 2.6).stress)
    held = part(coil=COIL, held={"deflection": "5 mm"})
    assert held.body.influence(held.loads[0].load).per_compliance == pytest.approx(deflection / 3.0)
    turned = part(crank=CRANK, load=[{"mass": "0.5 kg"}])
    expected = crank(Round(8.0), 60.0, Rectangle(8.0, 6.0), 40.0, 2.6, 0.38).deflection
    assert turned.body.influence(turned.loads[0].load).per_compliance == pytest.approx(expected)


@pytest.mark.parametrize(
    ("tables", "says"),
    [
        ({"coil": COIL}, "load: found 'no force on [coil]'; expected [[load]] with a mass or force, which acts along"),
        ({"coil": COIL | {"turns": 0}, "load": [{"force": "1 N"}]}, "coil.turns"),
        ({"coil": COIL | {"coil_diameter": "2 mm"}, "load": [{"force": "1 N"}]}, "coil.coil_diameter"),
        ({"coil": COIL | {"section": "I"}, "load": [{"force": "1 N"}]}, "coil.width: missing"),
        ({"crank": CRANK | {"shaft": "round"}, "load": [{"force": "1 N"}]}, "crank.shaft: found 'round'"),
        ({"crank": CRANK | {"shafts": {}}, "load": [{"force": "1 N"}]}, 'unknown key "shafts"'),
        ({"coil": COIL, "segment": [{}], "load": [{"force": "1 N"}]}, "segment: found '[coil] and segment'"),
        ({"coil": COIL, "load": [{"per_length": "1 N/mm"}]}, "load: found 'no force on [coil]'"),
    ],
)
def test_mistakes_are_one_line(tables: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError) as error:
        part(**tables)
    assert says in str(error.value)


def test_what_is_not_worked_out_is_refused() -> None:
    with pytest.raises(InputError, match="torsion is not worked out"):
        torsional_constant(ISection(10.0, 10.0, 2.0, 2.0))
