"""Random beams against the differential equations of statics and of Timoshenko's beam, solved by scipy."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp, solve_ivp

from creepfit.mechanics.beam import Beam, Support
from creepfit.mechanics.beam_axis import Arc, Segment, Straight
from creepfit.mechanics.beam_loads import LineLoad, Load, PointLoad, SelfWeight
from creepfit.mechanics.section import Rectangle, cowper_rectangle

fractions = st.floats(0.05, 1.0)
sections = st.builds(Rectangle, st.floats(5.0, 30.0), st.floats(3.0, 12.0))
straights = st.builds(
    lambda section, end, length, turn: Straight(section=section, end_section=end, length=length, turn=turn),
    sections,
    st.none() | sections,
    st.floats(10.0, 100.0),
    st.sampled_from([0.0, 30.0, -90.0]),
)
arcs = st.builds(
    lambda section, end, radius, angle: Arc(section=section, end_section=end, radius=radius, angle=angle),
    sections,
    st.none() | sections,
    st.floats(15.0, 60.0),
    st.sampled_from([-120.0, -40.0, 25.0, 170.0]),
)
level = st.builds(
    lambda section, end, length: Straight(section=section, end_section=end, length=length),
    sections,
    st.none() | sections,
    st.floats(10.0, 100.0),
)
chains = st.lists(straights | arcs, min_size=1, max_size=3).map(tuple)
headings = st.floats(-60.0, 100.0)


def _placed(segments: tuple[Segment, ...], fraction: float) -> float:
    return fraction * sum(segment.axis_length for segment in segments)


def _sizes(segment: Segment, u: float) -> tuple[float, float]:
    start, end = segment.section, segment.end_section or segment.section
    share = u / segment.axis_length
    return (
        start.width + (end.width - start.width) * share,
        start.thickness + (end.thickness - start.thickness) * share,
    )


def _tip_displacement(beam: Beam, point: float, line: tuple[float, float], weight: float) -> np.ndarray:
    """Displacement (x, y) of the free end by integrating inward for the forces and outward for the motion.

    1 N down at `point`, 1 N/mm down between the ends of `line`, `weight` N/mm^3 of self weight; its own kinematics,
    x' = cos, y' = sin, heading' = curvature, and no formula of the module under test.
    """
    joints = np.concatenate([[0.0], np.cumsum([s.axis_length for s in beam.segments])])
    cuts = np.unique(np.concatenate([joints, [point, *line]]))
    ratio, kappa = 2.0 * (1.0 + beam.poisson), cowper_rectangle(beam.poisson)
    heading, place = np.radians(beam.heading), np.zeros(2)
    pieces = []
    for low, high in pairwise(cuts):
        i = int(np.searchsorted(joints, (low + high) / 2.0)) - 1
        segment = beam.segments[i]
        if low == joints[i]:
            heading += np.radians(segment.turn)
        pieces.append((segment, low - joints[i], low, high, heading))
        heading += segment.curvature * (high - low)

    def solve(rhs, span, start):
        return solve_ivp(rhs, span, start, method="DOP853", rtol=1e-11, atol=1e-11, dense_output=True)

    down, moment, solutions = 0.0, 0.0, []
    for segment, offset, low, high, first in reversed(pieces):
        down += float(point == high)
        spread = float(line[0] <= low and high <= line[1])

        def inward(s, state, segment=segment, offset=offset, low=low, first=first, spread=spread):
            width, depth = _sizes(segment, offset + s - low)
            # A force down beyond the point turns it clockwise: dM/ds = F cos(heading) for M anticlockwise.
            cos = np.cos(first + segment.curvature * (s - low))
            return [-(spread + weight * width * depth), state[0] * cos]

        solution = solve(inward, (high, low), [down, moment])
        down, moment = solution.y[:, -1]
        solutions.append(solution.sol)
    turn = 0.0
    for (segment, offset, low, high, first), forces in zip(pieces, reversed(solutions), strict=True):

        def outward(s, state, segment=segment, offset=offset, low=low, first=first, forces=forces):
            width, depth = _sizes(segment, offset + s - low)
            force, bend = forces(s)
            angle = first + segment.curvature * (s - low)
            along, across = np.array([np.cos(angle), np.sin(angle)]), np.array([-np.sin(angle), np.cos(angle)])
            axial, shear = -force * np.sin(angle), -force * np.cos(angle)
            stretch, slide = axial / (width * depth), ratio * shear / (kappa * width * depth)
            move = (state[0] + slide) * across + stretch * along
            return [bend * 12.0 / (width * depth**3), *move]

        turn, *place = solve(outward, (low, high), [turn, *place]).y[:, -1]
    return np.array(place)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(chains, headings, fractions, fractions, fractions)
def test_random_chains_follow_the_differential_equations(segments, heading, at, first, second):
    beam = Beam(segments, heading=heading)
    point = _placed(segments, at)
    line = sorted(_placed(segments, f) for f in (first, second))
    if line[1] - line[0] < 1.0:
        line = [0.0, line[1]]
    weight = 2.0 / 1e3
    expected = _tip_displacement(beam, point, (line[0], line[1]), weight)
    found = np.array(
        [
            sum(
                size * beam.influence(load, direction=direction).per_compliance
                for load, size in ((PointLoad(point), 1.0), (LineLoad(*line), 1.0), (SelfWeight(), weight))
            )
            for direction in (0.0, 90.0)
        ]
    )
    np.testing.assert_allclose(found, expected, rtol=1e-6, atol=1e-6 * float(np.max(np.abs(expected))))


@settings(max_examples=15, deadline=None, derandomize=True)
@given(sections, sections, st.floats(30.0, 120.0))
def test_tapered_beam_on_two_supports_is_the_boundary_value_problem(start, end, length):
    segment = Straight(section=start, end_section=end, length=length)
    beam = Beam((segment,), Support("simply-supported"))
    ratio, kappa = 2.0 * (1.0 + beam.poisson), cowper_rectangle(beam.poisson)
    scale = length**3 / float(start.second_moment)  # deflections of the order of 1, for the solver

    def rhs(x, state):
        _, turn, moment, shear = state
        width, depth = _sizes(segment, x * length)
        bent = -moment * length * 12.0 / (width * depth**3) / scale * length
        slid = ratio * shear / (kappa * width * depth) / scale * length
        return np.array([turn + slid, bent, shear * length, -np.full_like(x, length)])

    def ends(left, right):
        return np.array([left[0], right[0], left[2], right[2]])

    x = np.linspace(0.0, 1.0, 41)
    solution = solve_bvp(rhs, ends, x, np.zeros((4, 41)), tol=1e-9, max_nodes=50_000)
    assert solution.success
    for at in (0.25, 0.5, 0.8):
        expected = float(solution.sol(at)[0]) * scale
        assert beam.influence(LineLoad(), at * length).per_compliance == pytest.approx(expected, rel=1e-6)


supports = st.sampled_from(["cantilever", "simply-supported", "overhanging"])


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.lists(level | arcs, min_size=1, max_size=3).map(tuple), supports, fractions, fractions)
def test_work_is_reciprocal(segments, kind, one, other):
    # Betti and Maxwell: the deflection at a under a load at b is that at b under a load at a.
    length = sum(segment.axis_length for segment in segments)
    rests = (0.1 * length, 0.7 * length) if kind == "overhanging" else ()
    beam = Beam(segments, Support(kind, rests))
    a, b = _placed(segments, one), _placed(segments, other)
    there = beam.influence(PointLoad(b), a).per_compliance
    back = beam.influence(PointLoad(a), b).per_compliance
    size = abs(beam.influence(PointLoad(a), a).per_compliance) + abs(beam.influence(PointLoad(b), b).per_compliance)
    assert there == pytest.approx(back, rel=1e-9, abs=1e-9 * size)


@pytest.mark.parametrize("load", [PointLoad(), PointLoad(20.0, 120.0), LineLoad(5.0, 60.0), SelfWeight()])
@pytest.mark.parametrize("kind", ["cantilever", "simply-supported"])
def test_shape_is_the_influence_at_every_point(load: Load, kind: str):
    taper = Straight(section=Rectangle(12.0, 8.0), end_section=Rectangle(9.0, 4.0), length=50.0)
    arc = Arc(section=Rectangle(9.0, 4.0), radius=30.0, angle=-40.0)
    root = 1e-6 if kind == "cantilever" else 0.0
    beam = Beam((taper, arc), Support(kind), heading=10.0, root_compliance=root)
    points = np.linspace(0.0, beam.axis.end, 7)
    compliant, mount = beam.shape(load, points)
    for row, angle in enumerate((0.0, 90.0)):
        each = [beam.influence(load, float(point), angle) for point in points]
        scale = float(np.max(np.abs(compliant)))
        np.testing.assert_allclose(compliant[row], [i.per_compliance for i in each], rtol=1e-9, atol=1e-12 * scale)
        np.testing.assert_allclose(mount[row], [i.mount for i in each], rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(compliant[:, 0], 0.0, atol=1e-12 * scale)  # the support does not move
