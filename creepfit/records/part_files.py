"""Part files to parts. The tables are checked one by one, as those of a run file."""

from __future__ import annotations

import json
import math
import os
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed, AnalysedLoad
from creepfit.mechanics.beam import DEFAULT_POISSON, SUPPORTS, Beam, Support
from creepfit.mechanics.beam_loads import LineLoad, Load, PointLoad
from creepfit.records.beam_tables import drawn_segments
from creepfit.records.elastic_table import read_elastic
from creepfit.records.fields import (
    Angle,
    Compliance,
    Density,
    Factor,
    Force,
    ForcePerLength,
    Fraction,
    Humidity,
    Length,
    Mass,
    Poisson,
    PositiveLength,
    PositiveTime,
    Rotation,
    Schema,
    Share,
    Temperature,
    Text,
    did_you_mean,
    dotted,
    read_toml,
    validated,
)
from creepfit.records.part import Allowance, Duty, Holding, Limit, Part, PartLoad
from creepfit.records.run import LoadStep
from creepfit.records.schema import check_format, print_data, table_list
from creepfit.units import STANDARD_GRAVITY, Kind, example_of, quantity

PART_TABLES = ("format", "part", "print", "elastic", "held", "root", "upright", "segment", "load", "limit", "allowance")
_INDETERMINATE = (
    "held at more places than equilibrium needs, the supports pass the load between them as the material creeps, "
    "which is not worked out here"
)


class PartTable(Schema):
    """[part]: how it is held and what it is known to be."""

    name: Text = ""
    support: Text = "cantilever"
    supports: Any = None
    read_at: PositiveLength | None = None
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


class PartLoadTable(Schema):
    """[[load]]: how much, where and when."""

    mass: Mass | None = None
    force: Force | None = None
    per_length: ForcePerLength | None = None
    at: Text | None = None
    start: Annotated[Length | None, Field(alias="from")] = None
    to: Length | None = None
    duty: Any = None
    schedule: Any = None


class DutyTable(Schema):
    """duty = { on = "8 h", off = "16 h" }."""

    on: PositiveTime
    off: PositiveTime


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


def part_from_source(source: str, file: str | None = None) -> Part:
    """Return the part whose `Part.source` this was.

    Raises
    ------
    InputError
        Where the text is no such source.
    """
    try:
        data = json.loads(source)
    except ValueError:
        raise InputError("a saved part that cannot be understood", file=file) from None
    return build_part(data, file)


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
    known: dict[str, Any] = {
        "name": table.name,
        "limit": Limit(limit.sag, limit.life),
        "held": _held(data, file),
        "allowance": _allowance(data, file),
        "age": table.age,
        "temperature": table.temperature,
        "humidity": table.humidity,
        "note": table.note,
        "print_data": print_data(data, file),
        "file": file,
        "source": json.dumps(data, default=str, ensure_ascii=False),
    }
    if "elastic" in data:
        analysed = read_elastic(data, file)
        return Part(body=analysed, loads=_analysed_loads(data, analysed, file), **known)
    arm = drawn_segments(data, file)
    upright = drawn_segments(data, file, "upright")
    if not arm.segments:
        raise InputError("missing", file=file, key="segment", expected="a table [[segment]] for each stretch of the part")
    root = validated(RootTable, data["root"], file=file, key="root").rotation if "root" in data else 0.0
    support = _support(table, file)
    try:
        beam = Beam(
            arm.segments,
            support,
            upright.segments,
            heading=math.degrees(table.heading),
            upright_heading=math.degrees(table.upright_heading),
            poisson=table.poisson,
            shear_ratio=table.shear_ratio,
            root_compliance=root,
        )
        read_at = beam.axis.end / 2.0 if support.kind == "simply-supported" else None
        if table.read_at is not None:
            read_at = beam.axis.locate(table.read_at, "read_at")
    except InputError as error:
        names = {"root_compliance": "root", "upright": "upright", "segment": "segment"}
        key = names.get(error.key or "", dotted("part", error.key or "support"))
        raise InputError(error.problem, file=file, key=key, found=error.found, expected=error.expected) from None
    return Part(
        body=beam,
        loads=_loads(data, beam, file),
        read_at=read_at,
        density=table.density,
        core_density=table.core_density,
        tolerances=(*arm.tolerances, *upright.tolerances),
        **known,
    )


def _support(table: PartTable, file: str | None) -> Support:
    if table.support not in SUPPORTS:
        near = did_you_mean(table.support, SUPPORTS)
        problem = f"unknown support{near}" if near else _INDETERMINATE
        expected = ", ".join(SUPPORTS)
        raise InputError(problem, file=file, key="part.support", found=table.support, expected=f"one of {expected}")
    if table.support != "overhanging":
        if table.supports is not None:
            expected = 'support = "overhanging" where supports are placed'
            raise InputError(file=file, key="part.supports", found=table.supports, expected=expected)
        return Support(table.support)
    expected = 'two distances, the nearer one first, such as ["20 mm", "150 mm"]'
    places = table.supports
    if not isinstance(places, list) or len(places) != 2:
        problem = _INDETERMINATE if isinstance(places, list) and len(places) > 2 else ""
        problem = "missing" if places is None else problem
        raise InputError(problem, file=file, key="part.supports", found=places, expected=expected)
    first, second = (quantity(place, "length", file=file, key="part.supports") for place in places)
    if not first < second:
        raise InputError(file=file, key="part.supports", found=str(places), expected=expected)
    return Support("overhanging", (first, second))


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
        return (PartLoad(AnalysedLoad(1.0, whole=True), 1.0, (LoadStep(0.0, 1.0),), None, words),)
    loads = _loads(data, None, file)
    courses = {(load.duty, tuple((s.at, s.over, s.value / load.size) for s in load.steps)) for load in loads if load.size}
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


def _shared(load: PartLoad, count: int) -> AnalysedLoad:
    """One of `count` loads that come and go together: which share of the deflection a unit of it brings.

    How they share it among one another is not known and of no account, as they act together.
    """
    assert isinstance(load.load, AnalysedLoad)
    return replace(load.load, share=1.0 / (count * load.size))


def _loads(data: dict[str, Any], beam: Beam | None, file: str | None) -> tuple[PartLoad, ...]:
    """The loads on a beam, or without one those of an analysis, whose place is in words."""
    raw = table_list(data, "load", file)
    loads = []
    for number, written in enumerate(raw, start=1):
        key = f"load {number}"
        table = validated(PartLoadTable, written, file=file, key=key)
        try:
            loads.append(_load(table, written, beam))
        except InputError as error:
            place = dotted(key, error.key) if error.key else key
            raise InputError(error.problem, file=file, key=place, found=error.found, expected=error.expected) from None
    if not any(load.size for load in loads) and "density" not in data.get("part", {}) and "held" not in data:
        expected = "[[load]] with a mass, force or per_length, or a density for the part's own weight"
        raise InputError("no load", file=file, key="load", expected=expected)
    return tuple(loads)


def _load(table: PartLoadTable, written: dict[str, Any], beam: Beam | None) -> PartLoad:
    given = [key for key in ("mass", "force", "per_length") if getattr(table, key) is not None]
    along = table.per_length is not None or table.start is not None or table.to is not None
    scheduled = table.schedule is not None
    if len(given) + scheduled != 1:
        found = " and ".join([*given, *(["schedule"] if scheduled else [])]) or "none of them"
        raise InputError(found=found, expected="one of mass, force, per_length or schedule")
    if scheduled and table.duty is not None:
        raise InputError(found="duty and schedule", expected="one of them")
    load, place = (AnalysedLoad(spread=along), _analysed_place(table)) if beam is None else _place(table, beam, along)
    duty = None
    if scheduled:
        steps = _schedule(table.schedule, along)
        size = max((step.value for step in steps), key=abs)
        words = f"by schedule up to {max((str(load) for _, load in table.schedule), key=len)}"
        return PartLoad(load, size, steps, None, f"{words} {place}".rstrip())
    if table.duty is not None:
        duty_table = validated(DutyTable, table.duty, file=None, key="duty")
        duty = Duty(duty_table.on, duty_table.off)
    size = _load_size(table)
    return PartLoad(load, size, (LoadStep(0.0, size),), duty, f"{written[given[0]]} {place}".rstrip())


def _load_size(table: PartLoadTable) -> float:
    if table.mass is not None:
        return table.mass * STANDARD_GRAVITY
    return table.force if table.force is not None else table.per_length or 0.0


def _analysed_place(table: PartLoadTable) -> str:
    """Where a load of an analysis acts, in the user's words."""
    if table.at is None:
        return ""
    placed = table.at.split()[0].casefold() in ("at", "in", "on", "along", "over", "under", "between", "from")
    return table.at if placed else f"at {table.at}"


def _place(table: PartLoadTable, beam: Beam, along: bool) -> tuple[Load, str]:
    """Return where a load acts, and that in words."""
    if along:
        if table.at is not None:
            raise InputError("a load along a length acts between from and to", key="at", found=table.at)
        if table.per_length is None and table.schedule is None:
            raise InputError(found="from and to", expected="per_length beside them")
        line = LineLoad(table.start, table.to)
        first, last = line.breaks(beam.axis)
        return line, f"from {first:g} to {last:g} mm"
    if table.at is None:
        raise InputError("missing", key="at", expected='"end", "middle" or a distance such as "60 mm"')
    if table.at == "end":
        return PointLoad(None), "at the end"
    if table.at == "middle":
        return PointLoad(beam.axis.end / 2.0), "in the middle"
    try:
        at = quantity(table.at, "length")
    except InputError as error:
        expected = '"end", "middle" or a distance such as "60 mm"'
        raise InputError(error.problem, key="at", found=table.at, expected=expected) from None
    return PointLoad(beam.axis.locate(at, "at")), f"at {at:g} mm"


def _schedule(schedule: object, along: bool) -> tuple[LoadStep, ...]:
    """Read [["0 h", "0.6 kg"], ["30 d", "0 kg"], …]: times in order, each with the total load from then on."""
    kinds: tuple[Kind, ...] = ("force_per_length",) if along else ("mass", "force")
    example = '["0 h", "0.2 N/mm"]' if along else '["0 h", "0.6 kg"]'
    if not isinstance(schedule, list) or not schedule:
        raise InputError(key="schedule", found=schedule, expected=f"a list of pairs such as {example}")
    steps: list[LoadStep] = []
    for number, pair in enumerate(schedule, start=1):
        key = f"schedule entry {number}"
        if not isinstance(pair, list) or len(pair) != 2:
            raise InputError(key=key, found=str(pair), expected=f"a pair such as {example}")
        at = quantity(pair[0], "time", key=key)
        earliest = steps[-1].at if steps else 0.0
        if at < earliest or (steps and at == earliest):
            expected = "a time after the one before" if steps else "a time from 0 on"
            raise InputError("times out of order", key=key, found=pair[0], expected=expected)
        steps.append(LoadStep(at, _scheduled_size(pair[1], kinds, key)))
    if not any(step.value for step in steps):
        raise InputError("no load", key="schedule", found="only loads of zero")
    return tuple(steps)


def _scheduled_size(text: object, kinds: tuple[Kind, ...], key: str) -> float:
    for kind in kinds:
        try:
            value = quantity(text, kind)
        except InputError as error:
            first = error
            continue
        return value * STANDARD_GRAVITY if kind == "mass" else value
    expected = " or ".join(example_of(kind) for kind in kinds)
    raise InputError(first.problem, key=key, found=text, expected=expected)
