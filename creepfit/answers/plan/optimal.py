"""Optimal times for the power law in closed form: where a third reading belongs, and how often to read at each of three.

y = a + b t^n with unknown a, b, n is local in n: with u = t^n its gradient is (1, u, u ln u), a Chebyshev system, so that
the best three times are the same for the parameters together (D-optimal) and for any extrapolation (c-optimal).
"""

from __future__ import annotations

import numpy as np

from creepfit.mechanics.loading import Array


def third_reading(first: float, last: float, exponent: float) -> float:
    """D-optimal time of a reading between two others, s.

    Parameters
    ----------
    first, last : float
        The two others, s, first < last.
    exponent : float
        n of the power law; 0 for the logarithmic one, where it is the geometric mean.

    Notes
    -----
    The determinant of the gradients at u1, u, u2 is largest at the identric mean of u1 and u2 (own derivation).
    """
    if abs(exponent) < 1e-6:
        return float(np.sqrt(first * last))
    # in units of the last time, where u ln u vanishes
    low = exponent * np.log(first / last)
    middle = -low * np.exp(low) / (1.0 - np.exp(low)) - 1.0
    return float(last * np.exp(middle / exponent))


def gradient(times: Array, exponent: float) -> Array:
    """Derivatives of a + b t^n by its parameters up to scale, shape (T, 3); t in any unit."""
    u = np.asarray(times, dtype=float) ** exponent
    return np.stack([np.ones_like(u), u, u * np.log(u)], axis=-1)


def standard_error(times: Array, exponent: float, at: float) -> float:
    """Standard error at a later time of a power law fitted to readings at `times` (T,), over that of one reading.

    By the linearised model, without priors: how a schedule compares, not what an interval will be. Infinite for fewer than
    three different times.
    """
    unit = float(np.max(times))
    rows, goal = gradient(times / unit, exponent), gradient(np.array([at / unit]), exponent)[0]
    if np.unique(times).size < 3:
        return float(np.inf)
    r = np.linalg.qr(rows)[1]
    return float(np.linalg.norm(np.linalg.solve(r.T, goal)))


def shares_of_readings(times: Array, exponent: float, at: float) -> Array:
    """c-optimal shares of all readings at three times for the forecast at a later one, shape (3,), sum 1.

    In proportion to the size of the weights by which the three carry the forecast (Elfving 1952, from memory).
    """
    unit = float(np.max(times))
    weights = np.linalg.solve(gradient(np.asarray(times) / unit, exponent).T, gradient(np.array([at / unit]), exponent)[0])
    return np.asarray(np.abs(weights) / np.abs(weights).sum())
