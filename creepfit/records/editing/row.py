"""What is to be written, and how a table of readings wants its cells: in its own units, commas and dates."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from creepfit.errors import InputError
from creepfit.records.headers import Column, reading_unit
from creepfit.records.moments import Clock, Moment
from creepfit.units import DAY, HOUR, MINUTE, MISSING_UNIT, Kind, number, quantity, unit_factor

_BARE = re.compile(r"\s*[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)\s*")
_UNIT_OF = re.compile(r"[\d.,]\s*([A-Za-z%µ°/]+)\s*$")


@dataclass(frozen=True)
class NewReading:
    """One reading as it was given: `value` as typed, `at` its moment, further cells as typed."""

    value: str
    at: Moment
    temperature: str | None = None
    note: str | None = None


def clock_seconds(at: Moment, clock: Clock | None) -> float:
    """Return a moment in seconds on the file's own clock, to put rows in order.

    Raises
    ------
    InputError
        A date-time, where the file has elapsed times only.
    """
    if isinstance(at, float):
        return at
    if clock is None or clock.zero is None:
        raise InputError(
            "the file has elapsed times only, so a date-time cannot be counted from anything",
            key="--at",
            found=f"{at:%Y-%m-%d %H:%M}",
            expected='--at "5 d", or in [run] start = "2031-05-04 16:30", the date-time that times count from',
        )
    if (at.tzinfo is None) != (clock.zero.tzinfo is None):
        at = at.astimezone() if at.tzinfo is None else at.astimezone().replace(tzinfo=None)
    return (at - clock.zero).total_seconds()


def moment_cell(column: Column, at: Moment, clock: Clock | None, like: Sequence[str]) -> str:
    """Return the cell of a column of time, in the form the cells above it have.

    Parameters
    ----------
    column : Column
        Of `time`, `when`, `date` or `clock`.
    at : Moment
    clock : Clock or None
        The file's, to go between elapsed times and date-times.
    like : sequence of str
        The cells above.
    """
    if column.name == "time":
        seconds = clock_seconds(at, clock)
        return elapsed_text(seconds) if column.unit is None else _in_unit(seconds, column.unit)
    when = _date_time(at, clock)
    german = any(re.match(r"\d{1,2}\.\d{1,2}\.", cell.strip()) for cell in like)
    day = f"{when.day}.{when.month}.{when.year}" if german else f"{when:%Y-%m-%d}"
    hour = f"{when:%H:%M}" if when.second == 0 else f"{when:%H:%M:%S}"
    if column.name == "date":
        return day
    if column.name == "clock":
        return hour
    parted = "T" if any(re.match(r"\d{4}-\d\d-\d\dT", cell.strip()) for cell in like) else " "
    zone = f"{when:%z}" if when.tzinfo is not None else ""
    return f"{day}{' ' if german else parted}{hour}{zone[:3] + ':' + zone[3:] if zone else ''}"


def _date_time(at: Moment, clock: Clock | None) -> datetime:
    if isinstance(at, datetime):
        return at
    if clock is None or clock.zero is None:
        raise InputError(
            "the readings have date-times and the file does not say what elapsed times count from",
            key="--at",
            expected='a date-time such as "2031-05-04 16:30"',
        )
    return clock.zero + timedelta(seconds=at)


def value_cell(text: str, unit: str | None, kinds: Sequence[Kind], like: Sequence[str], key: str) -> str:
    """Return a reading or temperature as its column wants it: with the digits typed where the unit is the same.

    Parameters
    ----------
    text : str
        As typed; without a unit it is taken in that of the column.
    unit : str or None
        Of the column's head; None where each cell has its own.
    kinds : sequence of str
        What it may be.
    like : sequence of str
        The cells above, whose unit a bare number is taken in where the head has none.
    key : str
        For messages.

    Raises
    ------
    InputError
        No quantity of these kinds, or a bare number and no unit above it.
    """
    bare = _BARE.fullmatch(text) is not None
    if unit is None:
        above = next((m[1] for cell in reversed(like) if (m := _UNIT_OF.search(cell))), None)
        if bare and above is None:
            raise InputError(MISSING_UNIT, key=key, found=text, expected='a unit, such as in "15.14 mm"')
        whole = f"{text.strip()} {above}" if bare else text.strip()
        _value(whole, kinds, key)
        return whole
    if bare:
        number(text, key=key)
        return text.strip()
    value, kind = _value(text, kinds, key)
    digits, own = re.fullmatch(r"\s*([-+\d.,eE]+?)\s*([^\d\s.,+-].*?)\s*", text).groups()  # type: ignore[union-attr]
    factor, offset = unit_factor(unit, kind)
    if unit_factor(own, kind) == (factor, offset):
        return str(digits)
    return f"{(value - offset) / factor:.10g}"


def _value(text: str, kinds: Sequence[Kind], key: str) -> tuple[float, Kind]:
    errors = []
    for kind in kinds:
        try:
            return quantity(text, kind, key=key), kind
        except InputError as error:
            errors.append(error)
    raise errors[0]


def reading_kinds(column: Column) -> tuple[Kind, ...]:
    """Return what a reading in a column may be."""
    return ("length", "strain") if column.unit is None else (reading_unit(column.unit, None, column.title)[0],)


def elapsed_text(seconds: float) -> str:
    """Return an elapsed time to the second that reads back: "4 d 2 h 13 min"."""
    sign = "-" if seconds < 0.0 else ""
    left = round(abs(seconds))
    terms = []
    for unit, size in (("d", int(DAY)), ("h", int(HOUR)), ("min", int(MINUTE)), ("s", 1)):
        count, left = divmod(left, size)
        if count:
            terms.append(f"{count} {unit}")
    return sign + " ".join(terms) if terms else "0 s"


def _in_unit(seconds: float, unit: str) -> str:
    """A number of a unit, to a second or a thousandth of the time, whichever is finer."""
    size = unit_factor(unit, "time")[0]
    for places in range(8):
        text = f"{seconds / size:.{places}f}"
        if abs(float(text) * size - seconds) < 0.5:
            return text.rstrip("0").rstrip(".") if "." in text else text
    return f"{seconds / size:.10g}"


def with_comma(text: str) -> str:
    """Return a number with a decimal comma."""
    return text.replace(".", ",")
