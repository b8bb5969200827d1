"""The axis of a beam: straight and curved segments in one vertical plane, chained from the support outward.

Distances along the axis are in mm, angles in degrees, anticlockwise positive; x points sideways, y up.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array
from creepfit.mechanics.section import Section, Size, between

IntArray = NDArray[np.int64]

NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)
# With 16 points, eight panels a taper meet its rational integrand to rounding for any ends up to 20 : 1, and
# an eighth of a turn its sines: both far below the 1e-9 that the closed forms are held to.
PANELS_PER_TAPER = 8
DEGREES_PER_PANEL = 45.0


@dataclass(frozen=True, kw_only=True)
class Segment(ABC):
    """A stretch of beam with one section, or a taper from `section` to `end_section`; use Straight or Arc.

    `turn` is a sharp corner before it, in degrees; `out` a turn about the axis before that, out of the plane, which only
    `mechanics.space_bar` knows.
    """

    section: Section
    end_section: Section | None = None
    turn: float = 0.0
    out: float = 0.0
    name: str = ""

    def __post_init__(self) -> None:
        if self.end_section is not None:
            between(self.section, self.end_section, 0.5)

    @property
    @abstractmethod
    def axis_length(self) -> float:
        """Length along the axis, mm."""

    @property
    @abstractmethod
    def curvature(self) -> float:
        """Change of heading per length, rad/mm; 0 for a straight one."""

    @property
    def depth(self) -> float:
        """Largest depth of its sections, mm."""
        ends = (self.section, self.end_section or self.section)
        return max(float(np.max(end.depth)) for end in ends)

    @property
    def panels(self) -> int:
        """Panels that one Gauss rule each integrates to rounding."""
        turns = np.degrees(abs(self.curvature) * self.axis_length) / DEGREES_PER_PANEL
        return max(1, int(np.ceil(turns)), 1 if self.end_section is None else PANELS_PER_TAPER)

    def section_at(self, fraction: Array) -> Section:
        """Section at a fraction of the length; its sizes are arrays where it tapers."""
        return self.section if self.end_section is None else between(self.section, self.end_section, fraction)


@dataclass(frozen=True, kw_only=True)
class Straight(Segment):
    """A straight segment of `length` mm."""

    length: float

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 0.0 < self.length < np.inf:
            raise InputError(key="length", found=f"{self.length:g} mm", expected="a length above zero")

    @property
    def axis_length(self) -> float:
        return self.length

    @property
    def curvature(self) -> float:
        return 0.0


@dataclass(frozen=True, kw_only=True)
class Arc(Segment):
    """A circular arc: centre-line `radius` in mm, `angle` in degrees, positive where it bends anticlockwise.

    Bending is that of a straight bar, good while the radius is several depths (see `BeamAxis.tightest_curve`).
    """

    radius: float
    angle: float

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 0.0 < self.radius < np.inf:
            raise InputError(key="radius", found=f"{self.radius:g} mm", expected="a length above zero")
        if not 0.0 < abs(self.angle) <= 360.0:
            raise InputError(key="angle", found=f"{self.angle:g} degrees", expected="0 to 360 degrees, not 0")
        if self.radius <= self.depth / 2.0:
            raise InputError(
                "the inside of the bend has no radius left",
                key="radius",
                found=f"{self.radius:g} mm",
                expected=f"a centre-line radius above half the depth, {self.depth / 2.0:g} mm",
            )

    @property
    def axis_length(self) -> float:
        return float(self.radius * np.radians(abs(self.angle)))

    @property
    def curvature(self) -> float:
        return float(np.sign(self.angle)) / self.radius


class BeamAxis:
    """The chained segments: where each point of the axis lies, which way it heads, and its section.

    Parameters
    ----------
    segments : sequence of Segment
    headings : sequence of float or None
        For each segment a heading that overrides the chain, in degrees above the horizontal.
    start : float
        Distance (mm) given to the beginning of the first segment.
    """

    def __init__(self, segments: Sequence[Segment], headings: Sequence[float | None], start: float = 0.0) -> None:
        self.segments = tuple(segments)
        self.joints = start + np.concatenate([[0.0], np.cumsum([s.axis_length for s in self.segments])])
        self._curvatures = np.array([s.curvature for s in self.segments])
        self._tapers = [i for i, s in enumerate(self.segments) if s.end_section is not None]
        self._headings, self._origins = self._chain(headings)

    @property
    def start(self) -> float:
        return float(self.joints[0])

    @property
    def end(self) -> float:
        return float(self.joints[-1])

    def locate(self, at: float | None, key: str = "at") -> float:
        """Return a distance that was checked to lie on the axis; None is the end.

        Raises
        ------
        InputError
            Where the point lies off the beam.
        """
        if at is None:
            return self.end
        slack = 1e-9 * (self.end - self.start)
        if not self.start - slack <= at <= self.end + slack:
            expected = f"a distance along the axis from {self.start:g} mm to {self.end:g} mm"
            raise InputError(key=key, found=f"{at:g} mm", expected=expected)
        return min(max(float(at), self.start), self.end)

    @cached_property
    def panel_edges(self) -> Array:
        """Every joint, and the cuts inside tapers and arcs; shape (n,), mm."""
        cuts = [self.joints]
        for i, segment in enumerate(self.segments):
            if segment.panels > 1:
                cuts.append(np.linspace(self.joints[i], self.joints[i + 1], segment.panels + 1))
        return np.unique(np.concatenate(cuts))

    @property
    def tightest_curve(self) -> float | None:
        """Smallest centre-line radius over depth; None without arcs.

        Below about 5 the stress on the inside of a rectangular bend is more than 7 % above that of the
        straight bar used here (Winkler-Bach theory of curved bars, from memory; own arithmetic).
        """
        return min((s.radius / s.depth for s in self.segments if isinstance(s, Arc)), default=None)

    def segment_of(self, distance: Array) -> IntArray:
        """Index of the segment each distance lies in; a joint belongs to the outer one."""
        index = np.searchsorted(self.joints, distance, side="right") - 1
        return np.minimum(np.maximum(index, 0), len(self.segments) - 1)

    def heading(self, distance: Array) -> Array:
        """Heading in radians above the horizontal; same shape as `distance`."""
        i = self.segment_of(distance)
        return np.asarray(self._headings[i] + self._curvatures[i] * (distance - self.joints[i]))

    def position(self, distance: Array) -> Array:
        """Coordinates x, y in mm; shape (2, ...)."""
        i = self.segment_of(distance)
        return self._origins[:, i] + _chord(self._headings[i], self._curvatures[i], distance - self.joints[i])

    def tangent(self, distance: Array) -> Array:
        """Unit vector along the axis; shape (2, ...)."""
        heading = self.heading(distance)
        return np.stack([np.cos(heading), np.sin(heading)])

    def section_values(self, distance: Array, *properties: Callable[[Section], Size]) -> list[Array]:
        """Properties of the section at each distance; one array of the shape of `distance` per property."""
        index = self.segment_of(distance)
        # of segments with one section a number each; where one tapers it is that of its beginning until it is replaced
        values = [np.array([float(prop(s.section)) for s in self.segments])[index] for prop in properties]
        for i in self._tapers:
            here = index == i
            length = self.joints[i + 1] - self.joints[i]
            fraction = np.clip((distance[here] - self.joints[i]) / length, 0.0, 1.0)
            section = self.segments[i].section_at(fraction)
            for value, prop in zip(values, properties, strict=True):
                value[here] = prop(section)
        return values

    def _chain(self, headings: Sequence[float | None]) -> tuple[Array, Array]:
        angles = []
        heading = 0.0
        for segment, given in zip(self.segments, headings, strict=True):
            heading = (heading if given is None else np.radians(given)) + np.radians(segment.turn)
            angles.append(heading)
            heading += segment.curvature * segment.axis_length
        turned, lengths = np.array(angles), np.array([segment.axis_length for segment in self.segments])
        steps = np.concatenate([np.zeros((2, 1)), _chord(turned, self._curvatures, lengths)], axis=1)
        return turned, np.cumsum(steps, axis=1)


def _chord(heading: Array, curvature: Array, length: Array) -> Array:
    """Vector from the start of an arc to `length` along it; sinc keeps it exact for the straight line."""
    half = curvature * length / 2.0
    chord = length * np.sinc(half / np.pi)
    return np.stack([chord * np.cos(heading + half), chord * np.sin(heading + half)])
