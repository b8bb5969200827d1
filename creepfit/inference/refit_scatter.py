"""How far a best fit can be trusted: readings simulated from it again and again, and refitted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from creepfit.asked import tails
from creepfit.errors import InputError
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.model_fit import ModelFit
from creepfit.inference.refit import Refits, refit
from creepfit.mechanics.loading import Array


@dataclass(frozen=True)
class ParameterScatter:
    """How one named parameter scatters over refits.

    `value` and `std_error` are the fit's own; `sd`, and `low`, `median` and `high` of the central interval, are of the
    refits in which it is known (`unknown` is the share of the others). `covered` is the share of refits whose parameter
    lies within the normal interval of `std_error` around `value`: at the level where the error is honest. None: unknown.
    """

    name: str
    unit: str
    value: float | None
    std_error: float | None
    sd: float | None
    low: float | None
    median: float | None
    high: float | None
    unknown: float
    covered: float | None


@dataclass(frozen=True, eq=False)
class RefitScatter:
    """Scatter of a best fit over simulated readings.

    `used` is how many parameters the fit really uses up: readings less the mean residual sum over the noise's variance.
    `at_bound` is the share of refits with a shape value at an end of its range.
    """

    parameters: tuple[ParameterScatter, ...]
    refits: Refits
    used: float
    at_bound: float
    level: float
    seed: int


def simulate_refits(model_fit: ModelFit, count: int = 1000, seed: int = DEFAULT_SEED, level: float = 0.9) -> RefitScatter:
    """Simulate the readings again and again and refit each set: what standard errors promise, without their linearity.

    Parameters
    ----------
    model_fit : ModelFit
        The best fit that is taken for the truth, with its noise.
    count : int
        Sets of readings.
    seed : int
        Seed of the noise.
    level : float
        Probability of the intervals.

    Raises
    ------
    InputError
        A count below 2, or a level that is none.
    """
    if count < 2 or not 0.0 < level < 1.0:
        given, expected = (count, "2 and more") if count < 2 else (level, "a probability between 0 and 1")
        raise InputError(key="count" if count < 2 else "level", found=given, expected=expected)
    observed = model_fit.observed
    root = np.linalg.cholesky(observed.noise.correlation)
    noise = np.random.default_rng(seed).standard_normal((count, observed.times.size)) @ root.T
    found_all = refit(model_fit.model, observed, observed.values - model_fit.residuals + model_fit.noise_sd * noise)
    used = observed.times.size - float(found_all.residual_sums.mean()) / model_fit.noise_sd**2
    return RefitScatter(
        _parameter_scatter(model_fit, found_all, level),
        found_all,
        used,
        float(found_all.at_bound.mean()),
        level,
        seed,
    )


def _parameter_scatter(model_fit: ModelFit, refits: Refits, level: float) -> tuple[ParameterScatter, ...]:
    named = [
        [p.value for p in model_fit.model.parameters(shape, amplitudes)]
        for shape, amplitudes in zip(refits.shapes.tolist(), refits.amplitudes.tolist(), strict=True)
    ]
    table = np.array(named)
    if refits.set_compliance is not None:
        table = np.column_stack([table, refits.set_compliance])
    reach = float(ndtri(0.5 + level / 2.0))
    rows = []
    for parameter, values in zip(model_fit.parameters, table.T, strict=True):
        known = values[np.isfinite(values)]
        covered = None
        if parameter.value is not None and parameter.std_error is not None:
            covered = float((np.abs(values - parameter.value) <= reach * parameter.std_error).mean())
        low, median, high = _ends(known, level)
        sd = float(known.std(ddof=1)) if known.size > 1 else None
        unknown = 1.0 - known.size / values.size
        own = parameter.name, parameter.unit, parameter.value, parameter.std_error
        rows.append(ParameterScatter(*own, sd, low, median, high, unknown, covered))
    return tuple(rows)


def _ends(values: Array, level: float) -> tuple[float | None, float | None, float | None]:
    if values.size == 0:
        return None, None, None
    low, median, high = np.quantile(values, tails(level))
    return float(low), float(median), float(high)
