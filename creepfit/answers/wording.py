"""Sizes and moments in words, for sentences inside an answer."""

from __future__ import annotations

from creepfit.records.run import Reading
from creepfit.units import show_number, show_time


def size(value: float, unit: str, digits: int = 2) -> str:
    """A deformation in `unit` ("mm", or "1" for strain as a fraction, shown as per cent)."""
    if unit == "1":
        return f"{show_number(100.0 * value, digits=digits)} %"
    return f"{show_number(value, digits=digits)} {unit}"


def moment(reading: Reading) -> str:
    """A reading by its time and, where known, its row."""
    place = f" ({reading.where})" if reading.where else ""
    return f"{show_time(reading.time)}{place}"


def moments(readings: list[Reading]) -> str:
    """Several readings, the first four by name."""
    named = ", ".join(moment(r) for r in readings[:4])
    return named if len(readings) <= 4 else f"{named} and {len(readings) - 4} more"
