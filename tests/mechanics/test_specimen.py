"""The seven tests against the formulas of their standards, worked textbook examples and their tolerances."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam, Support
from creepfit.mechanics.beam_axis import Arc, Straight
from creepfit.mechanics.section import Rectangle, cowper_rectangle
from creepfit.mechanics.specimen import (
    Cantilever,
    Compression,
    Direct,
    FourPointBending,
    Segments,
    Tension,
    ThreePointBending,
    large_deflection_stress_factor,
)
from creepfit.mechanics.tolerance import Tolerance, log_sd, shifted, size_at
from creepfit.units import Measure

M = Measure
THREE = ThreePointBending(span=M(64.0), width=M(10.0), thickness=M(4.0), poisson=0.35)
FOUR = FourPointBending(span=M(64.0), load_span=M(32.0), width=M(10.0), thickness=M(4.0), poisson=0.35)
CANTILEVER = Cantilever(length=M(60.0), width=M(12.0), thickness=M(4.0))


def outer_stress_three_point(load: float, span: float, width: float, thickness: float) -> float:
    """Stress of the outer fibre at midspan, 3 F L / (2 b h^2) (ISO 178, ISO 899-2, ASTM D790)."""
    return 3.0 * load * span / (2.0 * width * thickness**2)


def outer_strain_three_point(deflection: float, span: float, thickness: float) -> float:
    """Strain of the outer fibre at midspan as a fraction, 6 s h / L^2 (ISO 178, ISO 899-2, ASTM D790)."""
    return 6.0 * deflection * thickness / span**2


def creep_modulus_three_point(load: float, deflection: float, span: float, width: float, thickness: float) -> float:
    """Flexural creep modulus, L^3 F / (4 b h^3 s), shear not counted (ISO 899-2)."""
    return span**3 * load / (4.0 * width * thickness**3 * deflection)


def outer_stress_four_point(load: float, span: float, load_span: float, width: float, thickness: float) -> float:
    """Stress between the loads, 3 F (L - L_i) / (2 b h^2), F the sum of both (statics; as ASTM D6272)."""
    return 3.0 * load * (span - load_span) / (2.0 * width * thickness**2)


def outer_strain_cantilever(deflection: float, length: float, thickness: float) -> float:
    """Strain of the outer fibre at the root under an end load, 3 s h / (2 L^2) (Crawford, Plastics Engineering)."""
    return 3.0 * deflection * thickness / (2.0 * length**2)


def without_shear(specimen) -> float:
    """G less its shear."""
    geometry = specimen.geometry
    return geometry.reading_per_compliance * (1.0 - geometry.shear_share)


def test_three_point_bending_is_that_of_the_standards():
    # 10 x 4 x 64 mm, 20 N, E = 2000 MPa: stress 12 MPa, deflection 1.024 mm and strain 0.006 without shear
    # (ISO 178 formulas; own arithmetic).
    geometry = THREE.geometry
    assert geometry.stress_per_load * 20.0 == pytest.approx(12.0, rel=1e-12)
    assert without_shear(THREE) * 20.0 / 2000.0 == pytest.approx(1.024, rel=1e-12)
    assert outer_strain_three_point(1.024, 64.0, 4.0) == pytest.approx(0.006, rel=1e-12)
    assert creep_modulus_three_point(20.0, 1.024, 64.0, 10.0, 4.0) == pytest.approx(2000.0, rel=1e-12)
    assert (geometry.span, geometry.thickness) == (64.0, 4.0)


def test_share_of_shear():
    # Three-point, L/h = 16, nu = 0.35 with Cowper's coefficient: 1.2383 % of the bending deflection (own arithmetic
    # from PL^3/(48EI) (1 + 2(1+nu)(h/L)^2/kappa)); a cantilever has a quarter of that factor.
    share = THREE.geometry.shear_share
    assert share / (1.0 - share) == pytest.approx(0.012383, abs=5e-7)
    share = CANTILEVER.geometry.shear_share
    expected = 0.5 * 1.38 * (4.0 / 60.0) ** 2 / cowper_rectangle(0.38)
    assert share / (1.0 - share) == pytest.approx(expected, rel=1e-12)
    softer = replace(THREE, shear_ratio=5.0).geometry.shear_share
    assert softer / (1.0 - softer) == pytest.approx(0.012383 * 5.0 / 2.7, rel=1e-4)


def test_strain_is_compliance_times_stress():
    geometry = THREE.geometry
    compliance, load = 1.0 / 1700.0, 30.0
    reading = load * compliance * geometry.reading_per_compliance
    assert reading * geometry.strain_per_reading == pytest.approx(compliance * load * geometry.stress_per_load)
    # Of ISO 178's strain it is the part that bends: 6 s h/L^2 less the share of shear.
    standard = outer_strain_three_point(reading, 64.0, 4.0)
    assert reading * geometry.strain_per_reading == pytest.approx(standard * (1.0 - geometry.shear_share))


def test_worked_example_of_a_bar_in_three_point_bending():
    # Glass bar, d = 5.3, b = 11, L = 44 mm, F = 300 N: 64.08 MPa (64.0797; a Callister-type exercise, as printed).
    bar = ThreePointBending(span=M(44.0), width=M(11.0), thickness=M(5.3))
    assert bar.geometry.stress_per_load * 300.0 == pytest.approx(64.0797, abs=5e-5)
    assert outer_stress_three_point(300.0, 44.0, 11.0, 5.3) == pytest.approx(64.0797, abs=5e-5)


def test_worked_example_of_a_clip():
    # Crawford, Plastics Engineering, example 2.1: cantilever 40 mm, tip 2 mm, strain at most 0.5 % -> d = 2.7 mm
    # (exactly 2.6667), and with E = 1.6 GPa a stress of 8 MPa.
    depth = brentq(lambda d: outer_strain_cantilever(2.0, 40.0, d) - 0.005, 1.0, 5.0)
    assert depth == pytest.approx(2.6667, abs=5e-5)
    clip = Cantilever(length=M(40.0), width=M(10.0), thickness=M(depth))
    load = 2.0 * 1600.0 / without_shear(clip)
    assert load * clip.geometry.stress_per_load == pytest.approx(8.0, rel=1e-12)


@pytest.mark.parametrize(("diameter", "deflection", "factor"), [(1 / 16, 0.10, 1.0350), (1 / 32, 0.20, 1.2150)])
def test_stress_at_large_deflection(diameter, deflection, factor):
    # 1 + 6(D/L)^2 - 4(d/L)(D/L), ASTM D790 (from memory), own arithmetic.
    assert large_deflection_stress_factor(deflection, 1.0, diameter) == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize(("thickness", "standard"), [(3.2, 6.8267)])
def test_deflection_at_five_per_cent(thickness, standard):
    # ASTM D790: r = 0.05 -> D = r L^2/(6d) = 6.8267 mm for d = 3.2, L = 51.2 mm (own arithmetic).
    assert outer_strain_three_point(standard, 51.2, thickness) == pytest.approx(0.05, abs=5e-7)


def test_four_point_bending():
    second, a = 160.0 / 3.0, 16.0
    # P/2 at a from either support: midspan P a (3L^2 - 4a^2)/(48EI), at the load P a^2 (3L - 4a)/(12EI)
    # (Gere & Timoshenko, deflection tables).
    assert without_shear(FOUR) == pytest.approx(a * (3.0 * 64.0**2 - 4.0 * a**2) / (48.0 * second), rel=1e-12)
    at_load = replace(FOUR, read_at="load")
    assert without_shear(at_load) == pytest.approx(a**2 * (3.0 * 64.0 - 4.0 * a) / (12.0 * second), rel=1e-12)
    # Shear, P a/2 E/(kappa G A), is the same at both.
    slid = a / 2.0 * 2.7 / (cowper_rectangle(0.35) * 40.0)
    for specimen in (FOUR, at_load):
        geometry = specimen.geometry
        assert geometry.reading_per_compliance * geometry.shear_share == pytest.approx(slid, rel=1e-12)
        assert geometry.stress_per_load == pytest.approx(outer_stress_four_point(1.0, 64.0, 32.0, 10.0, 4.0), rel=1e-12)


@pytest.mark.parametrize("read_at", [35.0, 60.0, 85.0])
def test_cantilever_read_elsewhere(read_at):
    specimen = replace(CANTILEVER, read_at=M(read_at))
    near, far = min(60.0, read_at), max(60.0, read_at)
    assert without_shear(specimen) == pytest.approx(near**2 * (3.0 * far - near) / (6.0 * 64.0), rel=1e-12)
    assert specimen.geometry.stress_per_load == pytest.approx(60.0 * 2.0 / 64.0, rel=1e-12)
    assert specimen.geometry.span == 60.0


@pytest.mark.parametrize("kind", [Tension, Compression])
def test_tension_and_compression(kind):
    flat = kind(length=M(50.0), width=M(10.0), thickness=M(4.0)).geometry
    assert (flat.reading_per_compliance, flat.stress_per_load) == pytest.approx((50.0 / 40.0, 1.0 / 40.0), rel=1e-14)
    assert flat.strain_per_reading == pytest.approx(1.0 / 50.0, rel=1e-14)
    assert flat.shear_share is None
    rod = kind(length=M(20.0), diameter=M(10.0)).geometry
    assert rod.reading_per_compliance == pytest.approx(20.0 / (25.0 * np.pi), rel=1e-14)
    shell = kind(length=M(50.0), width=M(10.0), thickness=M(4.0), walls=M(1.0), core_stiffness=0.25).geometry
    assert shell.stress_per_load == pytest.approx(1.0 / (40.0 - 0.75 * 16.0), rel=1e-14)


def test_a_printed_bar_gives_the_compliance_of_its_walls():
    solid, hollow = THREE, replace(THREE, walls=M(1.0), core_stiffness=0.1)
    second = 160.0 / 3.0 - 0.9 * 8.0 * 2.0**3 / 12.0  # E_s (I_o - I_i) + E_core I_i over E_s
    assert without_shear(hollow) == pytest.approx(64.0**3 / (48.0 * second), rel=1e-12)
    assert hollow.geometry.stress_per_load == pytest.approx(16.0 * 2.0 / second, rel=1e-12)
    assert hollow.geometry.shear_share > solid.geometry.shear_share
    as_stiff = replace(THREE, walls=M(1.0), core_stiffness=1.0).geometry
    assert as_stiff.reading_per_compliance == pytest.approx(solid.geometry.reading_per_compliance, rel=1e-12)


def test_segments_clamped_are_the_cantilever():
    beam = Beam((Straight(section=Rectangle(12.0, 4.0), length=60.0),))
    drawn, given = Segments(beam).geometry, CANTILEVER.geometry
    assert drawn.reading_per_compliance == pytest.approx(given.reading_per_compliance, rel=1e-12)
    assert drawn.stress_per_load == pytest.approx(given.stress_per_load, rel=1e-12)
    assert drawn.shear_share == pytest.approx(given.shear_share, rel=1e-12)
    assert (drawn.span, drawn.thickness) == (60.0, 4.0)
    partly = Segments(beam, load_at=60.0, read_at=35.0).geometry
    elsewhere = replace(CANTILEVER, read_at=M(35.0)).geometry
    assert partly.reading_per_compliance == pytest.approx(elsewhere.reading_per_compliance, rel=1e-12)


def test_segments_between_two_faces():
    section = Rectangle(10.0, 4.0)
    ring = Segments(Beam((Arc(section=section, radius=30.0, angle=180.0),)), between_faces=True)
    # Castigliano over half a circle: bending pi/2 R^3/I; the stress at the back P R c/I + P/A.
    second = float(section.second_moment)
    assert ring.geometry.reading_per_compliance > np.pi / 2.0 * 30.0**3 / second
    shear = np.pi / 2.0 * 30.0 * 2.76 / (cowper_rectangle(0.38) * 40.0)
    axial = np.pi / 2.0 * 30.0 / 40.0
    total = np.pi / 2.0 * 30.0**3 / second + shear + axial
    assert ring.geometry.reading_per_compliance == pytest.approx(total, rel=1e-12)
    assert ring.geometry.stress_per_load == pytest.approx(30.0 * 2.0 / second + 1.0 / 40.0, rel=1e-9)


def test_direct():
    strain, length = Direct("strain"), Direct()
    assert (strain.load_quantity, strain.reading_quantity) == ("stress", "strain")
    assert (length.load_quantity, length.reading_quantity) == ("force", "length")
    assert (strain.geometry.stress_per_load, strain.geometry.strain_per_reading) == (1.0, 1.0)
    assert (length.geometry.stress_per_load, length.geometry.strain_per_reading) == (None, None)
    for specimen in (strain, length):
        assert specimen.geometry.reading_per_compliance == 1.0
        assert specimen.geometry.relative_sd == 0.0


def _sd(*powers_and_measures) -> float:
    """Quadrature sum of power * half width / size, as uniform distributions."""
    return float(np.sqrt(sum((p * m.tolerance / m.value) ** 2 for p, m in powers_and_measures) / 3.0))


def test_tolerances_enter_by_their_powers():
    length, width, thickness = M(50.0, 0.2), M(10.0, 0.05), M(4.0, 0.03)
    bar = Tension(length=length, width=width, thickness=thickness).geometry
    assert bar.relative_sd == pytest.approx(_sd((1, length), (1, width), (1, thickness)), rel=1e-6)
    # A slender bar hardly shears, so G goes as L^3/(b h^3).
    span = M(2000.0, 20.0)
    bar = ThreePointBending(span=span, width=width, thickness=thickness).geometry
    assert bar.relative_sd == pytest.approx(_sd((3, span), (1, width), (3, thickness)), rel=1e-4)
    assert THREE.geometry.relative_sd == 0.0
    rod = Compression(length=M(20.0), diameter=M(10.0, 0.1)).geometry
    assert rod.relative_sd == pytest.approx(0.02 / np.sqrt(3.0), rel=1e-6)


def test_tolerances_of_drawn_segments_are_those_of_the_bar():
    beam = Beam((Straight(section=Rectangle(12.0, 4.0), length=60.0),))
    paths = ("section", "width"), ("section", "thickness"), ("length",)
    widths = 0.1, 0.03, 0.5
    tolerances = tuple(Tolerance(("beam", "segments", 0, *path), width) for path, width in zip(paths, widths, strict=True))
    drawn = Segments(beam, tolerances=tolerances).geometry
    bar = Cantilever(length=M(60.0, 0.5), width=M(12.0, 0.1), thickness=M(4.0, 0.03)).geometry
    assert drawn.relative_sd == pytest.approx(bar.relative_sd, rel=1e-6)


def test_tolerance_at_the_edge_of_what_is_possible():
    bar = Rectangle(10.0, 4.0, walls=2.0 - 1e-9, core_stiffness=0.5)
    tolerance = Tolerance(("walls",), 0.1)

    def area_of(section: Rectangle) -> list[float]:
        return [float(section.area)]

    # Thicker walls are impossible, so the slope is that of thinner ones: 0.5 * 2 (b + h - 4w) = 6 mm of 40 mm^2.
    assert log_sd(area_of, bar, [tolerance])[0] == pytest.approx(6.0 * 0.1 / np.sqrt(3.0) / 40.0, rel=1e-4)


def test_sizes_that_share_an_error_add_up_with_their_signs_an_edge_among_them_or_not():
    def area_of(section: Rectangle) -> list[float]:
        return [float(section.area)]

    # area b h - 0.5 (b - 2w)(h - 2w); by width: h - 0.5 (h - 2w), by walls: 2 (b - 2w)/2 + 2 (h - 2w)/2
    for walls in (1.0, 2.0 - 1e-9):
        bar = Rectangle(10.0, 4.0, walls=walls, core_stiffness=0.5)
        together = [Tolerance(("width",), 0.2, "print"), Tolerance(("walls",), 0.1, "print")]
        by_width, by_walls = 4.0 - 0.5 * (4.0 - 2 * walls), (10.0 - 2 * walls) + (4.0 - 2 * walls)
        wanted = (0.2 * by_width + 0.1 * by_walls) / np.sqrt(3.0) / float(bar.area)
        assert log_sd(area_of, bar, together)[0] == pytest.approx(wanted, rel=1e-4)
        apart = [replace(t, shared="") for t in together]
        wanted = np.hypot(0.2 * by_width, 0.1 * by_walls) / np.sqrt(3.0) / float(bar.area)
        assert log_sd(area_of, bar, apart)[0] == pytest.approx(wanted, rel=1e-4)


def test_shifted_changes_one_size_only():
    arc = Arc(section=Rectangle(9.0, 3.0), radius=20.0, angle=90.0)
    beam = Beam((Straight(section=Rectangle(12.0, 4.0), length=60.0), arc))
    path = ("segments", 1, "section", "thickness")
    changed = shifted(beam, path, 0.5)
    assert size_at(changed, path) == 3.5
    assert changed.segments[0] is beam.segments[0]
    assert size_at(beam, path) == 3.0
    assert shifted(THREE, ("span",), 1.0).span == M(65.0)


@pytest.mark.parametrize(
    ("specimen", "words"),
    [
        (THREE, "three-point bending, span 64 mm, 10 x 4 mm"),
        (FOUR, "four-point bending, span 64 mm, load span 32 mm, read at midspan, 10 x 4 mm"),
        (CANTILEVER, "cantilever, length 60 mm, 12 x 4 mm"),
        (replace(CANTILEVER, read_at=M(50.0)), "cantilever, length 60 mm, read 50 mm from the clamp, 12 x 4 mm"),
        (Tension(length=M(50.0), diameter=M(6.0)), "tension, length 50 mm, diameter 6 mm"),
        (
            Compression(length=M(50.0), width=M(10.0), thickness=M(4.0), walls=M(1.2), core_stiffness=0.2),
            "compression, length 50 mm, 10 x 4 mm, walls 1.2 mm around a core 0.2 times as stiff",
        ),
        (Segments(Beam((Straight(section=Rectangle(9.0, 3.0), length=60.0),))), "1 segment, 60 mm along the axis"),
        (Direct("strain"), "direct, strain under stress"),
    ],
)
def test_describe(specimen, words):
    assert specimen.describe() == words


@pytest.mark.parametrize(
    ("build", "key"),
    [
        (lambda: replace(THREE, span=M(0.0)), "span"),
        (lambda: replace(THREE, width=M(-10.0)), "width"),
        (lambda: replace(THREE, thickness=M(np.nan)), "thickness"),
        (lambda: replace(THREE, thickness=M(4.0, 4.5)), "thickness"),
        (lambda: replace(THREE, walls=M(2.5), core_stiffness=0.2), "walls"),
        (lambda: replace(THREE, walls=M(1.0)), "core_stiffness"),
        (lambda: replace(THREE, poisson=0.7), "poisson"),
        (lambda: replace(THREE, shear_ratio=-1.0), "shear_ratio"),
        (lambda: replace(FOUR, load_span=M(64.0)), "load_span"),
        (lambda: replace(FOUR, load_span=M(80.0), read_at="load"), "load_span"),
        (lambda: replace(FOUR, read_at="support"), "read_at"),
        (lambda: replace(CANTILEVER, read_at=M(0.0)), "read_at"),
        (lambda: Tension(length=M(50.0), width=M(10.0)), "width"),
        (lambda: Tension(length=M(50.0), width=M(10.0), diameter=M(3.0)), "width and diameter"),
        (lambda: Tension(length=M(50.0)), "width"),
        (lambda: Tension(length=M(0.0), diameter=M(10.0)), "length"),
        (lambda: Direct("force"), "quantity"),
        (lambda: Segments(THREE.beam, between_faces=True, read_at=3.0), "read_at"),
        (lambda: Segments(THREE.beam, load_at=70.0), "load_at"),
        (lambda: Segments(THREE.beam), "read_at"),  # loaded and read over a support
        (lambda: Segments(THREE.beam, load_at=32.0, read_at=70.0), "read_at"),
        (lambda: Support("built-in at both ends"), "support"),
    ],
)
def test_impossible_specimens_name_their_key(build, key):
    with pytest.raises(InputError) as caught:
        build()
    assert caught.value.key == key


def test_a_plunger_presses_where_the_gauge_reads():
    # a^3/3 under the plunger against a^2 (3L - a)/6 by the load at the end: 0.4 at half length
    bar = Cantilever(length=M(1000.0), width=M(12.0), thickness=M(4.0), read_at=M(500.0)).geometry
    assert bar.plunger_share == pytest.approx(0.4, rel=1e-4)
    assert Cantilever(length=M(100.0), width=M(12.0), thickness=M(4.0)).geometry.plunger_share == pytest.approx(1.0)
    assert THREE.geometry.plunger_share == pytest.approx(1.0)
    drawn = Segments(Beam((Straight(section=Rectangle(12.0, 4.0), length=1000.0),)), read_at=500.0).geometry
    assert drawn.plunger_share == pytest.approx(bar.plunger_share, rel=1e-9)


@pytest.mark.parametrize("pieces", [1, 2, 10])
def test_into_how_many_segments_a_bar_is_drawn_leaves_its_tolerance_alone(pieces):
    piece = Straight(section=Rectangle(12.0, 5.0), length=100.0 / pieces)
    tolerances = [Tolerance(("beam", "segments", k, "section", "thickness"), 0.25, "thickness") for k in range(pieces)]
    tolerances += [Tolerance(("beam", "segments", k, "length"), 1.0 / pieces, "length") for k in range(pieces)]
    drawn = Segments(Beam((piece,) * pieces, shear_ratio=1e-9), tolerances=tuple(tolerances)).geometry
    # L^3/h^3 by two errors, each uniform: 3 sqrt((1/100)^2 + (0.25/5)^2) / sqrt(3)
    assert drawn.relative_sd == pytest.approx(np.sqrt(3.0) * np.hypot(0.01, 0.05), rel=1e-5)


@pytest.mark.parametrize("walls", [None, Measure(0.05)])
@pytest.mark.parametrize(("width", "thickness"), [(12.0, 4.0), (0.2, 3.0), (80.0, 0.3)])
def test_the_cheap_bounds_are_around_every_stress(width: float, thickness: float, walls: Measure | None) -> None:
    sizes: dict[str, Any] = {"width": Measure(width), "thickness": Measure(thickness)}
    if walls is not None:
        sizes |= {"walls": walls, "core_stiffness": 0.0}
    for specimen in (
        Cantilever(length=Measure(60.0), **sizes),
        ThreePointBending(span=Measure(64.0), **sizes),
        FourPointBending(span=Measure(64.0), load_span=Measure(20.0), **sizes),
        Tension(length=Measure(50.0), width=Measure(width), thickness=Measure(thickness)),
    ):
        stress = specimen.nominal.stress_per_load
        assert stress is not None
        low, high = specimen.stress_per_load_within
        assert 0.0 < low < stress < high
