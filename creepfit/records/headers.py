"""Heads of tables of readings: which column is what, by the names people give them, in English and German.

A column that is none of these is passed over and named in the answer of `check`; one whose name is nearly that of a
column that counts is refused, as nobody leaves out a temperature by a slip of typing on purpose.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass

from creepfit.errors import InputError
from creepfit.records.fields import did_you_mean
from creepfit.units import Kind, unit_factor

COLUMNS = ("time", "when", "reading", "temperature", "note", "skip")
EXPECTED = 'columns such as "time [h]" (or "when") and "reading [mm]"'
FURTHEST_DOWN = 20
"""Rows above the head that may be a title, a name, a date: it is looked for so far down."""

_VALUE = re.compile(r"\s*[-+]?\d")

STEP_TIMES = 2
"""Titles that are times from which on a table is one of steps."""

_STEP_TIME = re.compile(r"\s*(?:after\s+|nach\s+)?(\d+(?:[.,]\d+)?\s*(?:s|sec|min|h|d))\s*")
NEARLY = 0.8
"""How alike a passed over column's name must be to one that counts to be a slip of typing (difflib's ratio)."""

_NAMES = {
    "time": (
        "time", "times", "elapsed", "elapsed time", "time elapsed", "time under load", "t", "duration", "zeit",
        "laufzeit", "dauer", "zeit unter last", "belastungsdauer", "belastungszeit",
    ),
    "when": (
        "when", "date time", "datetime", "date-time", "date and time", "date & time", "date/time", "timestamp",
        "zeitpunkt", "zeitstempel", "datum uhrzeit", "datum und uhrzeit", "datum/uhrzeit", "datum/zeit",
    ),
    "date": ("date", "datum"),
    "clock": ("time of day", "clock", "clock time", "uhrzeit", "uhr"),
    "temperature": (
        "temperature", "temp", "temp.", "room temperature", "air temperature", "temperatur", "raumtemperatur",
        "lufttemperatur",
    ),
    "note": (
        "note", "notes", "remark", "remarks", "comment", "comments", "bemerkung", "bemerkungen", "notiz", "notizen",
        "anmerkung", "anmerkungen", "kommentar",
    ),
    "skip": ("skip", "skipped", "left out", "ausgelassen"),
}  # fmt: skip
_ROLE = {name: role for role, names in _NAMES.items() for name in names}
_READING = re.compile(
    r"(?:readings? ?\w*|(?:gauge|dial gauge|dial) readings? ?\d*"
    r"|(?:ablesung(?:en)?|messwerte?|anzeige|messuhr(?:anzeige)?|gauge|dial) ?\d*)"
)
_MOVEMENT = re.compile(
    r"(?:deflection|displacement|deformation|strain|extension|durchbiegung|weg|verschiebung|verformung|dehnung) ?\d*"
)
"""What a column of readings may also be called, where none is called a reading."""

_BRACKETED = re.compile(r"\s*(?P<name>[^\[\](]*?)\s*(?:[\[(](?P<unit>.*)[\])])?\s*")
_SLASHED = re.compile(r"\s*(?P<name>.+?)\s*(?:/|\sin\s|,)\s*(?P<unit>[^\s/,][^/,]*?)\s*")
_UNIT_KINDS: dict[str, tuple[Kind, ...]] = {
    "time": ("time",), "temperature": ("temperature",), "reading": ("length", "strain"),
}  # fmt: skip


@dataclass(frozen=True)
class Column:
    """One column that counts: what it is, its unit where the head gives one, its title and its place."""

    name: str
    unit: str | None
    title: str
    index: int


@dataclass(frozen=True)
class Head:
    """The columns that count, and the titles of those that do not."""

    columns: tuple[Column, ...]
    passed_over: tuple[str, ...] = ()

    def column(self, name: str) -> Column | None:
        """Return the first column of a name."""
        return next((c for c in self.columns if c.name == name), None)


def is_head(cells: Sequence[object]) -> bool:
    """Whether a row can be the head of a table of readings: a column of time and one of readings, or times of steps."""
    if len(times_of_steps(cells)) >= STEP_TIMES:
        return True
    roles = {role for title in cells if not blank(title) for role, _ in [_understood(str(title))]}
    return bool(roles & {"time", "when", "date"}) and bool(roles & {"reading", "movement"})


def times_of_steps(cells: Sequence[object]) -> dict[int, str]:
    """Columns whose titles are times within a step, "5 s", "after 30 s", by their place; see `step_table`."""
    matches = {i: _STEP_TIME.fullmatch(str(title)) for i, title in enumerate(cells) if i > 0 and not blank(title)}
    return {i: match[1] for i, match in matches.items() if match}


def head_of(cells: Sequence[object], file: str | None) -> Head:
    """Understand the head of a table.

    Parameters
    ----------
    cells : sequence
        The titles, blank ones for columns without.
    file : str or None
        For messages.

    Raises
    ------
    InputError
        No column of time or of readings, two of one kind, a unit of the wrong kind, or nearly a known name.
    """
    named = [(str(t).strip(), i, *_understood(str(t))) for i, t in enumerate(cells) if not blank(t)]
    roles = {role for _, _, role, _ in named}
    columns: list[Column] = []
    other: list[str] = []
    for title, index, role, unit in named:
        name = _in_this_table(role, unit, roles)
        if name is None:
            other.append(title)
        else:
            columns.append(Column(name, unit, title, index))
    names = [c.name for c in columns]
    _refuse_twins(columns, [str(t).strip() for t in cells if not blank(t)], file)
    timed = {"time", "when"} & set(names) or {"date", "clock"} <= set(names)
    near = next((t for t in other if _nearly(t)), None)
    if not timed or "reading" not in names:
        if not columns and all(_VALUE.match(title) for title in other):
            problem = "no line with the names of the columns above the readings"
            raise InputError(problem, file=file, key="header", found=", ".join(other), expected=EXPECTED)
        if other:
            slip = near or other[0]
            problem = f'unknown column "{slip}"{did_you_mean(_plain(slip), COLUMNS)}'
            raise InputError(problem, file=file, key="header", expected=EXPECTED)
        lacking = "reading" if timed else "time"
        titles = ", ".join(str(t).strip() for t in cells if not blank(t))
        raise InputError(f'no column "{lacking}"', file=file, key="header", found=titles, expected=EXPECTED)
    if near is not None:
        problem = f'unknown column "{near}"{did_you_mean(_plain(near), COLUMNS)}'
        raise InputError(problem, file=file, key="header", expected=f"{EXPECTED}, or a name unlike these")
    for column in columns:
        _check_unit(column, file)
    return Head(tuple(columns), tuple(other))


def is_date(column: Column) -> bool:
    """Whether a column is called a date: then its cells show whether the time of day is in them."""
    return _understood(column.title)[0] == "date"


def blank(cell: object) -> bool:
    """Whether a cell holds nothing."""
    return cell is None or (isinstance(cell, str) and not cell.strip())


def reading_unit(unit: str, file: str | None, key: str) -> tuple[Kind, float]:
    """Return whether a reading's unit is one of length or of strain, and its factor.

    Raises
    ------
    InputError
        Neither of them.
    """
    try:
        return "length", unit_factor(unit, "length")[0]
    except InputError as error:
        try:
            return "strain", unit_factor(unit, "strain")[0]
        except InputError:
            expected = 'a unit of length or strain such as "mm" or "%"'
            raise InputError(error.problem, file=file, key=key, found=unit, expected=expected) from None


def _in_this_table(role: str | None, unit: str | None, roles: set[str | None]) -> str | None:
    """What a column is beside the others: a "time" without unit beside a date is the time of day."""
    if role == "movement":
        return None if "reading" in roles else "reading"
    if "date" in roles and not roles & {"when", "clock"}:
        if role == "time" and unit is None:
            return "clock"
        if role == "date" and "time" in roles and unit is None:
            return "date"
    if role == "date" and not roles & {"time", "when", "clock"}:
        return "when"  # the time of day may stand in the same cell
    if role in ("date", "clock") and not {"date", "clock"} <= (roles | ({"clock"} if "time" in roles else set())):
        return None if roles & {"time", "when"} else role
    if role in ("date", "clock") and ("when" in roles):
        return None
    return role


def _understood(title: str) -> tuple[str | None, str | None]:
    """Return the role of a title (None where there is none) and the unit in it."""
    whole = _plain(title)
    if whole in _ROLE:
        return _ROLE[whole], None
    for pattern in (_BRACKETED, _SLASHED):
        parts = pattern.fullmatch(title)
        if parts is None:
            continue
        role, unit = _role_of(_plain(parts["name"])), (parts["unit"] or "").strip() or None
        if role is None or (pattern is _SLASHED and not _is_unit(unit, role)):
            continue
        return role, unit
    return None, None


def _role_of(name: str) -> str | None:
    if name in _ROLE:
        return _ROLE[name]
    if _READING.fullmatch(name):
        return "reading"
    return "movement" if _MOVEMENT.fullmatch(name) else None


def _is_unit(unit: str | None, role: str) -> bool:
    for kind in _UNIT_KINDS.get("reading" if role == "movement" else role, ()):
        try:
            unit_factor(unit or "", kind)
        except InputError:
            continue
        return True
    return False


def _plain(title: str) -> str:
    return " ".join(title.replace("_", " ").split()).casefold()


def _nearly(title: str) -> bool:
    parts = _BRACKETED.fullmatch(title)
    name = _plain(parts["name"] if parts else title)
    return bool(difflib.get_close_matches(name, COLUMNS, n=1, cutoff=NEARLY))


def _refuse_twins(columns: Sequence[Column], titles: Sequence[str], file: str | None) -> None:
    for name in ("time", "when", "date", "clock", "temperature", "skip"):
        same = [c for c in columns if c.name == name]
        if len(same) > 1:
            raise InputError("a column stands twice", file=file, key="header", found=same[1].title)
    names = [c.name for c in columns]
    if "time" in names and "when" in names:
        raise InputError("two columns of time", file=file, key="header", expected='"time" or "when"')
    for column in columns:
        numbered = re.search(r"\d|readings?\s\w", re.sub(r"[\[(].*", "", _plain(column.title)))
        if column.name == "reading" and numbered and titles.count(column.title) > 1:
            raise InputError("a column stands twice", file=file, key="header", found=column.title)


def _check_unit(column: Column, file: str | None) -> None:
    if column.unit is None:
        return
    key = f"header, {column.title}"
    if column.name == "reading":
        reading_unit(column.unit, file, key)
        return
    if column.name not in ("time", "temperature"):
        return
    kind: Kind = "time" if column.name == "time" else "temperature"
    try:
        unit_factor(column.unit, kind)
    except InputError as error:
        expected = 'a unit of time such as "h"' if kind == "time" else 'a unit of temperature such as "degC"'
        raise InputError(error.problem, file=file, key=key, found=column.unit, expected=expected) from None
