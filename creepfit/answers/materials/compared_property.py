"""What runs are compared by: deformation or compliance, an increment or what goes back, and its unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, get_args

import numpy as np

from creepfit.errors import FitError, InputError
from creepfit.inference.fitting import Fit

Property = Literal["deformation", "increment", "compliance", "recovered", "residual"]
PROPERTIES: tuple[str, ...] = get_args(Property)

ALIKE = 0.01
"""Loads per stiffness of the shape that differ by less than this can be compared in millimetres."""

FIRST = 60.0
"""A creep increment counts from a minute after loading, or from the latest first reading of the runs if that is later."""


def alike_in_mm(fits: Sequence[Fit]) -> bool:
    """Whether all specimens would deform alike if their compliances were alike."""
    sizes = [f.observed.factor * f.run.working_load for f in fits]
    same = len({(f.run.specimen.test, f.run.specimen.reading_quantity) for f in fits}) == 1
    return same and bool(np.ptp(sizes) <= ALIKE * np.max(np.abs(sizes)))


def compared_by(by: Property | None, fits: Sequence[Fit], alike: bool) -> Property:
    """What is compared: what was asked for, compliance in place of deformations that are not alike, and by default what
    all runs have.

    Raises
    ------
    InputError
        No such property, or runs that have none in common.
    FitError
        A property that needs an initial reading where a run has none.
    """
    known = all(f.observed.has_initial for f in fits)
    if by is not None and by not in PROPERTIES:
        raise InputError(key="by", found=by, expected=" or ".join(PROPERTIES))
    if by is None:
        by = ("deformation" if alike else "compliance") if known else "increment"
    if not known and by != "increment":
        missing = ", ".join(f.run.label for f in fits if not f.observed.has_initial)
        raise FitError(
            f"{missing}: no reading before loading, so its {by} is not known; compare by increment, or read the gauge "
            "before the load goes on"
        )
    if by == "deformation" and not alike:
        by = "compliance"
    with_stress = [f.run.specimen.geometry.stress_per_load is not None for f in fits]
    if not alike and any(with_stress) != all(with_stress):
        raise InputError(
            "nothing in common: one run is known in stress and strain, another only in mm",
            expected="runs with sizes, or runs of one shape and load",
        )
    return by


def increments_from(fits: Sequence[Fit]) -> float:
    """When increments begin, s: when all runs had been read."""
    return max(FIRST, *(f.observed.span.first for f in fits))


def unit_of(by: Property, fits: Sequence[Fit], alike: bool) -> str:
    """The unit of a property's values."""
    if by == "recovered":
        return "%"
    if by != "compliance" and alike:
        return fits[0].unit
    return "1/MPa" if fits[0].run.specimen.geometry.stress_per_load is not None else "mm/N"


def quantity_of(by: Property, fits: Sequence[Fit], unit: str) -> str:
    """A property in words, as its values are given in a unit."""
    per_stress = unit in ("1/MPa", "mm/N")
    names = {
        "deformation": fits[0].quantity,
        "compliance": "compliance",
        "increment": "creep increment",
        "recovered": "recovered share of the deformation",
        "residual": "residual compliance" if per_stress else f"residual {fits[0].quantity}",
    }
    return names[by] + (" per load" if by == "increment" and per_stress else "")
