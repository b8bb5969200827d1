"""Forms made of the schemas of files: what a browser sent as values by table, and back, with mistakes by field."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from creepfit.errors import InputError
from creepfit.records.editing.toml_form import filled, form_values
from creepfit.records.file_content import decoded
from creepfit.records.form_fields import FormTable, dotted


@dataclass(frozen=True)
class FilledForm:
    """A form with what is in it: `text` is the file it makes, `mistakes` by field or table ("" for the form as a whole)."""

    tables: tuple[FormTable, ...]
    values: Mapping[str, Any]
    text: str
    mistakes: Mapping[str, str]

    @property
    def by_name(self) -> dict[str, FormTable]:
        """Return the tables by their names."""
        return {table.name: table for table in self.tables}

    @property
    def first_mistake(self) -> str:
        """Return the name of the first field with a mistake, in the order of the tables; "" where none has."""
        return next((name for name in self._names() if name in self.mistakes), "")

    def wrong_in(self, table: str) -> bool:
        """Whether a table that stands once has a mistake in it."""
        return any(name == table or name.startswith(f"{table}.") for name in self.mistakes)

    def _names(self) -> Iterator[str]:
        for table in self.tables:
            for i, _ in enumerate(self.entries(table), start=1):
                yield from (dotted(table.place(i), f.key) for f in table.fields)

    def place_of(self, key: str) -> str:
        """Return the field that the place of a mistake belongs to, else its table; "" for the form as a whole."""
        places = list(self._names())
        for table in self.tables:
            places += [table.name, *(table.place(i) for i, _ in enumerate(self.entries(table), start=1))]
        return max((p for p in places if key == p or key.startswith((f"{p} ", f"{p}.", f"{p},"))), key=len, default="")

    def entries(self, table: FormTable) -> list[Mapping[str, str]]:
        """Return what is in a table, one entry for each time it stands."""
        own = self.values.get(table.name)
        if table.repeated:
            return list(own or [])
        return [own or {}]


def sent(tables: Sequence[FormTable], form: Mapping[str, str]) -> dict[str, Any]:
    """Return what a browser sent, by table: fields are named as places are in messages ("gauge.force", "load 2, mass")."""
    values: dict[str, Any] = {}
    for table in tables:
        if not table.repeated:
            values[table.name] = _entry(table, table.name, form)
            continue
        # a field of that name marks that the entry is there, though all of it may be empty
        there = (table.place(i) for i in range(1, len(form) + 1) if table.place(i) in form)
        values[table.name] = [_entry(table, place, form) for place in there]
    return values


def _entry(table: FormTable, place: str, form: Mapping[str, str]) -> dict[str, str]:
    names = {f.key: dotted(place, f.key) for f in table.fields}
    # browsers end the lines of a text with both
    return {key: form[name].replace("\r\n", "\n").strip() for key, name in names.items() if name in form}


def change_entries(values: dict[str, Any], button: str) -> str:
    """Do what a button says to a table that stands several times: "add load", "remove load 2".

    Returns
    -------
    str
        The entry that is new, else the table whose entry is gone; "" where the button says neither.
    """
    what, _, rest = button.partition(" ")
    name, _, number = rest.rpartition(" ")
    if what == "add" and isinstance(own := values.get(rest), list):
        # one more segment mostly has the section of the last
        own.append({key: text for entry in own[-1:] for key, text in entry.items() if key == "section"})
        return f"{rest} {len(own)}"
    if what == "remove" and isinstance(own := values.get(name), list) and number.isdigit() and 0 < int(number) <= len(own):
        del own[int(number) - 1]
        return name
    return ""


def form_of(
    text: str,
    tables: Sequence[FormTable],
    values: Mapping[str, Any],
    check: Callable[[dict[str, Any]], Sequence[InputError]],
) -> FilledForm:
    """Put what was typed into a file's text and check what came of it.

    Parameters
    ----------
    text : str
        The file as it is.
    tables, values
        See `sent`.
    check : callable
        Mistakes of the file's data.
    """
    try:
        new = filled(text, tables, values)
        wrong = check(tomllib.loads(new))
    except InputError as failure:
        return FilledForm(tuple(tables), values, text, {"": str(failure)})
    except ValueError as failure:  # the file was changed by hand since, and is no TOML now
        return FilledForm(tuple(tables), values, text, {"": f"the file is not valid TOML any more ({failure})"})
    form = FilledForm(tuple(tables), values, new, {})
    mistakes: dict[str, str] = {}
    for error in wrong:
        place = form.place_of(error.key or "")
        rest = (error.key or "").removeprefix(place).lstrip(" ,.") or None
        where = error.file if error.file is not None and os.sep in error.file else None  # another file than the form's
        if where is not None:
            place, rest = "", error.key
        line = InputError(error.problem, file=where, key=rest, found=error.found, expected=error.expected)
        mistakes.setdefault(place, str(line))
    return replace(form, mistakes=mistakes)


def values_of(content: bytes, file: str, tables: Sequence[FormTable]) -> tuple[str, dict[str, Any]]:
    """Return a file's text and what it holds as it is typed into a form."""
    text = decoded(content, file)
    return text, form_values(text, tables)
