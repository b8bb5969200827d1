"""Beams by the unit load against closed forms.

Closed forms without another source are the deflection tables of Gere & Timoshenko, Mechanics of Materials (standard),
or own integration where the comment gives it. Bending is compared alone, since the tables leave shear out.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam, Influence, Support
from creepfit.mechanics.beam_axis import Arc, Straight
from creepfit.mechanics.beam_loads import FacePair, LineLoad, PointLoad, SelfWeight, specific_weight
from creepfit.mechanics.section import Rectangle, Round, cowper_rectangle

LENGTH = 80.0
BAR = Rectangle(12.0, 4.0)
I = BAR.second_moment  # noqa: E741  (the field's own symbol)
RATIO = 2.76  # E/G = 2 (1 + 0.38)
SHEAR_AREA = 48.0 * cowper_rectangle(0.38)


def straight(support: Support | None = None, **keys) -> Beam:
    return Beam((Straight(section=BAR, length=LENGTH),), support or Support(), **keys)


def bending(influence: Influence) -> float:
    return sum(influence.bending)


SIMPLE = Support("simply-supported")


@pytest.mark.parametrize("at", [0.3, 0.7, 1.0])
@pytest.mark.parametrize("read", [0.2, 0.7, 1.0])
def test_cantilever_under_a_point_load(at, read):
    a, x = at * LENGTH, read * LENGTH
    near, far = min(a, x), max(a, x)
    influence = straight().influence(PointLoad(a), x)
    # P x^2 (3a - x)/(6EI) up to the load, straight beyond; shear runs up to the nearer of both.
    assert bending(influence) == pytest.approx(near**2 * (3.0 * far - near) / (6.0 * I), rel=1e-12)
    assert sum(influence.shear) == pytest.approx(RATIO * near / SHEAR_AREA, rel=1e-12)


def test_forces_at_points_that_were_moved_in_place():
    """What was known of the points asked last was known by their array, and stood for those now in it."""
    beam, at = straight(), np.linspace(0.0, 0.5 * LENGTH, 5)
    beam.forces(PointLoad(), at)
    at *= 2.0
    moved, anew = (b.forces(PointLoad(), p) for b, p in ((beam, at), (straight(), at.copy())))
    assert moved.moment == pytest.approx(anew.moment)
    assert moved.moment[-1] == pytest.approx(0.0, abs=1e-9)


def test_cantilever_under_uniform_load():
    influence = straight().influence(LineLoad())
    assert bending(influence) == pytest.approx(LENGTH**4 / (8.0 * I), rel=1e-12)
    assert sum(influence.shear) == pytest.approx(RATIO * LENGTH**2 / (2.0 * SHEAR_AREA), rel=1e-12)
    # Over the first half only: w a^3 (4L - a)/(24EI).
    half = straight().influence(LineLoad(0.0, LENGTH / 2.0))
    a = LENGTH / 2.0
    assert bending(half) == pytest.approx(a**3 * (4.0 * LENGTH - a) / (24.0 * I), rel=1e-12)


def test_simply_supported():
    beam, middle = straight(SIMPLE), LENGTH / 2.0
    assert bending(beam.influence(PointLoad(middle), middle)) == pytest.approx(LENGTH**3 / (48.0 * I), rel=1e-12)
    assert bending(beam.influence(LineLoad(), middle)) == pytest.approx(5.0 * LENGTH**4 / (384.0 * I), rel=1e-12)
    # P b x (L^2 - b^2 - x^2)/(6LEI) for x up to the load, b from the load to the far end.
    b, x = 20.0, 33.0
    table = b * x * (LENGTH**2 - b**2 - x**2) / (6.0 * LENGTH * I)
    assert bending(beam.influence(PointLoad(LENGTH - b), x)) == pytest.approx(table, rel=1e-12)


def test_overhang():
    span, over = 60.0, 20.0
    beam = straight(Support("overhanging", (0.0, span)))
    # Load at the tip of the overhang: P a^2 (L + a)/(3EI) there, -P a L^2/(16EI) upward at midspan.
    assert bending(beam.influence(PointLoad())) == pytest.approx(over**2 * (span + over) / (3.0 * I), rel=1e-12)
    middle = beam.influence(PointLoad(), span / 2.0)
    assert bending(middle) == pytest.approx(-over * span**2 / (16.0 * I), rel=1e-12)
    # Shear force P over the overhang and P a / L over the span.
    slid = RATIO / SHEAR_AREA * (over + over**2 / span)
    assert sum(beam.influence(PointLoad()).shear) == pytest.approx(slid, rel=1e-12)


def test_overhang_at_both_ends_is_symmetric():
    beam = straight(Support("overhanging", (20.0, 60.0)))
    tips = [beam.influence(LineLoad(), at).per_compliance for at in (0.0, LENGTH)]
    assert tips[0] == pytest.approx(tips[1], rel=1e-12)
    forces = beam.forces(LineLoad(), np.array([10.0, 40.0, 70.0]))
    # w x^2/2 at 10 mm from an end; w L/2 * 20 - w L^2/8 = 0 at midspan for overhangs of a quarter (statics).
    np.testing.assert_allclose(np.abs(forces.moment), [50.0, 0.0, 50.0], atol=1e-9)


@pytest.mark.parametrize("tip", [0.4, 2.0, 5.0, 12.0])  # up to 20 : 1
def test_tapered_cantilever(tip):
    root, width = 8.0, 10.0
    taper = Straight(section=Rectangle(width, root), end_section=Rectangle(width, tip), length=LENGTH)
    influence = Beam((taper,)).influence(PointLoad())
    # 12P/(E b) * integral of x^2/(t + kx)^3, x from the tip: [ln v + 2t/v - t^2/(2v^2)]/k^3 between v = tip and root.
    k = (root - tip) / LENGTH
    table = np.log(root / tip) + 2.0 * tip * (1.0 / root - 1.0 / tip) - tip**2 / 2.0 * (1.0 / root**2 - 1.0 / tip**2)
    assert bending(influence) == pytest.approx(12.0 / width * table / k**3, rel=1e-9)
    # Shear: integral of dx/(b h) = ln(root/tip)/(b k).
    area = cowper_rectangle(0.38) * width
    assert sum(influence.shear) == pytest.approx(RATIO * np.log(root / tip) / (area * k), rel=1e-9)


def test_stepped_cantilever_and_its_segments():
    thick, thin = Rectangle(12.0, 6.0), Rectangle(12.0, 4.0)
    beam = Beam((Straight(section=thick, length=50.0), Straight(section=thin, length=30.0)))
    influence = beam.influence(PointLoad())
    # P/E [(L^3 - l^3)/(3 I1) + l^3/(3 I2)].
    parts = (80.0**3 - 30.0**3) / (3.0 * thick.second_moment), 30.0**3 / (3.0 * thin.second_moment)
    assert influence.bending == pytest.approx(parts, rel=1e-12)
    assert sum(influence.by_segment) == pytest.approx(influence.per_compliance, rel=1e-14)


@pytest.mark.parametrize("angle", [90.0, -90.0])
def test_quarter_circle(angle):
    radius = 50.0
    beam = Beam((Arc(section=BAR, radius=radius, angle=angle),), heading=np.sign(angle) * 90.0)
    down = 1.0 if angle > 0.0 else -1.0
    influence = beam.influence(PointLoad())
    # Castigliano: P along the clamped tangent, M = P R cos, V = P cos, N = P sin: pi/4 R^3/I, else pi/4 R.
    quarter = np.pi / 4.0
    assert bending(influence) == pytest.approx(quarter * radius**3 / I, rel=1e-12)
    assert sum(influence.axial) == pytest.approx(quarter * radius / BAR.area, rel=1e-12)
    assert sum(influence.shear) == pytest.approx(quarter * radius * RATIO / SHEAR_AREA, rel=1e-12)
    # Square to that: P R^3/(2EI) (Castigliano: R cos times R (1 - sin) over the quarter).
    sideways = beam.influence(PointLoad(), direction=0.0)
    assert bending(sideways) == pytest.approx(down * -(radius**3) / (2.0 * I), rel=1e-12)


def test_half_ring_and_u_shape_between_their_faces():
    radius, leg = 30.0, 40.0
    ring = Beam((Arc(section=BAR, radius=radius, angle=180.0),))
    # Castigliano: M = P R sin over half a circle: pi/2 P R^3/(EI).
    assert bending(ring.opening(FacePair())) == pytest.approx(np.pi / 2.0 * radius**3 / I, rel=1e-12)
    legs = [Straight(section=BAR, length=leg) for _ in range(2)]
    shape = Beam((legs[0], Arc(section=BAR, radius=radius, angle=180.0), legs[1]))
    # 2 l^3/3 + integral of (l + R sin)^2 R over half a circle = R (pi l^2 + 4 l R + pi R^2/2).
    table = 2.0 * leg**3 / 3.0 + radius * (np.pi * leg**2 + 4.0 * leg * radius + np.pi * radius**2 / 2.0)
    assert bending(shape.opening(FacePair())) == pytest.approx(table / I, rel=1e-12)
    # Gripped 10 mm from the free ends it is the U with legs of 30 mm; the free ends carry nothing.
    gripped = shape.opening(FacePair(10.0, shape.axis.end - 10.0))
    shorter = 2.0 * 30.0**3 / 3.0 + radius * (np.pi * 900.0 + 120.0 * radius + np.pi * radius**2 / 2.0)
    assert bending(gripped) == pytest.approx(shorter / I, rel=1e-12)


def test_faces_move_apart_alike_however_the_shape_is_held():
    arc = Arc(section=BAR, radius=30.0, angle=240.0)
    openings = [
        Beam((arc,), support, heading=heading).opening(FacePair()).per_compliance
        for support, heading in [(Support(), 0.0), (Support(), 70.0), (SIMPLE, 20.0)]
    ]
    assert openings == pytest.approx([openings[0]] * 3, rel=1e-12)


def test_bracket_arm_on_an_upright():
    arm, post, compliance = 60.0, 90.0, 2e-6
    foot = Rectangle(12.0, 6.0)
    beam = Beam(
        (Straight(section=BAR, length=arm),),
        upright=(Straight(section=foot, length=post),),
        root_compliance=compliance,
    )
    influence = beam.influence(PointLoad())
    # Arm P a^3/(3EI); the upright turns by P a h/(EI) under the constant moment P a and so lowers the tip by a times
    # that, and is shortened by P h/(EA); the root turns by c P a.
    assert influence.bending == pytest.approx((arm**2 * post / foot.second_moment, arm**3 / (3.0 * I)), rel=1e-12)
    assert influence.axial == pytest.approx((post / foot.area, 0.0), rel=1e-12)
    assert influence.shear == pytest.approx((0.0, RATIO * arm / SHEAR_AREA), rel=1e-12)
    assert influence.mount == pytest.approx(compliance * arm**2, rel=1e-12)
    # Sideways the tip goes with the head of the upright, P a h^2/(2EI), away from the wall's side.
    sideways = beam.influence(PointLoad(), direction=0.0)
    assert sideways.bending == pytest.approx((arm * post**2 / (2.0 * foot.second_moment), 0.0), rel=1e-12)
    # A stretch of the load within the arm counts from its root.
    short = beam.influence(PointLoad(30.0), 30.0)
    assert short.bending == pytest.approx((900.0 * post / foot.second_moment, 30.0**3 / (3.0 * I)), rel=1e-12)


def test_corner_of_two_segments_is_the_same_bracket():
    arm, post = Straight(section=BAR, length=60.0), Straight(section=BAR, length=90.0)
    chain = Beam((post, Straight(section=BAR, length=60.0, turn=-90.0)), heading=90.0)
    bracket = Beam((arm,), upright=(post,))
    parts = bracket.influence(PointLoad()).by_segment
    assert chain.influence(PointLoad()).by_segment == pytest.approx(parts, rel=1e-12)


def test_arcs_of_many_pieces_are_one_arc():
    whole = Beam((Arc(section=BAR, radius=40.0, angle=150.0),))
    pieces = Beam(tuple(Arc(section=BAR, radius=40.0, angle=50.0) for _ in range(3)))
    for load in (PointLoad(), LineLoad(), SelfWeight()):
        found = [beam.influence(load).per_compliance for beam in (whole, pieces)]
        assert found[0] == pytest.approx(found[1], rel=1e-12)


def test_perpendicular_load_on_an_inclined_beam():
    level, inclined = straight(), straight(heading=35.0)
    square = inclined.influence(PointLoad(direction="perpendicular"), direction="perpendicular")
    assert square.per_compliance == pytest.approx(level.influence(PointLoad()).per_compliance, rel=1e-12)
    # On a level beam square to the axis is down.
    found = level.influence(PointLoad(direction="perpendicular")).per_compliance
    assert found == pytest.approx(square.per_compliance, rel=1e-12)
    # A vertical load bends by its component square to the axis, and reads that component again.
    vertical = inclined.influence(PointLoad())
    assert bending(vertical) == pytest.approx(np.cos(np.radians(35.0)) ** 2 * LENGTH**3 / (3.0 * I), rel=1e-12)
    assert sum(vertical.axial) == pytest.approx(np.sin(np.radians(35.0)) ** 2 * LENGTH / BAR.area, rel=1e-12)
    spread = inclined.influence(LineLoad(direction="perpendicular"), direction="perpendicular")
    assert bending(spread) == pytest.approx(LENGTH**4 / (8.0 * I), rel=1e-12)


def test_self_weight():
    bar = Rectangle(20.0, 10.0)
    beam = Beam((Straight(section=bar, length=100.0),), shear_ratio=2.76)
    weight = specific_weight(1240.0)
    # Bar 100 x 20 x 10 mm, 1240 kg/m^3, E = 2000 MPa: w = 0.002433 N/mm, tip 0.0091 mm, and 10 N at the tip 1.000 mm,
    # root stress 3.0 MPa, shear 0.83 % with a coefficient of 5/6 (own arithmetic from w L^4/(8EI), P L^3/(3EI)).
    assert weight * bar.area == pytest.approx(0.002433, abs=1.5e-6)
    own = beam.influence(SelfWeight())
    assert bending(own) * weight / 2000.0 == pytest.approx(0.0091, abs=5e-5)
    tip = beam.influence(PointLoad())
    assert bending(tip) * 10.0 / 2000.0 == pytest.approx(1.000, abs=5e-4)
    share = sum(tip.shear) / bending(tip) * cowper_rectangle(0.38) / (5.0 / 6.0)
    assert share == pytest.approx(0.0083, abs=5e-5)
    assert beam.peak_stress([(PointLoad(), 10.0)]).value == pytest.approx(3.0, rel=1e-12)
    # The equivalent load at the tip is 3/8 of the weight.
    assert bending(own) == pytest.approx(3.0 / 8.0 * bar.area * 100.0 * bending(tip), rel=1e-12)


def test_self_weight_of_a_taper_and_of_a_shell():
    root, tip, width = 8.0, 4.0, 10.0
    beam = Beam((Straight(section=Rectangle(width, root), end_section=Rectangle(width, tip), length=LENGTH),))
    forces = beam.forces(SelfWeight(), np.array([0.0, 80.0]))
    # Weight b (root + tip)/2 L; its moment about the root b L^2 (root/6 + tip/3) (own integration).
    assert np.abs(forces.shear) == pytest.approx([width * 6.0 * LENGTH, 0.0], rel=1e-12, abs=1e-9)
    moment = width * LENGTH**2 * (root / 6.0 + tip / 3.0)
    assert np.abs(forces.moment) == pytest.approx([moment, 0.0], rel=1e-12, abs=1e-7)
    shell = Beam((Straight(section=Rectangle(20.0, 10.0, 2.0, 0.1), length=LENGTH),))
    heavy, light = (shell.influence(SelfWeight(core)).per_compliance for core in (None, 0.25))
    assert light / heavy == pytest.approx((104.0 + 24.0) / 200.0, rel=1e-12)


def test_worked_example_of_a_simply_supported_beam():
    # Crawford, Plastics Engineering, example 2.2: L = 100 mm, I = 28 mm^4, 5 mm, secant modulus 347 MPa -> 2.33 N
    # (exactly 2.33184).
    beam = Beam((Straight(section=Rectangle(28.0 * 12.0 / 64.0, 4.0), length=100.0),), SIMPLE)
    load = 5.0 * 347.0 / bending(beam.influence(PointLoad(50.0), 50.0))
    assert load == pytest.approx(2.33184, abs=5e-6)


def test_worked_example_of_a_uniform_load():
    # Crawford, example 2.11: 200 N over a cantilever of 80 x 50 x 2 mm, E = 70 GPa -> 5.5 mm (5.4857); the same sag in
    # acetal of 1.3 GPa at a month takes a depth of 7.6 mm (7.552).
    def sag(depth: float, modulus: float) -> float:
        beam = Beam((Straight(section=Rectangle(50.0, depth), length=80.0),))
        return bending(beam.influence(LineLoad())) * 200.0 / 80.0 / modulus

    assert sag(2.0, 70e3) == pytest.approx(5.4857, abs=5e-5)
    assert brentq(lambda depth: sag(depth, 1300.0) - sag(2.0, 70e3), 1.0, 20.0) == pytest.approx(7.552, abs=5e-4)


def test_shear_ratio_replaces_poisson():
    stiff, soft = straight(), straight(shear_ratio=5.0)
    found = [sum(beam.influence(PointLoad()).shear) for beam in (stiff, soft)]
    assert found[1] / found[0] == pytest.approx(5.0 / 2.76, rel=1e-12)


def test_peak_stress():
    modulus = I / 2.0
    beam = straight(SIMPLE)
    peak = beam.peak_stress([(LineLoad(), 0.5)])
    assert peak.value == pytest.approx(0.5 * LENGTH**2 / 8.0 / modulus, rel=1e-12)
    assert peak.at == pytest.approx(LENGTH / 2.0, rel=1e-6)
    # Loads against each other: 3 N down at the tip, 8 N up at midlength leave the tip load's peak there.
    peak = straight().peak_stress([(PointLoad(), 3.0), (PointLoad(40.0), -8.0)])
    assert (peak.value, peak.at) == pytest.approx((120.0 / modulus, 40.0), rel=1e-9)


def test_peak_stress_between_the_ends_of_a_taper():
    # Under a tip load, depth growing from t at the tip by k a mm: 6Px/(b(t+kx)^2) peaks at x = t/k, at 6P/(4 b t k).
    root, tip, width = 12.0, 3.0, 10.0
    beam = Beam((Straight(section=Rectangle(width, root), end_section=Rectangle(width, tip), length=90.0),))
    peak = beam.peak_stress([(PointLoad(), 2.0)])
    assert peak.value == pytest.approx(12.0 / (4.0 * width * tip * 0.1), rel=1e-9)
    assert peak.at == pytest.approx(90.0 - 30.0, abs=1e-3)


def test_peak_stress_where_the_section_steps_and_with_axial_force():
    foot, thin = Rectangle(12.0, 10.0), Rectangle(12.0, 2.0)
    stepped = Beam((Straight(section=foot, length=50.0), Straight(section=thin, length=30.0)))
    peak = stepped.peak_stress([(PointLoad(), 1.0)])
    assert (peak.value, peak.at, peak.segment) == pytest.approx((6.0 * 30.0 / 48.0, 50.0, 1), rel=1e-12)
    bracket = Beam((Straight(section=foot, length=50.0),), upright=(Straight(section=thin, length=30.0),))
    peak = bracket.peak_stress([(PointLoad(), 1.0)])
    assert peak.value == pytest.approx(6.0 * 50.0 / 48.0 + 1.0 / 24.0, rel=1e-12)
    assert peak.segment == 0


def test_tightest_curve():
    assert straight().axis.tightest_curve is None
    hook = Beam((Arc(section=BAR, radius=30.0, angle=90.0), Arc(section=Round(6.0), radius=24.0, angle=90.0)))
    assert hook.axis.tightest_curve == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("build", "key", "words"),
    [
        (lambda: Support("fixed-fixed"), "support", "one of cantilever"),
        (lambda: Support("propped"), "support", "simply-supported"),
        (lambda: straight(Support("overhanging", (0.0, 40.0, 80.0))), "support", "3 supports"),
        (lambda: Support("overhanging", (40.0,)), "supports", "two distances"),
        (lambda: Support("overhanging", (40.0, 40.0)), "supports", "two distances"),
        (lambda: Support("cantilever", (3.0,)), "supports", "none"),
        (lambda: straight(Support("overhanging", (0.0, 90.0))), "supports", "0 mm to 80 mm"),
        (lambda: straight(SIMPLE, upright=(Straight(section=BAR, length=9.0),)), "upright", "clamped"),
        (lambda: straight(SIMPLE, root_compliance=1e-6), "root_compliance", "clamped"),
        (lambda: straight(root_compliance=-1e-6), "root_compliance", "zero or more"),
        (lambda: straight(poisson=0.6), "poisson", "0 to 0.5"),
        (lambda: straight(shear_ratio=0.0), "shear_ratio", "above zero"),
        (lambda: Beam(()), "segment", "at least one"),
        (lambda: straight().influence(PointLoad(81.0)), "at", "found '81 mm'"),
        (lambda: straight().influence(PointLoad(), -1.0), "at", "found '-1 mm'"),
        (lambda: straight().influence(PointLoad(direction="sideways")), "direction", "vertical, perpendicular"),
        (lambda: straight().influence(LineLoad(10.0, 90.0)), "to", "found '90 mm'"),
        (lambda: straight().influence(LineLoad(50.0, 50.0)), "to", "beyond from"),
        (lambda: straight(SIMPLE, heading=90.0).influence(PointLoad()), "supports", "above one another"),
        (lambda: Beam((Arc(section=BAR, radius=30.0, angle=360.0),)).opening(FacePair()), None, "no direction"),
        (lambda: Straight(section=BAR, length=0.0), "length", "above zero"),
        (lambda: Arc(section=BAR, radius=2.0, angle=90.0), "radius", "no radius left"),
        (lambda: Arc(section=BAR, radius=-5.0, angle=90.0), "radius", "above zero"),
        (lambda: Arc(section=BAR, radius=20.0, angle=400.0), "angle", "360"),
        (lambda: Straight(section=BAR, end_section=Round(4.0), length=9.0), "section", "same kind"),
    ],
)
def test_what_cannot_be_computed_is_refused_with_the_reason(build, key, words):
    with pytest.raises(InputError) as caught:
        build()
    assert caught.value.key == key
    assert words in str(caught.value)
