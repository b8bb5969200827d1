"""[climate]: a temperature that changes over time, for a part or an answer.

[climate]                                  one of these three:
daily = ["15 degC", "35 degC"]             a swing between two temperatures, over each day
hours = [["35 degC", "200 h"], ["20 degC", "5000 h"]]      hours of the year at each; the rest is at the lowest
file = "greenhouse.csv"                    a logger: time [h],temperature [degC]
"""

from __future__ import annotations

import csv
import math
import os
from pathlib import Path
from typing import Annotated, Any

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.temperature import Climate
from creepfit.records.fields import Expected, Schema, Text, YesNo, validated
from creepfit.records.file_content import read_toml
from creepfit.records.schema import check_format
from creepfit.units import HOUR, YEAR, quantity

WAYS = ("daily", "hours", "file")
LONGEST = YEAR * 1.01
MOST_ROWS = 200_000
"""A logger's year at three minutes."""


_DAILY = 'the lowest and the highest of a day, such as ["15 degC", "35 degC"]'
_HOURS = 'rows of a temperature and its hours in a year, such as [["35 degC", "200 h"], ["20 degC", "5000 h"]]'


class ClimateTable(Schema):
    """[climate]."""

    daily: Annotated[Any, Expected.shaped(_DAILY, "list")] = None
    hours: Annotated[Any, Expected.shaped(_HOURS, "rows")] = None
    file: Text | None = None
    repeats: YesNo = True


def read_climate(path: str | os.PathLike[str]) -> Climate:
    """Read a file that holds a table [climate] alone.

    Raises
    ------
    InputError
        Any mistake in it.
    """
    file = os.fspath(path)
    data = read_toml(Path(path), file)
    check_format(data, file, ("format", "climate"))
    if "climate" not in data:
        raise InputError("missing", file=file, key="climate", expected="a table [climate]")
    return climate_of(data["climate"], file)


def climate_of(table: Any, file: str | None) -> Climate:
    """Return the climate of a table [climate].

    Raises
    ------
    InputError
        Any mistake in it.
    """
    given = validated(ClimateTable, table, file=file, key="climate")
    named = [way for way in WAYS if getattr(given, way) is not None]
    if len(named) != 1:
        named_keys = " and ".join(named) or "none"
        raise InputError(file=file, key="climate", found=named_keys, expected="one of daily, hours and file")
    if given.daily is not None:
        return _daily(given.daily, file)
    if given.hours is not None:
        return _hours(given.hours, file)
    assert given.file is not None
    return _logged(Path(file or ".").parent / given.file, given.repeats)


def _daily(given: Any, file: str | None) -> Climate:
    if not isinstance(given, list) or len(given) != 2:
        raise InputError(file=file, key="climate.daily", found=given, expected=_DAILY)
    low, high = (quantity(t, "temperature", file=file, key="climate.daily") for t in given)
    if low > high:
        raise InputError("the higher one first", file=file, key="climate.daily", found=given, expected=_DAILY)
    return Climate.daily(low, high)


def _hours(given: Any, file: str | None) -> Climate:
    if not isinstance(given, list) or not given:
        raise InputError(file=file, key="climate.hours", found=given, expected=_HOURS)
    rows = []
    for i, row in enumerate(given, start=1):
        key = f"climate.hours {i}"
        if not isinstance(row, list) or len(row) != 2:
            raise InputError(file=file, key=key, found=row, expected=_HOURS)
        length = quantity(row[1], "time", file=file, key=key)
        if length <= 0.0:
            raise InputError(file=file, key=key, found=row[1], expected="hours above zero")
        rows.append((quantity(row[0], "temperature", file=file, key=key), length / HOUR))
    total = sum(h for _, h in rows)
    if total * HOUR > LONGEST:
        raise InputError(
            "more than a year", file=file, key="climate.hours", found=f"{total:g} h", expected=f"at most {YEAR / HOUR:g} h"
        )
    return Climate.of_hours(rows)


def _logged(path: Path, repeats: bool) -> Climate:
    """A logger's file: header, then a time and a temperature a row."""
    file = str(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise InputError(error.strerror or "cannot be read", file=file, expected="a CSV file") from None
    except UnicodeDecodeError:
        raise InputError("not text in UTF-8", file=file, expected="a CSV file") from None
    delimiter = ";" if ";" in text.split("\n", 1)[0] else ","
    rows = list(csv.reader(text.splitlines(), delimiter=delimiter))
    head = [cell.strip() for cell in rows[0]] if rows else []
    expected = "a header time [h],temperature [degC]"
    columns = {name: k for k, cell in enumerate(head) for name in ("time", "temperature") if cell.lower().startswith(name)}
    if set(columns) != {"time", "temperature"}:
        raise InputError(file=file, key="row 1", found=",".join(head)[:100] or "nothing", expected=expected)
    units = {name: head[k][len(name) :].strip(" []()") for name, k in columns.items()}
    if len(rows) > MOST_ROWS:
        raise InputError("too many rows", file=file, found=len(rows) - 1, expected=f"at most {MOST_ROWS}")
    times: list[float] = []
    degrees: list[float] = []
    for number, row in enumerate(rows[1:], start=2):
        if not any(cell.strip() for cell in row):
            continue
        values = {}
        for name, k in columns.items():
            cell = row[k].strip() if k < len(row) else ""
            given = f"{cell} {units[name]}".strip()
            values[name] = quantity(given, "time" if name == "time" else "temperature", file=file, key=f"row {number}")
        if times and values["time"] < times[-1]:
            raise InputError("earlier than the row before", file=file, key=f"row {number}", expected="times in order")
        times.append(values["time"])
        degrees.append(values["temperature"])
    if len(times) < 2:
        raise InputError(file=file, found=f"{len(times)} rows", expected="two rows or more below the header")
    start = times[0]
    length = times[-1] - start
    if not length > 0.0 or not math.isfinite(length):
        raise InputError("no time passes", file=file, expected="times that go on")
    return Climate(np.array(times) - start, np.array(degrees), length if repeats else None)
