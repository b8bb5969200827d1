"""Cross-sections of a beam: area, second moment, outer fibre and shear area.

Sizes are in mm, and may be numpy arrays of one shape: a taper is a section whose sizes are arrays (`between`).
A printed bar is often a shell around an infill. Then everything is referred to the modulus of the walls
(transformed section; Gere & Timoshenko, Mechanics of Materials, on composite beams): the core counts
`core_stiffness` times, its modulus over the walls', so E I = E_wall (I_outer - I_core) + E_core I_core.

Shear coefficients: G. R. Cowper, "The shear coefficient in Timoshenko's beam theory", J. Appl. Mech. 33
(1966) 335-340 (rectangle as quoted in many public beam programs; circle and hollow circle from memory).
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, fields, replace

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array

Size = float | Array
_QUARTIC = (0.5 - np.sqrt(0.15), 0.5, 0.5 + np.sqrt(0.15)), (5.0 / 18.0, 8.0 / 18.0, 5.0 / 18.0)
"""Gauss points and weights on 0 to 1, exact up to the fifth power."""


def cowper_rectangle(poisson: float) -> float:
    """Shear coefficient of a rectangle, 10(1+nu)/(12+11nu) (Cowper 1966); no unit."""
    return 10.0 * (1.0 + poisson) / (12.0 + 11.0 * poisson)


def cowper_round(poisson: float, bore: Size = 0.0) -> Size:
    """Shear coefficient of a round bar or tube, `bore` = m its inner over outer diameter (Cowper 1966).

    6(1+nu)(1+m^2)^2 / ((7+6nu)(1+m^2)^2 + (20+12nu)m^2): solid 6(1+nu)/(7+6nu), thin 2(1+nu)/(4+3nu).
    """
    solid = (7.0 + 6.0 * poisson) * (1.0 + bore**2) ** 2
    return 6.0 * (1.0 + poisson) * (1.0 + bore**2) ** 2 / (solid + (20.0 + 12.0 * poisson) * bore**2)


class Section(ABC):
    """A cross-section bent about its horizontal axis; concrete ones are frozen dataclasses of sizes in mm."""

    @property
    @abstractmethod
    def depth(self) -> Size:
        """Size in the direction of bending, mm."""

    @property
    @abstractmethod
    def area(self) -> Size:
        """Area referred to the modulus of the walls, mm^2."""

    @property
    @abstractmethod
    def second_moment(self) -> Size:
        """Second moment of area about the neutral axis, referred to the modulus of the walls, mm^4."""

    @abstractmethod
    def shear_area(self, poisson: float) -> Size:
        """Shear coefficient times area, referred to the shear modulus of the walls, mm^2."""

    @property
    def outer_fibre(self) -> Size:
        """Distance from the neutral axis to the fibre furthest from it, mm."""
        return self.depth / 2.0

    def weight_area(self, core_density: float | None = None) -> Size:
        """Area that weighs, in mm^2 of wall material.

        Parameters
        ----------
        core_density : float, optional
            Density of the core over that of the walls. Where it is not known a core that carries load is
            taken as heavy as the walls (so that sag is not understated), and an empty one as nothing.
        """
        return self.area


@dataclass(frozen=True)
class _Cored(Section):
    """A section that may have walls around a core; both keys or neither, as an unknown core is not empty."""

    def _check_core(self, size: Size, walls: Size | None, core_stiffness: float | None) -> None:
        if walls is None and core_stiffness is None:
            return
        if walls is None:
            raise InputError("a core needs walls around it", key="walls", expected="their thickness")
        if core_stiffness is None:
            raise InputError(
                "walls need the stiffness of the core",
                key="core_stiffness",
                expected="modulus of the core over that of the walls, 0 where it is empty",
            )
        if not 0.0 <= core_stiffness <= 1.0:
            raise InputError(key="core_stiffness", found=core_stiffness, expected="0 (empty) to 1 (solid)")
        _positive(walls=walls)
        if np.any(2.0 * walls >= size):
            # Refused rather than taken as solid: the shear of a bar with a slit is not that of a solid one.
            given, expected = f"{_one(walls):g} mm", "less than half of the size, or neither walls nor core"
            raise InputError("the walls leave no core", key="walls", found=given, expected=expected)


@dataclass(frozen=True)
class Rectangle(_Cored):
    """A rectangle `thickness` deep in the direction of bending; with `walls` a shell all round a core."""

    width: Size
    thickness: Size
    walls: Size | None = None
    core_stiffness: float | None = None

    def __post_init__(self) -> None:
        _positive(width=self.width, thickness=self.thickness)
        self._check_core(np.minimum(self.width, self.thickness), self.walls, self.core_stiffness)

    @property
    def depth(self) -> Size:
        return self.thickness

    @property
    def _core(self) -> tuple[Size, Size, float]:
        if self.walls is None or self.core_stiffness is None:
            return 0.0, 0.0, 1.0
        return self.width - 2.0 * self.walls, self.thickness - 2.0 * self.walls, self.core_stiffness

    @property
    def area(self) -> Size:
        b, h, stiffness = self._core
        return self.width * self.thickness - (1.0 - stiffness) * b * h

    @property
    def second_moment(self) -> Size:
        b, h, stiffness = self._core
        return (self.width * self.thickness**3 - (1.0 - stiffness) * b * h**3) / 12.0

    def shear_area(self, poisson: float) -> Size:
        # Exact for a solid core, as good as `_box_shear` for an empty one; linear in its stiffness in between.
        solid = cowper_rectangle(poisson) * self.thickness * self.width
        if self.walls is None or self.core_stiffness is None:
            return solid
        hollow = _box_shear(self.width, self.thickness, self.walls)
        return self.core_stiffness * solid + (1.0 - self.core_stiffness) * np.minimum(hollow, solid)

    def weight_area(self, core_density: float | None = None) -> Size:
        b, h, stiffness = self._core
        return self.width * self.thickness - (1.0 - _core_weight(stiffness, core_density)) * b * h


@dataclass(frozen=True)
class Round(_Cored):
    """A round bar; with `walls` a ring around a core."""

    diameter: Size
    walls: Size | None = None
    core_stiffness: float | None = None

    def __post_init__(self) -> None:
        _positive(diameter=self.diameter)
        self._check_core(self.diameter, self.walls, self.core_stiffness)

    @property
    def depth(self) -> Size:
        return self.diameter

    @property
    def _core(self) -> tuple[Size, float]:
        if self.walls is None or self.core_stiffness is None:
            return 0.0, 1.0
        return self.diameter - 2.0 * self.walls, self.core_stiffness

    @property
    def area(self) -> Size:
        d, stiffness = self._core
        return np.pi / 4.0 * (self.diameter**2 - (1.0 - stiffness) * d**2)

    @property
    def second_moment(self) -> Size:
        d, stiffness = self._core
        return np.pi / 64.0 * (self.diameter**4 - (1.0 - stiffness) * d**4)

    def shear_area(self, poisson: float) -> Size:
        # Exact for an empty and for a solid core; linear in its stiffness in between, as for the rectangle.
        d, stiffness = self._core
        solid = np.pi / 4.0 * self.diameter**2 * cowper_round(poisson)
        hollow = np.pi / 4.0 * (self.diameter**2 - d**2) * cowper_round(poisson, d / self.diameter)
        return stiffness * solid + (1.0 - stiffness) * hollow

    def weight_area(self, core_density: float | None = None) -> Size:
        d, stiffness = self._core
        return np.pi / 4.0 * (self.diameter**2 - (1.0 - _core_weight(stiffness, core_density)) * d**2)


@dataclass(frozen=True)
class Tube(Section):
    """A round tube of outer `diameter` and wall thickness `wall`."""

    diameter: Size
    wall: Size

    def __post_init__(self) -> None:
        _positive(diameter=self.diameter, wall=self.wall)
        if np.any(2.0 * self.wall > self.diameter):
            given = f"{_one(self.wall):g} mm"
            raise InputError(key="wall", found=given, expected="no more than half the diameter")

    @property
    def _ring(self) -> Round:
        return Round(self.diameter, self.wall, 0.0)

    @property
    def depth(self) -> Size:
        return self.diameter

    @property
    def area(self) -> Size:
        return self._ring.area

    @property
    def second_moment(self) -> Size:
        return self._ring.second_moment

    def shear_area(self, poisson: float) -> Size:
        return self._ring.shear_area(poisson)


@dataclass(frozen=True)
class _Flanged(Section):
    """An upright web with flanges `width` wide: `flange` and `web` are thicknesses, `height` is over all."""

    width: Size
    height: Size
    flange: Size
    web: Size

    _flanges = 0

    def __post_init__(self) -> None:
        _positive(width=self.width, height=self.height, flange=self.flange, web=self.web)
        if np.any(self.web > self.width):
            raise InputError(key="web", found=f"{_one(self.web):g} mm", expected="no more than the width")
        if np.any(self._flanges * self.flange > self.height):
            given = f"{_one(self.flange):g} mm"
            raise InputError(key="flange", found=given, expected="flanges that fit within the height")

    @property
    def depth(self) -> Size:
        return self.height

    @property
    def area(self) -> Size:
        return self.web * self.height + self._flanges * self.flange * (self.width - self.web)

    @property
    @abstractmethod
    def from_flange(self) -> Size:
        """Distance of the neutral axis from the outer face of a flange, mm."""

    def shear_area(self, poisson: float) -> Size:
        """I^2 over the energy of the shear flow, first moment squared over thickness (Gere & Timoshenko, shear flow).

        Down the web and, from the tips inward, along the flanges: Cowper's thin-walled I and T for nu = 0. With nu it
        is scaled as his rectangle, which it becomes where the web is as wide as the flange; flanges twice as wide as
        the section is high then shear up to 14 % more than this says.
        """
        face = self.from_flange
        arm = face - self.flange / 2.0
        in_web = self.height - self._flanges * self.flange
        energy: Size = self._flanges * 2.0 * self.flange * arm**2 * ((self.width - self.web) / 2.0) ** 3 / 3.0
        for node, weight in zip(*_QUARTIC, strict=True):
            deep, down = node * self.flange, node * in_web
            flange = self.width * deep * (face - deep / 2.0)
            web = self.width * self.flange * arm + self.web * down * (face - self.flange - down / 2.0)
            energy = energy + weight * self._flanges * flange**2 / self.width * self.flange
            energy = energy + weight * web**2 / self.web * in_web
        return cowper_rectangle(poisson) / cowper_rectangle(0.0) * self.second_moment**2 / energy


@dataclass(frozen=True)
class ISection(_Flanged):
    """An I with two equal flanges."""

    _flanges = 2

    @property
    def from_flange(self) -> Size:
        return self.height / 2.0

    @property
    def second_moment(self) -> Size:
        inner = self.height - 2.0 * self.flange
        return (self.width * self.height**3 - (self.width - self.web) * inner**3) / 12.0


@dataclass(frozen=True)
class TSection(_Flanged):
    """A T: one flange on a web, either way up."""

    _flanges = 1

    @property
    def from_flange(self) -> Size:
        overhang = self.flange * (self.width - self.web)
        return (self.web * self.height**2 + overhang * self.flange) / (2.0 * self.area)

    @property
    def outer_fibre(self) -> Size:
        return np.maximum(self.from_flange, self.height - self.from_flange)

    @property
    def second_moment(self) -> Size:
        about_face = (self.web * self.height**3 + (self.width - self.web) * self.flange**3) / 3.0
        return about_face - self.area * self.from_flange**2


def _box_shear(width: Size, height: Size, wall: Size) -> Size:
    """Shear area of an empty rectangular box, mm^2: I^2 over the energy of the shear flow, which turns into the flanges.

    The flow begins in the middle of each flange, so each half is a flange of an I with both walls as its web; that
    makes light of the corners, the usual flow along the middle of thin walls (Gere & Timoshenko) too much. Of the
    energies of both the mean is taken: within 4 % of the plane problem solved in full for nu = 0 (own arithmetic) up
    to walls of a quarter of the smaller side. Beyond, the first tends to the solid rectangle and is taken alone.
    """
    second = (width * height**3 - (width - 2.0 * wall) * (height - 2.0 * wall) ** 3) / 12.0
    blunt = second**2 / ISection(width, height, wall, 2.0 * wall).shear_area(0.0)
    b, h = width - wall, height - wall
    flange = wall * h**2 * b**3 / 24.0
    corner, rise = wall * b * h / 4.0, wall * h**2 / 8.0
    web = 2.0 * h / wall * (corner**2 + 4.0 * corner * rise / 3.0 + 8.0 * rise**2 / 15.0)
    return second**2 / np.maximum(blunt, (blunt + flange + web) / 2.0)


def between(start: Section, end: Section, fraction: Size) -> Section:
    """Section of a taper: every size linear from `start` (fraction 0) to `end` (1).

    Raises
    ------
    InputError
        Where the ends are of different kinds, only one of them has walls, or their cores differ in stiffness.
    """
    if type(start) is not type(end):
        names = f"{type(start).__name__} and {type(end).__name__}"
        raise InputError("a taper needs the same kind of section at both ends", key="section", found=names)
    sizes: dict[str, Size | None] = {}
    for field in fields(start):  # type: ignore[arg-type]
        a, b = getattr(start, field.name), getattr(end, field.name)
        if (a is None) != (b is None) or (field.name == "core_stiffness" and a != b):
            raise InputError("both ends of a taper need the same kind of core", key=field.name)
        sizes[field.name] = a if a is None or field.name == "core_stiffness" else a + (b - a) * fraction
    return replace(start, **sizes)  # type: ignore[type-var]


def _core_weight(stiffness: float, core_density: float | None) -> float:
    return float(stiffness > 0.0) if core_density is None else core_density


def _positive(**sizes: Size) -> None:
    for key, size in sizes.items():
        if not np.all((np.asarray(size) > 0.0) & np.isfinite(size)):
            raise InputError(key=key, found=f"{_one(size):g} mm", expected="a length above zero")


def _one(size: Size) -> float:
    """One number of a size for a message: the smallest."""
    return float(np.min(size))
