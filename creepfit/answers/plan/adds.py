"""What else a test could have: more specimens, a second temperature, a second stress; each as what it adds to an answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.special import ndtri

from creepfit.inference.warmth import HIGH, LOW, MIDDLE
from creepfit.records.part import DEFAULT_SCATTER
from creepfit.units import show_time

NUMBERS = (1, 2, 3, 5)

USUAL = 3
"""Specimens that a material is usually tested on (common practice, no source)."""


@dataclass(frozen=True)
class ManySpecimens:
    """Half widths over the median with `count` specimens: for the material's average, and for the next specimen or part."""

    count: int
    average: float
    next_one: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "specimens": self.count,
            "average_half_width_percent": 100.0 * self.average,
            "next_half_width_percent": 100.0 * self.next_one,
        }


def many_specimens(own: float, level: float) -> tuple[ManySpecimens, ...]:
    """By the half width for the tested specimen itself; scatter between specimens as usual and added in squares."""
    scatter = float(ndtri(0.5 + level / 2.0)) * DEFAULT_SCATTER
    return tuple(
        ManySpecimens(n, float(np.hypot(own, scatter / np.sqrt(n))), float(np.hypot(own, scatter * np.sqrt(1.0 + 1.0 / n))))
        for n in NUMBERS
    )


def left_hanging(length: float) -> str:
    """What one bar left under its load adds to later tests of its material, in words."""
    return (
        f"one bar left hanging when the others come off after {show_time(length)}, read now and then, serves every later "
        "test of that material (--known): on published curves forecasts 100 times beyond their data had a 90 % interval "
        "half as wide with such a run (0.12 to 0.14 of the value instead of 0.28)"
    )


def second_temperature(level: float) -> str:
    """What a bar at the place's temperature spares, in words."""
    scatter = 100.0 * float(ndtri(0.5 + level / 2.0)) * DEFAULT_SCATTER * np.sqrt(2.0)
    return (
        f"if the part is warmer than the test, each 10 K multiply the answer by {MIDDLE:g}, somewhere from {LOW:g} to "
        f"{HIGH:g} (usual, from published curves); a second bar tested that warm leaves ±{scatter:.0f} %, the scatter "
        "between two bars, and the same bar tested warm afterwards less"
    )


def second_stress(level: float) -> str:
    """What a bar at another stress tells, in words."""
    scatter = 100.0 * float(ndtri(0.5 + level / 2.0)) * DEFAULT_SCATTER * np.sqrt(2.0)
    return (
        "if the part's stress is not the test's, a second bar at twice the stress says whether creep is in proportion to "
        f"it to ±{scatter:.0f} %, the scatter between two bars; the same bar loaded in two steps says so to the gauge's "
        "noise; without either a doubling is taken on trust"
    )
