"""What a quantity can be at most, and at least where it is not zero: beyond, a number was mistyped or is in another unit.

The limits are far outside anything a workshop has, so that they refuse slips and not unusual tests (judgement, no source).
All are in internal units: s, mm, kg, N, MPa, degC, kg/m^3, rad, mm/N, rad/(N mm), N/mm, fractions.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import NamedTuple

from creepfit.errors import InputError

CENTURY = 36525.0 * 86400.0
ABSOLUTE_ZERO = -273.15
"""degC"""


class Possible(NamedTuple):
    """What the size of a number may be where it is not zero, in words too; `least` where none lies below that one."""

    smallest: float
    smallest_in_words: str
    largest: float
    largest_in_words: str
    least: float | None = None

    @property
    def lowest(self) -> float:
        """The least number, with its sign."""
        return -self.largest if self.least is None else self.least


_POSSIBLE = {
    "time": Possible(1e-6, "1e-6 s", 10.0 * CENTURY, "1000 years"),
    "length": Possible(1e-6, "1e-6 mm", 1e6, "1 km"),
    "mass": Possible(1e-9, "1e-6 g", 5e3, "5 t"),
    "force": Possible(1e-8, "1e-8 N", 5e4, "50 kN"),
    "stress": Possible(1e-9, "1e-9 MPa", 1e6, "1000 GPa"),
    "temperature": Possible(0.0, "", 500.0, "500 degC", ABSOLUTE_ZERO),
    "density": Possible(0.1, "0.1 kg/m^3", 3e4, "30 g/cm^3"),
    "angle": Possible(0.0, "", 63.0, "ten turns"),
    "compliance": Possible(1e-12, "1e-12 mm/N", 1e5, "1e5 mm/N"),
    "rotation": Possible(1e-15, "1e-12 rad/(N m)", 1.0, "1 rad/(N mm)"),
    "force_per_length": Possible(1e-9, "1e-9 N/mm", 1e4, "10 kN/mm"),
    "moment": Possible(1e-8, "1e-8 N mm", 1e7, "10 kN m"),
    "fraction": Possible(1e-12, "1e-12", 1e6, "1e6"),
    "humidity": Possible(0.0, "", 1e6, "1e6"),
    "percent": Possible(1e-12, "1e-10 %", 1e6, "1e8 %"),
    "strain": Possible(1e-12, "1e-10 %", 100.0, "10 000 %"),
    "drift": Possible(0.0, "", 1e3, "1 m/day^0.5"),
    "strain_drift": Possible(0.0, "", 10.0, "1000 %/day^0.5"),
    "plunger": Possible(0.0, "", 100.0, "100 N"),
    # as readings, load and sizes come to: less than any gel, beyond diamond
    "modulus": Possible(1e-4, "100 Pa", 1e9, "1e6 GPa"),
    "movement": Possible(0.0, "", 1e4, "10 m"),  # of readings among themselves, and what a gauge can be wrong by
}

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
    within = _POSSIBLE[kind]
    if not abs(value) <= within.largest:
        raise InputError(TOO_LARGE, found=found, expected=f"{example}, at most {within.largest_in_words}")
    if value < within.lowest:
        raise InputError("below absolute zero", found=found, expected=example)


def possible(kind: str) -> Possible:
    """What of a kind `check_largest` and `check_smallest` do not refuse."""
    return _POSSIBLE[kind]


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
    within = _POSSIBLE[kind]
    if value != 0.0 and abs(value) < within.smallest:
        raise InputError(TOO_SMALL, found=found, expected=f"{example}, at least {within.smallest_in_words}")
