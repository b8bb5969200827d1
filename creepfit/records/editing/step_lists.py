"""A reading put into the lists of a table of steps: `after`, `before` and a list of `reading` for each load."""

from __future__ import annotations

from typing import Any

import tomlkit
from tomlkit.items import Table

from creepfit.errors import InputError
from creepfit.records.editing.row import NewReading, clock_seconds, elapsed_text, value_cell
from creepfit.records.moments import Clock, moment
from creepfit.units import quantity

BY_HAND = "lists of time and reading in place of after, or a reading typed into the table by hand"


def put_in_step(readings: Table, loads: list[dict[str, Any]], new: NewReading, clock: Clock | None, file: str) -> None:
    """Put a reading into the step it was taken in, with a new time within the steps where it has none yet.

    Parameters
    ----------
    readings : Table
        [readings] of the file.
    loads : list of dict
        Its [[load]] tables.
    new : NewReading
    clock : Clock or None
        The file's, to go between elapsed times and date-times.
    file : str
        For messages.

    Raises
    ------
    InputError
        A note or temperature, for which such a table has no place; a reading where one stands already.
    """
    if new.note is not None or new.temperature is not None:
        key = "--note" if new.note is not None else "--temperature"
        raise InputError("a table of steps has no place for that", file=file, key=key, expected=BY_HAND)
    begins = [clock_seconds(moment(load["at"]), clock) for load in loads]
    at = clock_seconds(new.at, clock)
    step = sum(begin < at for begin in begins)
    cells = [str(cell) for row in readings.unwrap().get("reading", []) for cell in row]
    value = value_cell(new.value, None, ("length", "strain"), cells, "VALUE")
    if step == 0:
        before = readings.unwrap().get("before", [])
        readings["before"] = [*(before if isinstance(before, list) else [before]), value]
        return
    rows = readings["reading"]
    while len(rows) < step:
        rows.append(tomlkit.array())
    after = at - begins[step - 1]
    place = _place(readings, after)
    row = rows[step - 1]
    while len(row) <= place:
        row.append("")
    if str(row[place]).strip():
        problem = f"load {step} has a reading {readings['after'][place]} after it already"
        raise InputError(problem, file=file, key="--at", found=str(row[place]), expected=BY_HAND)
    row[place] = value


def _place(readings: Table, after: float) -> int:
    """The column of a time within a step [s], which is made where there is none."""
    times = [quantity(text, "time") for text in readings.unwrap()["after"]]
    for i, time in enumerate(times):
        if abs(time - after) < 0.5:
            return i
    place = sum(time < after for time in times)
    readings["after"].insert(place, elapsed_text(after))
    for row in readings["reading"]:
        if len(row) > place:
            row.insert(place, "")
    return place
