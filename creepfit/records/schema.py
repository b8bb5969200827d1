"""The tables of a run file. Each class is one table; what a key expects stands in its type."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from creepfit.errors import InputError
from creepfit.records.fields import (
    AMoment,
    Compliance,
    Division,
    Drift,
    Duration,
    Exponent,
    Factor,
    Humidity,
    LengthOrStrain,
    MassForceOrStress,
    OpenShare,
    PositiveForce,
    PositiveTime,
    Schema,
    Share,
    Temperature,
    Text,
    TolerancedForce,
    TolerancedMass,
    TolerancedStress,
    YesNo,
    did_you_mean,
    one_of,
    validated,
)
from creepfit.records.run import EventKind

MaterialKind = Literal["glassy", "semicrystalline", "fibre-filled"]
RUN_TABLES = (
    "format", "run", "print", "specimen", "segment", "upright", "gauge", "rig", "load", "event", "readings", "prior",
)  # fmt: skip


_KINDS = {
    "run": ("a run file", "where a RUN stands, such as after --material"),
    "part": ("a part file", "after sag, or with --part"),
    "duty": ("a load history", "with --history"),
    "climate": ("a climate", "with --climate"),
}
"""The table that only one kind of file has: what that kind is called, and where it is named."""


class RunTable(Schema):
    """[run]: what was tested and how it was kept; `start` is the date-time elapsed times count from."""

    material: Text
    specimen: Text = ""
    kind: Annotated[MaterialKind | None, *one_of("glassy", "semicrystalline", "fibre-filled")] = None
    temperature: Temperature | None = None
    glass_transition: Temperature | None = None
    humidity: Humidity | None = None
    conditioning: Text | None = None
    age: PositiveTime | None = None
    note: Text | None = None
    start: AMoment | None = None


class PrintTable(Schema):
    """[print]: how it was made, compared word by word between specimen and part."""

    orientation: Text | None = None
    walls: Text | None = None
    infill: Text | None = None
    layer: Text | None = None
    annealed: Text | YesNo | None = None
    dried: Text | YesNo | None = None
    colour: Text | None = None
    batch: Text | None = None

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Return what was given, as words."""
        words = {True: "yes", False: "no"}
        given = ((key, getattr(self, key)) for key in type(self).model_fields)
        return tuple((key, words[value] if isinstance(value, bool) else value) for key, value in given if value is not None)


class GaugeTable(Schema):
    """[gauge]; sizes are lengths, or strains where the readings are."""

    resolution: Division
    instrument: Text | None = None
    repeatability: Division | None = None
    falls: YesNo = False
    force: PositiveForce = 0.0
    range: LengthOrStrain | None = None
    drift: Drift | None = None


class RigTable(Schema):
    """[rig]: the frame."""

    compliance: Compliance = 0.0
    lever: Factor = 1.0
    preload: MassForceOrStress | None = None


class LoadTable(Schema):
    """[[load]]: the total load from `at` on, in one of three ways."""

    at: AMoment
    over: Duration = 0.0
    mass: TolerancedMass | None = None
    force: TolerancedForce | None = None
    stress: TolerancedStress | None = None


class PriorTable(Schema):
    """[prior]: what to believe before the readings in place of the defaults.

    See inference/priors.py.
    """

    n: Exponent | None = None
    n_scale: Factor | None = None
    flow_mean: OpenShare | None = None
    set_scale: Factor | None = None
    set_weight: OpenShare | None = None
    ageing_weight: OpenShare | None = None
    discrepancy: Share | None = None
    floor: Share | None = None

    def pairs(self) -> tuple[tuple[str, float], ...]:
        """Return what was given."""
        given = ((key, getattr(self, key)) for key in type(self).model_fields)
        return tuple((key, value) for key, value in given if value is not None)


class EventTable(Schema):
    """[[event]]: something that happened to the set-up."""

    at: AMoment
    kind: Annotated[EventKind, *one_of("rezeroed", "new observer", "bumped", "slipped", "stop reached", "broke")]


class ReadingsTable(Schema):
    """[readings]: in a file, or inline."""

    file: Text | None = None
    sheet: Text | None = None
    time: Any = None
    when: Any = None
    after: Any = None
    before: Any = None
    reading: Any = None
    temperature: Any = None
    note: Any = None
    skip: Any = None


def _know_one_another() -> None:
    """Tell each flat table of a run file which keys stand in another one, for the message about one that is misplaced."""
    tables: dict[str, type[Schema]] = {"run": RunTable, "print": PrintTable, "gauge": GaugeTable, "rig": RigTable}
    for own in tables.values():
        own.elsewhere = {
            key: f"[{name}]" for name, other in tables.items() for key in other.model_fields if key not in own.model_fields
        }


_know_one_another()


def check_format(data: dict[str, Any], file: str | None, tables: tuple[str, ...]) -> None:
    """Check the first line of a file and the names of its tables; a file of another kind is refused by its kind.

    Raises
    ------
    InputError
        Another format than 1, or a table that is not known.
    """
    own = next(name for name in _KINDS if name in tables)
    for name, (kind, where) in _KINDS.items():
        if own not in data and name in data:
            raise InputError(f"this is {kind}", file=file, expected=f"{_KINDS[own][0]} here; name {kind} {where}")
    for name in data:
        if name not in tables:
            expected = ", ".join(tables[1:])
            raise InputError(f'unknown table "{name}"{did_you_mean(name, tables)}', file=file, expected=expected)
    if "format" not in data:
        raise InputError("missing", file=file, key="format", expected="format = 1 as the first line")
    if data["format"] != 1 or isinstance(data["format"], bool):
        raise InputError(file=file, key="format", found=data["format"], expected="1, the only one so far")


def table_list(data: dict[str, Any], name: str, file: str | None) -> list[dict[str, Any]]:
    """Return the tables written as [[name]]; none where there are none.

    Raises
    ------
    InputError
        Where it is not written with double brackets, or something else stands among the tables.
    """
    tables = data.get(name, [])
    if not isinstance(tables, list):
        given = f"[{name}]" if isinstance(tables, dict) else tables
        raise InputError(file=file, key=name, found=given, expected=f"tables written as [[{name}]]")
    for i, table in enumerate(tables, start=1):
        if not isinstance(table, dict):
            raise InputError(file=file, key=f"{name} {i}", found=table, expected=f"a table written as [[{name}]]")
    return tables


def print_data(data: dict[str, Any], file: str | None) -> tuple[tuple[str, str], ...]:
    """Return [print] as pairs of words."""
    return validated(PrintTable, data.get("print", {}), file=file, key="print").pairs()
