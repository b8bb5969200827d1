"""The seven tests: how a load becomes a stress and a compliance becomes a reading in each.

A class says all there is to say of a test: its sizes (a `Measure` each), its numbers (with what kind of number they are),
how sizes enter, how its deflections are called. The [specimen] table of a run file follows from that.

D is the compliance (strain over stress) of the material, or of the walls where a printed specimen has a core, so that
infill is counted here and nowhere else. In bending both numbers come from `Beam`, shear included, as for a part: at
L/h = 16 the G of ISO 178 plus 1.2 %.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Annotated, ClassVar, Literal

from creepfit.errors import InputError
from creepfit.mechanics.beam import DEFAULT_POISSON, Beam, Support
from creepfit.mechanics.beam_axis import Straight
from creepfit.mechanics.beam_loads import Direction, FacePair, PointLoad
from creepfit.mechanics.geometry import Enters, Geometry, Response, Specimen
from creepfit.mechanics.section import Rectangle, Round, Section
from creepfit.mechanics.tolerance import Tolerance
from creepfit.units import Measure

__all__ = [
    "SIZED",
    "Cantilever",
    "Compression",
    "Direct",
    "FourPointBending",
    "Geometry",
    "Segments",
    "Specimen",
    "Tension",
    "ThreePointBending",
]


def large_deflection_stress_factor(deflection: float, span: float, thickness: float) -> float:
    """Factor on the three-point stress where the deflection exceeds a tenth of the span.

    1 + 6 (D/L)^2 - 4 (d/L)(D/L) with D the deflection, d the thickness (ASTM D790, from memory).
    """
    relative = deflection / span
    return 1.0 + 6.0 * relative**2 - 4.0 * (thickness / span) * relative


@dataclass(frozen=True, kw_only=True)
class _Axial(Specimen):
    """A bar of uniform section, read over its gauge length along the load."""

    length: Measure
    width: Measure | None = None
    thickness: Measure | None = None
    diameter: Measure | None = None
    walls: Measure | None = None
    core_stiffness: Annotated[float | None, "share"] = None

    def __post_init__(self) -> None:
        self._check_measures()
        self._section()

    def _section(self) -> Section:
        walls = None if self.walls is None else self.walls.value
        if self.diameter is None and self.width is not None and self.thickness is not None:
            return Rectangle(self.width.value, self.thickness.value, walls, self.core_stiffness)
        if self.diameter is not None and self.width is None and self.thickness is None:
            return Round(self.diameter.value, walls, self.core_stiffness)
        given = [key for key in ("width", "thickness", "diameter") if getattr(self, key) is not None]
        expected = "width and thickness, or diameter"
        raise InputError(key=" and ".join(given) or "width", found=f"{len(given)} of them", expected=expected)

    @property
    def length_enters(self) -> Enters:
        return Enters("length", 1)

    @property
    def depth_enters(self) -> Enters:
        return Enters("thickness", -1) if self.diameter is None else Enters("diameter", -2)

    def _response(self) -> Response:
        section = self._section()
        area = float(section.area)
        return Response(self.length.value / area, 1.0 / area, None, self.length.value, float(section.depth))

    def describe(self) -> str:
        return f"{self.test}, length {self.length.value:g} mm, {_size(self._section())}"


@dataclass(frozen=True, kw_only=True)
class Tension(_Axial):
    """Tension over a gauge length: strain = reading / length, stress = F / A (ISO 899-1)."""

    test: ClassVar[str] = "tension"


@dataclass(frozen=True, kw_only=True)
class Compression(_Axial):
    """Compression along the length; a shortening is a positive reading."""

    test: ClassVar[str] = "compression"


@dataclass(frozen=True, kw_only=True)
class _Bending(Specimen):
    """A straight bar of rectangular section, computed as a beam.

    `poisson` and `shear_ratio` (E/G, 2 (1 + poisson) if not given) only enter the share of shear.
    """

    width: Measure
    thickness: Measure
    walls: Measure | None = None
    core_stiffness: Annotated[float | None, "share"] = None
    poisson: Annotated[float, "poisson"] = DEFAULT_POISSON
    shear_ratio: Annotated[float | None, "factor"] = None

    support: ClassVar[str] = "simply-supported"
    deflects = True
    three_point_spans = 1.0
    largest_share = 0.5

    def __post_init__(self) -> None:
        self._check_measures()
        _ = self.beam  # checks the sizes of its section

    @property
    def length_enters(self) -> Enters:
        return Enters("span", 3)

    @property
    def depth_enters(self) -> Enters:
        return Enters("thickness", -3)

    @property
    def across(self) -> float:
        return self.width.value

    @property
    def beam(self) -> Beam:
        """The bar at its nominal sizes."""
        walls = None if self.walls is None else self.walls.value
        section = Rectangle(self.width.value, self.thickness.value, walls, self.core_stiffness)
        bar = Straight(section=section, length=max(self._span, self.read_distance))
        return Beam((bar,), Support(self.support), poisson=self.poisson, shear_ratio=self.shear_ratio)

    @property
    @abstractmethod
    def _span(self) -> float:
        """Span or length, mm."""

    @property
    @abstractmethod
    def loads(self) -> tuple[tuple[PointLoad, float], ...]:
        """Loads and their shares of the total."""

    @property
    @abstractmethod
    def read_distance(self) -> float:
        """Where the gauge reads, mm from the start of the bar."""

    def _response(self) -> Response:
        return _bent(self)

    def _described(self, sizes: str) -> str:
        return f"{sizes}, {_size(self.beam.segments[0].section)}"


@lru_cache(maxsize=64)  # bars of one mould have the same sizes, and a batch reads hundreds of their runs
def _bent(bar: _Bending) -> Response:
    """The response of a bar as a beam."""
    beam = bar.beam
    parts = [(beam.influence(load, bar.read_distance), share) for load, share in bar.loads]
    total = sum(part.per_compliance * share for part, share in parts)
    shear = sum(sum(part.shear) * share for part, share in parts)
    stress = beam.peak_stress(bar.loads).value
    press = PointLoad(bar.read_distance)
    where_read = [part for (load, _), (part, _) in zip(bar.loads, parts, strict=True) if load == press]
    plunger = where_read[0] if where_read else beam.influence(press, bar.read_distance)
    share = plunger.per_compliance / total
    return Response(total, stress, shear / total, bar._span, bar.thickness.value, share)


@dataclass(frozen=True, kw_only=True)
class ThreePointBending(_Bending):
    """Three-point bending, loaded and read at midspan (ISO 178, ISO 899-2, ASTM D790)."""

    span: Measure

    test: ClassVar[str] = "three-point-bending"

    @property
    def _span(self) -> float:
        return self.span.value

    def large_deflection_factor(self, deflection: float) -> float:
        return large_deflection_stress_factor(deflection, self.span.value, self.thickness.value)

    @property
    def loads(self) -> tuple[tuple[PointLoad, float], ...]:
        return ((PointLoad(self.read_distance), 1.0),)

    @property
    def read_distance(self) -> float:
        return self.span.value / 2.0

    def describe(self) -> str:
        return self._described(f"three-point bending, span {self.span.value:g} mm")


@dataclass(frozen=True, kw_only=True)
class FourPointBending(_Bending):
    """Four-point bending, half of the load at each end of `load_span` (ASTM D6272); read at midspan or load."""

    span: Measure
    load_span: Measure
    read_at: Annotated[str, "midspan", "load"] = "midspan"

    test: ClassVar[str] = "four-point-bending"

    def __post_init__(self) -> None:
        if self.read_at not in ("midspan", "load"):
            raise InputError(key="read_at", found=self.read_at, expected="midspan or load")
        super().__post_init__()
        if not self.load_span.value < self.span.value:
            expected = f"less than the span, {self.span.value:g} mm"
            raise InputError(key="load_span", found=f"{self.load_span.value:g} mm", expected=expected)

    @property
    def _span(self) -> float:
        return self.span.value

    @property
    def loads(self) -> tuple[tuple[PointLoad, float], ...]:
        outer = (self.span.value - self.load_span.value) / 2.0
        return (PointLoad(outer), 0.5), (PointLoad(self.span.value - outer), 0.5)

    @property
    def read_distance(self) -> float:
        between = self.load_span.value if self.read_at == "load" else 0.0
        return (self.span.value - between) / 2.0

    def describe(self) -> str:
        spans = f"span {self.span.value:g} mm, load span {self.load_span.value:g} mm, read at "
        return self._described("four-point bending, " + spans + self.read_at)


@dataclass(frozen=True, kw_only=True)
class Cantilever(_Bending):
    """A bar clamped at one end and loaded at `length`, read there or at `read_at` from the clamp."""

    length: Measure
    read_at: Measure | None = None

    test: ClassVar[str] = "cantilever"
    support: ClassVar[str] = "cantilever"
    three_point_spans = 2.0
    largest_share = 0.8

    @property
    def length_enters(self) -> Enters:
        return Enters("length", 3)

    @property
    def _span(self) -> float:
        return self.length.value

    @property
    def loads(self) -> tuple[tuple[PointLoad, float], ...]:
        return ((PointLoad(self.length.value), 1.0),)

    @property
    def read_distance(self) -> float:
        return self.length.value if self.read_at is None else self.read_at.value

    def describe(self) -> str:
        read = "" if self.read_at is None else f", read {self.read_at.value:g} mm from the clamp"
        return self._described(f"cantilever, length {self.length.value:g} mm{read}")


@dataclass(frozen=True)
class Segments(Specimen):
    """A specimen drawn as a beam of segments, arcs included.

    Either clamped or supported, loaded by one force and read along it; or, `between_faces`, spread by a pair of
    opposite forces at `load_at` and `opposite_at` and read there (C- and U-shapes, held anywhere).

    Parameters
    ----------
    beam : Beam
        Sizes as numbers; a root compliance of the beam is not counted here, it belongs to the rig.
    load_at, read_at, opposite_at : float, optional
        Distances along the axis, mm: the end, the load, and the beginning if not given.
    direction : "vertical", "perpendicular" or degrees above the horizontal
        Of force and gauge; between faces it is the line from face to face.
    tolerances : tuple of Tolerance
        Paths begin at the specimen: ("beam", "segments", 0, "section", "width"), ("load_at",).
    """

    beam: Beam
    load_at: float | None = None
    read_at: float | None = None
    direction: Direction = "vertical"
    between_faces: bool = False
    opposite_at: float | None = None
    tolerances: tuple[Tolerance, ...] = ()

    test: ClassVar[str] = "segments"

    def __post_init__(self) -> None:
        if self.between_faces and self.read_at is not None:
            given = f"{self.read_at:g} mm"
            raise InputError("between two faces the gauge reads at the load", key="read_at", found=given)
        for key in ("load_at", "read_at", "opposite_at"):
            self.beam.axis.locate(getattr(self, key), key)
        self._response()

    def _response(self) -> Response:
        beam, axis = self.beam, self.beam.axis
        load: PointLoad | FacePair
        if self.between_faces:
            load = FacePair(self.opposite_at, self.load_at)
            influence = plunger = beam.opening(load)
        else:
            load = PointLoad(self.load_at, self.direction)
            read_at = self.load_at if self.read_at is None else self.read_at
            influence = beam.influence(load, read_at, self.direction)
            plunger = beam.influence(PointLoad(read_at, self.direction), read_at, self.direction)
        if not influence.per_compliance > 0.0:
            raise InputError("nothing moves where the gauge reads, the way it reads", key="read_at")
        depth = max(s.depth for s in axis.segments)
        stress = beam.peak_stress([(load, 1.0)]).value
        share = plunger.per_compliance / influence.per_compliance
        return Response(influence.per_compliance, stress, influence.shear_share, axis.end - axis.start, depth, share)

    def _tolerances(self) -> Iterable[Tolerance]:
        return self.tolerances

    def describe(self) -> str:
        count = len(self.beam.axis.segments)
        length = self.beam.axis.end - self.beam.axis.start
        read = ", read between two faces" if self.between_faces else ""
        return f"{count} segment{'s' if count > 1 else ''}, {length:.4g} mm along the axis{read}"


@dataclass(frozen=True)
class Direct(Specimen):
    """Loads and readings used as they are: mm under N, or strain under a stress in MPa."""

    quantity: Literal["length", "strain"] = "length"

    test: ClassVar[str] = "direct"

    def __post_init__(self) -> None:
        if self.quantity not in ("length", "strain"):
            raise InputError(key="quantity", found=self.quantity, expected="length or strain")

    @property
    def load_quantity(self) -> Literal["force", "stress"]:
        return "stress" if self.quantity == "strain" else "force"

    @property
    def reading_quantity(self) -> Literal["length", "strain"]:
        return self.quantity

    def _response(self) -> Response:
        return Response(1.0, 1.0 if self.quantity == "strain" else None, None, None, None)

    def describe(self) -> str:
        return "direct, " + ("strain under stress" if self.quantity == "strain" else "mm under N, geometry unknown")


SIZED: dict[str, type[Specimen]] = {
    specimen.test: specimen for specimen in (Tension, Compression, ThreePointBending, FourPointBending, Cantilever)
}
"""The tests whose [specimen] table holds nothing but what their class declares; drawn segments and direct runs do not."""


def _size(section: Section) -> str:
    """Sizes of a rectangular or round section in words."""
    if isinstance(section, Rectangle):
        size = f"{section.width:g} x {section.thickness:g} mm"
    elif isinstance(section, Round):
        size = f"diameter {section.diameter:g} mm"
    else:
        size = ""
    if isinstance(section, Rectangle | Round) and section.walls is not None:
        size += f", walls {section.walls:g} mm around a core {section.core_stiffness:g} times as stiff"
    return size
