"""What a quantity can be at most, and at least where it is not zero: beyond, a number was mistyped or is in another unit.

The limits are far outside anything a workshop has, so that they refuse slips and not unusual tests (judgement, no source).
All are in internal units: s, mm, kg, N, MPa, degC, kg/m^3, rad, mm/N, rad/(N mm), N/mm, fractions.
"""

from __future__ import annotations

from collections.abc import Collection

from creepfit.errors import InputError

CENTURY = 36525.0 * 86400.0

_POSSIBLE: dict[str, tuple[float, str, float, str]] = {
    # kind: smallest size that is not zero, in words, largest, in words
    "time": (1e-6, "1e-6 s", 10.0 * CENTURY, "1000 years"),
    "length": (1e-6, "1e-6 mm", 1e6, "1 km"),
    "mass": (1e-9, "1e-6 g", 5e3, "5 t"),
    "force": (1e-8, "1e-8 N", 5e4, "50 kN"),
    "stress": (1e-9, "1e-9 MPa", 1e6, "1000 GPa"),
    "temperature": (0.0, "", 500.0, "500 degC"),
    "density": (0.1, "0.1 kg/m^3", 3e4, "30 g/cm^3"),
    "angle": (0.0, "", 63.0, "ten turns"),
    "compliance": (1e-12, "1e-12 mm/N", 1e5, "1e5 mm/N"),
    "rotation": (1e-15, "1e-12 rad/(N m)", 1.0, "1 rad/(N mm)"),
    "force_per_length": (1e-9, "1e-9 N/mm", 1e4, "10 kN/mm"),
    "moment": (1e-8, "1e-8 N mm", 1e7, "10 kN m"),
    "fraction": (1e-12, "1e-12", 1e6, "1e6"),
    "humidity": (0.0, "", 1e6, "1e6"),
    "percent": (1e-12, "1e-10 %", 1e6, "1e8 %"),
    "strain": (1e-12, "1e-10 %", 100.0, "10 000 %"),
    "drift": (0.0, "", 1e3, "1 m/day^0.5"),
    "strain_drift": (0.0, "", 10.0, "1000 %/day^0.5"),
    "plunger": (0.0, "", 100.0, "100 N"),
    "modulus": (1e-4, "100 Pa", 1e9, "1e6 GPa"),  # as readings, load and sizes come to: less than any gel, beyond diamond
    "movement": (0.0, "", 1e4, "10 m"),  # of readings among themselves, and what a gauge can be wrong by
}
ABSOLUTE_ZERO = -273.15
"""degC"""

MOST_STRAIN = 100.0
"""What readings may move by, over the longest size of the specimen."""

MOST_WARMING = 400.0
"""K between two temperatures of one material: no plastic is solid at both, and none has been followed so far."""


TOO_LARGE, TOO_SMALL = "larger than anyone can have", "smaller than anyone can have"


def check_largest(value: float, kind: str, found: object, example: str) -> None:
    """Refuse a size that nobody can have; `found` is the text it was read from, `example` what is expected.

    Raises
    ------
    InputError
    """
    _, _, largest, words = _POSSIBLE[kind]
    if not -largest <= value <= largest:
        raise InputError(TOO_LARGE, found=found, expected=f"{example}, at most {words}")
    if kind == "temperature" and value < ABSOLUTE_ZERO:
        raise InputError("below absolute zero", found=found, expected=example)


def largest_of(kind: str) -> tuple[float, float]:
    """The range outside of which `check_largest` refuses."""
    largest = _POSSIBLE[kind][2]
    return (ABSOLUTE_ZERO if kind == "temperature" else -largest), largest


def possible(kind: str) -> tuple[float, float]:
    """The smallest and the largest size of a kind that is not refused."""
    smallest, _, largest, _ = _POSSIBLE[kind]
    return smallest, largest


def check_warming(degrees: Collection[float]) -> None:
    """Refuse temperatures, degC, that are further apart than any plastic is followed.

    Raises
    ------
    InputError
    """
    low, high = min(degrees, default=0.0), max(degrees, default=0.0)
    if high - low > MOST_WARMING:
        raise InputError(
            "temperatures further apart than any plastic is tested at",
            key="temperature",
            found=f"{low:g} and {high:g} degC",
            expected=f"at most {MOST_WARMING:g} K between them",
        )


def check_smallest(value: float, kind: str, found: object, example: str) -> None:
    """Refuse a size that is not zero and yet smaller than anyone can have or measure.

    Only for what is set, not for what is read: a reading of 1e-17 is a zero that a spreadsheet worked out.

    Raises
    ------
    InputError
    """
    smallest, words, _, _ = _POSSIBLE[kind]
    if value != 0.0 and abs(value) < smallest:
        raise InputError(TOO_SMALL, found=found, expected=f"{example}, at least {words}")
