"""Readings as a table of load steps: one row a [[load]], one column a time of each step, "5 s", "15 s", "30 s", "60 s".

So such tests are written down at the bench. It becomes the usual table, with the time of a load and that of the column
added. The title of the first column may give the unit, `reading [mm]`; its cells number the loads ("1", "2"), or are
words, and then rows are loads in their order. A row that is called "before" holds the reading before the first load.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from creepfit.errors import InputError
from creepfit.records.headers import STEP_TIMES, blank, times_of_steps
from creepfit.records.moments import Moment, moment
from creepfit.records.tables import Table
from creepfit.units import quantity

BEFORE = ("before", "zero", "0", "initial", "vorher", "null")
_UNIT = re.compile(r".*[\[(](?P<unit>[^\])]+)[\])]\s*")
_NUMBER = re.compile(r"\s*(?:step|load|stufe)?\s*(\d+)\.?\s*", re.IGNORECASE)


def unfolded(table: Table, data: dict[str, Any], file: str) -> Table:
    """The table with a row for each reading; one that is no table of steps as it is.

    Parameters
    ----------
    table : Table
    data : dict
        Tables of the run file, whose [[load]]s say when each step begins.
    file : str
        The run file, for messages.

    Raises
    ------
    InputError
        A row without a load of its own, a time that runs beyond the next load, or no load at all.
    """
    times = _times(table.header)
    if len(times) < STEP_TIMES:
        return table
    begins = _begins(data, file)
    found = _UNIT.fullmatch(str(table.header[0]))
    unit = found["unit"] if found else None
    rows: list[tuple[str, tuple[object, ...]]] = []
    order = 0
    for where, cells in table.rows:
        name = "" if not cells or blank(cells[0]) else str(cells[0]).strip()
        if name.casefold() in BEFORE:
            first = next((cells[i] for i in times if i < len(cells) and not blank(cells[i])), None)
            start = begins[0] if isinstance(begins[0], datetime) else _span(begins[0])
            rows += [] if first is None else [(where, (start, first))]
            continue
        number = _NUMBER.fullmatch(name)
        order = int(number[1]) if number else order + 1
        if order > len(begins):
            expected = f"a [[load]] for each row; there are {len(begins)}"
            raise InputError(f"there is no load {order}", file=table.file, key=where, found=name or None, expected=expected)
        begin = begins[order - 1]
        for index, after in times.items():
            if index < len(cells) and not blank(cells[index]):
                place = f"{where}, {str(table.header[index]).strip()}"
                _within(begins, order, after, table, place)
                at = begin + timedelta(seconds=after) if isinstance(begin, datetime) else _span(begin + after)
                rows.append((place, (at, cells[index])))
    title = "reading" if unit is None else f"reading [{unit}]"
    kind = "when" if isinstance(begins[0], datetime) else "time"
    return Table(table.file, (kind, title), tuple(rows), table.comma_parts_thousands, table.head_row)


def _times(header: Sequence[object]) -> dict[int, float]:
    """Columns whose titles are times, each with that in s."""
    return {i: quantity(text, "time") for i, text in times_of_steps(header).items()}


def _begins(data: dict[str, Any], file: str) -> list[Moment]:
    """When each load goes on."""
    loads = data.get("load")
    if not isinstance(loads, list) or not loads:
        raise InputError("no load", file=file, key="load", expected="a [[load]] for each row of a table of steps")
    begins = []
    for i, load in enumerate(loads, start=1):
        try:
            begins.append(moment(load.get("at") if isinstance(load, dict) else None))
        except InputError as error:
            raise error.within(file, f"load {i}, at") from None
    if len({isinstance(begin, datetime) for begin in begins}) > 1:
        raise InputError("date-times and elapsed times", file=file, key="load", expected="one kind for a table of steps")
    return begins


def _within(begins: list[Moment], order: int, after: float, table: Table, place: str) -> None:
    if order == len(begins):
        return
    begin, end = begins[order - 1], begins[order]
    if isinstance(begin, datetime) and isinstance(end, datetime):
        length = (end - begin).total_seconds()
    else:
        assert not isinstance(begin, datetime)
        assert not isinstance(end, datetime)
        length = end - begin
    if after > length:
        expected = f"at most {length:g} s after load {order}, when the next one goes on"
        raise InputError("a reading after the end of its step", file=table.file, key=place, expected=expected)


def _span(seconds: float) -> timedelta:
    return timedelta(seconds=seconds)
