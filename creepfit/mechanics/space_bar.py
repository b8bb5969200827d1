"""Bars bent out of their plane: hooks and arms that turn sideways, clamped at their start.

The unit load once more, with bending about both axes of the section and torsion:

    influence = integral of Mb mb / Ib + Mn mn / In + (E/G) (T t / J + V v / (kappa A)) + N n / A   along the axis

(Gere & Timoshenko, Mechanics of Materials; for the circular arc loaded square to its plane, Roark's Formulas for Stress
and Strain). In one plane, under loads in it, that is `Beam`. Torsion takes E/G times the compliance: with a Poisson's ratio
that does not change both creep alike.

The section goes along with the bar: its thickness lies in the plane of each bend, its width square to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import NODES, WEIGHTS, Segment
from creepfit.mechanics.loading import Array
from creepfit.mechanics.section import Rectangle, Section
from creepfit.mechanics.torsion import torsional_constant

DEGREES_PER_PANEL = 22.5

ENDS = np.array([-1.0, *NODES, 1.0])
"""Of a panel: the points of integration, and both ends, where stresses are largest."""


@dataclass(frozen=True)
class Pull:
    """A force of 1 N along `direction` (x, y, z) at a distance along the axis, mm; None for the end."""

    at: float | None
    direction: tuple[float, float, float]


@dataclass(frozen=True)
class PulledBar:
    """A bar with the forces on it, in words, and where and which way its sag is read."""

    bar: SpaceBar
    pulls: tuple[tuple[Pull, str], ...]
    read: Pull


class _Stiffness(NamedTuple):
    """Of a section: area, second moments about the width's and the thickness's way, J, shear areas in both ways."""

    area: float
    bending: tuple[float, float]
    torsion: float
    shear: tuple[float, float]


@dataclass(frozen=True, eq=False)
class _Stretch:
    """Points along the axis in one segment: distance (n,), weight (n,), place (3, n), and the triad t, n, b (3, 3, n)."""

    distance: Array
    weight: Array
    place: Array
    triad: Array
    section: Section


@dataclass(frozen=True)
class SpaceBar:
    """A chain of segments in space, clamped at its start.

    Parameters
    ----------
    segments : tuple of Segment
        Each turns by its `out` about the axis before it sets out: what it then bends, it bends out of the plane.
    heading : float
        Degrees above the horizontal in the x, y plane.
    poisson : float
    shear_ratio : float, optional
        E/G; 2 (1 + poisson) where it is not given.
    """

    segments: tuple[Segment, ...]
    heading: float = 0.0
    poisson: float = 0.38
    shear_ratio: float | None = None

    def __post_init__(self) -> None:
        for number, segment in enumerate(self.segments, start=1):
            if segment.end_section is not None:
                raise InputError(
                    "a bar bent out of its plane has one section along each segment",
                    key=f"segment {number}",
                    expected="sizes without pairs",
                )
            try:
                torsional_constant(segment.section)
            except InputError as error:
                key = f"segment {number}.section"
                raise InputError(error.problem, key=key, expected=error.expected) from None

    @property
    def length(self) -> float:
        return sum(segment.axis_length for segment in self.segments)

    @property
    def ratio(self) -> float:
        """E/G."""
        return 2.0 * (1.0 + self.poisson) if self.shear_ratio is None else self.shear_ratio

    def locate(self, at: float | None, key: str = "at") -> float:
        """A distance along the axis, the end for None.

        Raises
        ------
        InputError
            Off the bar.
        """
        if at is not None and not 0.0 <= at <= self.length * (1.0 + 1e-9):
            raise InputError(key=key, found=f"{at:g} mm", expected=f"a distance along the axis, 0 to {self.length:g} mm")
        return self.length if at is None else min(at, self.length)

    def position(self, distance: float) -> Array:
        """Coordinates x, y, z of a point of the axis, mm; shape (3,)."""
        start = 0.0
        for segment, (origin, triad) in zip(self.segments, self._starts, strict=True):
            if distance <= start + segment.axis_length * (1.0 + 1e-12) or segment is self.segments[-1]:
                return _along(segment, origin, triad, np.array([distance - start]))[0][:, 0]
            start += segment.axis_length
        raise AssertionError("a chain has an end")

    def influence(self, load: Pull, unit: Pull) -> float:
        """Deflection where and as `unit` acts, per newton of a load and per compliance, mm MPa."""
        cuts = [self.locate(load.at), self.locate(unit.at)]
        deflection = 0.0
        for stretch in self._stretches(cuts, NODES, WEIGHTS):
            k = _stiffness(stretch.section, self.poisson)
            force, moment = self._forces(load, stretch)
            unit_force, unit_moment = self._forces(unit, stretch)
            work = moment * unit_moment
            shears = force * unit_force
            density = work[2] / k.bending[0] + work[1] / k.bending[1] + shears[0] / k.area
            density = density + self.ratio * (work[0] / k.torsion + shears[1] / k.shear[0] + shears[2] / k.shear[1])
            deflection += float(np.sum(density * stretch.weight))
        return deflection

    def peak_stress(self, loads: Sequence[tuple[Pull, float]]) -> float:
        """Largest equivalent stress (von Mises) of bending about both axes, pull and torsion, MPa."""
        worst = 0.0
        none = np.zeros(ENDS.size)
        for stretch in self._stretches([self.locate(load.at) for load, _ in loads], ENDS, none):
            force, moment = np.zeros((3, stretch.distance.size)), np.zeros((3, stretch.distance.size))
            for load, size in loads:
                one = self._forces(load, stretch)
                force, moment = force + size * one[0], moment + size * one[1]
            k = _stiffness(stretch.section, self.poisson)
            fibres = float(np.asarray(stretch.section.outer_fibre)), _across(stretch.section) / 2.0
            bent = np.abs(moment[2]) * fibres[0] / k.bending[0], np.abs(moment[1]) * fibres[1] / k.bending[1]
            corners = isinstance(stretch.section, Rectangle)
            bending = bent[0] + bent[1] if corners else np.hypot(*bent)
            shear = np.abs(moment[0]) * torsional_constant(stretch.section)[1]
            equivalent = np.hypot(bending + np.abs(force[0]) / k.area, np.sqrt(3.0) * shear)
            worst = max(worst, float(equivalent.max()))
        return worst

    def _forces(self, load: Pull, stretch: _Stretch) -> tuple[Array, Array]:
        """Force and moment by t, n and b at each point, just outward of it; shape (3, n) each."""
        at = self.locate(load.at)
        beyond = stretch.distance < at * (1.0 - 1e-12)
        pull = np.array(load.direction)[:, None] * beyond
        moment = np.cross(self.position(at)[:, None] - stretch.place, pull, axis=0)
        return np.einsum("akn,kn->an", stretch.triad, pull), np.einsum("akn,kn->an", stretch.triad, moment)

    @cached_property
    def _starts(self) -> list[tuple[Array, Array]]:
        """Where each segment begins, and t, n, b there (rows)."""
        angle = np.radians(self.heading)
        triad = np.array([[np.cos(angle), np.sin(angle), 0.0], [-np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
        origin, starts = np.zeros(3), []
        for segment in self.segments:
            triad = _turned(_rolled(triad, np.radians(segment.out)), np.radians(segment.turn))
            starts.append((origin, triad))
            place, ends = _along(segment, origin, triad, np.array([segment.axis_length]))
            origin, triad = place[:, 0], ends[:, :, 0]
        return starts

    def _stretches(self, cuts: Sequence[float], points: Array, weights: Array) -> list[_Stretch]:
        stretches, start = [], 0.0
        for segment, (origin, triad) in zip(self.segments, self._starts, strict=True):
            length = segment.axis_length
            pieces = 1 + int(np.degrees(abs(segment.curvature) * length) / DEGREES_PER_PANEL)
            inner = [cut - start for cut in cuts if 0.0 < cut - start < length]
            edges = np.union1d(np.linspace(0.0, length, pieces + 1), inner)
            half = np.diff(edges)[:, None] / 2.0
            # a hair inside of the panel: what acts at an edge acts on one side of it only
            local = (edges[:-1, None] + half * (1.0 + points * (1.0 - 1e-9))).ravel()
            place, triads = _along(segment, origin, triad, local)
            stretches.append(_Stretch(start + local, (half * weights).ravel(), place, triads, segment.section))
            start += length
        return stretches


def _rolled(triad: Array, angle: float) -> Array:
    """Turned about t."""
    t, n, b = triad
    return np.array([t, np.cos(angle) * n + np.sin(angle) * b, np.cos(angle) * b - np.sin(angle) * n])


def _turned(triad: Array, angle: float) -> Array:
    """Turned about b, anticlockwise."""
    t, n, b = triad
    return np.array([np.cos(angle) * t + np.sin(angle) * n, np.cos(angle) * n - np.sin(angle) * t, b])


def _along(segment: Segment, origin: Array, triad: Array, local: Array) -> tuple[Array, Array]:
    """Place (3, n) and triad (3, 3, n) at distances (n,) along a segment."""
    t, n, b = triad[:, :, None]
    angle = segment.curvature * local
    half = angle / 2.0
    chord = local * np.sinc(half / np.pi)
    place = origin[:, None] + chord * (np.cos(half) * t + np.sin(half) * n)
    ahead, inward = np.cos(angle) * t + np.sin(angle) * n, np.cos(angle) * n - np.sin(angle) * t
    return place, np.array([ahead, inward, b + 0.0 * ahead])


def _stiffness(section: Section, poisson: float) -> _Stiffness:
    one = [float(np.asarray(v)) for v in (section.area, section.second_moment, section.shear_area(poisson))]
    other = section
    if isinstance(section, Rectangle):
        other = Rectangle(section.thickness, section.width)
    across = [float(np.asarray(v)) for v in (other.second_moment, other.shear_area(poisson))]
    return _Stiffness(one[0], (one[1], across[0]), torsional_constant(section)[0], (one[2], across[1]))


def _across(section: Section) -> float:
    return float(np.asarray(section.width if isinstance(section, Rectangle) else section.depth))
