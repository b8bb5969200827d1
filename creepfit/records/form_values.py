"""Values of a TOML file as they are typed into the fields of a form, and back.

A list is typed with semicolons between its values, "14 mm; 9 mm", a list of lists with a line for each; both may also be
typed as they stand in a file.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from typing import Any

from creepfit.errors import InputError
from creepfit.records.form_fields import FormField, FormTable
from creepfit.units import number

_WORD = re.compile(r"""(?![\s\[{"'])[^;\t\r\n]*(?<!\s)""")
_BARE = re.compile(r"[A-Za-z0-9_-]+")


def typed(table: FormTable, given: Mapping[str, str]) -> dict[str, Any]:
    """Return what was typed into the fields of a table as values of a TOML file, by key; empty fields are left out."""
    values: dict[str, Any] = {}
    for field in table.fields:
        text = given.get(field.key, "").strip()
        if text:
            values[field.key] = _value(field, text)
    return values


def _value(field: FormField, text: str) -> Any:
    if field.shape != "one":
        return _list(field, text)
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


def _list(field: FormField, text: str) -> Any:
    if text[0] in "[{":
        try:
            return tomllib.loads(f"value = {text}")["value"]
        except (tomllib.TOMLDecodeError, RecursionError, KeyError):
            return text
    if field.shape == "rows":
        return [_parts(line) for line in text.splitlines() if line.strip()]
    parts = _parts(text)
    if len(parts) == len(field.cells):
        return dict(zip(field.cells, parts, strict=True))
    return parts if len(parts) > 1 else text


def _parts(text: str) -> list[str]:
    return [part.strip() for part in re.split(r"[;\t]", text)]


def shown(value: Any, field: FormField) -> str:
    """Return a value of a TOML file as it is typed into a field; `typed` makes the same of it again."""
    if field.shape == "list" and isinstance(value, dict) and field.cells and tuple(value) == field.cells:
        value = list(value.values())
    if field.shape == "list" and _are_words(value) and len(value) > 1:
        return "; ".join(value)
    if field.shape == "rows" and isinstance(value, list) and value and all(map(_are_words, value)):
        return "\n".join("; ".join(row) for row in value)
    return _literal(value).replace("\r\n", "\n").strip()


def _are_words(values: Any) -> bool:
    """Whether a list holds texts that can stand between semicolons."""
    return isinstance(values, list) and bool(values) and all(isinstance(v, str) and _WORD.fullmatch(v) for v in values)


def _literal(value: Any) -> str:
    """A value that is no list of words as it stands in a file, texts without their quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, list):
        return f"[{', '.join(_quoted(v) for v in value)}]"
    if isinstance(value, dict):
        return (
            f"{{ {', '.join(f'{k if _BARE.fullmatch(k) else json.dumps(k)} = {_quoted(v)}' for k, v in value.items())} }}"
        )
    return f"{value:.15g}" if isinstance(value, float) else str(value)


def _quoted(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else _literal(value)
