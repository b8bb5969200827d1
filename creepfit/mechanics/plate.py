"""A wide strip on two supports under a force at one point: a plate, which sags more there than a beam of all its width.

Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., Levy's solution: w = sum of Y_m(y) sin(m pi x / a),
the edges y = +-b/2 free. For an endless strip with the force in the middle it gives 0.01695 P a^2 / D (from memory).
Thin plates, shear left out.
"""

from __future__ import annotations

import numpy as np

from creepfit.mechanics.loading import Array

TERMS = 60
"""Of the series; the sag falls off as 1/m^3, and the last of them is 1e-5 of the first."""


def strip_factor(span: float, width: float, at: float, read_at: float, poisson: float) -> float:
    """Sag of a strip over that of a beam of the same width, the force in the middle of the width and read there.

    Parameters
    ----------
    span, width : float
        Between the two supports, and along them, mm.
    at, read_at : float
        Of the force and the gauge, mm from the first support.
    poisson : float

    Returns
    -------
    float
        1 for a narrow strip.
    """
    alpha: Array = np.arange(1.0, TERMS + 1.0, dtype=np.float64) * (np.pi / span)
    shape = np.sin(alpha * at) * np.sin(alpha * read_at)
    strip = float(np.sum(shape * _at_the_middle(alpha, width / 2.0, poisson)))
    # the same series for a beam, whose stiffness is D (1 - nu^2) b
    beam = float(np.sum(shape / alpha**4)) / (width * (1.0 - poisson**2))
    return strip / beam


def _at_the_middle(alpha: Array, half: float, poisson: float) -> Array:
    """Y_m at y = 0 under a unit line of force there, shape (n,), times D.

    By symmetry Y' = 0 and Y''' = 1/2 beside it; at the free edge y = `half` Y'' = nu a^2 Y and Y''' = (2 - nu) a^2 Y'.
    """
    deflections = np.empty(alpha.shape)
    for i, a in enumerate(alpha):
        # e^-u, u e^-u, e^v, v e^v with u = a y and v = u - u_edge: nothing overflows
        edge = a * half
        rows = []
        for u in (0.0, edge):
            v = u - edge
            near, far = np.exp(-u), np.exp(v)
            value = np.array([near, u * near, far, v * far])
            first = np.array([-near, (1.0 - u) * near, far, (1.0 + v) * far])
            second = np.array([near, (u - 2.0) * near, far, (2.0 + v) * far])
            third = np.array([-near, (3.0 - u) * near, far, (3.0 + v) * far])
            rows.append((value, first, second, third))
        (value, first, _, third), (end, end_first, end_second, end_third) = rows
        moment, shear = end_second - poisson * end, end_third - (2.0 - poisson) * end_first
        weights = np.linalg.solve(np.array([first, third, moment, shear]), np.array([0.0, 0.5 / a**3, 0.0, 0.0]))
        deflections[i] = value @ weights
    return deflections
