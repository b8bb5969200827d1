"""Bending of a bar whose strain follows the hyperbolic sine of stress: strain = D s0 sinh(stress / s0).

The outer fibres give way and hand stress to the inner ones, so a bending test looks softer than the linear law says,
but less so than a tension test at the same stress. Plane sections stay plane: stress = s0 asinh(curvature y / (D s0)),
and its moment is the given one. Solved here for the rectangle, exactly; small stresses give 1 + x^2/10 for the
curvature and 1 + 0.06 x^2 for the deflection under a moment that rises evenly, x the elastic outer stress over s0
(sinh x = x + x^3/6 put into the section; own arithmetic).
"""

from __future__ import annotations

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array

_HIGHEST = 100.0
"""Stress over s0 beyond which sinh says nothing about a material any more."""


def curvature_factor(relative_stress: Array | float) -> Array:
    """Curvature of a rectangular section over that of the linear law at the same moment.

    Parameters
    ----------
    relative_stress : array
        Elastic outer-fibre stress over s0; any shape, either sign.

    Returns
    -------
    array
        Of the same shape, 1 or more.

    Raises
    ------
    InputError
        Where the stress is more than 100 times s0.
    """
    x = np.abs(np.asarray(relative_stress, dtype=np.float64))
    if np.any(x > _HIGHEST):
        raise InputError(key="stress over s0", found=f"{np.max(x):g}", expected=f"no more than {_HIGHEST:g}")
    # The unknown is z = asinh of the outer strain over D s0; in z the moment is nearly a straight line.
    z = np.arcsinh(x)
    for _ in range(12):
        moment, slope = _moment(z)
        z = z + (x - moment) / slope
    small = x < 1e-4
    factor = np.sinh(z) / np.where(small, 1.0, x)
    return np.where(small, 1.0 + x**2 / 10.0, factor)


def weighted_factor(relative_stress: Array | float, profile: Array, share: Array) -> Array:
    """Deflection over that of the linear law for any beam of rectangular sections.

    Parameters
    ----------
    relative_stress : array
        Peak elastic outer-fibre stress over s0; any shape.
    profile, share : arrays of shape (n,)
        Outer-fibre stress over its peak along the beam, and share in the elastic bending deflection.
    """
    x = np.asarray(relative_stress, dtype=np.float64)
    return np.asarray(curvature_factor(x[..., np.newaxis] * profile) @ share)


def _moment(z: Array) -> tuple[Array, Array]:
    """Moment of a rectangle, as elastic outer stress over s0, at outer strain D s0 sinh z, and its slope in z.

    3 * integral of u asinh(a u) over u from 0 to 1 with a = sinh z, which is 3/2 z - 3/4 (cosh z / a - z / a^2).
    """
    small = z < 0.05
    w = np.where(small, 1.0, z)
    a, c = np.sinh(w), np.cosh(w)
    moment = 1.5 * w - 0.75 * (c / a - w / a**2)
    slope = 1.5 * (1.0 + (1.0 - w * c / a) / a**2)
    # Series where the terms above cancel: asinh(au) = au - (au)^3/6 + 3 (au)^5/40 under the integral.
    a, c = np.sinh(np.where(small, z, 0.0)), np.cosh(np.where(small, z, 0.0))
    series = a - a**3 / 10.0 + 9.0 * a**5 / 280.0
    series_slope = (1.0 - 0.3 * a**2 + 9.0 * a**4 / 56.0) * c
    return np.where(small, series, moment), np.where(small, series_slope, slope)
