"""Sizes and moments in words, for sentences inside an answer."""

from __future__ import annotations

from creepfit.answers.interval import Interval
from creepfit.records.run import Reading
from creepfit.units import show_interval, show_number, show_time


def size(value: float, unit: str, digits: int = 2) -> str:
    """A deformation in `unit` ("mm", or "1" for strain as a fraction, shown as per cent)."""
    if unit == "1":
        return f"{show_number(100.0 * value, digits=digits)} %"
    return f"{show_number(value, digits=digits)} {unit}"


def size_with_range(found: Interval, unit: str) -> str:
    """An interval in words, "0.54 mm (0.26 to 0.81 mm)"."""
    factor, name = (100.0, "%") if unit == "1" else (1.0, unit)
    low, median, high = show_interval(factor * found.low, factor * found.median, factor * found.high)
    return f"{median} {name} ({low} to {high} {name})"


def moment(reading: Reading) -> str:
    """A reading by its time and, where known, its row."""
    place = f" ({reading.where})" if reading.where else ""
    return f"{show_time(reading.time)}{place}"


def moments(readings: list[Reading]) -> str:
    """Several readings, the first four by name."""
    named = ", ".join(moment(r) for r in readings[:4])
    return named if len(readings) <= 4 else f"{named} and {len(readings) - 4} more"
