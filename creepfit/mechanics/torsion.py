"""Bars in torsion: their torsional constant, coil springs, and arms that stick out of the plane of bending.

Bending takes the compliance D(t), torsion E/G times it: with a Poisson's ratio that does not change both creep alike, so
each of these parts is one elastic deflection times E D(t), as any other.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array
from creepfit.mechanics.section import Rectangle, Round, Section, Tube

TERMS = 25
"""Of the series for a rectangle: its constant is then right to 1e-8."""


class Twisted(NamedTuple):
    """What a force of 1 N does: deflection times the modulus (mm MPa), and the largest equivalent stress (MPa).

    The equivalent stress is that of a bar in tension which strains the material as much (von Mises).
    """

    deflection: float
    stress: float


def torsional_constant(section: Section) -> tuple[float, float]:
    """Torsional constant J (mm^4), and largest shear stress per torque (1/mm^3).

    Saint-Venant's torsion of a solid rectangle a >= b by its series, J = a b^3 (1/3 - 64/pi^5 b/a sum tanh(...)/k^5) over
    odd k (Timoshenko & Goodier, Theory of Elasticity, section 109, from memory; J/(a b^3) and tau a b^2/T of a square are
    0.1406 and 1/0.208); round bars and tubes by their polar moment.

    Raises
    ------
    InputError
        A section whose torsion is not worked out here.
    """
    if isinstance(section, Round) and section.walls is None:
        polar = np.pi / 32.0 * float(np.asarray(section.diameter)) ** 4
        return polar, float(np.asarray(section.diameter)) / 2.0 / polar
    if isinstance(section, Tube):
        outer, inner = float(np.asarray(section.diameter)), float(np.asarray(section.diameter - 2.0 * section.wall))
        polar = np.pi / 32.0 * (outer**4 - inner**4)
        return polar, outer / 2.0 / polar
    if isinstance(section, Rectangle) and section.walls is None:
        b, a = sorted(float(np.asarray(size)) for size in (section.width, section.thickness))
        k: Array = np.arange(1.0, 2.0 * TERMS, 2.0)
        half = k * np.pi * a / (2.0 * b)
        constant = a * b**3 * (1.0 / 3.0 - 64.0 / np.pi**5 * b / a * float(np.sum(np.tanh(half) / k**5)))
        # the largest shear stress is in the middle of the long side: G theta b (1 - 8/pi^2 sum 1/(k^2 cosh))
        shear = b * (1.0 - 8.0 / np.pi**2 * float(np.sum(1.0 / (k**2 * np.cosh(np.minimum(half, 700.0))))))
        return constant, shear / constant
    raise InputError("its torsion is not worked out here", key="section", expected="a solid rectangle or round, or a tube")


def coil(wire: Section, coil_diameter: float, turns: float, ratio: float) -> Twisted:
    """A close-coiled helical spring under 1 N along its axis.

    Deflection pi D^3 n/(4 G J), which is 8 D^3 n/(G d^4) for a round wire (A. M. Wahl, Mechanical Springs, from memory);
    the largest shear stress with Wahl's factor (4 c - 1)/(4 c - 4) + 0.615/c, c the coil's over the wire's diameter, which
    for a rectangular wire is taken with its size across the axis.

    Parameters
    ----------
    wire : Section
    coil_diameter : float
        Of the wire's centre line, mm.
    turns : float
        Active ones.
    ratio : float
        E/G.
    """
    across = float(np.asarray(wire.width if isinstance(wire, Rectangle) else wire.depth))
    index = coil_diameter / across
    if not index > 1.5:
        raise InputError(key="coil_diameter", found=f"{coil_diameter:g} mm", expected="well above the wire's own size")
    constant, per_torque = torsional_constant(wire)
    wahl = (4.0 * index - 1.0) / (4.0 * index - 4.0) + 0.615 / index
    deflection = np.pi * coil_diameter**3 * turns * ratio / (4.0 * constant)
    return Twisted(deflection, np.sqrt(3.0) * wahl * per_torque * coil_diameter / 2.0)


def crank(shaft: Section, shaft_length: float, arm: Section, arm_length: float, ratio: float, poisson: float) -> Twisted:
    """A shaft out from the wall and an arm square to it, 1 N at the arm's end square to both.

    Shaft and arm bend, the shaft twists by the force times the arm: a^3/3EI + b^3/3EI + a b^2/(G J) with both shears
    (Castigliano; Gere & Timoshenko on bars in bending and torsion). The depth of both is along the force.
    """
    constant, per_torque = torsional_constant(shaft)
    own = shaft_length * arm_length**2 * ratio / constant
    for section, length in ((shaft, shaft_length), (arm, arm_length)):
        bending = length**3 / 3.0 / float(np.asarray(section.second_moment))
        own += bending + ratio * length / float(np.asarray(section.shear_area(poisson)))
    fibre = [float(np.asarray(s.outer_fibre / s.second_moment)) for s in (shaft, arm)]
    # bending and torsion are largest at the same fibre of a round shaft, and are taken as if they were of any other
    at_wall = float(np.hypot(fibre[0] * shaft_length, np.sqrt(3.0) * per_torque * arm_length))
    return Twisted(own, max(at_wall, fibre[1] * arm_length))
