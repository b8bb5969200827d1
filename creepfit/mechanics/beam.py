"""Deflection and stress of statically determinate beams, by the unit load.

There the internal forces follow from the loads alone and stay as they are while the material creeps, so every
deflection is a number of the geometry times the compliance (correspondence principle). That number is

    influence = integral of M m / I + (E/G) V v / (kappa A) + N n / A   along the axis,

M, V, N under a load of unit size and m, v, n under a unit force where and as the deflection is read (virtual
work; Gere & Timoshenko, Mechanics of Materials, unit-load method). `Beam` is the one place where it is worked
out, for parts and for specimens. Each load has its own influence, as each has its own history.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import NODES, WEIGHTS, BeamAxis, IntArray, Segment
from creepfit.mechanics.beam_loads import Direction, FacePair, Load, PointLoad, cross, point_force
from creepfit.mechanics.loading import Array

DEFAULT_POISSON = 0.38
"""Of a rigid thermoplastic, where none is given (common practice, no source); only shear depends on it."""

SUPPORTS = ("cantilever", "simply-supported", "overhanging")


@dataclass(frozen=True)
class Support:
    """How a beam is held: clamped at its start, resting on its two ends, or on two points `at` (mm).

    `held_down` where it cannot lift off its rests.
    """

    kind: str = "cantilever"
    at: tuple[float, ...] = ()
    held_down: bool = False

    def __post_init__(self) -> None:
        if self.kind not in SUPPORTS:
            raise InputError(key="support", found=self.kind, expected="one of " + ", ".join(SUPPORTS))
        if self.kind == "overhanging" and (len(self.at) < 2 or not self.at[0] < self.at[1]):
            raise InputError(key="supports", found=self.at, expected="two distances, the nearer one first")
        if self.kind != "overhanging" and self.at:
            raise InputError(key="supports", found=self.at, expected=f"none for a {self.kind} beam")


class SectionForces(NamedTuple):
    """Moment (N mm), shear and axial force (N) per unit load, each of shape (n,)."""

    moment: Array
    shear: Array
    axial: Array


@dataclass(frozen=True)
class Influence:
    """Deflection at one point per unit of one load.

    `bending`, `shear` and `axial` are per unit compliance (mm MPa per unit load), one value per segment, those
    of an upright first. `mount` is what the root's own turning adds, in mm per unit load: it does not creep with
    the material.
    """

    bending: tuple[float, ...]
    shear: tuple[float, ...]
    axial: tuple[float, ...]
    mount: float = 0.0

    @property
    def by_segment(self) -> tuple[float, ...]:
        """Share of each segment in `per_compliance`, mm MPa per unit load."""
        return tuple(map(sum, zip(self.bending, self.shear, self.axial, strict=True)))

    @property
    def per_compliance(self) -> float:
        """Deflection per unit load and unit compliance, mm MPa per unit load."""
        return sum(self.by_segment)

    @property
    def shear_share(self) -> float | None:
        """Fraction of `per_compliance` that is shear; None where nothing deflects."""
        return sum(self.shear) / self.per_compliance if self.per_compliance else None


@dataclass(frozen=True)
class StressPeak:
    """The largest outer-fibre stress (MPa, by size), where along the axis (mm; None without one), and in which segment."""

    value: float
    at: float | None
    segment: int


class IntegrationPoints(NamedTuple):
    """Integration points along the axis with what the integrand needs there; each of shape (n,)."""

    distance: Array
    weight: Array
    segment: IntArray
    second_moment: Array
    area: Array
    shear_area: Array


@dataclass(frozen=True)
class Beam:
    """A beam of segments from its support outward; distances along the axis count from the first of them.

    Parameters
    ----------
    segments : tuple of Segment
    support : Support
    upright : tuple of Segment
        What carries the root of the beam, from the wall on: the upright of a bracket. Its distances are negative.
    heading, upright_heading : float
        Directions in which the first segment of each sets out, degrees above the horizontal.
    poisson : float
    shear_ratio : float, optional
        E/G; 2 (1 + poisson) where it is not given. Printed parts can have more.
    root_compliance : float
        Turn of the clamped end per moment, rad/(N mm).
    """

    segments: tuple[Segment, ...]
    support: Support = Support()
    upright: tuple[Segment, ...] = ()
    heading: float = 0.0
    upright_heading: float = 90.0
    poisson: float = DEFAULT_POISSON
    shear_ratio: float | None = None
    root_compliance: float = 0.0

    def __post_init__(self) -> None:
        if not self.segments:
            raise InputError("a beam needs at least one segment", key="segment")
        if any(segment.out for segment in (*self.upright, *self.segments)):
            raise InputError(
                "only an arm of a part that is clamped at its beginning may leave its plane",
                key="segment",
                found="out",
                expected="segments in one plane",
            )
        if not 0.0 <= self.poisson <= 0.5:
            raise InputError(key="poisson", found=self.poisson, expected="0 to 0.5")
        if len(self.support.at) > 2:
            raise InputError(
                "more supports than a beam in balance by itself has: a frame (`mechanics.frame`) takes them as holds",
                key="support",
                found=f"{len(self.support.at)} supports",
            )
        if self.shear_ratio is not None and not 0.0 < self.shear_ratio < np.inf:
            raise InputError(key="shear_ratio", found=self.shear_ratio, expected="E/G, above zero")
        if not 0.0 <= self.root_compliance < np.inf:
            raise InputError(key="root_compliance", found=self.root_compliance, expected="zero or more")
        if self.support.kind != "cantilever" and (self.upright or self.root_compliance):
            key = "upright" if self.upright else "root_compliance"
            raise InputError("only a beam clamped at its root can have it", key=key, found=self.support.kind)
        for at in self.rests:
            self.axis.locate(at, "supports")

    @cached_property
    def axis(self) -> BeamAxis:
        """The axis; the upright, if any, comes first."""
        chain = self.upright + self.segments
        headings: list[float | None] = [None] * len(chain)
        headings[0] = self.upright_heading
        headings[len(self.upright)] = self.heading
        return BeamAxis(chain, headings, -sum(segment.axis_length for segment in self.upright))

    @property
    def member_count(self) -> int:
        """Members that share in a deflection: its segments, those of an upright first."""
        return len(self.axis.segments)

    @property
    def ratio(self) -> float:
        """E/G."""
        return 2.0 * (1.0 + self.poisson) if self.shear_ratio is None else self.shear_ratio

    @property
    def rests(self) -> tuple[float, ...]:
        """Where the beam rests, empty for a clamped one."""
        if self.support.kind == "simply-supported":
            return self.axis.start, self.axis.end
        return self.support.at

    def influence(self, load: Load, at: float | None = None, direction: Direction = "vertical") -> Influence:
        """Deflection at a point per unit of a load.

        Parameters
        ----------
        load : Load
        at : float, optional
            Where the deflection is read, mm along the axis; the end if not given.
        direction : "vertical", "perpendicular" or degrees above the horizontal
            What counts as positive: downward, square to the axis, or that way.

        Raises
        ------
        InputError
            Where the load or the point lies off the beam.
        """
        return self.influence_on(load, PointLoad(at, direction))

    def opening(self, pair: FacePair) -> Influence:
        """How far two faces move apart per newton of the pair of forces between them, read at the forces."""
        return self.influence_on(pair, pair)

    def shape(self, load: Load, points: Array) -> tuple[Array, Array]:
        """Displacement along the axis, to draw the bent beam.

        Parameters
        ----------
        load : Load
        points : array of shape (n,)
            Distances along the axis, mm.

        Returns
        -------
        per_compliance : array of shape (2, n)
            Displacement along x and y (up) per unit load and unit compliance.
        mount : array of shape (2, n)
            What the root's own turning adds, mm per unit load.
        """
        nodes = self._nodes([*load.breaks(self.axis), *(self.axis.locate(p) for p in points)])
        real = self.forces(load, nodes.distance)
        compliant, mount = np.empty((2, len(points))), np.empty((2, len(points)))
        for row, angle in enumerate((0.0, 90.0)):
            for column, point in enumerate(points):
                unit = PointLoad(float(point), angle)
                compliant[row, column] = np.sum(self._integrals(nodes, real, self.forces(unit, nodes.distance)))
                mount[row, column] = self._mount(load, unit)
        return compliant, mount

    def forces(self, load: Load, distance: Array) -> SectionForces:
        """Internal forces per unit load at each distance (mm, shape (n,)), just outward of it."""
        force, moment = load.beyond(self.axis, distance)
        for at, reaction in self._reactions(load):
            more = point_force(self.axis, at, reaction, distance)
            force, moment = force + more[0], moment + more[1]
        position, along = self._placed(distance)
        return SectionForces(moment - cross(position, force), cross(along, force), np.sum(along * force, axis=0))

    def _placed(self, distance: Array) -> tuple[Array, Array]:
        """Position and tangent at each distance: of many loads at the same points, one after the other, worked out once."""
        known, points = self._placed_last, distance.tobytes()  # what is in it, as an array may be changed in place
        if points not in known:
            known.clear()
            known[points] = (self.axis.position(distance), self.axis.tangent(distance))
        return known[points]

    @cached_property
    def _placed_last(self) -> dict[bytes, tuple[Array, Array]]:
        return {}

    def stress(self, loads: Sequence[tuple[Load, float]], distance: Array) -> Array:
        """Largest outer-fibre stress of the walls at each distance, |M| c / I + |N| / A, in MPa, shape (n,).

        `loads` are pairs of a load and its size (N, N/mm or N/mm^3).
        """
        moment, axial = np.zeros(distance.shape), np.zeros(distance.shape)
        for load, size in loads:
            forces = self.forces(load, distance)
            moment, axial = moment + size * forces.moment, axial + size * forces.axial
        modulus, area = self.axis.section_values(
            distance, lambda section: section.second_moment / section.outer_fibre, lambda section: section.area
        )
        return np.abs(moment) / modulus + np.abs(axial) / area

    def peak_stress(self, loads: Sequence[tuple[Load, float]]) -> StressPeak:
        """Largest outer-fibre stress anywhere; `loads` as in `stress`."""
        edges = self._edges([at for load, _ in loads for at in load.breaks(self.axis)])
        # Sampled up to just inside each edge, since section and axial force can jump there; then closing in.
        low, high = edges[:-1], np.nextafter(edges[1:], edges[0])
        grid = np.linspace(low, high, 17, axis=1)
        best, value = self.axis.start, -1.0
        for _ in range(8):
            stress = self.stress(loads, grid.ravel()).reshape(grid.shape)
            row, column = divmod(int(np.argmax(stress)), grid.shape[1])
            if stress[row, column] <= value * (1.0 + 1e-13):
                break
            best, value = float(grid[row, column]), float(stress[row, column])
            ends = grid[row, max(column - 1, 0)], grid[row, min(column + 1, grid.shape[1] - 1)]
            grid = np.union1d(np.linspace(*ends, 16), [best])[np.newaxis]
        return StressPeak(value, best, int(self.axis.segment_of(np.array(best))))

    def influence_on(self, load: Load, unit: Load) -> Influence:
        """Deflection per unit of a load, where and as the force (or pair of forces) `unit` acts; worked out once."""
        if (load, unit) not in self._known:
            self._known[load, unit] = self._influence(load, unit)
        return self._known[load, unit]

    @cached_property
    def _known(self) -> dict[tuple[Load, Load], Influence]:
        return {}

    def _influence(self, load: Load, unit: Load) -> Influence:
        nodes = self._nodes([*load.breaks(self.axis), *unit.breaks(self.axis)])
        parts = self._integrals(nodes, self._felt(load, nodes), self._felt(unit, nodes))
        bending, shear, axial = (tuple(float(value) for value in part) for part in parts)
        return Influence(bending, shear, axial, self._mount(load, unit))

    def _felt(self, load: Load, nodes: IntegrationPoints) -> SectionForces:
        """Internal forces at integration points; what several loads are read by is worked out once."""
        key = load, nodes.distance.tobytes()
        if key not in self._felt_known:
            self._felt_known[key] = self.forces(load, nodes.distance)
        return self._felt_known[key]

    @cached_property
    def _felt_known(self) -> dict[tuple[Load, bytes], SectionForces]:
        return {}

    def _integrals(self, nodes: IntegrationPoints, real: SectionForces, virtual: SectionForces) -> Array:
        """The unit-load integrals of bending, shear and axial force, per segment; shape (3, segments)."""
        integrands = (
            real.moment * virtual.moment / nodes.second_moment,
            self.ratio * real.shear * virtual.shear / nodes.shear_area,
            real.axial * virtual.axial / nodes.area,
        )
        count = len(self.axis.segments)
        return np.array([np.bincount(nodes.segment, part * nodes.weight, count) for part in integrands])

    def _mount(self, load: Load, unit: Load) -> float:
        if self.root_compliance == 0.0:
            return 0.0
        root = np.array([self.axis.start])
        moments = self.forces(load, root).moment * self.forces(unit, root).moment
        return self.root_compliance * float(moments[0])

    def _reactions(self, load: Load) -> list[tuple[float, Array]]:
        """Forces of shape (2,) at the two rests: the first holds both ways, the second only up and down."""
        if not self.rests:
            return []
        first, second = self.rests
        origin = self.axis.position(np.array(first))
        lever = float(self.axis.position(np.array(second))[0] - origin[0])
        if abs(lever) <= 1e-9 * (self.axis.end - self.axis.start):
            raise InputError("the two supports lie above one another", key="supports")
        force, moment = load.beyond(self.axis, np.array([self.axis.start - 1.0]))
        about_first = float(moment[0] - cross(origin, force[:, 0]))
        upward = np.array([0.0, -about_first / lever])
        return [(first, -force[:, 0] - upward), (second, upward)]

    def rest_forces(self, load: Load) -> tuple[float, ...]:
        """Upward force of each rest on the beam per unit of a load, N: below zero it holds it down."""
        return tuple(float(force[1]) for _, force in self._reactions(load))

    def _edges(self, breaks: Sequence[float]) -> Array:
        return np.union1d(self.axis.panel_edges, [*breaks, *self.rests])

    def _nodes(self, breaks: Sequence[float]) -> IntegrationPoints:
        edges = self._edges(breaks)
        key = edges.tobytes()
        if key not in self._nodes_known:
            self._nodes_known[key] = self._nodes_between(edges)
        return self._nodes_known[key]

    @cached_property
    def _nodes_known(self) -> dict[bytes, IntegrationPoints]:
        return {}

    def _nodes_between(self, edges: Array) -> IntegrationPoints:
        half = np.diff(edges)[:, np.newaxis] / 2.0
        distance = (edges[:-1, np.newaxis] + half * (1.0 + NODES)).ravel()
        values = self.axis.section_values(
            distance, lambda s: s.second_moment, lambda s: s.area, lambda s: s.shear_area(self.poisson)
        )
        return IntegrationPoints(distance, (half * WEIGHTS).ravel(), self.axis.segment_of(distance), *values)
