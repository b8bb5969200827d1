"""[coil] and [crank]: coil springs, and arms that stick out of the plane of bending, by their sizes."""

from __future__ import annotations

from typing import Any

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed
from creepfit.mechanics.section import Section
from creepfit.mechanics.torsion import Twisted, coil, crank
from creepfit.records.beam_tables import SegmentTable, section_of
from creepfit.records.fields import Factor, PositiveLength, Schema, dotted, validated

TWISTED_TABLES = ("coil", "crank")
_FORMULAS = {"coil": "a coil spring", "crank": "a shaft with an arm square to it"}


class CoilTable(Schema):
    """[coil]: beside the wire's section, the diameter of its centre line and the turns that are free to move."""

    coil_diameter: PositiveLength
    turns: Factor


class CrankTable(Schema):
    """[crank]: a shaft out from the wall and an arm square to it; their sections stand in [crank.shaft] and [crank.arm]."""

    shaft_length: PositiveLength
    arm_length: PositiveLength
    shaft: Any
    arm: Any = None


def read_twisted(data: dict[str, Any], name: str, poisson: float, ratio: float | None, file: str | None) -> Analysed:
    """Read [coil] or [crank]: deflection and stress per newton, as an analysis of 1 N with a modulus of 1 MPa.

    Raises
    ------
    InputError
        Any mistake in it.
    """
    written = data[name]
    if not isinstance(written, dict):
        raise InputError(file=file, key=name, found=written, expected=f"a table [{name}]")
    e_over_g = 2.0 * (1.0 + poisson) if ratio is None else ratio
    try:
        found = _coil(written, e_over_g) if name == "coil" else _crank(written, e_over_g, poisson)
    except InputError as error:
        place = dotted(name, error.key) if error.key else name
        raise InputError(error.problem, file=file, key=place, found=error.found, expected=error.expected) from None
    words = "along the spring's axis" if name == "coil" else "at the end of the arm, square to shaft and arm"
    return Analysed(found.deflection, 1.0, found.stress, poisson, words, "at the load, along it", _FORMULAS[name])


def _coil(written: dict[str, Any], ratio: float) -> Twisted:
    sizes = {key: value for key, value in written.items() if key not in CoilTable.model_fields}
    table = validated(CoilTable, {key: written[key] for key in written if key not in sizes}, file=None, key="")
    return coil(_section(sizes, tuple(CoilTable.model_fields)), table.coil_diameter, table.turns, ratio)


def _crank(written: dict[str, Any], ratio: float, poisson: float) -> Twisted:
    table = validated(CrankTable, written, file=None, key="")
    shaft = _within("shaft", table.shaft)
    arm = shaft if table.arm is None else _within("arm", table.arm)
    return crank(shaft, table.shaft_length, arm, table.arm_length, ratio, poisson)


def _within(key: str, written: Any) -> Section:
    if not isinstance(written, dict):
        raise InputError(key=key, found=written, expected='sizes such as { section = "round", diameter = "8 mm" }')
    try:
        return _section(written, ())
    except InputError as error:
        place = dotted(key, error.key) if error.key else key
        raise InputError(error.problem, key=place, found=error.found, expected=error.expected) from None


def _section(written: dict[str, Any], known: tuple[str, ...]) -> Section:
    for key in ("length", "radius", "angle", "turn", "out"):
        if key in written:
            raise InputError("no size of a section", key=key, found=written[key])
    start, end = section_of(validated(SegmentTable, written, file=None, key="", known=known))
    if end is not None:
        raise InputError("one section along its length", key="section", expected="sizes without pairs")
    return start
