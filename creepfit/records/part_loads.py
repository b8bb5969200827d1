"""[[load]] tables of a part file: how much, where, which way and when."""

from __future__ import annotations

import math
from typing import Annotated, Any

from pydantic import BeforeValidator, Field

from creepfit.errors import InputError
from creepfit.mechanics.analysed import AnalysedLoad
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_loads import Direction, EndMoment, FacePair, LineLoad, Load, PointLoad
from creepfit.mechanics.load_plan import LoadPlan, LoadStep
from creepfit.mechanics.tolerance import Tolerance
from creepfit.records.directions import read_direction
from creepfit.records.fields import (
    Duration,
    Expected,
    PositiveTime,
    Schema,
    Text,
    YesNo,
    dotted,
    validated,
)
from creepfit.records.load_unit import LoadUnit, load_unit
from creepfit.records.part import PartLoad
from creepfit.records.schema import table_list
from creepfit.units import STANDARD_GRAVITY, Kind, Measure, example_of, measure, quantity

SIZES: dict[str, Kind] = {"mass": "mass", "force": "force", "per_length": "force_per_length", "moment": "moment"}
"""Ways to say how much."""


def _measured(kind: Kind, least: float = -math.inf) -> tuple[BeforeValidator, Expected]:
    def check(value: object) -> Measure:
        size = measure(value, kind)
        if size.value < least:
            raise InputError(found=value, expected=f"{example_of(kind)}, not below zero")
        return size

    return BeforeValidator(check), Expected(example_of(kind))


_Length = Annotated[Measure, *_measured("length", 0.0)]


_AT = '"end", "middle" or a distance such as "60 mm"'


class PartDutyTable(Schema):
    """duty = { on = "8 h", off = "16 h", starts = "90 d" }."""

    on: PositiveTime
    off: PositiveTime
    starts: Duration = 0.0


class PartLoadTable(Schema):
    """[[load]]: how much, where, which way and when."""

    mass: Annotated[Measure | None, *_measured("mass", 0.0)] = None
    force: Annotated[Measure | None, *_measured("force")] = None
    per_length: Annotated[Measure | None, *_measured("force_per_length")] = None
    moment: Annotated[Measure | None, *_measured("moment")] = None
    at: Annotated[Text | None, Expected(_AT)] = None
    start: Annotated[_Length | None, Field(alias="from")] = None
    to: _Length | None = None
    direction: Text | None = None
    between_faces: YesNo = False
    opposite_at: _Length | None = None
    over: Duration = 0.0
    duty: Annotated[Any, Expected.shaped('a table such as { on = "8 h", off = "16 h" }', table=PartDutyTable)] = None
    schedule: Annotated[Any, Expected.shaped('a list of pairs such as ["0 h", "0.6 kg"]', "rows")] = None


def read_loads(
    data: dict[str, Any], beam: Beam | None, file: str | None
) -> tuple[tuple[PartLoad, ...], tuple[Tolerance, ...]]:
    """Read the loads on a beam, or without one those of an analysis, whose place is in words.

    Returns
    -------
    loads, tolerances
        The paths of the tolerances begin at the part.

    Raises
    ------
    InputError
        Any mistake in one, with its number and key; no load at all.
    """
    loads: list[PartLoad] = []
    tolerances: list[Tolerance] = []
    for number, written in enumerate(table_list(data, "load", file), start=1):
        key = f"load {number}"
        table = validated(PartLoadTable, written, file=file, key=key)
        try:
            loads.append(_load(table, written, beam))
        except InputError as error:
            place = dotted(key, error.key) if error.key else key
            raise InputError(error.problem, file=file, key=place, found=error.found, expected=error.expected) from None
        if beam is not None:
            tolerances += [t.within("loads", number - 1) for t in _tolerances(table, loads[-1])]
    if not any(load.size for load in loads) and "density" not in data.get("part", {}) and "held" not in data:
        expected = (
            "[[load]] with a mass, force or per_length, a density for the part's own weight, or [held] with the deflection "
            "of one that is held bent"
        )
        raise InputError("no load", file=file, key="load", expected=expected)
    return tuple(loads), tuple(tolerances)


def _load(table: PartLoadTable, written: dict[str, Any], beam: Beam | None) -> PartLoad:
    given = [key for key in SIZES if getattr(table, key) is not None]
    along = table.per_length is not None or table.start is not None or table.to is not None
    scheduled = table.schedule is not None
    if len(given) + scheduled != 1:
        named = " and ".join([*given, *(["schedule"] if scheduled else [])]) or "none of them"
        raise InputError(found=named, expected="one of mass, force, per_length, moment or schedule")
    if table.over and (scheduled or table.duty is not None):
        other = "schedule" if scheduled else "duty"
        expected = 'a third entry in each step, ["0 h", "0.6 kg", "2 h"]' if scheduled else "a load without a duty"
        raise InputError(key="over", found=f"over and {other}", expected=expected)
    if scheduled and table.duty is not None:
        raise InputError(found="duty and schedule", expected="one of them")
    load, place = (AnalysedLoad(spread=along), _analysed_place(table)) if beam is None else _place(table, beam, along)
    if scheduled:
        steps = _schedule(table.schedule, along)
        most = max(range(len(steps)), key=lambda k: abs(steps[k].value))
        text = table.schedule[most][1]
        words = f"a schedule of up to {text} {place}".rstrip()
        kind = _scheduled_size(text, along, "schedule")[0]
        return PartLoad(load, steps[most].value, LoadPlan(steps).of_unit_size(), words, _typed_in(kind, text))
    plan = LoadPlan((LoadStep(0.0, 1.0, table.over),))
    if table.duty is not None:
        duty = validated(PartDutyTable, table.duty, file=None, key="duty")
        plan = LoadPlan.duty(1.0, duty.on, duty.off, duty.starts)
    text = written[given[0]]
    return PartLoad(load, _load_size(table), plan, f"{text} {place}".rstrip(), _typed_in(SIZES[given[0]], text))


def _typed_in(kind: Kind, text: object) -> LoadUnit:
    return load_unit([(kind, text)], {"force_per_length": "N/mm", "moment": "N mm"}.get(kind, "N"))


def _load_size(table: PartLoadTable) -> float:
    if table.mass is not None:
        return table.mass.value * STANDARD_GRAVITY
    return next(m.value for m in (table.force, table.per_length, table.moment) if m is not None)


def _tolerances(table: PartLoadTable, load: PartLoad) -> list[Tolerance]:
    """Of how much and where; every load errs on its own."""
    tolerances = []
    for key in SIZES:
        given: Measure | None = getattr(table, key)
        if given is not None and given.tolerance:
            factor = STANDARD_GRAVITY if key == "mass" else 1.0
            tolerances.append(Tolerance(("size",), factor * given.tolerance))
    names = ("start", "end") if isinstance(load.load, LineLoad) else ("first", "last")
    places = [(names[0], table.start), (names[1], table.to), ("first", table.opposite_at)]
    if table.at not in (None, "end", "middle") and isinstance(load.load, PointLoad | EndMoment | FacePair):
        places.append(("last" if isinstance(load.load, FacePair) else "at", measure(table.at, "length")))
    return tolerances + [Tolerance(("load", key), m.tolerance) for key, m in places if m is not None and m.tolerance]


def _analysed_place(table: PartLoadTable) -> str:
    """Where a load of an analysis acts, in the user's words."""
    if table.at is None:
        return ""
    known = {"middle": "in the middle", "end": "at the end"}.get(table.at.casefold())
    if known is not None:
        return known
    placed = table.at.split()[0].casefold() in ("all", "at", "in", "on", "along", "over", "under", "between", "from")
    return table.at if placed else f"at {table.at}"


def _place(table: PartLoadTable, beam: Beam, along: bool) -> tuple[Load, str]:
    """Return where and how a load acts, and that in words."""
    direction = read_direction(table.direction)
    if table.mass is not None and direction != "vertical":
        expected = "force in place of mass: a weight pulls downward, unless a cord leads it elsewhere"
        raise InputError(key="direction", found=table.direction, expected=expected)
    turned = "" if direction == "vertical" else f", {_which_way(direction)}"
    if along:
        if table.at is not None:
            raise InputError("a load along a length acts between from and to", key="at", found=table.at)
        if table.per_length is None and table.schedule is None:
            raise InputError(found="from and to", expected="per_length beside them")
        start, end = (None if m is None else m.value for m in (table.start, table.to))
        line = LineLoad(start, end, direction)
        first, last = line.breaks(beam.axis)
        return line, f"from {first:g} to {last:g} mm{turned}"
    at, words = _spot(table.at, beam)
    if table.between_faces:
        if table.direction is not None or table.moment is not None:
            key = "direction" if table.direction is not None else "moment"
            raise InputError("a pair of forces acts along the line between the faces", key=key, expected="none")
        pair = FacePair(0.0 if table.opposite_at is None else table.opposite_at.value, at)
        first, last = pair.breaks(beam.axis)
        return pair, f"between the faces at {first:.4g} and {last:.4g} mm"
    if table.opposite_at is not None:
        expected = "between_faces = true beside it"
        raise InputError(key="opposite_at", found=f"{table.opposite_at.value:g} mm", expected=expected)
    if table.moment is not None:
        if table.direction is not None:
            raise InputError("a moment has no direction", key="direction", found=table.direction)
        return EndMoment(at), words
    return PointLoad(at, direction), words + turned


def _which_way(direction: Direction) -> str:
    return "square to it" if isinstance(direction, str) else f"at {direction:g}° above the horizontal"


def _spot(text: str | None, beam: Beam) -> tuple[float | None, str]:
    """A point of the axis, None for its end, and that in words."""
    if text is None:
        raise InputError("missing", key="at", expected=_AT)
    if text == "end":
        return None, "at the end"
    if text == "middle":
        return beam.axis.end / 2.0, "in the middle"
    try:
        at = measure(text, "length").value
    except InputError as error:
        raise InputError(error.problem, key="at", found=text, expected=_AT) from None
    return beam.axis.locate(at, "at"), f"at {at:g} mm"


def _schedule(schedule: object, along: bool) -> tuple[LoadStep, ...]:
    """Read [["0 h", "0.6 kg"], ["30 d", "0 kg"], …]: times in order, each with the total load from then on.

    A third entry is how long it takes to get there: a ramp.
    """
    example = '["0 h", "0.2 N/mm"]' if along else '["0 h", "0.6 kg"]'
    if not isinstance(schedule, list) or not schedule:
        raise InputError(key="schedule", found=schedule, expected=f"a list of pairs such as {example}")
    steps: list[LoadStep] = []
    for number, pair in enumerate(schedule, start=1):
        key = f"schedule entry {number}"
        if not isinstance(pair, list) or len(pair) not in (2, 3):
            raise InputError(key=key, found=str(pair), expected=f"a pair such as {example}")
        at = quantity(pair[0], "time", key=key)
        over = quantity(pair[2], "time", key=key) if len(pair) == 3 else 0.0
        if over < 0.0:
            raise InputError(key=key, found=pair[2], expected="how long the load takes to get there, not below zero")
        earliest = steps[-1].at + steps[-1].over if steps else 0.0
        if at < earliest or (steps and at == steps[-1].at):
            expected = "a time after the one before" if steps else "a time from 0 on"
            raise InputError("times out of order", key=key, found=pair[0], expected=expected)
        steps.append(LoadStep(at, _scheduled_size(pair[1], along, key)[1], over))
    if not any(step.value for step in steps):
        raise InputError("no load", key="schedule", found="only loads of zero")
    return tuple(steps)


def _scheduled_size(text: object, along: bool, key: str) -> tuple[Kind, float]:
    """What a scheduled load is given as, and its size in N or N/mm."""
    kinds: tuple[Kind, ...] = ("force_per_length",) if along else ("mass", "force")
    for kind in kinds:
        try:
            value = quantity(text, kind)
        except InputError as error:
            first = error
            continue
        return kind, value * STANDARD_GRAVITY if kind == "mass" else value
    expected = " or ".join(example_of(kind) for kind in kinds)
    raise InputError(first.problem, key=key, found=text, expected=expected)
