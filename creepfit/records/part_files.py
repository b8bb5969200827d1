"""Part files to parts. The tables are checked one by one, as those of a run file."""

from __future__ import annotations

import math
import os
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed, AnalysedLoad
from creepfit.mechanics.beam import DEFAULT_POISSON, SUPPORTS, Beam, Support
from creepfit.mechanics.beam_axis import Segment
from creepfit.mechanics.beam_loads import Direction, FacePair, PointLoad
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.space_bar import SpaceBar
from creepfit.mechanics.tolerance import Tolerance
from creepfit.records.beam_tables import drawn_segments
from creepfit.records.climate_table import climate_of
from creepfit.records.directions import read_direction
from creepfit.records.elastic_table import read_elastic, refuse_drawn
from creepfit.records.fields import (
    Angle,
    Compliance,
    Density,
    Expected,
    Factor,
    Fraction,
    Humidity,
    Poisson,
    PositiveLength,
    PositiveTime,
    Rotation,
    Schema,
    Share,
    Temperature,
    Text,
    TolerancedSize,
    YesNo,
    did_you_mean,
    dotted,
    one_of,
    validated,
)
from creepfit.records.file_content import read_toml
from creepfit.records.frame_tables import FRAME_TABLES, SCREWS, Supports, holds_of, read_held
from creepfit.records.part import Allowance, AllowedSag, Holding, Part, PartLoad
from creepfit.records.part_loads import read_loads
from creepfit.records.plate_table import PLATE, read_plate
from creepfit.records.schema import check_format, print_data, table_list
from creepfit.records.space_table import bends_out, read_space_bar
from creepfit.records.torsion_tables import TWISTED_TABLES, read_twisted
from creepfit.units import measure

PART_TABLES = (
    "format", "part", "print", "elastic", *TWISTED_TABLES, PLATE, "held", "root", "upright", "segment", *FRAME_TABLES,
    "load", "limit", "allowance", "climate",
)  # fmt: skip


_SUPPORTS = 'two distances or more, the nearest first, such as ["20 mm", "150 mm"]'


class PartTable(Schema):
    """[part]: how it is held and what it is known to be."""

    name: Text = ""
    support: Annotated[Text, Expected.one_of((*SUPPORTS, SCREWS))] = "cantilever"
    supports: Annotated[Any, Expected.shaped(_SUPPORTS, "list")] = None
    held_down: YesNo = False
    read_at: TolerancedSize | None = None
    read_direction: Text | None = None
    between_faces: YesNo = False
    opposite_at: TolerancedSize | None = None
    tolerances: Annotated[str, *one_of("together", "independent")] = "together"
    heading: Angle = 0.0
    upright_heading: Angle = math.pi / 2.0
    poisson: Poisson = DEFAULT_POISSON
    shear_ratio: Factor | None = None
    density: Density | None = None
    core_density: Share | None = None
    age: PositiveTime | None = None
    temperature: Temperature | None = None
    humidity: Humidity | None = None
    note: Text | None = None


class RootTable(Schema):
    """[root]: how far the mounting turns under a moment."""

    rotation: Rotation


class HeldTable(Schema):
    """[held]: a deflection that is kept, and what gives way beside the part without creeping."""

    deflection: PositiveLength
    series_compliance: Compliance = 0.0


class LimitTable(Schema):
    """[limit]: what is allowed."""

    sag: PositiveLength | None = None
    life: PositiveTime | None = None


class AllowanceTable(Schema):
    """[allowance]: what widens or shifts the answer beyond the fit."""

    scatter: Fraction | None = None
    layer_direction: Factor = 1.0
    print_settings: Factor = 1.0


def read_part(path: str | os.PathLike[str]) -> Part:
    """Read a part file.

    Raises
    ------
    InputError
        Any mistake in it, as one line: file, key, what was found, what is expected.
    """
    file = os.fspath(path)
    return build_part(read_toml(Path(path), file), file)


def build_part(data: dict[str, Any], file: str | None) -> Part:
    """Put a part together from the tables of its file.

    Raises
    ------
    InputError
        Any mistake in it.
    """
    check_format(data, file, PART_TABLES)
    table = validated(PartTable, data.get("part"), file=file, key="part")
    limit = validated(LimitTable, data.get("limit", {}), file=file, key="limit")
    if table.temperature is not None and "climate" in data:
        raise InputError(
            "one temperature and a climate", file=file, key="part.temperature", expected="one of temperature and [climate]"
        )
    known: dict[str, Any] = {
        "name": table.name,
        "limit": AllowedSag(limit.sag, limit.life),
        "held": _held(data, file),
        "allowance": _allowance(data, file),
        "age": table.age,
        "temperature": table.temperature,
        "climate": climate_of(data["climate"], file) if "climate" in data else None,
        "humidity": table.humidity,
        "note": table.note,
        "print_data": print_data(data, file),
        "file": file,
    }
    if "elastic" in data:
        analysed = read_elastic(data, file)
        return Part(body=analysed, loads=_analysed_loads(data, analysed, file), **known)
    for name in TWISTED_TABLES:
        if name in data:
            refuse_drawn(data, name, file)
            unit = read_twisted(data, name, table.poisson, table.shear_ratio, file)
            twisted, forces = _twisted_loads(data, unit, name, file)
            return Part(body=twisted, loads=forces, **known)
    if PLATE in data:
        panel, on_it = read_plate(data, table.poisson, file)
        return Part(body=panel, loads=on_it, **known)
    together = table.tolerances == "together"
    arm = drawn_segments(data, file, together=together)
    upright = drawn_segments(data, file, "upright", together)
    if not arm.segments:
        raise InputError("missing", file=file, key="segment", expected="a table [[segment]] for each stretch of the part")
    if bends_out(arm.segments):
        return Part(**_in_space(data, table, arm.segments, file), **known)
    root = validated(RootTable, data["root"], file=file, key="root").rotation if "root" in data else 0.0
    elsewhere = read_held(data, file, together)
    support, of_support = _support(table, file)
    _check_said(data, elsewhere, file)
    drawn: dict[str, Any] = {
        "upright": upright.segments,
        "heading": math.degrees(table.heading),
        "upright_heading": math.degrees(table.upright_heading),
        "poisson": table.poisson,
        "shear_ratio": table.shear_ratio,
        "root_compliance": root,
    }
    held_down = Support(held_down=table.held_down)
    try:
        if elsewhere or table.support == SCREWS or len(support) > 2:
            holds = holds_of(table.support, support, sum(s.axis_length for s in arm.segments))
            clamped = table.support == "cantilever"
            beam: Beam = Frame(
                arm.segments, held_down, clamped=clamped, holds=(*holds, *elsewhere.holds), braces=elsewhere.braces, **drawn
            )
            of_support = [Tolerance(("holds", t.path[-1], "at"), t.half_width) for t in of_support]
        else:
            beam = Beam(arm.segments, Support(table.support, support, table.held_down), **drawn)
        read_at, direction, opposite, of_reading = _reading(table, beam)
    except InputError as error:
        names = {"root_compliance": "root", "upright": "upright", "segment": "segment", "hold": "part.support"}
        names |= {"brace": "brace", "section": "brace"}
        key = names.get(error.key or "", dotted("part", error.key or "support"))
        raise InputError(error.problem, file=file, key=key, found=error.found, expected=error.expected) from None
    loads, of_loads = read_loads(data, beam, file)
    sizes = (t.within("body") for t in (*arm.tolerances, *upright.tolerances, *of_support, *elsewhere.tolerances))
    return Part(
        body=beam,
        loads=loads,
        read_at=read_at,
        read_direction=direction,
        opposite_at=opposite,
        density=table.density,
        core_density=table.core_density,
        tolerances=(*sizes, *of_reading, *of_loads),
        # what only pulls at two faces needs no support
        support_said="support" in table.model_fields_set
        or bool(elsewhere)
        or (table.between_faces and all(isinstance(on_it.load, FacePair) for on_it in loads)),
        **known,
    )


def _in_space(data: dict[str, Any], table: PartTable, segments: tuple[Segment, ...], file: str | None) -> dict[str, Any]:
    """Body and loads of an arm that leaves its plane."""
    try:
        bar = SpaceBar(segments, math.degrees(table.heading), table.poisson, table.shear_ratio)
    except InputError as error:
        raise InputError(error.problem, file=file, key=error.key, found=error.found, expected=error.expected) from None
    read_at = None if table.read_at is None else table.read_at.value
    body, loads = read_space_bar(data, bar, (read_at, table.read_direction), file)
    return {"body": body, "loads": loads}


def _reading(table: PartTable, beam: Beam) -> tuple[float | None, Direction, float | None, list[Tolerance]]:
    """Where and which way the sag is read, the opposite face of an opening, and tolerances of the places."""
    read_at = beam.axis.end / 2.0 if table.support == "simply-supported" else None
    tolerances = []
    if table.read_at is not None:
        read_at = beam.axis.locate(table.read_at.value, "read_at")
        if table.read_at.tolerance:
            tolerances.append(Tolerance(("read_at",), table.read_at.tolerance))
    if not table.between_faces:
        if table.opposite_at is not None:
            found = f"{table.opposite_at.value:g} mm"
            raise InputError(key="opposite_at", found=found, expected="between_faces = true beside it")
        return read_at, read_direction(table.read_direction, "read_direction"), None, tolerances
    if table.read_direction is not None:
        raise InputError("an opening is read from face to face", key="read_direction", found=table.read_direction)
    opposite = 0.0
    if table.opposite_at is not None:
        opposite = beam.axis.locate(table.opposite_at.value, "opposite_at")
        if table.opposite_at.tolerance:
            tolerances.append(Tolerance(("opposite_at",), table.opposite_at.tolerance))
    beam.influence_on(PointLoad(read_at), FacePair(opposite, read_at))  # two faces on one another have no opening
    return read_at, "vertical", opposite, tolerances


def _support(table: PartTable, file: str | None) -> tuple[tuple[float, ...], list[Tolerance]]:
    """Where an overhanging part rests, empty for any other, with the tolerances of these places."""
    known = (*SUPPORTS, SCREWS)
    if table.support not in known:
        problem = f"unknown support{did_you_mean(table.support, known)}"
        expected = f"one of {', '.join(known)}; what else holds it stands in [[screw]], [[rest]], [[clamp]] and [[brace]]"
        raise InputError(problem, file=file, key="part.support", found=table.support, expected=expected)
    if table.support != "overhanging":
        if table.supports is not None:
            expected = 'support = "overhanging" where supports are placed, or tables [[rest]] and [[screw]] with at'
            raise InputError(file=file, key="part.supports", found=table.supports, expected=expected)
        return (), []
    places = table.supports
    if not isinstance(places, list) or len(places) < 2:
        problem = "missing" if places is None else ""
        raise InputError(problem, file=file, key="part.supports", found=places, expected=_SUPPORTS)
    places_in_mm = [measure(place, "length", file=file, key="part.supports") for place in places]
    if any(a.value >= b.value for a, b in pairwise(places_in_mm)):
        raise InputError(file=file, key="part.supports", found=str(places), expected=_SUPPORTS)
    tolerances = [Tolerance(("support", "at", i), m.tolerance) for i, m in enumerate(places_in_mm) if m.tolerance]
    return tuple(m.value for m in places_in_mm), tolerances


def _check_said(data: dict[str, Any], elsewhere: Supports, file: str | None) -> None:
    """Refuse screws where it is not said whether the start is clamped as well: the sags differ by several times."""
    screwed = any(hold.kind == "screw" for hold in elsewhere.holds)
    if screwed and "support" not in data.get("part", {}):
        raise InputError(
            "missing",
            file=file,
            key="part.support",
            expected=f'support = "{SCREWS}" where [[screw]], [[rest]], [[clamp]] and [[brace]] alone hold it, or '
            '"cantilever" where its beginning is clamped as well',
        )


def _held(data: dict[str, Any], file: str | None) -> Holding | None:
    if "held" not in data:
        return None
    table = validated(HeldTable, data["held"], file=file, key="held")
    return Holding(table.deflection, table.series_compliance)


def _allowance(data: dict[str, Any], file: str | None) -> Allowance:
    table = validated(AllowanceTable, data.get("allowance", {}), file=file, key="allowance")
    usual = Allowance(layer_direction=table.layer_direction, print_settings=table.print_settings)
    if table.scatter is None:
        return usual
    return replace(usual, scatter=table.scatter, scatter_source="as given")


def _analysed_loads(data: dict[str, Any], analysed: Analysed, file: str | None) -> tuple[PartLoad, ...]:
    """The loads of an analysis made elsewhere: together they bring its deflection; without any it is always there."""
    if not table_list(data, "load", file):
        words = analysed.load or "the load of the analysis"
        return (PartLoad(AnalysedLoad(1.0, whole=True), 1.0, LoadPlan.held(1.0), words),)
    loads, _ = read_loads(data, None, file)
    courses = {load.plan for load in loads if load.size}
    if len(courses) > 1:
        raise InputError(
            "the deflection of [elastic] is that of all loads together, which therefore come and go together",
            file=file,
            key="load",
            found=f"{len(courses)} courses in time",
            expected="one duty or schedule for all, or a part file for each load",
        )
    acting = [load for load in loads if load.size]
    return tuple(replace(load, load=_shared(load, len(acting))) for load in acting)


def _twisted_loads(
    data: dict[str, Any], unit: Analysed, name: str, file: str | None
) -> tuple[Analysed, tuple[PartLoad, ...]]:
    """The forces on a coil or crank, and what all of them together do to it."""
    if not table_list(data, "load", file) and "held" in data:
        return unit, (PartLoad(AnalysedLoad(1.0), 1.0, LoadPlan.held(1.0), "1 N"),)
    loads = _analysed_loads(data, unit, file)
    if any(isinstance(load.load, AnalysedLoad) and (load.load.spread or load.load.whole) for load in loads):
        expected = f"[[load]] with a mass or force, which acts {unit.load}"
        raise InputError(file=file, key="load", found=f"no force on [{name}]", expected=expected)
    total = sum(load.size for load in loads)
    if not total > 0.0:
        raise InputError(
            "no load", file=file, key="load", expected=f"[[load]] with a mass or force, which acts {unit.load}"
        )
    whole = replace(unit, deflection=unit.deflection * total, largest_stress=unit.largest_stress * total)
    own = tuple(replace(load, load=replace(load.load, share=1.0 / total)) for load in loads)  # type: ignore[type-var]
    return whole, own


def _shared(load: PartLoad, count: int) -> AnalysedLoad:
    """One of `count` loads that come and go together: which share of the deflection a unit of it brings.

    How they share it among one another is not known and of no account, as they act together.
    """
    assert isinstance(load.load, AnalysedLoad)
    return replace(load.load, share=1.0 / (count * load.size))
