"""Rectangular panels on two or four sides: a thin plate under a force in its middle or a load spread all over.

Levy's solution, w = sum of Y_m(y) sin(m pi x / a), the sides x = 0 and a resting (free to turn, corners held down), the
sides y = -b/2 and b/2 resting too or free (Timoshenko & Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., sections
30, 34 and 46). A load is a patch in the middle of u by v, on which it is spread evenly: the whole panel, or what stands for
a force at one point, a square as large as a circle with a radius of 0.325 of the thickness, below which no stress grows
(Westergaard, as in Roark's Formulas for Stress and Strain; both from memory).

Every deflection is a number times (1 - nu^2) D(t): with a Poisson's ratio that stays as it is a plate creeps as a beam
does. Thin plates, small deflections: shear is left out, and so is what holds a panel as a skin from a sag of half its
thickness on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array

Sides = Literal["two sides", "four sides"]

POINT = 0.325
"""Radius over thickness of the circle that a force at one point is spread over."""

THICKEST = 0.2
"""Thickness over span or width: of what is thicker shear and local pressure decide."""

FEWEST_TERMS, TERMS_A_PATCH = 40, 12
"""Odd terms of the series: as few at least, and as many more as the patch goes into the span."""


class PanelResponse(NamedTuple):
    """In the middle, under 1 N: sag times the modulus (mm MPa), and the largest bending stress anywhere (MPa)."""

    deflection: float
    stress: float


@dataclass(frozen=True)
class Panel:
    """A panel of even thickness.

    Parameters
    ----------
    span : float
        Between the two sides that it rests on in any case, mm.
    width : float
        The other way, mm.
    thickness : float
        mm.
    sides : "two sides" or "four sides"
    poisson : float
    """

    span: float
    width: float
    thickness: float
    sides: Sides = "four sides"
    poisson: float = 0.38

    def __post_init__(self) -> None:
        if not 0.0 < self.thickness <= THICKEST * min(self.span, self.width):
            expected = "at most a fifth of span and width, as of a plate"
            raise InputError(key="thickness", found=f"{self.thickness:g} mm", expected=expected)

    def under_force(self) -> PanelResponse:
        """1 N at one point in the middle."""
        side = np.sqrt(np.pi) * POINT * self.thickness
        return self._under_patch(side, side)

    def under_spread_load(self) -> PanelResponse:
        """1 N spread all over."""
        return self._under_patch(self.span, self.width)

    def _under_patch(self, u: float, v: float) -> PanelResponse:
        count = FEWEST_TERMS + int(TERMS_A_PATCH * self.span / u)
        m: Array = np.arange(1.0, 2.0 * count, 2.0)
        alpha = m * np.pi / self.span
        signs = np.sin(m * np.pi / 2.0)
        pressure = 4.0 / (u * v * m * np.pi) * signs * np.sin(m * np.pi * u / 2.0 / self.span)
        at_middle, bend_middle, at_edge = self._levy(alpha, v / 2.0)
        shape = pressure / alpha**4 * signs
        nu, stiffness = self.poisson, self.thickness**3 / 12.0 / (1.0 - self.poisson**2)
        along = np.sum(shape * alpha**2 * (at_middle - nu * bend_middle))
        across = np.sum(shape * alpha**2 * (nu * at_middle - bend_middle))
        edge = (1.0 - nu**2) * np.sum(shape * alpha**2 * at_edge) if self.sides == "two sides" else 0.0
        moment = float(max(along, across, edge))
        return PanelResponse(float(np.sum(shape * at_middle)) / stiffness, 6.0 * moment / self.thickness**2)

    def _levy(self, alpha: Array, half_patch: float) -> tuple[Array, Array, Array]:
        """Y and Y''/alpha^2 in the middle and Y at the side, of each term under a unit of pressure / alpha^4; (n,) each."""
        edge = alpha * self.width / 2.0
        inner = np.minimum(alpha * half_patch, edge)
        # beside the patch e^-s, s e^-s, e^r, r e^r with s from the patch and r to the side: nothing overflows
        gap = edge - inner
        on_patch, beside = _symmetric(inner, inner), _falling(np.zeros_like(gap), -gap)
        side = _falling(gap, np.zeros_like(gap))
        nu, free = self.poisson, self.sides == "two sides"
        if np.all(gap <= 1e-12 * edge):  # all of it is loaded
            ends = _boundary(on_patch, nu, free)
            own = np.linalg.solve(np.moveaxis(ends, 2, 0), -_particular(nu, free, alpha.size)[..., None])[..., 0]
            at_edge = 1.0 + np.sum(own * on_patch[0].T, axis=1)
        else:
            system = np.zeros((alpha.size, 6, 6))
            system[:, :4, :2] = np.moveaxis(on_patch, 2, 0)
            system[:, :4, 2:] = -np.moveaxis(beside, 2, 0)
            system[:, 4:, 2:] = np.moveaxis(_boundary(side, nu, free), 2, 0)
            right = np.zeros((alpha.size, 6))
            right[:, 0] = -1.0
            whole = np.linalg.solve(system, right[..., None])[..., 0]
            own, at_edge = whole[:, :2], np.sum(whole[:, 2:] * side[0].T, axis=1)
        middle = _symmetric(np.zeros_like(inner), inner)
        return 1.0 + np.sum(own * middle[0].T, axis=1), np.sum(own * middle[2].T, axis=1), at_edge


def _symmetric(at: Array, inner: Array) -> Array:
    """cosh and u sinh over the cosh of `inner` and their first three derivatives at u = `at`; shape (4, 2, n)."""
    decay = np.exp(at - inner) / (1.0 + np.exp(-2.0 * inner))
    cosh, sinh = decay * (1.0 + np.exp(-2.0 * at)), decay * (1.0 - np.exp(-2.0 * at))
    return np.array(
        [[cosh, at * sinh], [sinh, sinh + at * cosh], [cosh, 2.0 * cosh + at * sinh], [sinh, 3.0 * sinh + at * cosh]]
    )


def _falling(s: Array, r: Array) -> Array:
    """e^-s, s e^-s, e^r, r e^r and their first three derivatives; shape (4, 4, n)."""
    near, far = np.exp(-s), np.exp(r)
    return np.array(
        [
            [near, s * near, far, r * far],
            [-near, (1.0 - s) * near, far, (1.0 + r) * far],
            [near, (s - 2.0) * near, far, (2.0 + r) * far],
            [-near, (3.0 - s) * near, far, (3.0 + r) * far],
        ]
    )


def _boundary(values: Array, poisson: float, free: bool) -> Array:
    """What must be nothing at a side: moment and edge shear where it is free, else deflection and moment; (2, k, n)."""
    value, first, second, third = values
    if free:
        return np.array([second - poisson * value, third - (2.0 - poisson) * first])
    return np.array([value, second])


def _particular(poisson: float, free: bool, count: int) -> Array:
    """The same of the deflection under the load alone, which is 1 everywhere; shape (n, 2)."""
    return np.tile([-poisson if free else 1.0, 0.0], (count, 1))
