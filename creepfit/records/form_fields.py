"""What can be filled in, for forms: the tables of run and part files with their keys, read off their schemas.

A table within a table is keys with a dot, "duty.on".
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal, get_args

from pydantic.fields import FieldInfo

from creepfit.errors import InputError
from creepfit.records.beam_tables import SectionTable, SegmentTable, section_mistakes, sections_with, segment_mistakes
from creepfit.records.begun import BegunRun, UnfinishedRunError
from creepfit.records.build_run import build_run
from creepfit.records.climate_table import ClimateTable
from creepfit.records.elastic_table import KEPT, PLACED, ElasticTable
from creepfit.records.fields import Expected, Schema, Shape, dotted, mistakes_in
from creepfit.records.frame_tables import BraceTable, HoldTable
from creepfit.records.part_files import AllowanceTable, HeldTable, LimitTable, PartTable, RootTable, build_part
from creepfit.records.part_loads import PartLoadTable
from creepfit.records.plate_table import PlateTable
from creepfit.records.run import Run
from creepfit.records.schema import EventTable, GaugeTable, LoadTable, PrintTable, PriorTable, RigTable, RunTable
from creepfit.records.specimen_tables import known_tests, table_for
from creepfit.records.tables import Table
from creepfit.records.torsion_tables import CoilTable, CrankTable

__all__ = ["FormField", "FormTable", "PartKind", "dotted", "kind_of_part", "part_mistakes", "part_tables",
           "run_mistakes", "run_tables"]  # fmt: skip

FormKind = Literal["text", "choice", "yes-no", "number"]
PartKind = Literal["drawn", "plate", "coil", "crank", "elastic"]
"""By [[segment]]s, or by the one table that stands for the whole part."""

_FLAT = ("held_down", "read_direction", "between_faces", "opposite_at", "tolerances")
"""Keys of [part] that say nothing beside a table that stands for the whole part."""

EXAMPLES = {
    "width": "10 mm", "thickness": "4 mm", "diameter": "8 mm", "height": "12 mm", "flange": "2 mm", "web": "2 mm",
    "wall": "2 mm", "walls": "1.2 mm", "radius": "15 mm", "load_span": "30 mm", "coil_diameter": "25 mm",
    "resolution": "0.01 mm", "repeatability": "0.005 mm", "range": "25 mm", "deflection": "2 mm", "sag": "2 mm",
    "modulus": "2000 MPa", "glass_transition": "78 degC", "upright_heading": "90 deg", "start": "2031-05-04 16:30",
    "over": "10 s", "life": "5 years", "on": "8 h", "off": "16 h", "starts": "9 h",
}  # fmt: skip
"""By key, where one example of its kind of quantity does not do for all: no bar is as thick as it is long."""


@dataclass(frozen=True)
class FormField:
    """One key: what it expects in words, whether it must be given, and how it is typed.

    `cells` are the keys of the table that a list of values stands for, `sections` those that have such a size, none where
    it is no size of one.
    """

    key: str
    expected: str
    required: bool
    kind: FormKind
    choices: tuple[str, ...] = ()
    default: str = ""
    shape: Shape = "one"
    cells: tuple[str, ...] = ()
    sections: tuple[str, ...] = ()

    @property
    def example(self) -> str:
        """What stands in the empty field: of a list its values with a semicolon between them."""
        quoted = self.expected.split('"')[1::2]
        own = EXAMPLES.get(self.key.rpartition(".")[2], "") if quoted else ""  # none for text
        if own or self.default:
            return own or self.default
        if self.shape != "one" and not self.cells and "[" in self.expected:
            return "; ".join(quoted[:2])
        if quoted:
            return quoted[0]
        return self.expected.removeprefix("a number ") if self.kind == "number" else ""


@dataclass(frozen=True)
class FormTable:
    """One table, `repeated` where it stands as [[name]] several times."""

    name: str
    schema: type[Schema]
    fields: tuple[FormField, ...]
    repeated: bool = False
    required: bool = False

    @property
    def says(self) -> str:
        """What such a table says, in words."""
        first = " ".join((self.schema.__doc__ or "").replace("`", "").split("\n\n")[0].split())
        return first.rpartition("]: ")[2] if "]: " in first else ""

    def place(self, number: int) -> str:
        """Return what stands before a key in the name of a field, as in messages: "gauge", "load 2"."""
        return f"{self.name} {number}" if self.repeated else self.name


def run_tables(test: str) -> tuple[FormTable, ...]:
    """Return the tables of a run file for a test, but for its readings.

    Raises
    ------
    InputError
        An unknown test.
    """
    if test not in known_tests():
        expected = ", ".join(known_tests())
        raise InputError("no form for this test", key="specimen.test", found=test, expected=f"one of {expected}")
    drawn = (_several("segment", SegmentTable), _several("upright", SegmentTable)) if test == "segments" else ()
    chosen = FormField("test", "one of " + ", ".join(known_tests()), True, "choice", known_tests())
    specimen = table_for(test)
    return (
        _table("run", RunTable, required=True),
        FormTable("specimen", specimen, (chosen, *_fields(specimen)), required=True),
        *drawn,
        _table("gauge", GaugeTable, required=True),
        _several("load", LoadTable),
        _table("rig", RigTable),
        _several("event", EventTable),
        _table("print", PrintTable),
        _table("prior", PriorTable),
    )


def kind_of_part(data: dict[str, Any]) -> PartKind:
    """Return what a part file describes its part by."""
    return next((kind for kind in get_args(PartKind) if kind in data), "drawn")


def part_tables(kind: PartKind = "drawn") -> tuple[FormTable, ...]:
    """Return the tables of a part file."""
    return (
        _table("part", PartTable, required=True, without=() if kind == "drawn" else _refused(kind)),
        *_body(kind),
        _several("load", PartLoadTable),
        _table("held", HeldTable),
        _table("limit", LimitTable),
        _table("climate", ClimateTable),
        _table("print", PrintTable),
        _table("allowance", AllowanceTable),
    )


def _refused(kind: PartKind) -> tuple[str, ...]:
    return (*(key for key in PLACED if key == "density" or key not in KEPT[kind]), *_FLAT)


def _body(kind: PartKind) -> tuple[FormTable, ...]:
    """The tables that say what a part is like."""
    whole: dict[str, type[Schema]] = {"plate": PlateTable, "coil": CoilTable, "crank": CrankTable, "elastic": ElasticTable}
    if kind in whole:
        return (_table(kind, whole[kind], required=True),)
    return (
        _several("segment", SegmentTable),
        _several("upright", SegmentTable),
        _several("screw", HoldTable),
        _several("rest", HoldTable),
        _several("clamp", HoldTable),
        _several("brace", BraceTable),
        _table("root", RootTable),
    )


def run_mistakes(
    data: dict[str, Any], test: str, file: str, table: Table | None = None
) -> tuple[list[InputError], Run | BegunRun | None]:
    """Return all mistakes of a run file's tables, each with its place, and the run; one that has only begun has none."""
    mistakes = list(_in_tables(data, run_tables(test), file))
    if mistakes:
        return mistakes, None
    try:
        return [], build_run(data, table or Table(file, ("time", "reading"), ()), file)
    except UnfinishedRunError as error:
        return ([] if error.begun is not None else [error]), error.begun
    except InputError as error:
        return [error], None


def part_mistakes(data: dict[str, Any], file: str) -> list[InputError]:
    """Return all mistakes of a part file's tables, each with its place."""
    mistakes = list(_in_tables(data, part_tables(kind_of_part(data)), file))
    if mistakes:
        return mistakes
    try:
        build_part(data, file)
    except InputError as error:
        return [error]
    return []


def _in_tables(data: dict[str, Any], tables: tuple[FormTable, ...], file: str) -> Iterator[InputError]:
    for table in tables:
        given = data.get(table.name)
        if given is None and not table.required:
            continue
        if not table.repeated:
            own = given or {}
            if table.name == "specimen" and isinstance(own, dict):  # its test says which schema it is of
                own = {k: v for k, v in own.items() if k != "test"}
            yield from _in_table(table.schema, own, file, table.name)
            continue
        for i, entry in enumerate(given if isinstance(given, list) else [], start=1):
            yield from _in_table(table.schema, entry, file, table.place(i))


def _in_table(schema: type[Schema], given: Any, file: str, place: str) -> Iterator[InputError]:
    """Mistakes of a table, and of those within it."""
    mistakes = mistakes_in(schema, given, file=file, key=place)
    if not mistakes and issubclass(schema, SectionTable) and given.get("section"):
        checked = schema.model_validate(given)
        of_sizes = segment_mistakes(checked) if isinstance(checked, SegmentTable) else section_mistakes(checked)
        for e in of_sizes:
            key = dotted(place, e.key) if e.key else place
            mistakes.append(InputError(e.problem, file=file, key=key, found=e.found, expected=e.expected))
    yield from mistakes
    for key, info in schema.model_fields.items():
        within = _expected(info).table
        if within is not None and isinstance(given, dict) and isinstance(given.get(info.alias or key), dict):
            yield from _in_table(within, given[info.alias or key], file, dotted(place, info.alias or key))


def _table(name: str, schema: type[Schema], required: bool = False, without: tuple[str, ...] = ()) -> FormTable:
    return FormTable(name, schema, tuple(f for f in _fields(schema) if f.key not in without), required=required)


def _several(name: str, schema: type[Schema]) -> FormTable:
    return FormTable(name, schema, tuple(_fields(schema)), repeated=True)


def _fields(schema: type[Schema], before: str = "", required: bool = True) -> Iterator[FormField]:
    for key, info in schema.model_fields.items():
        expected, name = _expected(info), before + (info.alias or key)
        if expected.table is not None and expected.shape == "one":
            yield from _fields(expected.table, f"{name}.", required and info.is_required())
        else:
            sections = sections_with(key) if issubclass(schema, SectionTable) else ()
            yield _field(name, info, expected, required and info.is_required(), sections)


def _field(name: str, info: FieldInfo, expected: Expected, required: bool, sections: tuple[str, ...]) -> FormField:
    kind: FormKind = "text"
    if expected.names:
        kind = "choice"
    elif expected == "true or false":
        kind = "yes-no"
    elif expected.startswith("a number "):
        kind = "number"
    given = info.default
    default = "" if info.is_required() or given in (None, 0.0, "") else _default_words(given)
    cells = () if expected.table is None else tuple(f.alias or k for k, f in expected.table.model_fields.items())
    return FormField(name, str(expected), required, kind, expected.names, default, expected.shape, cells, sections)


def _default_words(given: object) -> str:
    if isinstance(given, bool):
        return "true" if given else "false"
    return f"{given:g}" if isinstance(given, float) else str(given)


def _expected(info: FieldInfo) -> Expected:
    """What a key expects; of several ways to give it the first, with the names of any."""
    hints = [*(m for m in info.metadata if isinstance(m, Expected)), *_within(info.annotation)]
    return next((h for h in hints if h.names), hints[0] if hints else Expected(""))


def _within(annotation: Any) -> Iterator[Expected]:
    yield from (m for m in getattr(annotation, "__metadata__", ()) if isinstance(m, Expected))
    for part in get_args(annotation):
        yield from _within(part)
