"""The temperature that a run's readings were taken at: of each reading, over time, and a new zero where it steps."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from creepfit.errors import InputError
from creepfit.inference.columns import Observations
from creepfit.inference.noise import temperature_swing
from creepfit.mechanics.loading import Array
from creepfit.mechanics.temperature import Climate
from creepfit.records.run import Run
from creepfit.units import MINUTE

THERMOMETER = 1.0
"""K by which a thermometer may be wrong either way (judgement; a good thermocouple may be wrong by 1.5 K)."""

MOSTLY = 0.7
"""Share of readings, at least, that are warmer than the one before in an oven that warms all along."""

STEP = 2.0
"""Change of temperature between two readings, K, from which on it was a step: bar and rig expand, so the zero moves."""


OVEN_READINGS, OVEN_RISE = 8, 15.0
"""Readings, and K between the first and the last, without which an oven does not show where a bar softens."""

OVEN_RATE = 0.05
"""K/min below which no oven warms: ovens take 50 K an hour and more, a room that the sun warms one or two."""


def oven_warmth(run: Run) -> tuple[float, float, float] | None:
    """First and last temperature [degC] and rate [K/min] of a run in an oven that warmed all along; None for any other.

    Every reading under load has its temperature, and none is colder than the one before it but for the thermometer. What is
    warmed in steps, to creep at each, rests between them.
    """
    times = np.array([r.time for r in run.used])
    loaded = (run.history.at(times) != 0.0) & (times > 0.0)
    given = [r.temperature for r, on in zip(run.used, loaded, strict=True) if on]
    degrees = np.array([np.nan if t is None else t for t in given])
    if degrees.size < OVEN_READINGS or np.isnan(degrees).any():
        return None
    rises, rise = np.diff(degrees), float(degrees[-1] - degrees[0])
    steadily = np.all(rises >= -THERMOMETER) and np.mean(rises > 0.0) >= MOSTLY and rises.max() < 0.5 * rise
    rate = rise / float(np.ptp(times[loaded])) * MINUTE
    slow = rise < OVEN_RISE or rate < OVEN_RATE
    return None if slow or not steadily else (float(degrees[0]), float(degrees[-1]), rate)


def transition_of(runs: Iterable[Run]) -> float | None:
    """Glass transition [degC] of a material by the first run that says it."""
    return next((run.glass_transition for run in runs if run.glass_transition is not None), None)


def reading_temperatures(run: Run) -> Array:
    """Temperature of each used reading, degC, shape (T,): taken down with it, else the run's, else that of its others."""
    given = np.array([np.nan if r.temperature is None else r.temperature for r in run.used])
    known = np.isfinite(given)
    if run.temperature is None and not known.any():
        return given
    usual = float(np.mean(given[known])) if run.temperature is None else run.temperature
    return np.where(known, given, usual)


def temperature_known(run: Run) -> bool:
    """Whether the temperature of a run was taken down."""
    return bool(np.isfinite(reading_temperatures(run)).all())


def tested_temperature(run: Run) -> float:
    """Temperature of a run, degC: the mean of its readings' where it swung, the first where it went through steps.

    Raises
    ------
    InputError
        Where none was taken down.
    """
    degrees = reading_temperatures(run)
    if not temperature_known(run):
        raise InputError(
            "the temperature of a run is not known", key="run.temperature", file=run.file, expected='such as "23 degC"'
        )
    return float(degrees[0]) if stepped(run) else float(degrees.mean())


def stepped(run: Run) -> bool:
    """Whether the temperature of a run went through steps."""
    return temperature_swing(run) is not None and bool((np.abs(np.diff(reading_temperatures(run))) > STEP).any())


def tested_climate(run: Run, degrees: Array) -> Climate:
    """Temperature over a run: each reading's holds from the one before it, as it is read at the end of a stretch."""
    if temperature_swing(run) is None:
        return Climate.constant(float(degrees[0]))
    times = np.array([r.time for r in run.used])
    steps = np.abs(np.diff(degrees)) > STEP
    knots, values = [times[0]], [degrees[0]]
    for k in range(1, times.size):
        if steps[k - 1]:
            knots.append(times[k - 1])
            values.append(degrees[k])
        knots.append(times[k])
        values.append(degrees[k])
    return Climate(np.array(knots), np.array(values))


def new_zero_at_steps(observed: Observations, degrees: Array) -> Observations:
    """A new zero where the temperature steps: thermal expansion of bar and rig moves the reading by what nobody knows."""
    stretch = np.concatenate([[0], np.cumsum(np.abs(np.diff(degrees)) > STEP)])
    if stretch[-1] == 0:
        return observed
    zeros = observed.zeros[:, None, :] * (stretch[:, None] == np.unique(stretch))[:, :, None]
    flat = zeros.reshape(degrees.size, -1)
    return replace(observed, zeros=flat[:, flat.any(axis=0)])
