"""Sizes and moments in words, for sentences inside an answer."""

from __future__ import annotations

import math
from datetime import datetime

from creepfit.answers.interval import Interval
from creepfit.records.run import Gauge, Reading, Run
from creepfit.units import DAY, HOUR, MINUTE, show_number, show_time, show_with_error

SKEWED, FINEST = 4.0, 0.05
"""An interval whose one side is this many times the other is rounded to the narrow side's width, and no finer than to this
share of the wide one's."""


def show_interval(low: float, median: float, high: float, resolution: float = 0.0) -> tuple[str, str, str]:
    """Return the three rounded alike, to the second digit of the width; where one side is far wider, of the narrow side's.

    No finer than a tenth of a gauge's `resolution` where one is given, as long as something is left.

    Rounded to a far upper end a median of 0.27 becomes 0.3, which may be the very limit that was asked about.
    """
    least = resolution if max(abs(low), abs(high)) >= 0.1 * resolution else 0.0
    below, above = median - low, high - median
    width = high - low if high > low else 0.0
    if math.isfinite(below) and math.isfinite(above) and min(below, above) > 0.0:
        near, far = 2.0 * min(below, above), 2.0 * max(below, above)
        near = max(near, FINEST * far)  # further digits would only be noise of the draws
        width = near if far > SKEWED * near else width
    error = max(width, least) if width > 0.0 else None
    return show_number(low, error=error), show_number(median, error=error), show_number(high, error=error)


def show_ratio(low: float, median: float, high: float) -> tuple[str, str, str]:
    """Return the three as `show_interval` does, with digits until no end that differs from 1 reads as 1.

    1 is no difference: an end of 1.04 rounded to 1.0 would say the opposite of the verdict beside it.
    """
    low_text, median_text, high_text = show_interval(low, median, high)
    return _unlike_one(low, low_text), median_text, _unlike_one(high, high_text)


def _unlike_one(value: float, shown: str) -> str:
    if value == 1.0 or not math.isfinite(value) or float(shown) != 1.0:
        return shown
    return next((text for places in range(1, 5) if float(text := f"{value:.{places}f}") != 1.0), shown)


def size(value: float, unit: str, digits: int = 2) -> str:
    """A deformation in `unit` ("mm", or "1" for strain as a fraction, shown as per cent)."""
    if unit == "1":
        return f"{show_number(100.0 * value, digits=digits)} %"
    return f"{show_number(value, digits=digits)} {unit}"


def size_with_error(value: float, error: float, unit: str) -> str:
    """A deformation and its standard error, rounded alike: "0.0900 ± 0.0089 mm"."""
    factor, name = (100.0, "%") if unit == "1" else (1.0, unit)
    return f"{show_with_error(factor * value, factor * error)} {name}"


def size_with_range(interval: Interval, unit: str) -> str:
    """An interval in words, "0.54 mm (0.26 to 0.81 mm)"."""
    factor, name = (100.0, "%") if unit == "1" else (1.0, unit)
    low, median, high = show_interval(factor * interval.low, factor * interval.median, factor * interval.high)
    return f"{median} {name} ({low} to {high} {name})"


def as_read(value: float, gauge: Gauge, unit: str) -> str:
    """What the gauge shows, to its own last digit: "15.00 mm" where it is divided into 0.01 mm."""
    factor, name = (100.0, "%") if unit == "1" else (1.0, unit)
    return f"{show_number(factor * value, error=10.0 * factor * gauge.resolution)} {name}"


def moment(reading: Reading) -> str:
    """A reading by its time and, where known, its row."""
    place = f" ({reading.where})" if reading.where else ""
    return f"{show_time(reading.time)}{place}"


def moments(readings: list[Reading]) -> str:
    """Several readings, the first four by name."""
    named = ", ".join(moment(r) for r in readings[:4])
    return named if len(readings) <= 4 else f"{named} and {len(readings) - 4} more"


def left_out(run: Run) -> list[str]:
    """The readings that do not count, each with its reason, as sentences without a full stop."""
    unit = run.unit
    said = [f"the reading at {moment(r)}, {as_read(r.value, run.gauge, unit)}, is left out: {r.skip}" for r in run.skipped]
    after = len(run.readings) - len(run.used) - len(run.skipped)
    if after:
        said.append(f"{after} reading{'s' if after > 1 else ''} after the run's end left out")
    if run.short_year is not None:
        said.append(f'a date such as "{run.short_year}" is taken as day.month.20{run.short_year[-2:]}')
    if run.passed_over:
        columns = ", ".join(f'"{title[:40]}"' for title in run.passed_over[:4])
        more = "" if len(run.passed_over) <= 4 else f" and {len(run.passed_over) - 4} more"
        said.append(f"not used of the table: {columns}{more}")
    return said


def clock_cell(when: datetime | None) -> str | None:
    """A date-time for JSON and tables: "2031-05-04 16:30"; None where it is not known."""
    return None if when is None else when.isoformat(sep=" ", timespec="minutes")


def clock_time(when: datetime) -> str:
    """A date-time as on a note by the bench: "Thu 26 Nov, 16:30"."""
    return f"{when:%a} {when.day} {when:%b}, {when:%H:%M}"


def time_words(seconds: float) -> str:
    """A time to set an alarm to: "6 h", "3 h 30 min", "2 d 6 h"; to the minute, beyond two days to the hour."""
    if seconds < HOUR:
        return show_time(seconds)
    if seconds < 2.0 * DAY:
        hours, minutes = divmod(round(seconds / MINUTE), 60)
        if minutes == 0 and hours == 24:
            return "1 d"
        return f"{hours} h" + (f" {minutes} min" if minutes else "")
    days, hours = divmod(round(seconds / HOUR), 24)
    return f"{days} d" + (f" {hours} h" if hours else "")
