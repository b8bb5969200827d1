"""Loads on a beam: what each one of unit size exerts on the part of the beam beyond a given point of the axis.

Every load has its own history in time, so each is kept apart and counted per unit: 1 N for a point load, 1 N/mm
along the axis for a line load, 1 N/mm^3 of specific weight for self weight.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass
from typing import Literal

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import NODES, WEIGHTS, BeamAxis
from creepfit.mechanics.loading import Array
from creepfit.units import STANDARD_GRAVITY

Direction = Literal["vertical", "perpendicular"] | float
"""Of a force: downward, square to the axis (downward where it runs outward), or in degrees above the horizontal."""


def specific_weight(density: float) -> float:
    """Weight per volume, N/mm^3, of a density in kg/m^3."""
    return density * STANDARD_GRAVITY * 1e-9


def unit_vector(axis: BeamAxis, direction: Direction, distance: Array) -> Array:
    """Unit vector of a direction at each distance; shape (2, ...)."""
    if direction == "perpendicular":
        along = axis.tangent(distance)
        return np.stack([along[1], -along[0]])
    if direction == "vertical":
        return np.stack([np.zeros_like(distance), -np.ones_like(distance)])
    if isinstance(direction, str) or not np.isfinite(direction):
        raise InputError(key="direction", found=direction, expected="vertical, perpendicular or an angle")
    angle = np.full_like(distance, np.radians(direction))
    return np.stack([np.cos(angle), np.sin(angle)])


def cross(arm: Array, force: Array) -> Array:
    """Moment of a force at a lever arm, anticlockwise positive; both of shape (2, ...)."""
    return np.asarray(arm[0] * force[1] - arm[1] * force[0])


def point_force(axis: BeamAxis, at: float, force: Array, distance: Array) -> tuple[Array, Array]:
    """What one force of shape (2,) at a point exerts beyond each distance; see `Load.beyond`."""
    beyond = (distance < at).astype(np.float64)
    moment = cross(axis.position(np.array(at)), force)
    return force[:, np.newaxis] * beyond, moment * beyond


class Load(ABC):
    """A load of unit size."""

    @abstractmethod
    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        """Sum up the load beyond each point of the axis.

        Parameters
        ----------
        axis : BeamAxis
        distance : array of shape (n,)
            Points of the axis, mm.

        Returns
        -------
        force : array of shape (2, n)
            N per unit load.
        moment : array of shape (n,)
            About the origin, N mm per unit load.
        """

    @abstractmethod
    def breaks(self, axis: BeamAxis) -> list[float]:
        """Distances where the internal forces are not smooth, mm."""

    def couple(self, axis: BeamAxis, distance: Array) -> Array:
        """Moment beyond each point that no force brings, N mm per unit load; shape (n,)."""
        return np.zeros(distance.shape)


@dataclass(frozen=True)
class PointLoad(Load):
    """A force of 1 N at a distance along the axis, None for the end."""

    at: float | None = None
    direction: Direction = "vertical"

    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        at = axis.locate(self.at)
        # Just inside the joint, so that square to the axis means square to the stretch that carries the load.
        inside = np.array(at if at == axis.start else np.nextafter(at, axis.start))
        return point_force(axis, at, unit_vector(axis, self.direction, inside), distance)

    def breaks(self, axis: BeamAxis) -> list[float]:
        return [axis.locate(self.at)]


@dataclass(frozen=True)
class EndMoment(Load):
    """A couple of 1 N mm at a distance along the axis, None for the end; it turns an arm that runs to the right down."""

    at: float | None = None

    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        return np.zeros((2, *distance.shape)), self.couple(axis, distance)

    def breaks(self, axis: BeamAxis) -> list[float]:
        return [axis.locate(self.at)]

    def couple(self, axis: BeamAxis, distance: Array) -> Array:
        return np.where(distance < axis.locate(self.at), -1.0, 0.0)


class _Spread(Load):
    """A load spread along the axis, by its intensity."""

    @abstractmethod
    def _intensity(self, axis: BeamAxis, distance: Array) -> Array:
        """Force per length of axis at each distance; shape (2, ...)."""

    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        first, last = self.breaks(axis)
        inner = axis.panel_edges
        edges = np.concatenate([[first], inner[(inner > first) & (inner < last)], [last]])
        whole = self._integral(axis, edges[:-1], edges[1:])
        # Sum of all panels from each one outward; the point's own panel is added from the point onward.
        outward = np.concatenate([np.cumsum(whole[:, ::-1], axis=1)[:, ::-1], np.zeros((3, 1))], axis=1)
        start = np.clip(distance, first, last)
        panel = np.clip(np.searchsorted(edges, start, side="right") - 1, 0, len(edges) - 2)
        total = self._integral(axis, start, edges[panel + 1]) + outward[:, panel + 1]
        return total[:2], total[2]

    def _integral(self, axis: BeamAxis, start: Array, end: Array) -> Array:
        """Force and its moment about the origin between two distances; shape (3, n)."""
        half = (end - start)[:, np.newaxis] / 2.0
        distance = start[:, np.newaxis] + half * (1.0 + NODES)
        force = self._intensity(axis, distance)
        density = np.concatenate([force, cross(axis.position(distance), force)[np.newaxis]])
        return np.asarray(np.sum(density * half * WEIGHTS, axis=-1))


@dataclass(frozen=True)
class LineLoad(_Spread):
    """1 N per mm of axis between two distances; None for the ends of the whole axis or, for `start`, 0."""

    start: float | None = None
    end: float | None = None
    direction: Direction = "vertical"

    def breaks(self, axis: BeamAxis) -> list[float]:
        first = axis.locate(0.0 if self.start is None else self.start, "from")
        last = axis.locate(self.end, "to")
        if not first < last:
            raise InputError(key="to", found=f"{last:g} mm", expected=f"a distance beyond from, {first:g} mm")
        return [first, last]

    def _intensity(self, axis: BeamAxis, distance: Array) -> Array:
        return unit_vector(axis, self.direction, distance)


@dataclass(frozen=True)
class SelfWeight(_Spread):
    """The weight of the whole beam, 1 N/mm^3 of wall material; see `Section.weight_area` for `core_density`."""

    core_density: float | None = None

    def breaks(self, axis: BeamAxis) -> list[float]:
        return [axis.start, axis.end]

    def _intensity(self, axis: BeamAxis, distance: Array) -> Array:
        (area,) = axis.section_values(distance, lambda section: section.weight_area(self.core_density))
        return area * unit_vector(axis, "vertical", distance)


@dataclass(frozen=True)
class FacePair(Load):
    """Two opposite forces of 1 N that spread two faces apart, along the line between them; None for the ends."""

    first: float | None = None
    last: float | None = None

    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        first, last = self.breaks(axis)
        line = axis.position(np.array(last)) - axis.position(np.array(first))
        gap = float(np.hypot(*line))
        if gap <= 1e-9 * (axis.end - axis.start):
            raise InputError("the two faces lie on one another, so the pair of forces has no direction")
        outer = point_force(axis, last, line / gap, distance)
        inner = point_force(axis, first, -line / gap, distance)
        return outer[0] + inner[0], outer[1] + inner[1]

    def breaks(self, axis: BeamAxis) -> list[float]:
        first = axis.start if self.first is None else axis.locate(self.first, "from")
        return [first, axis.locate(self.last, "to")]
