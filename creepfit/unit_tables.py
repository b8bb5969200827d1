"""Kinds of quantities and the units they come in, with their factors to the internal ones.

Internal units: s, mm, kg, N, MPa, degC, rad, strain and humidity as fractions; a year is 365.25 d.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

STANDARD_GRAVITY = 9.80665  # m/s^2, exact by definition (3rd CGPM, 1901)
MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
YEAR = 365.25 * DAY

Kind = Literal[
    "time", "length", "mass", "force", "stress", "temperature", "density", "angle", "compliance", "rotation",
    "force_per_length", "moment", "fraction", "humidity", "percent", "strain", "drift", "strain_drift",
]  # fmt: skip


@dataclass(frozen=True)
class KindOfUnit:
    """What a kind of quantity is called, an example, and its units: factor (or factor and offset) to the internal one.

    `meant` are words that are refused, with what they are likely to mean.
    `reference` is the internal unit as pint spells it; without one only the table counts, as pint takes rad and
    per cent for the same thing and gets temperature offsets wrong where they are multiplied.
    """

    name: str
    example: str
    units: dict[str, float]
    reference: str | None = None
    meant: dict[str, str] = field(default_factory=dict)


TIME = {
    "s": 1.0, "sec": 1.0, "second": 1.0, "seconds": 1.0, "ms": 1e-3, "min": MINUTE, "minute": MINUTE,
    "minutes": MINUTE, "h": HOUR, "hr": HOUR, "hour": HOUR, "hours": HOUR, "d": DAY, "day": DAY, "days": DAY,
    "week": 7 * DAY, "weeks": 7 * DAY, "month": YEAR / 12, "months": YEAR / 12, "year": YEAR, "years": YEAR,
    "yr": YEAR, "a": YEAR,
}  # fmt: skip
_TIME_MEANT = {
    "jahr": "year", "jahre": "years", "jahren": "years", "monat": "month", "monate": "months", "woche": "week",
    "wochen": "weeks", "tag": "d", "tage": "d", "tagen": "d", "stunde": "h", "stunden": "h", "std": "h",
    "minuten": "min", "sekunde": "s", "sekunden": "s", "an": "year", "ans": "years", "jour": "d", "jours": "d",
    "heure": "h", "heures": "h", "wks": "weeks",
}  # fmt: skip
_MASS_MEANT = {
    "gr": "g", "grs": "g", "gramm": "g", "gramme": "g", "grammes": "g", "kilo": "kg", "kilos": "kg", "kgr": "kg",
    "kilogramm": "kg", "kilogramme": "kg", "kilogrammes": "kg", "tonnen": "t",
}  # fmt: skip
"""Words that are not taken, and what they are likely to mean: "gr" is a grain to a library of units, 65 mg, and a gram to
whoever writes it."""

_LENGTH = {"mm": 1.0, "cm": 10.0, "dm": 100.0, "m": 1e3, "um": 1e-3, "in": 25.4, "inch": 25.4, "ft": 304.8}
_MASS = {"kg": 1.0, "g": 1e-3, "mg": 1e-6, "t": 1e3, "lb": 0.45359237, "oz": 0.45359237 / 16}
_FORCE = {"N": 1.0, "kN": 1e3, "mN": 1e-3, "kgf": STANDARD_GRAVITY, "lbf": 0.45359237 * STANDARD_GRAVITY}
_PSI = 0.45359237 * STANDARD_GRAVITY / 25.4**2
_STRESS = {
    "MPa": 1.0, "GPa": 1e3, "kPa": 1e-3, "Pa": 1e-6, "N/mm^2": 1.0, "bar": 0.1, "psi": _PSI, "ksi": 1e3 * _PSI,
}  # fmt: skip
_DENSITY = {"kg/m^3": 1.0, "g/cm^3": 1e3, "kg/dm^3": 1e3, "kg/l": 1e3, "g/ml": 1e3, "kg/mm^3": 1e9}
_ANGLE = {"rad": 1.0, "mrad": 1e-3, "deg": math.pi / 180, "degree": math.pi / 180, "degrees": math.pi / 180}
_ANGLE["°"] = math.pi / 180
_COMPLIANCE = {"mm/N": 1.0, "um/N": 1e-3, "mm/kN": 1e-3, "m/N": 1e3}
_ROTATION = {
    f"{angle}/{moment}": factor / size
    for angle, factor in (("rad", 1.0), ("mrad", 1e-3), ("deg", math.pi / 180))
    for spellings, size in (
        (("(N m)", "(N*m)", "Nm", "(Nm)"), 1e3),
        (("(N mm)", "(N*mm)", "Nmm", "(Nmm)"), 1.0),
    )
    for moment in spellings
}
_FORCE_PER_LENGTH = {"N/mm": 1.0, "N/cm": 0.1, "N/m": 1e-3, "kN/m": 1.0}
_MOMENT = {
    "N mm": 1.0, "Nmm": 1.0, "N*mm": 1.0, "N m": 1e3, "Nm": 1e3, "N*m": 1e3, "N cm": 10.0, "Ncm": 10.0, "N*cm": 10.0,
}  # fmt: skip
_FRACTION = {"": 1.0, "%": 1e-2, "percent": 1e-2}
_STRAIN = {"%": 1e-2, "percent": 1e-2, "mm/mm": 1.0, "m/m": 1.0, "um/m": 1e-6}
_ROOT_DAY = ("day^0.5", "d^0.5", "sqrt(day)", "sqrt(d)", "day^(1/2)", "d^(1/2)")
_DRIFT = {f"{length}/{root}": size for length, size in (("mm", 1.0), ("um", 1e-3)) for root in _ROOT_DAY}
_STRAIN_DRIFT = {f"{unit}/{root}": size for unit, size in (("%", 1e-2), ("1", 1.0)) for root in _ROOT_DAY}
_TEMPERATURE = {"degC": 1.0, "°C": 1.0, "C": 1.0, "K": 1.0, "degF": 5 / 9, "°F": 5 / 9, "F": 5 / 9}
TEMPERATURE_ZERO = {"K": -273.15, "degF": -160 / 9, "°F": -160 / 9, "F": -160 / 9}

KINDS: dict[str, KindOfUnit] = {
    "time": KindOfUnit("a time", "5 d", TIME, "s", _TIME_MEANT),
    "length": KindOfUnit("a length", "60 mm", _LENGTH, "mm"),
    "mass": KindOfUnit("a mass", "0.2 kg", _MASS, "kg", _MASS_MEANT),
    "force": KindOfUnit("a force", "2 N", _FORCE, "N"),
    "stress": KindOfUnit("a stress", "10 MPa", _STRESS, "MPa"),
    "temperature": KindOfUnit("a temperature", "23 degC", _TEMPERATURE),
    "density": KindOfUnit("a density", "1.27 g/cm^3", _DENSITY, "kg/m**3"),
    "angle": KindOfUnit("an angle", "90 deg", _ANGLE),
    "compliance": KindOfUnit("a compliance", "0.002 mm/N", _COMPLIANCE, "mm/N"),
    "rotation": KindOfUnit("a rotation per moment", "0.001 rad/(N m)", _ROTATION, "rad/N/mm"),
    "force_per_length": KindOfUnit("a force per length", "0.2 N/mm", _FORCE_PER_LENGTH, "N/mm"),
    "moment": KindOfUnit("a moment", "0.2 N m", _MOMENT, "N*mm"),
    "fraction": KindOfUnit("a fraction", "8 %", _FRACTION),
    "humidity": KindOfUnit("a relative humidity", "50 %", {"%": 1e-2, "percent": 1e-2}),
    "percent": KindOfUnit("a percentage", "8 %", {"%": 1e-2, "percent": 1e-2}),
    "strain": KindOfUnit("a strain", "0.5 %", _STRAIN),
    "drift": KindOfUnit("a drift", "0.002 mm/day^0.5", _DRIFT, "mm/day**0.5"),
    "strain_drift": KindOfUnit("a drift", "0.01 %/day^0.5", _STRAIN_DRIFT),
}
