"""Quantities as people write them ("1.6 kg", "2,5 kg", "5 d", "4.00 +- 0.03 mm") to internal units and back.

Internal units: s, mm, kg, N, MPa, degC, rad, strain and humidity as fractions; a year is 365.25 d. Number and
unit are split here; pint is asked about a unit only, and only about one that is not in `unit_tables`: it
would read "2,5 kg" as 25 kg and "5 d 1 min" as a product, lets "nan mm" through, and is slow to import.
"""

from __future__ import annotations

import difflib
import itertools
import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from creepfit.errors import InputError
from creepfit.limits import check_largest
from creepfit.unit_tables import (
    DAY,
    HOUR,
    KINDS,
    MINUTE,
    STANDARD_GRAVITY,
    TEMPERATURE_ZERO,
    TIME,
    YEAR,
    Kind,
)  # fmt: skip

__all__ = [
    "DAY", "HOUR", "MINUTE", "MISSING_UNIT", "STANDARD_GRAVITY", "YEAR", "Kind", "Measure", "example_of", "measure",
    "number", "quantity", "show_number", "show_time", "show_with_error", "unit_factor", "unit_of",
]  # fmt: skip
MISSING_UNIT = "the unit is missing"
LONGEST = 60
"""Characters of a unit: the longest that anyone would write has half of them."""


@dataclass(frozen=True)
class Measure:
    """A size with its tolerance: `tolerance` is the half width of a uniform distribution, same unit as `value`."""

    value: float
    tolerance: float = 0.0


_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?"
_QUANTITY = re.compile(rf"\s*({_NUMBER})\s*(.*?)\s*", re.DOTALL)
_DATE = re.compile(r"\s*\d{1,4}[-./]\d")
_TIME_TERM = re.compile(r"(\d+(?:[.,]\d*)?)\s*([A-Za-z]+)\s*")
_TOLERANCE = re.compile(r"\s*(?:±|\+\s*/?\s*-)\s*")
_UNIT_TEXT = re.compile(r"(?:[A-Za-z]+\d?|\*\*?|\^\s*-?\d?\.?\d|/|\(|\)|\s){1,40}")
_THOUSANDS = re.compile(r"[+-]?[1-9]\d{0,2},000")


def quantity(text: object, kind: Kind, *, file: str | None = None, key: str | None = None) -> float:
    """Return a quantity in internal units.

    Parameters
    ----------
    text : str or number
        Number and unit, "1.6 kg", decimal comma allowed; times also as a sum, "5 d 1 min". A number without a
        unit is taken only where it is 0 (not for temperatures) or the kind may go without one.
    kind : str
        What it must be; `density` comes back in kg/m^3, `rotation` in rad/(N mm), `drift` in mm/day^0.5.
    file, key : str, optional
        Where it stood, for the message.

    Raises
    ------
    InputError
        Not a number, a size that nobody can have (see `limits`), or a unit that is unknown or of another kind.
    """
    try:
        return _parse(_as_text(text, kind), kind)
    except InputError as error:
        raise error.within(file, key) from None


def measure(text: object, kind: Kind, *, file: str | None = None, key: str | None = None) -> Measure:
    """Return a size with its tolerance, "4.00 +- 0.03 mm", "4 mm ± 1 %" or without one, in internal units.

    Raises
    ------
    InputError
        As `quantity`; also for a negative tolerance.
    """
    try:
        return _parse_measure(_as_text(text, kind), kind)
    except InputError as error:
        raise error.within(file, key) from None


def number(text: object, *, file: str | None = None, key: str | None = None) -> float:
    """Return a finite plain number, decimal comma allowed.

    Raises
    ------
    InputError
        Where it is no number, or not finite.
    """
    whole = str(text).strip() if isinstance(text, str | int | float) and not isinstance(text, bool) else ""
    if not re.fullmatch(_NUMBER, whole):
        raise InputError(file=file, key=key, found=text, expected="a number")
    value = float(whole.replace(",", "."))
    if not math.isfinite(value):
        raise InputError("too large a number", file=file, key=key, found=text, expected="a finite number")
    return value


def unit_factor(unit: str, kind: Kind, *, file: str | None = None, key: str | None = None) -> tuple[float, float]:
    """Return factor and offset that take a number in `unit` to internal units: ``number * factor + offset``.

    Raises
    ------
    InputError
        Where the unit is unknown or of another kind.
    """
    try:
        return _factor(_tidy(unit), kind), TEMPERATURE_ZERO.get(unit, 0.0) if kind == "temperature" else 0.0
    except InputError as error:
        raise error.within(file, key) from None


def unit_of(text: str) -> str:
    """Return the unit of a quantity that is not zero as it was typed, tolerance or not: "g" of "300 g +- 1 %"; else ""."""
    size, *tolerance = _TOLERANCE.split(text)
    match = _QUANTITY.fullmatch(size)
    if match is None or float(match.group(1).replace(",", ".")) == 0.0:
        return ""
    beside = _QUANTITY.fullmatch(tolerance[0]) if tolerance else None
    return match.group(2) or (beside.group(2) if beside is not None else "")


def example_of(kind: Kind) -> str:
    """Return what is expected where a quantity of this kind is asked for: ``a length such as "60 mm"``."""
    return f'{KINDS[kind].name} such as "{KINDS[kind].example}"'


def _as_text(value: object, kind: Kind) -> str:
    if isinstance(value, str):
        return value
    if isinstance(value, int | float) and not isinstance(value, bool):
        return repr(value)
    raise InputError(found=value, expected=example_of(kind))


@lru_cache(maxsize=1024)  # the runs of a batch are read at the same times, under the same loads
def _parse(text: str, kind: Kind) -> float:
    if _TOLERANCE.search(text):
        raise InputError("no tolerance is understood here", found=text, expected=example_of(kind))
    match = _QUANTITY.fullmatch(text)
    if match is None or (kind != "time" and re.match(r"[\d.,+-]", match.group(2))):
        raise InputError(found=text, expected=example_of(kind))
    digits, unit = match.groups()
    if _THOUSANDS.fullmatch(digits):
        plain = f"{digits.replace(',', '')} {unit}".strip(), f"{digits.split(',')[0]} {unit}".strip()
        expected = " or ".join(f'"{p}"' for p in plain)
        raise InputError("the comma could part decimals or thousands", found=text, expected=expected)
    value = float(digits.replace(",", "."))
    if kind == "time" and any(c.isdigit() for c in unit):
        result = _sum_of_times(text)
    elif not unit and value == 0.0 and kind != "temperature":
        result = 0.0
    else:
        try:
            factor, offset = unit_factor(unit, kind)
        except InputError as error:
            raise InputError(error.problem, found=text, expected=error.expected) from None
        result = value * factor + offset
    if not math.isfinite(result):
        raise InputError("too large a number", found=text, expected=example_of(kind))
    check_largest(result, kind, text, example_of(kind))
    return result


def _sum_of_times(text: str) -> float:
    """Read "5 d 1 min": terms from the large unit to the small one, a sign in front counts for all."""
    body = text.strip()
    sign = -1.0 if body.startswith("-") else 1.0
    body = body.lstrip("+-").lstrip()
    terms = _TIME_TERM.findall(body)
    whole = "".join(m.group(0) for m in _TIME_TERM.finditer(body))
    sizes = [TIME.get(unit, math.nan) for _, unit in terms]
    if whole != body or not all(a > b for a, b in itertools.pairwise(sizes)):
        problem = "a date, where a length of time is asked for" if _DATE.match(text) else ""
        raise InputError(problem, found=text, expected='a time such as "5 d" or "5 d 1 min"')
    return sign * sum(float(n.replace(",", ".")) * size for (n, _), size in zip(terms, sizes, strict=True))


@lru_cache(maxsize=1024)  # a logger's loads are a few, each thousands of times
def _parse_measure(text: str, kind: Kind) -> Measure:
    parts = _TOLERANCE.split(text)
    if len(parts) == 1:
        return Measure(_parse(text, kind))
    expected = f'{KINDS[kind].name} such as "{KINDS[kind].example}" or "4.00 +- 0.03 mm"'
    if len(parts) > 2 or not all(parts):
        raise InputError(found=text, expected=expected)
    first, second = parts
    with_unit = _QUANTITY.fullmatch(second)
    if with_unit is None:
        raise InputError(found=text, expected=expected)
    if re.fullmatch(_NUMBER, first.strip()):
        first = f"{first} {with_unit.group(2)}"
    try:
        value = _parse(first, kind)
        relative = with_unit.group(2) == "%" and kind not in ("fraction", "humidity", "percent", "strain")
        tolerance = abs(value) * _parse(second, "percent") if relative else _parse(second, kind)
    except InputError as error:
        raise InputError(error.problem, found=text, expected=expected) from None
    if tolerance < 0.0:
        raise InputError("negative tolerance", found=text, expected=expected)
    return Measure(value, tolerance)


@lru_cache(maxsize=1024)
def _tidy(unit: str) -> str:
    """Spell a unit as the tables do."""
    for old, new in (("²", "^2"), ("³", "^3"), ("µ", "u"), ("μ", "u"), ("·", "*"), ("℃", "°C"), ("**", "^")):
        unit = unit.replace(old, new)
    return re.sub(r"(?<=[a-z])([23])\b", r"^\1", unit.strip())


@lru_cache(maxsize=1024)
def _factor(unit: str, kind: Kind) -> float:
    known = KINDS[kind]
    if unit in known.units:
        return known.units[unit]
    expected = example_of(kind)
    if not unit:
        raise InputError(MISSING_UNIT, found=unit, expected=expected)
    if len(unit) > LONGEST:  # the time to compare a text with the units grows with its square
        raise InputError(f'unknown unit "{unit}"', found=unit, expected=expected)
    other = next(((name, k) for name, k in KINDS.items() if unit in k.units), None)
    if other is not None:
        if {kind, other[0]} == {"mass", "force"}:  # what is read off a balance, and what a load cell shows
            expected = f"{expected}, or the key {other[0]} in place of {kind}"
        raise InputError(f'"{unit}" is the unit of {other[1].name}', found=unit, expected=expected)
    meant = known.meant.get(unit.casefold())
    near = meant or _nearest_unit(unit, known.units)
    # "60 Mm" is sixty thousand kilometres and "6 mPa" next to nothing: a slip of the shift key, not what was meant.
    slip = near is not None and near.casefold() == unit.casefold()
    only_table = known.reference is None or slip or meant is not None
    factor = None if only_table else _factor_from_pint(unit, known.reference or "")
    if factor is not None and factor > 0.0:
        return factor
    wrong = f'unknown unit "{unit}"' if factor is None else f'"{unit}" is no unit of {known.name.split(" ", 1)[1]}'
    hint = f' (did you mean "{near}"?)' if near and factor is None else ""
    raise InputError(wrong + hint, found=unit, expected=expected)


def _nearest_unit(unit: str, known: dict[str, float]) -> str | None:
    for candidate in known:
        if candidate.casefold() == unit.casefold():
            return candidate
    for candidate in known:  # one wrong letter: difflib would rather drop it, "m" for "mn"
        if len(candidate) == len(unit) > 1 and sum(a != b for a, b in zip(candidate, unit, strict=True)) == 1:
            return candidate
    return next(iter(difflib.get_close_matches(unit, known, n=1, cutoff=0.5)), None)


def _factor_from_pint(unit: str, reference: str) -> float | None:
    """Ask pint for a unit outside the tables; None where it knows none, 0 where the unit measures something else."""
    if not _UNIT_TEXT.fullmatch(unit):
        return None
    try:
        parsed = _registry().parse_units(unit.replace("^", "**"))
        # "30 dd" is three days to pint and "5 hh" five hundred hours: only seconds have prefixes that people write
        if reference == "s" and any(prefix and name != "second" for prefix, name, _ in _registry().parse_unit_name(unit)):
            return None
    except Exception:
        return None
    try:
        factor = float(_registry().convert(1.0, parsed, reference))
    except Exception:
        return 0.0
    return factor if math.isfinite(factor) else 0.0


@lru_cache(maxsize=1)
def _registry() -> Any:
    import pint

    return pint.UnitRegistry()


def show_time(seconds: float) -> str:
    """Return a time as a person would say it: "5 d", "1 year", "6 h", "5 d 1 min"; three digits from ten days on."""
    if not math.isfinite(seconds):
        return "unknown"
    if seconds < 0.0:
        return "-" + show_time(-seconds)
    years = seconds / YEAR
    if years >= 0.5 and _whole(10.0 * years):
        return f"{years:.10g} {'year' if years <= 1.0 else 'years'}"
    for unit, size, most in (("d", DAY, 99999), ("h", HOUR, 47), ("min", MINUTE, 119), ("s", 1.0, 999)):
        count = seconds / size
        if _whole(count) and (1 <= count <= most or (unit == "h" and _whole(count / 100))):
            return f"{round(count)} {unit}"
    exact = _two_terms(seconds) if seconds < 10.0 * DAY or (_whole(seconds / HOUR) and seconds < 1000.0 * HOUR) else None
    return exact or _rounded_time(seconds)


def _whole(x: float) -> bool:
    return x > 0.5 and abs(x - round(x)) <= 1e-9 * max(1.0, x)


def _two_terms(seconds: float) -> str | None:
    for (big, size), (small, part) in (
        (("d", DAY), ("h", HOUR)),
        (("d", DAY), ("min", MINUTE)),
        (("d", DAY), ("s", 1.0)),
        (("h", HOUR), ("min", MINUTE)),
        (("h", HOUR), ("s", 1.0)),
    ):
        count = math.floor(seconds / size + 1e-9)
        rest = (seconds - count * size) / part
        if count >= 1 and _whole(rest) and rest < 59.5:
            if big == "h" and count >= 24:  # one way to say a time: days come first
                days, hours = divmod(count, 24)
                return f"{days} d {hours} h {round(rest)} {small}"
            return f"{count} {big} {round(rest)} {small}"
    return None


def _rounded_time(seconds: float) -> str:
    for unit, size in (("years", YEAR), ("d", DAY), ("h", HOUR), ("min", MINUTE), ("s", 1.0)):
        # A year is only worth its name from two on: 400 d says more than 1.1 years.
        if seconds >= (2.0 if unit == "years" else 1.0) * size:
            count = show_number(seconds / size, digits=3)
            if unit == "min" and count != "1" and seconds < 2.0 * size:
                continue  # no clock shows 1.02 min
            return f"{count} {unit}"
    return f"{show_number(seconds, digits=3)} s"


def show_number(value: float | None, *, error: float | None = None, digits: int = 3) -> str:
    """Return a number rounded to `digits` significant ones, or to the place of the second digit of its error."""
    if value is None or not math.isfinite(value):
        return "unknown"
    if error is not None and math.isfinite(error) and error > 0.0:
        places = 1 - math.floor(math.log10(float(f"{error:.1e}")))
    elif value == 0.0:
        return "0"
    else:
        places = digits - 1 - math.floor(math.log10(float(f"{abs(value):.{digits - 1}e}")))
    if places > 7 or (value != 0.0 and abs(value) >= (1e7 if error is None else 1e9)):
        return f"{value:.{max(digits - 1, 0)}e}"
    text = f"{round(value, places):.{max(places, 0)}f}"
    if error is None and "." in text:
        text = text.rstrip("0").rstrip(".")
    return text.removeprefix("-") if float(text) == 0.0 else text


def show_with_error(value: float | None, error: float | None) -> str:
    """Return "2.41 ± 0.05"; without an error the number alone, so that nobody takes it for exact or for 0."""
    if value is None or error is None or not (math.isfinite(value) and math.isfinite(error)) or error <= 0.0:
        return show_number(value)
    return f"{show_number(value, error=error)} ± {show_number(error, error=error)}"
