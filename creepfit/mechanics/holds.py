"""What holds a frame besides its chain: holds along its axis, and braces, each put in place on the axis or the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import BeamAxis
from creepfit.mechanics.beam_loads import Load, SelfWeight, cross
from creepfit.mechanics.loading import Array
from creepfit.mechanics.section import Section

HoldKind = Literal["screw", "rest", "clamp"]
Joint = Literal["pinned", "rigid"]
Place = float | tuple[float, float]
"""A distance along the axis, or a point of the wall: sideways and up from where the arm begins, mm."""

SAME = 1e-6
"""Of the length: places nearer to one another than this are one."""


@dataclass(frozen=True)
class Hold:
    """A point of the axis that is held: a screw both ways but free to turn, a rest up and down, a clamp altogether.

    `give` [mm/N] is that of the spring it is held by, and `turn` [rad/(N mm)] how far a clamp turns under a moment: neither
    creeps. Zero where it is rigid.
    """

    at: float
    kind: HoldKind = "screw"
    give: float = 0.0
    turn: float = 0.0

    @property
    def gives(self) -> list[float]:
        """What gives way under a unit of each of its forces, in the order of `directions`."""
        return [self.give] * (1 if self.kind == "rest" else 2) + ([self.turn] if self.kind == "clamp" else [])


@dataclass(frozen=True)
class Brace:
    """A straight bar between two points of the axis, or from the axis to the wall.

    `joints` are those at `start` and at `end`. Without a section the two points lie on one another and are joined. With a
    `modulus` [MPa] it is of a material that does not creep, as a rod of steel; without it is of the part's own.
    """

    start: Place
    end: Place
    section: Section | None = None
    joints: tuple[Joint, Joint] = ("pinned", "pinned")
    name: str = ""
    modulus: float | None = None


@dataclass(frozen=True)
class Wrench(Load):
    """A force (N) whose moment about the origin is known (N mm), handed to the axis at a distance (mm)."""

    at: float
    force: tuple[float, float]
    about_origin: float

    def beyond(self, axis: BeamAxis, distance: Array) -> tuple[Array, Array]:
        carries = (distance < self.at).astype(np.float64)
        return np.array(self.force)[:, np.newaxis] * carries, self.about_origin * carries

    def breaks(self, axis: BeamAxis) -> list[float]:
        return [self.at]


@dataclass(frozen=True, eq=False)
class Bar:
    """A brace in place: on the axis at `foot`, from `root` to `tip` [mm], on the axis at `held_at` or on the wall."""

    brace: Brace
    foot: float
    held_at: float | None
    root: Array
    tip: Array
    joints: tuple[Joint, Joint]

    @property
    def length(self) -> float:
        return float(np.hypot(*(self.tip - self.root)))

    def weight(self, load: Load) -> float:
        """Its weight, N per unit of a load: that of self weight alone."""
        if not isinstance(load, SelfWeight) or self.brace.section is None or self.brace.modulus is not None:
            return 0.0  # what is of another material has another density, which nobody asked for
        return float(np.asarray(self.brace.section.weight_area(load.core_density))) * self.length


def place_bar(brace: Brace, axis: BeamAxis, origin: Array) -> Bar:
    """Put a brace in place; `origin` [mm] is what points of the wall count from.

    Raises
    ------
    InputError
        Both ends on the wall or at one place, an end off the part, or no section where the ends are apart.
    """
    ends, joints = (brace.start, brace.end), brace.joints
    if isinstance(ends[0], tuple):
        ends, joints = (ends[1], ends[0]), (joints[1], joints[0])
    foot, far = ends
    if isinstance(foot, tuple):
        raise InputError("both ends are on the wall", key="brace", expected="an end on the part")
    foot = axis.locate(foot, "brace")
    root = axis.position(np.array(foot))
    held_at = None if isinstance(far, tuple) else axis.locate(far, "brace")
    tip = origin + np.array(far) if isinstance(far, tuple) else axis.position(np.array(held_at))
    bar = Bar(brace, foot, held_at, root, tip, joints)
    joined = bar.length <= SAME * (axis.end - axis.start)
    if joined and brace.section is not None:
        raise InputError("both ends are at one place", key="brace", found=f"{foot:g} mm along")
    if brace.modulus is not None and not 0.0 < brace.modulus < np.inf:
        raise InputError(key="modulus", found=f"{brace.modulus:g} MPa", expected="a modulus above zero")
    if not joined and brace.section is None:
        raise InputError("missing", key="section", expected="the section of the brace")
    return bar


def directions(kind: str, length: float) -> list[tuple[Array, float]]:
    """Unit forces of a hold: sideways and up, up alone, or both and a moment of 1 N times the length."""
    sideways, up, turn = (np.array([1.0, 0.0]), 0.0), (np.array([0.0, 1.0]), 0.0), (np.zeros(2), length)
    return {"screw": [sideways, up], "rest": [up], "clamp": [sideways, up, turn]}[kind]


def wrench(at: float, point: Array, force: Array, moment: float) -> Wrench:
    """A force (2,) at a point (2,) and a moment, handed to the axis at a distance."""
    return Wrench(at, (float(force[0]), float(force[1])), float(cross(point, force)) + moment)


@dataclass(frozen=True, eq=False)
class Unknown:
    """A force that is looked for: what it does to the axis, and to the bar whose tip it acts on.

    `give` is what gives way under a unit of it without creeping, mm/N.
    """

    wrenches: tuple[Wrench, ...]
    bar: int | None
    force: Array
    moment: float
    give: float = 0.0


def unknown_forces(holds: Sequence[Hold], bars: Sequence[Bar], axis: BeamAxis) -> tuple[Unknown, ...]:
    """Unit forces of holds and at the tips of braces; a unit moment is that of 1 N at the whole length of the axis."""
    length = axis.end - axis.start
    unknowns = []
    for hold in holds:
        at = axis.locate(hold.at, "hold")
        point = axis.position(np.array(at))
        for (force, moment), give in zip(directions(hold.kind, length), hold.gives, strict=True):
            own = give * moment**2 if moment else give
            unknowns.append(Unknown((wrench(at, point, force, moment),), None, force, moment, own))
    for number, bar in enumerate(bars):
        for force, moment in directions("clamp" if bar.joints[1] == "rigid" else "screw", length):
            on_axis = [wrench(bar.foot, bar.tip, force, moment)]
            if bar.held_at is not None:
                on_axis.append(wrench(bar.held_at, bar.tip, -force, -moment))
            unknowns.append(Unknown(tuple(on_axis), number, force, moment))
    return tuple(unknowns)
