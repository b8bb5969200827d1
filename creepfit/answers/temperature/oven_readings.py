"""What a bar in a warming oven was read at, and which readings show no softening."""

from __future__ import annotations

import numpy as np

from creepfit.errors import InputError
from creepfit.inference.noise import noise_of
from creepfit.inference.tested_temperature import OVEN_READINGS, OVEN_RISE, reading_temperatures
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.units import show_number

STEADY = 0.98
"""Correlation with time of an oven's temperature, at least."""


def oven_readings(run: Run) -> tuple[Array, Array, Array, float]:
    """Temperatures, deflections since the first of them, and times of the readings under the one load; gauge noise."""
    loads = {s.value for s in run.steps if s.value != 0.0}
    if len(loads) != 1:
        raise InputError(
            "one load is needed in an oven", key="load", file=run.file, found=f"{len(loads)} loads", expected="one"
        )
    at = np.array([r.time for r in run.used])
    held = (run.history.at(at) != 0.0) & (at > 0.0)
    degrees = reading_temperatures(run)[held]
    if not all(r.temperature is not None for r, h in zip(run.used, held, strict=True) if h):
        raise InputError(
            "the temperature at each reading is needed",
            key="readings",
            file=run.file,
            expected="a column temperature [degC]",
        )
    values = run.gauge.sign * np.array([r.value for r in run.used])[held]
    _check_columns(run, values, degrees, at[held])
    rise = float(np.ptp(degrees)) if degrees.size else 0.0
    if degrees.size < OVEN_READINGS or rise < OVEN_RISE:
        raise InputError(
            "too little of a warming oven",
            key="readings",
            file=run.file,
            found=f"{degrees.size} readings under load over {show_number(rise)} K",
            expected=f"{OVEN_READINGS} or more over {OVEN_RISE:g} K or more",
        )
    order = np.argsort(degrees, kind="stable")
    noise = noise_of(run, values, temperature=False).stated if held.all() else run.gauge.repeatability
    return degrees[order], (values - values[0])[order], at[held][order], max(noise, run.gauge.resolution / np.sqrt(12.0))


def _check_columns(run: Run, values: Array, degrees: Array, times: Array) -> None:
    """Raise where readings and temperatures were swapped: an oven warms steadily by tens of kelvin, and no bar moves so."""
    if values.size < OVEN_READINGS or np.ptp(values) < OVEN_RISE or np.ptp(degrees) == 0.0:
        return
    moved, warmed = float(np.ptp(values)), float(np.ptp(degrees))
    steady, degrees_steady = (abs(float(np.corrcoef(times, x)[0, 1])) for x in (values, degrees))
    if steady > max(STEADY, degrees_steady):
        raise InputError(
            "the readings rise as an oven warms, and the temperatures do not",
            key="readings",
            file=run.file,
            found=f"readings {show_number(moved, digits=3)} mm apart, temperatures {show_number(warmed, digits=3)} K",
            expected="each in its own column: are the columns of reading and temperature swapped?",
        )


def check_warmed(run: Run, degrees: Array, size: float) -> None:
    """Raise where the bar has bent by more than a size [mm] before the oven warmed: no temperature stands for that."""
    if np.ptp(degrees) > 0.0:
        return
    raise InputError(
        "the bar bends before the oven warms",
        key="readings",
        file=run.file,
        found=f"more than {show_number(size, digits=2)} mm within the first readings, all at "
        f"{show_number(float(degrees[0]))} degC",
        expected="a bar that bends as it warms: are readings and temperatures swapped, or was it read as it was loaded?",
    )


def up_to(moved: Array, size: float) -> int:
    """Readings up to the first beyond a size: what softens further is of another shape and has no say in where it began."""
    beyond = np.flatnonzero(moved > size)
    return moved.size if not beyond.size else max(int(beyond[0]) + 1, min(OVEN_READINGS, moved.size))
