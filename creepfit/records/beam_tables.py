"""Beams as users draw them: [[segment]] and [[upright]] tables, of parts and of odd-shaped specimens."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import Arc, Segment, Straight
from creepfit.mechanics.section import ISection, Rectangle, Round, Section, TSection, Tube
from creepfit.mechanics.tolerance import Tolerance
from creepfit.records.fields import Angle, Expected, Schema, Share, Text, TolerancedSize, dotted, one_of, size, validated
from creepfit.records.schema import table_list
from creepfit.units import Measure, example_of

Chain = Literal["segments", "upright"]
_SECTIONS: dict[str, tuple[type[Section], tuple[str, ...], bool]] = {
    # kind: class, its sizes, whether it may have walls around a core
    "rectangle": (Rectangle, ("width", "thickness"), True),
    "round": (Round, ("diameter",), True),
    "tube": (Tube, ("diameter", "wall"), False),
    "I": (ISection, ("width", "height", "flange", "web"), False),
    "T": (TSection, ("width", "height", "flange", "web"), False),
}
SECTIONS = tuple(_SECTIONS)
SECTION_SIZES = ("width", "thickness", "diameter", "height", "flange", "web", "wall", "walls")


def sections_with(size: str) -> tuple[str, ...]:
    """Return the kinds of section that have a size, or a core; () for what is none of a section."""
    core = size in ("walls", "core_stiffness")
    return tuple(kind for kind, (_, names, cored) in _SECTIONS.items() if size in names or (core and cored))


@dataclass(frozen=True)
class Taper:
    """A size at the start and at the end of a segment; the same Measure twice where it is uniform."""

    start: Measure
    end: Measure

    @property
    def uniform(self) -> bool:
        return self.start is self.end


def _taper(value: object) -> Taper:
    if isinstance(value, list):
        if len(value) != 2:
            expected = 'a pair [start, end] such as ["14 mm", "8 mm"]'
            raise InputError(found=f"{len(value)} sizes", expected=expected)
        return Taper(size(value[0]), size(value[1]))
    uniform = size(value)
    return Taper(uniform, uniform)


TaperedSize = Annotated[Taper, BeforeValidator(_taper), Expected.shaped(example_of("length"), "list")]
SectionKind = Annotated[str, *one_of(*SECTIONS)]


class SectionTable(Schema):
    """A section by its kind and sizes, which may be pairs where it can taper."""

    section: SectionKind
    width: TaperedSize | None = None
    thickness: TaperedSize | None = None
    diameter: TaperedSize | None = None
    height: TaperedSize | None = None
    flange: TaperedSize | None = None
    web: TaperedSize | None = None
    wall: TaperedSize | None = None
    walls: TaperedSize | None = None
    core_stiffness: Share | None = None


class StretchTable(Schema):
    """How a segment goes on: straight by its length, or an arc by radius and angle."""

    name: Text = ""
    length: TolerancedSize | None = None
    radius: TolerancedSize | None = None
    angle: Angle | None = None
    turn: Angle = 0.0
    out: Angle = 0.0


class SegmentTable(SectionTable, StretchTable):
    """[[segment]]: straight by its length, or an arc by radius and angle; a size may be a pair where it tapers."""


@dataclass(frozen=True)
class DrawnSegments:
    """Segments of one chain with the tolerances of their sizes; the paths begin at the beam."""

    segments: tuple[Segment, ...]
    tolerances: tuple[Tolerance, ...]


def drawn_segments(
    data: dict[str, Any], file: str | None, chain: Chain = "segments", together: bool = True
) -> DrawnSegments:
    """Read [[segment]] (or [[upright]]) tables; `together` where all sizes of one name share an error.

    Raises
    ------
    InputError
        Any mistake in one, with its number and key.
    """
    name = "segment" if chain == "segments" else "upright"
    segments: list[Segment] = []
    tolerances: list[Tolerance] = []
    for number, table in enumerate(table_list(data, name, file), start=1):
        place = f"{name} {number}"
        checked = validated(SegmentTable, table, file=file, key=place)
        try:
            segments.append(_segment(checked))
        except InputError as error:
            key = dotted(place, error.key) if error.key else place
            raise InputError(error.problem, file=file, key=key, found=error.found, expected=error.expected) from None
        tolerances.extend(size_tolerances(checked, (chain, number - 1), together))
    return DrawnSegments(tuple(segments), tuple(tolerances))


def uniform_section(table: SectionTable, problem: str) -> Section:
    """The section of what has one along its length; `problem` is what is said of pairs.

    Raises
    ------
    InputError
        As `section_of`, and of sizes that are pairs.
    """
    start, end = section_of(table)
    if end is not None:
        raise InputError(problem, key="section", expected="sizes without pairs")
    return start


def section_mistakes(table: SectionTable) -> Iterator[InputError]:
    """Sizes that are missing, or that such a section does not have."""
    _, names, cored = _SECTIONS[table.section]
    for name in SECTION_SIZES:
        stated = getattr(table, name) is not None
        if stated and name not in names and not (name == "walls" and cored):
            expected = " and ".join(names) + (" (and walls)" if cored else "")
            yield InputError(f"a section {table.section} has no such size", key=name, expected=expected)
        if name in names and not stated:
            yield InputError("missing", key=name, expected=example_of("length"))
    if table.core_stiffness is not None and not cored:
        yield InputError(f"a section {table.section} has no core", key="core_stiffness")


def section_of(table: SectionTable) -> tuple[Section, Section | None]:
    """The section at the start, and at the end where it tapers.

    Raises
    ------
    InputError
        Sizes that are missing, that such a section does not have, or that cannot be.
    """
    for mistake in section_mistakes(table):
        raise mistake
    kind, names, cored = _SECTIONS[table.section]
    allowed = (*names, *(("walls",) if cored else ()))
    sizes = {name: taper for name in allowed if (taper := getattr(table, name)) is not None}
    core = {} if table.core_stiffness is None else {"core_stiffness": table.core_stiffness}
    start = kind(**{name: taper.start.value for name, taper in sizes.items()}, **core)
    tapered = any(not taper.uniform for taper in sizes.values())
    end = kind(**{name: taper.end.value for name, taper in sizes.items()}, **core) if tapered else None
    return start, end


def _segment(table: SegmentTable) -> Segment:
    start, end = section_of(table)
    common: dict[str, Any] = {"turn": math.degrees(table.turn), "out": math.degrees(table.out), "name": table.name}
    common |= {"section": start, "end_section": end}
    if table.length is not None and table.radius is None and table.angle is None:
        return Straight(length=table.length.value, **common)
    if table.length is None and table.radius is not None and table.angle is not None:
        angle = math.degrees(table.angle)
        return Arc(radius=table.radius.value, angle=angle, **common)
    raise _stretch_mistake(table)


def segment_mistakes(table: SegmentTable) -> Iterator[InputError]:
    """All that is missing of a segment, or one too many."""
    yield from section_mistakes(table)
    given = table.length is not None, table.radius is not None, table.angle is not None
    if given not in ((True, False, False), (False, True, True)):
        yield _stretch_mistake(table)


def _stretch_mistake(table: SegmentTable) -> InputError:
    given = [key for key in ("length", "radius", "angle") if getattr(table, key) is not None]
    named = " and ".join(given) or "none of them"
    return InputError(found=named, expected="length for a straight segment, or radius and angle for an arc")


def size_tolerances(table: SectionTable, path: tuple[str | int, ...], together: bool) -> list[Tolerance]:
    """Tolerances of a segment's sizes, or of a brace's; `path` leads to it."""
    tolerances = []

    def shared(name: str) -> str:
        # both ends of a segment of one thickness are one size in any case
        return name if together else "/".join(map(str, (*path, name)))

    for name in ("length", "radius"):
        given: Measure | None = getattr(table, name, None)
        if given is not None and given.tolerance:
            tolerances.append(Tolerance((*path, name), given.tolerance, shared(name)))
    tapers = [(name, taper) for name in SECTION_SIZES if (taper := getattr(table, name)) is not None]
    tapered = any(not taper.uniform for _, taper in tapers)
    for name, taper in tapers:
        if taper.start.tolerance:
            tolerances.append(Tolerance((*path, "section", name), taper.start.tolerance, shared(name)))
        if tapered and taper.end.tolerance:
            end = shared(name) if together or taper.uniform else shared(f"{name} at its end")
            tolerances.append(Tolerance((*path, "end_section", name), taper.end.tolerance, end))
    return tolerances
