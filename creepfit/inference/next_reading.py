"""What the gauge will show next on the same specimen, given all it has shown: hindcast and schedule both ask it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.inference.mixture import Draws
from creepfit.inference.noise import Noise
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.units import DAY


@dataclass(frozen=True, eq=False)
class NextReadings:
    """Predictive distribution of further readings, one normal for each draw.

    Attributes
    ----------
    mean : ndarray, shape (N, T)
        Of the reading as deformation with the run's own zero in it, mm or strain.
    unit_covariance : ndarray, shape (T, T)
        Covariance over the square of the noise scale: what is left of zero and drift, and the reading's own scatter.
    noise : ndarray, shape (N,)
        Noise scale of each draw.
    """

    mean: Array
    unit_covariance: Array
    noise: Array

    def sample(self, seed: int) -> Array:
        """One set of readings for each draw, shape (N, T)."""
        root = np.linalg.cholesky(self.unit_covariance)
        normal = np.random.default_rng(seed).standard_normal(self.mean.shape)
        return np.asarray(self.mean + self.noise[:, None] * (normal @ root.T))


def next_readings(draws: Draws, history: LoadHistory, times: Array, joint: Array) -> NextReadings:
    """Predict readings on the specimen that the draws were fitted to.

    Parameters
    ----------
    draws : Draws
        Posterior given the readings in `draws.observed`.
    history : LoadHistory
        All that acts on the specimen; as observed up to the last of those readings.
    times : ndarray, shape (T,)
        Times of the further readings, s, taken with the zero of the last one so far.
    joint : ndarray, shape (R + T, R + T)
        Correlation of the R readings so far and the further ones, see `joint_correlation`.

    Notes
    -----
    Best linear prediction with an unknown mean, the zero (universal kriging; Cressie 1993, section 3.4, from memory):
    a drift seen so far goes on from where it is, and a zero known from one reading stays uncertain.
    """
    observed = draws.observed
    count = observed.times.size
    known = draws.deformation(history, observed.times)
    ahead = draws.deformation(history, times)
    own, cross, future = joint[:count, :count], joint[:count, count:], joint[count:, count:]
    zeros = observed.zeros
    solved = np.linalg.solve(own, np.column_stack([zeros, cross]))
    by_zero, by_cross = solved[:, : zeros.shape[1]], solved[:, zeros.shape[1] :]
    normal = zeros.T @ by_zero
    rest = observed.values - known
    zero = np.linalg.solve(normal, by_zero.T @ rest.T).T
    left = rest - zero @ zeros.T
    row = np.repeat(zeros[-1:], times.size, axis=0)
    mean = ahead + zero @ row.T + left @ by_cross
    unseen = row - cross.T @ by_zero
    covariance = future - cross.T @ by_cross + unseen @ np.linalg.solve(normal, unseen.T)
    return NextReadings(mean, covariance, draws.noise)


def joint_correlation(noise: Noise, times: Array, further: Array) -> Array:
    """Correlation of the readings so far at `times` (R,) and single further ones at `further` (T,): drift goes on."""
    whole = np.concatenate([times, further])
    since = (whole - times[0]) / DAY
    joint = (noise.drift / noise.stated) ** 2 * np.minimum(since[:, None], since[None, :]) + np.eye(whole.size)
    joint[: times.size, : times.size] = noise.correlation
    return np.asarray(joint)
