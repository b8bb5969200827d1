"""[[segment]]s with `out`: a hook or arm that is bent out of its plane, with forces at points of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed, AnalysedLoad
from creepfit.mechanics.beam_axis import Segment
from creepfit.mechanics.beam_loads import Direction
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.space_bar import Pull, PulledBar, SpaceBar
from creepfit.records.directions import read_direction
from creepfit.records.frame_tables import FRAME_TABLES
from creepfit.records.part import PartLoad
from creepfit.records.part_loads import read_loads
from creepfit.records.schema import table_list
from creepfit.units import quantity

FORMULA = "a bar bent out of its plane"
_FLAT_ONLY = ("upright", "root", *FRAME_TABLES)
_FLAT_KEYS = ("supports", "between_faces", "opposite_at", "upright_heading", "core_density")
_PLACES = '"end" or a distance along the axis such as "60 mm"'


def read_space_bar(
    data: dict[str, Any], bar: SpaceBar, reading: tuple[float | None, str | None], file: str | None
) -> tuple[Analysed, tuple[PartLoad, ...]]:
    """The bar under its loads, as an analysis with a modulus of 1 MPa, and which share of it each load brings.

    Parameters
    ----------
    data, file
    bar : SpaceBar
    reading : (float or None, str or None)
        Where the sag is read, mm, and which way, as the file says it.

    Raises
    ------
    InputError
        What only a part in one plane can have; any mistake in a load.
    """
    _refuse_flat(data, file)
    try:
        read = Pull(bar.locate(reading[0], "part.read_at"), _vector(reading[1], "part.read_direction"))
    except InputError as error:
        raise InputError(error.problem, file=file, key=error.key, found=error.found, expected=error.expected) from None
    written = table_list(data, "load", file)
    loads, _ = read_loads(data, None, file)
    if not written:  # held bent, where and as it is read
        loads, pulls = (PartLoad(AnalysedLoad(), 1.0, LoadPlan.held(1.0), "1 N"),), [read]
    else:
        pulls = [_pull(bar, own, f"load {number}", file) for number, own in enumerate(written, start=1)]
    responses = [(bar.influence(pull, read), bar.peak_stress([(pull, 1.0)])) for pull in pulls]
    deflection = sum(abs(d * load.size) for (d, _), load in zip(responses, loads, strict=True))
    stress = sum(s * abs(load.size) for (_, s), load in zip(responses, loads, strict=True))
    if not deflection > 0.0:
        problem = "no load that moves it where its sag is read" if stress else "no load"
        raise InputError(problem, file=file, key="load", expected=f"[[load]] with a mass or force, and at = {_PLACES}")
    shared = [
        replace(load, load=AnalysedLoad(d / deflection, of_stress=s / stress))
        for (d, s), load in zip(responses, loads, strict=True)
        if load.size
    ]
    drawn = PulledBar(bar, tuple((pull, load.label) for pull, load in zip(pulls, loads, strict=True)), read)
    return Analysed(deflection, 1.0, stress, bar.poisson, "on it", "where it is read", FORMULA, drawn), tuple(shared)


def bends_out(segments: tuple[Segment, ...]) -> bool:
    """Whether a chain leaves its plane."""
    return any(segment.out for segment in segments)


def _refuse_flat(data: dict[str, Any], file: str | None) -> None:
    part = data.get("part", {})
    if part.get("support", "cantilever") != "cantilever":
        raise InputError(
            "a bar bent out of its plane is clamped at its beginning", file=file, key="part.support", found=part["support"]
        )
    for key in [*(k for k in _FLAT_ONLY if k in data), *(f"part.{k}" for k in _FLAT_KEYS if k in part)]:
        raise InputError("only of a part in one plane", file=file, key=key, expected="[[segment]]s without out")
    if "density" in part:
        expected = "[[load]] with its mass at its middle"
        raise InputError("its own weight is not worked out", file=file, key="part.density", expected=expected)


def _pull(bar: SpaceBar, written: dict[str, Any], key: str, file: str | None) -> Pull:
    for name in ("per_length", "moment", "from", "to", "between_faces", "opposite_at"):
        if name in written:
            problem = "only forces at points are worked out of a bar bent out of its plane"
            raise InputError(problem, file=file, key=f"{key}.{name}", expected=f"mass or force, and at = {_PLACES}")
    text = written.get("at")
    try:
        if text is None:
            raise InputError("missing", key="at", expected=_PLACES)
        at = None if text == "end" else bar.locate(quantity(text, "length", key="at"))
        return Pull(at, _vector(written.get("direction"), "direction"))
    except InputError as error:
        raise InputError(error.problem, file=file, key=f"{key}.{error.key}", found=error.found, expected=_PLACES) from None


def _vector(text: str | None, key: str) -> tuple[float, float, float]:
    """Down, or by an angle above the horizontal in the plane that the bar sets out in."""
    direction: Direction = read_direction(text, key)
    if direction == "vertical":
        return 0.0, -1.0, 0.0
    if isinstance(direction, str):
        raise InputError(
            "square to the axis are many ways in space", key=key, found=text, expected="an angle, or none: down"
        )
    return float(np.cos(np.radians(direction))), float(np.sin(np.radians(direction))), 0.0
