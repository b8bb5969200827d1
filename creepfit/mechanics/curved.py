"""Stress on the inside of a bend, where the fibres are shorter than along the centre line.

Plane sections stay plane, so the strain grows with 1/r and the neutral axis lies at A / integral of dA/r, nearer to the
inside than the centroid (Winkler and Bach; Gere & Timoshenko, Mechanics of Materials, curved bars; from memory).
"""

from __future__ import annotations

import math

from creepfit.mechanics.section import ISection, Rectangle, Round, Section, TSection, Tube

_Rectangles = list[tuple[float, float, float]]
"""Width (below zero for a hole) and distances inward of the centroid between which it lies, mm."""


def inside_factor(section: Section, radius: float) -> float:
    """Stress of the innermost fibre over that of a straight bar's outer fibre, at the same moment.

    Parameters
    ----------
    section : Section
    radius : float
        Of the centre line, mm; more than the section reaches inward.
    """
    ways = (False, True) if isinstance(section, TSection) else (False,)
    return max(_factor(section, radius, flipped) for flipped in ways)


def _factor(section: Section, radius: float, flipped: bool) -> float:
    area, outer = float(section.area), float(section.outer_fibre)
    rectangles, rings = _pieces(section)
    if flipped:
        rectangles = [(width, -high, -low) for width, low, high in rectangles]
    inward = max((high for _, _, high in rectangles), default=float(section.depth) / 2.0)
    if inward >= radius:
        return math.inf
    over = sum(width * math.log((radius - low) / (radius - high)) for width, low, high in rectangles)
    over += sum(share * 2.0 * math.pi * (radius - math.sqrt(radius**2 - (d / 2.0) ** 2)) for share, d in rings)
    neutral = area / over
    inside = radius - inward
    straight = outer / float(section.second_moment)
    return (neutral - inside) / (area * (radius - neutral) * inside) / straight


def _pieces(section: Section) -> tuple[_Rectangles, list[tuple[float, float]]]:
    """Rectangles and circles (share, diameter) that a section is made of."""
    if isinstance(section, Tube):
        section = Round(section.diameter, section.wall, 0.0)
    if isinstance(section, Round):
        rings = [(1.0, float(section.diameter))]
        if section.walls is not None and section.core_stiffness is not None:
            rings.append((section.core_stiffness - 1.0, float(section.diameter - 2.0 * section.walls)))
        return [], rings
    if isinstance(section, Rectangle):
        half = float(section.thickness) / 2.0
        pieces = [(float(section.width), -half, half)]
        if section.walls is not None and section.core_stiffness is not None:
            core = half - float(section.walls)
            width = float(section.width - 2.0 * section.walls)
            pieces.append(((section.core_stiffness - 1.0) * width, -core, core))
        return pieces, []
    assert isinstance(section, ISection | TSection)
    height, flange = float(section.height), float(section.flange)
    face = float(section.from_flange)
    pieces = [(float(section.web), face - height, face), (float(section.width - section.web), face - flange, face)]
    if isinstance(section, ISection):
        pieces.append((float(section.width - section.web), face - height, face - height + flange))
    return pieces, []
