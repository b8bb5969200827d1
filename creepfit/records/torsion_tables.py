"""[coil] and [crank]: coil springs, and arms that stick out of the plane of bending, by their sizes."""

from __future__ import annotations

from typing import Annotated, Any

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed
from creepfit.mechanics.section import Section
from creepfit.mechanics.torsion import Twisted, coil, crank
from creepfit.records.beam_tables import SectionTable, StretchTable, uniform_section
from creepfit.records.fields import Expected, Factor, PositiveLength, Schema, dotted, validated

TWISTED_TABLES = ("coil", "crank")
_PAIRS = "one section along its length"
_FORMULAS = {"coil": "a coil spring", "crank": "a shaft with an arm square to it"}


_SECTION = 'sizes such as { section = "round", diameter = "8 mm" }'


class WoundTable(Schema):
    """How a wire is wound: the diameter of its centre line, and the turns that are free to move."""

    coil_diameter: PositiveLength
    turns: Factor


class CoilTable(SectionTable, WoundTable):
    """[coil]: a wound wire with its section."""


class CrankTable(Schema):
    """[crank]: a shaft out from the wall and an arm square to it; their sections stand in [crank.shaft] and [crank.arm]."""

    shaft_length: PositiveLength
    arm_length: PositiveLength
    shaft: Annotated[Any, Expected.shaped(_SECTION, table=SectionTable)]
    arm: Annotated[Any, Expected.shaped(_SECTION, table=SectionTable)] = None


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
        specimen = _coil(written, e_over_g) if name == "coil" else _crank(written, e_over_g, poisson)
    except InputError as error:
        place = dotted(name, error.key) if error.key else name
        raise InputError(error.problem, file=file, key=place, found=error.found, expected=error.expected) from None
    words = "along the spring's axis" if name == "coil" else "at the end of the arm, square to shaft and arm"
    return Analysed(specimen.deflection, 1.0, specimen.stress, poisson, words, "at the load, along it", _FORMULAS[name])


def _coil(written: dict[str, Any], ratio: float) -> Twisted:
    _refuse_stretch(written)
    table = validated(CoilTable, written, file=None, key="")
    return coil(uniform_section(table, _PAIRS), table.coil_diameter, table.turns, ratio)


def _crank(written: dict[str, Any], ratio: float, poisson: float) -> Twisted:
    table = validated(CrankTable, written, file=None, key="")
    shaft = _within("shaft", table.shaft)
    arm = shaft if table.arm is None else _within("arm", table.arm)
    return crank(shaft, table.shaft_length, arm, table.arm_length, ratio, poisson)


def _within(key: str, written: Any) -> Section:
    if not isinstance(written, dict):
        raise InputError(key=key, found=written, expected=_SECTION)
    try:
        _refuse_stretch(written)
        return uniform_section(validated(SectionTable, written, file=None, key=""), _PAIRS)
    except InputError as error:
        place = dotted(key, error.key) if error.key else key
        raise InputError(error.problem, key=place, found=error.found, expected=error.expected) from None


def _refuse_stretch(written: dict[str, Any]) -> None:
    for key in StretchTable.model_fields:
        if key in written:
            raise InputError("no size of a section", key=key, found=written[key])
