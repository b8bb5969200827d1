"""What was typed into a form, put into a TOML file: keys that stayed the same keep their comments and their spelling."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.items import AoT, InlineTable, Item
from tomlkit.items import Table as TomlTable

from creepfit.errors import InputError
from creepfit.records.form_fields import FormTable
from creepfit.records.form_values import shown, typed

Given = Mapping[str, Mapping[str, str] | Sequence[Mapping[str, str]]]
"""What was typed, by table and key; of a repeated table one entry each."""

START = "format = 1\n"


def form_values(text: str, tables: Sequence[FormTable]) -> dict[str, Any]:
    """Return what a file holds as it is typed into the fields of a form: a dict a table, a list of them if repeated."""
    data = tomllib.loads(text)
    values: dict[str, Any] = {}
    for table in tables:
        given = data.get(table.name, [] if table.repeated else {})
        entries = given if isinstance(given, list) else [given]
        shown_entries = [_shown(table, entry) for entry in entries if isinstance(entry, dict)]
        values[table.name] = shown_entries if table.repeated else (shown_entries or [{}])[0]
    return values


def _shown(table: FormTable, entry: Mapping[str, Any]) -> dict[str, str]:
    given = ((field, _at(entry, field.key)) for field in table.fields)
    return {field.key: shown(value, field) for field, value in given if value is not None}


def _at(entry: Any, key: str) -> Any:
    """What stands under a key, perhaps in a table within ("duty.on"); None where there is none."""
    for name in key.split("."):
        entry = entry.get(name) if isinstance(entry, Mapping) else None
    return entry


def filled(text: str, tables: Sequence[FormTable], given: Given) -> str:
    """Return a file's text with what was typed in it; keys and tables that the form does not know stay.

    Parameters
    ----------
    text : str
        The file as it is, or `START`.
    tables : sequence of FormTable
    given : mapping
        See `Given`. An empty field takes its key out of the file.

    Raises
    ------
    InputError
        A table that is written in a way a form cannot change.
    """
    document = tomlkit.parse(text)
    for table in tables:
        own = given.get(table.name, () if table.repeated else {})
        if table.repeated:
            assert not isinstance(own, Mapping)
            _fill_list(document, table, [typed(table, entry) for entry in own], [dict(entry) for entry in own])
        else:
            assert isinstance(own, Mapping)
            values = typed(table, own)
            if table.name not in document and (values or table.required):
                _begin(document, table.name, tomlkit.table())
            if table.name in document:
                _fill(document[table.name], table, values, own)
                if not document[table.name].unwrap() and not table.required:
                    document.remove(table.name)
    return tomlkit.dumps(document)


def _begin(document: tomlkit.TOMLDocument, name: str, item: Item) -> None:
    """Put a new table in, above the readings and parted from what stands before it."""
    readings = document.get("readings")
    if readings is not None:
        document.remove("readings")
    body = tomlkit.dumps(document)
    if body and not body.endswith("\n\n"):
        document.add(tomlkit.nl())
    document.append(name, item)
    if readings is not None:
        document.append("readings", readings)


def _fill(entry: Any, table: FormTable, values: Mapping[str, Any], own: Mapping[str, str]) -> None:
    if not isinstance(entry, TomlTable | InlineTable):
        raise InputError(key=table.name, found=str(entry), expected=f"a table [{table.name}]")
    for field in table.fields:
        there = _at(entry, field.key)
        before = "" if there is None else shown(_plain(there), field)
        if field.key not in values:
            if before and field.key in own:  # emptied; what the form did not show stays
                _take_out(entry, field.key)
        elif before != shown(values[field.key], field):
            _put_in(table, entry, field.key, values[field.key])


def _put_in(table: FormTable, entry: Any, key: str, value: Any) -> None:
    *within, last = key.split(".")
    for name in within:
        if name not in entry:
            entry[name] = tomlkit.inline_table()
        entry = entry[name]
        if not isinstance(entry, TomlTable | InlineTable):
            raise InputError(key=f"{table.name}.{name}", found=str(entry), expected="a table")
    entry[last] = _item(value)


def _take_out(entry: Any, key: str) -> None:
    first, _, rest = key.partition(".")
    if rest:
        _take_out(entry[first], rest)
        if entry[first].unwrap():
            return
    entry.remove(first)


def _fill_list(
    document: tomlkit.TOMLDocument, table: FormTable, values: list[dict[str, Any]], own: list[dict[str, str]]
) -> None:
    there = document.get(table.name)
    if there is None:
        if not values:
            return
        there = tomlkit.aot()
        for entry in values:
            there.append(_new(table, entry, last=True))
        _begin(document, table.name, there)
        return
    if not isinstance(there, AoT):
        raise InputError(key=table.name, found=str(there), expected=f"tables written as [[{table.name}]]")
    before = [_shown(table, entry.unwrap()) for entry in there]
    while len(before) > len(own):  # an entry that was taken out goes with its remarks: the one whose rest fits best
        gone = min(range(len(before)), key=lambda k: _changes([*before[:k], *before[k + 1 :]], own))
        del there[gone], before[gone]
    for entry, given, typed_in in zip(there, values, own, strict=False):
        _fill(entry, table, given, typed_in)
    for entry in values[len(there) :]:
        last = there[-1] if len(there) else None
        if last is not None and not last.as_string().endswith("\n\n"):
            last.add(tomlkit.nl())
        there.append(_new(table, entry, last=False))
    if not len(there):
        document.remove(table.name)


def _changes(before: Sequence[Mapping[str, str]], own: Sequence[Mapping[str, str]]) -> int:
    """How many fields differ between entries, in their order."""
    return sum(old.get(key, "") != text for old, new in zip(before, own, strict=False) for key, text in new.items())


def _new(table: FormTable, values: Mapping[str, Any], last: bool) -> TomlTable:
    entry = tomlkit.table()
    for key, value in values.items():
        _put_in(table, entry, key, value)
    if not last:
        entry.add(tomlkit.nl())
    return entry


def _item(value: Any) -> Item:
    if isinstance(value, dict):
        inline = tomlkit.inline_table()
        inline.update(value)
        return inline
    if isinstance(value, str) and "\n" in value:
        return tomlkit.string(value, multiline=True)
    item: Item = tomlkit.item(value)
    return item


def _plain(item: Any) -> Any:
    return item.unwrap() if hasattr(item, "unwrap") else item
