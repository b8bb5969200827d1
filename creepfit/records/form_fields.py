"""What can be filled in, for forms: the tables of run and part files with their keys, read off their schemas."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from creepfit.errors import InputError
from creepfit.mechanics.specimen import SIZED
from creepfit.records.beam_tables import SegmentTable
from creepfit.records.begun import UnfinishedRunError
from creepfit.records.build_run import build_run
from creepfit.records.fields import Expected, Schema, dotted, mistakes_in
from creepfit.records.part_files import AllowanceTable, LimitTable, PartTable, RootTable, build_part
from creepfit.records.part_loads import PartLoadTable
from creepfit.records.schema import GaugeTable, LoadTable, PrintTable, RigTable, RunTable
from creepfit.records.specimen_tables import table_of
from creepfit.records.tables import Table
from creepfit.units import number

__all__ = ["SIZED_TESTS", "FormField", "FormTable", "dotted", "part_mistakes", "part_tables", "run_mistakes", "run_tables",
           "shown", "typed"]  # fmt: skip

FormKind = Literal["text", "choice", "yes-no", "number"]


@dataclass(frozen=True)
class FormField:
    """One key: what it expects in words, whether it must be given, and how it is typed."""

    key: str
    expected: str
    required: bool
    kind: FormKind
    choices: tuple[str, ...] = ()
    default: str = ""


@dataclass(frozen=True)
class FormTable:
    """One table, `repeated` where it stands as [[name]] several times."""

    name: str
    fields: tuple[FormField, ...]
    repeated: bool = False
    required: bool = True

    def place(self, number: int) -> str:
        """Return what stands before a key in the name of a field, as in messages: "gauge", "load 2"."""
        return f"{self.name} {number}" if self.repeated else self.name


SIZED_TESTS: tuple[str, ...] = tuple(SIZED)
"""Tests whose specimen is described by sizes alone."""


def run_tables(test: str) -> tuple[FormTable, ...]:
    """Return the tables of a run file for a test.

    Raises
    ------
    InputError
        A test whose specimen a form cannot describe.
    """
    if test not in SIZED:
        expected = ", ".join(SIZED)
        raise InputError("no form for this test", key="specimen.test", found=test, expected=f"one of {expected}")
    return (
        _table("run", RunTable),
        _with_test(_table("specimen", table_of(SIZED[test]))),
        _table("gauge", GaugeTable),
        _table("load", LoadTable, repeated=True),
        _table("rig", RigTable, required=False),
        _table("print", PrintTable, required=False),
    )


def part_tables() -> tuple[FormTable, ...]:
    """Return the tables of a part file that a form can fill in; others are typed in the file."""
    return (
        _table("part", PartTable),
        _table("segment", SegmentTable, repeated=True),
        _table("load", PartLoadTable, repeated=True),
        _table("limit", LimitTable, required=False),
        _table("root", RootTable, required=False),
        _table("print", PrintTable, required=False),
        _table("allowance", AllowanceTable, required=False),
    )


def run_mistakes(data: dict[str, Any], test: str, file: str, table: Table | None = None) -> list[InputError]:
    """Return all mistakes of a run file's tables, each with its place; a run that has only begun has none."""
    found = list(_in_tables(data, run_tables(test), file, {"specimen": table_of(SIZED[test])}))
    if found:
        return found
    try:
        build_run(data, table or Table(file, ("time", "reading"), ()), file)
    except UnfinishedRunError as error:
        return [] if error.begun is not None else [error]
    except InputError as error:
        return [error]
    return []


def part_mistakes(data: dict[str, Any], file: str) -> list[InputError]:
    """Return all mistakes of a part file's tables, each with its place."""
    found = list(_in_tables(data, part_tables(), file, {}))
    if found:
        return found
    try:
        build_part(data, file)
    except InputError as error:
        return [error]
    return []


_SCHEMAS: dict[str, type[Schema]] = {
    "run": RunTable, "gauge": GaugeTable, "rig": RigTable, "print": PrintTable, "part": PartTable,
    "segment": SegmentTable, "limit": LimitTable, "root": RootTable, "allowance": AllowanceTable,
}  # fmt: skip


def _in_tables(
    data: dict[str, Any], tables: Sequence[FormTable], file: str, schemas: Mapping[str, type[Schema]]
) -> Iterator[InputError]:
    is_part = "part" in {t.name for t in tables}
    for table in tables:
        given = data.get(table.name)
        if given is None and not table.required:
            continue
        schema = schemas.get(table.name) or _SCHEMAS.get(table.name) or (PartLoadTable if is_part else LoadTable)
        if not table.repeated:
            own = {k: v for k, v in (given or {}).items() if not (table.name == "specimen" and k == "test")}
            yield from mistakes_in(schema, own, file=file, key=table.name)
            continue
        for i, entry in enumerate(given or [], start=1):
            yield from mistakes_in(schema, entry, file=file, key=table.place(i))


def _table(name: str, schema: type[BaseModel], repeated: bool = False, required: bool = True) -> FormTable:
    return FormTable(name, tuple(_field(k, f) for k, f in schema.model_fields.items()), repeated, required)


def _with_test(table: FormTable) -> FormTable:
    test = FormField("test", "one of " + ", ".join(SIZED_TESTS), True, "choice", SIZED_TESTS)
    return replace(table, fields=(test, *table.fields))


def _field(key: str, info: FieldInfo) -> FormField:
    hints = list(_hints(info))
    expected = hints[0] if hints else Expected("")
    names = next((h.names for h in hints if h.names), ())
    kind: FormKind = "text"
    if names:
        kind = "choice"
    elif expected == "true or false":
        kind = "yes-no"
    elif expected.startswith("a number "):
        kind = "number"
    given = info.default
    default = "" if info.is_required() or given in (None, 0.0, "") else _default_words(given)
    return FormField(info.alias or key, str(expected), info.is_required(), kind, names, default)


def _default_words(given: object) -> str:
    if isinstance(given, bool):
        return "true" if given else "false"
    return f"{given:g}" if isinstance(given, float) else str(given)


def _hints(info: FieldInfo) -> Iterator[Expected]:
    yield from (m for m in info.metadata if isinstance(m, Expected))
    yield from _within(info.annotation)


def _within(annotation: Any) -> Iterator[Expected]:
    yield from (m for m in getattr(annotation, "__metadata__", ()) if isinstance(m, Expected))
    for part in get_args(annotation):
        yield from _within(part)


def typed(table: FormTable, given: Mapping[str, str]) -> dict[str, Any]:
    """Return what was typed into the fields of a table as values of a TOML file; empty fields are left out.

    A pair ["14 mm", "9 mm"] or a table { on = "8 h" } is understood as in a file.
    """
    found: dict[str, Any] = {}
    for field in table.fields:
        text = given.get(field.key, "").strip()
        if text:
            found[field.key] = _value(field, text)
    return found


def _value(field: FormField, text: str) -> Any:
    if text[0] in "[{":
        try:
            return tomllib.loads(f"value = {text}")["value"]
        except (tomllib.TOMLDecodeError, RecursionError, KeyError):
            return text
    yes_no = {"true": True, "false": False}
    if text in yes_no and (field.kind == "yes-no" or field.key in ("annealed", "dried")):
        return yes_no[text]
    if field.kind == "number":
        try:
            value = number(text)
        except InputError:
            return text
        return int(value) if value.is_integer() else value
    return text


def shown(value: Any) -> str:
    """Return a value of a TOML file as it is typed into a field; `typed` makes the same of it again."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(_quoted(v) for v in value)}]"
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {_quoted(v)}' for k, v in value.items())} }}"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _quoted(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else shown(value)
