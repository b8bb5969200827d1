"""The optimal third time for the power law in closed form.

y = a + b t^n with unknown a, b, n is local in n: with u = t^n its gradient is (1, u, u ln u), a Chebyshev system, so that
the best three times are the same for the parameters together (D-optimal) and for any extrapolation (c-optimal).
"""

from __future__ import annotations

import numpy as np


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
