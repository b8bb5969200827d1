"""What one reading more is worth: how much it is expected to narrow an interval.

A reading is worth what it is expected to take off the width, averaged over what it may turn out to be (preposterior
analysis; Raiffa & Schlaifer 1961, from memory). The draws of the posterior do all of it: each is a guess of the truth,
predicts the reading, and is weighted by how well it did.
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from creepfit.inference.next_reading import joint_correlation, next_readings
from creepfit.inference.run_fit import Fit
from creepfit.mechanics.loading import Array, LoadHistory

OUTCOMES = 24
"""Outcomes of a reading that are averaged over, evenly spread over its predictive distribution."""


def narrowing_of(fit: Fit, target: Array, history: LoadHistory, times: Array) -> list[float]:
    """Expected share of the width of an interval that one reading more at each time takes off.

    Parameters
    ----------
    fit : Fit
    target : ndarray, shape (N,)
        What the interval is of, one for each of the fit's draws.
    history : LoadHistory
        All that acts on the specimen until that reading, in N (MPa).
    times : ndarray, shape (T,)
        Of the reading, s since first loading.
    """
    if times.size == 0:
        return []
    level = fit.level
    order = np.argsort(target)
    ends = np.array([0.5 - level / 2.0, 0.5 + level / 2.0])
    now = float(np.ptp(_quantiles(target[order], np.ones((1, target.size)), ends)))
    if now <= 0.0:
        return [0.0] * times.size
    out = []
    for t in times:
        joint = joint_correlation(fit.observed.noise, fit.observed.times, np.array([t]))
        ahead = next_readings(fit.draws, history, np.array([t]), joint)
        mean = ahead.mean[order, 0]
        sd = ahead.noise[order] * np.sqrt(ahead.unit_covariance[0, 0])
        outcomes = _outcomes(mean, sd)
        weight = np.exp(-0.5 * ((outcomes[:, None] - mean) / sd) ** 2) / sd
        width = np.ptp(_quantiles(target[order], weight, ends), axis=1).mean()
        out.append(float(np.clip(1.0 - width / now, 0.0, 1.0)))
    return out


def _outcomes(mean: Array, sd: Array) -> Array:
    """Readings evenly spread over the predictive distribution, a mixture of normals, shape (OUTCOMES,)."""
    normal = ndtri((np.arange(64) + 0.5) / 64.0)
    # every draw with a few of its quantiles, in a fixed order that mixes them
    picked = normal[(np.arange(mean.size) * 37) % 64]
    return np.asarray(np.quantile(mean + sd * picked, (np.arange(OUTCOMES) + 0.5) / OUTCOMES))


def _quantiles(ascending: Array, weight: Array, at: Array) -> Array:
    """Quantiles of one sample of shape (N,) under several weights (J, N), shape (J, len(at))."""
    middle = np.cumsum(weight, axis=1) - 0.5 * weight
    middle /= weight.sum(axis=1, keepdims=True)
    return np.array([np.interp(at, row, ascending) for row in middle])
