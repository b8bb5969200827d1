"""Cross-sections against hand formulas, strip integration and the energy of the shear flow."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.section import (
    ISection,
    Rectangle,
    Round,
    TSection,
    Tube,
    between,
    cowper_rectangle,
    cowper_round,
)


@pytest.mark.parametrize(
    ("poisson", "rectangle", "circle"),
    # Cowper, J. Appl. Mech. 33 (1966) 335-340: own arithmetic from 10(1+nu)/(12+11nu) and 6(1+nu)/(7+6nu).
    [(0.30, 0.849673, 0.886364), (0.35, 0.851735, 0.890110), (0.40, 0.853659, 0.893617)],
)
def test_cowper_coefficients(poisson, rectangle, circle):
    assert cowper_rectangle(poisson) == pytest.approx(rectangle, abs=5e-7)
    assert cowper_round(poisson) == pytest.approx(circle, abs=5e-7)


def test_cowper_of_a_thin_round_tube():
    # 2(1+nu)/(4+3nu), Cowper 1966 (from memory), own arithmetic: 2.7/5.05.
    assert cowper_round(0.35, 1.0) == pytest.approx(2.7 / 5.05, rel=1e-12)


def test_solid_rectangle_and_round():
    bar, rod = Rectangle(10.0, 4.0), Round(10.0)
    assert (bar.area, bar.outer_fibre) == (40.0, 2.0)
    # b h^3/12 = 53.333 mm^4 for 10 x 4 (any handbook; own arithmetic), pi d^4/64.
    assert bar.second_moment == pytest.approx(160.0 / 3.0, rel=1e-14)
    assert rod.second_moment == pytest.approx(np.pi * 1e4 / 64.0, rel=1e-14)
    assert rod.area == pytest.approx(25.0 * np.pi, rel=1e-14)


@pytest.mark.parametrize("stiffness", [0.0, 0.15, 1.0])
def test_walls_around_a_core_follow_the_transformed_section(stiffness):
    bar = Rectangle(20.0, 10.0, walls=2.0, core_stiffness=stiffness)
    outer, core = 20.0 * 10.0**3 / 12.0, 16.0 * 6.0**3 / 12.0
    # E I_eff = E_s (I_o - I_i) + E_core I_i, Gere & Timoshenko, composite beams.
    assert bar.second_moment == pytest.approx(outer - core + stiffness * core, rel=1e-14)
    assert bar.area == pytest.approx(200.0 - 96.0 + stiffness * 96.0, rel=1e-14)
    rod = Round(10.0, walls=1.5, core_stiffness=stiffness)
    assert rod.second_moment == pytest.approx(np.pi / 64.0 * (1e4 - 7.0**4 * (1.0 - stiffness)), rel=1e-14)


def test_a_core_as_stiff_as_the_walls_is_solid_and_an_empty_one_a_tube():
    assert Rectangle(20.0, 10.0, 2.0, 1.0).shear_area(0.3) == pytest.approx(Rectangle(20.0, 10.0).shear_area(0.3))
    assert Round(10.0, 1.5, 1.0).shear_area(0.3) == pytest.approx(Round(10.0).shear_area(0.3))
    ring, tube = Round(10.0, 1.5, 0.0), Tube(10.0, 1.5)
    assert (tube.area, tube.second_moment, tube.depth) == (ring.area, ring.second_moment, 10.0)
    assert tube.shear_area(0.3) == pytest.approx(tube.area * cowper_round(0.3, 0.7), rel=1e-14)


def test_webs_of_a_thin_box_carry_the_shear():
    # Cowper 1966 (from memory), thin-walled box at nu = 0: 10(1+3m)^2/(12+72m+150m^2+90m^3+10n^2(3m+3m^2)); a square
    # box of centre line 20 and wall 1 has m = n = 1, coefficient 160/384 of its area of 80.
    assert Rectangle(21.0, 21.0, 1.0, 0.0).shear_area(0.0) == pytest.approx(80.0 * 160.0 / 384.0, rel=0.06)


def _strips(section, flanges: int, count: int = 400_000):
    """Area, second moment and furthest fibre by strips, from the drawing of the section alone."""
    y = (np.arange(count) + 0.5) * section.height / count
    inside = (y < section.flange) | ((y > section.height - section.flange) & (flanges == 2))
    width = np.where(inside, section.width, section.web)
    step = section.height / count
    area = np.sum(width) * step
    centre = np.sum(width * y) * step / area
    return area, np.sum(width * (y - centre) ** 2) * step, max(centre, section.height - centre)


@pytest.mark.parametrize(("section", "flanges"), [(ISection(30.0, 40.0, 3.0, 2.0), 2), (TSection(30.0, 25.0, 4.0, 3.0), 1)])
def test_flanged_sections_against_strips(section, flanges):
    found = section.area, section.second_moment, section.outer_fibre
    assert found == pytest.approx(_strips(section, flanges), rel=1e-5)


def _shear_flow_area(width: float, height: float, flange: float, web: float, flanges: int) -> float:
    """V^2 over the integral of q^2/t: what a thin-walled I or T shears like at nu = 0 (Gere & Timoshenko, shear flow).

    Sizes along the centre lines; q = V S / I with S the first moment of what lies beyond.
    """
    z = np.linspace(0.0, height, 20001)  # along the web, from the free end or the second flange
    a_flange = width * flange
    area = web * height + flanges * a_flange
    centre = (web * height**2 / 2.0 + a_flange * height) / area
    arms = [height - centre, centre][:flanges]
    moment = web * height**3 / 12.0 + web * height * (centre - height / 2.0) ** 2 + sum(a_flange * x**2 for x in arms)
    start = a_flange * centre if flanges == 2 else 0.0
    first = start + web * (centre * z - z**2 / 2.0)
    energy = np.trapezoid(first**2, z) / web
    # Half a flange: the flow grows evenly from its tip.
    energy += sum(2.0 * (flange * arm) ** 2 * (width / 2.0) ** 3 / 3.0 / flange for arm in arms)
    return float(moment**2 / energy)


def _cowper_thin(width: float, height: float, poisson: float, flanges: int) -> float:
    """Cowper's thin-walled I or T with all walls 1 mm thick, coefficient times area (Cowper 1966, from memory)."""
    n, m = width / height, flanges * width / height
    nu = poisson
    if flanges == 2:
        rigid = 12 + 72 * m + 150 * m**2 + 90 * m**3 + 30 * n**2 * (m + m**2)
        lateral = 11 + 66 * m + 135 * m**2 + 90 * m**3 + 5 * n**2 * (8 * m + 9 * m**2)
        factor = (1 + 3 * m) ** 2
    else:
        rigid = 12 + 96 * m + 276 * m**2 + 192 * m**3 + 30 * n**2 * (m + m**2)
        lateral = 11 + 88 * m + 248 * m**2 + 216 * m**3 + 10 * n**2 * (4 * m + 5 * m**2 + m**3)
        factor = (1 + 4 * m) ** 2
    return 10 * (1 + nu) * factor / (rigid + nu * lateral) * (flanges * width + height)


@pytest.mark.parametrize("width", [10.0, 20.0, 40.0])
@pytest.mark.parametrize("flanges", [1, 2])
def test_thin_flanged_sections_shear_as_cowper_says(width, flanges):
    # The centre lines are `width` x 20. Two derivations of the thin wall at nu = 0, then the section itself: 5 % for
    # its walls of a twentieth of the height, up to 14 % (the widest T) for taking nu as in a rectangle.
    flow = _shear_flow_area(width, 20.0, 1.0, 1.0, flanges)
    assert flow == pytest.approx(_cowper_thin(width, 20.0, 0.0, flanges), rel=1e-6)
    section = ISection(width, 21.0, 1.0, 1.0) if flanges == 2 else TSection(width, 20.5, 1.0, 1.0)
    assert section.shear_area(0.0) == pytest.approx(flow, rel=0.05)
    assert section.shear_area(0.38) == pytest.approx(_cowper_thin(width, 20.0, 0.38, flanges), rel=0.14)


def test_a_flanged_section_with_a_web_of_full_width_is_a_rectangle():
    solid = Rectangle(10.0, 20.0)
    for section in (ISection(10.0, 20.0, 3.0, 10.0), TSection(10.0, 20.0, 3.0, 10.0)):
        found = section.area, section.second_moment, section.outer_fibre, section.shear_area(0.3)
        expected = solid.area, solid.second_moment, solid.outer_fibre, solid.shear_area(0.3)
        assert found == pytest.approx(expected, rel=1e-12)


def test_weight_of_a_core():
    bar = Rectangle(20.0, 10.0, walls=2.0, core_stiffness=0.1)
    assert bar.weight_area() == 200.0  # not known: as heavy as the walls
    assert bar.weight_area(0.25) == pytest.approx(104.0 + 0.25 * 96.0)
    assert Rectangle(20.0, 10.0, walls=2.0, core_stiffness=0.0).weight_area() == pytest.approx(104.0)
    assert Tube(10.0, 1.0).weight_area() == pytest.approx(np.pi / 4.0 * 36.0)
    assert Round(10.0, 1.0, 0.5).weight_area(0.0) == pytest.approx(np.pi / 4.0 * 36.0)


def test_between_is_linear_in_every_size():
    start, end = Rectangle(20.0, 10.0, 2.0, 0.2), Rectangle(10.0, 6.0, 1.0, 0.2)
    middle = between(start, end, np.array([0.0, 0.5, 1.0]))
    assert isinstance(middle, Rectangle)
    np.testing.assert_allclose(middle.width, [20.0, 15.0, 10.0])
    np.testing.assert_allclose(middle.thickness, [10.0, 8.0, 6.0])
    np.testing.assert_allclose(middle.walls, [2.0, 1.5, 1.0])
    assert middle.core_stiffness == 0.2


@pytest.mark.parametrize(
    ("build", "key"),
    [
        (lambda: Rectangle(0.0, 4.0), "width"),
        (lambda: Rectangle(4.0, -1.0), "thickness"),
        (lambda: Rectangle(4.0, np.nan), "thickness"),
        (lambda: Rectangle(10.0, 4.0, walls=2.0, core_stiffness=0.2), "walls"),
        (lambda: Rectangle(10.0, 4.0, walls=1.0), "core_stiffness"),
        (lambda: Rectangle(10.0, 4.0, core_stiffness=0.5), "walls"),
        (lambda: Rectangle(10.0, 4.0, walls=1.0, core_stiffness=1.5), "core_stiffness"),
        (lambda: Round(10.0, walls=6.0, core_stiffness=0.2), "walls"),
        (lambda: Tube(10.0, 5.5), "wall"),
        (lambda: ISection(10.0, 5.0, 3.0, 1.0), "flange"),
        (lambda: TSection(10.0, 5.0, 3.0, 12.0), "web"),
        (lambda: between(Rectangle(1.0, 1.0), Round(1.0), 0.5), "section"),
        (lambda: between(Rectangle(9.0, 9.0), Rectangle(9.0, 9.0, 1.0, 0.2), 0.5), "walls"),
        (lambda: between(Rectangle(9.0, 9.0, 1.0, 0.3), Rectangle(9.0, 9.0, 1.0, 0.2), 0.5), "core_stiffness"),
    ],
)
def test_impossible_sizes_name_their_key(build, key):
    with pytest.raises(InputError) as caught:
        build()
    assert caught.value.key == key


@pytest.mark.parametrize(
    ("width", "height", "wall", "area"),
    [
        # the plane problem (lap chi = -y/I, no flow through the surface) by finite differences, nu = 0: own arithmetic
        (60.0, 10.0, 1.2, 7.363),
        (30.0, 10.0, 1.2, 11.926),
        (14.0, 10.0, 1.6, 23.37),
        (10.0, 14.0, 1.6, 37.37),
        (12.0, 4.0, 1.0, 3.720),
    ],
)
def test_shear_of_an_empty_box_turns_into_its_flanges(width, height, wall, area):
    assert Rectangle(width, height, wall, 0.0).shear_area(0.0) == pytest.approx(area, rel=0.03)
    # never more than the walls beside it could carry by themselves over the full depth, 2 t h kappa
    assert Rectangle(width, height, wall, 0.0).shear_area(0.0) < 2.0 * wall * height
    # the core's share grows from there to the solid bar
    stiff = [Rectangle(width, height, wall, s).shear_area(0.3) for s in (0.0, 0.3, 1.0)]
    assert stiff[0] < stiff[1] < stiff[2]
    assert stiff[2] == pytest.approx(Rectangle(width, height).shear_area(0.3))


def test_a_box_of_thick_walls_tends_to_the_solid_bar():
    box, solid = Rectangle(10.0, 10.0, 4.999, 0.0), Rectangle(10.0, 10.0)
    assert box.shear_area(0.0) == pytest.approx(solid.shear_area(0.0), rel=1e-3)
