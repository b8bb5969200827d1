"""Formulas of the bending standards, in the standards' own terms; lengths in mm, forces in N, stresses in MPa."""

from __future__ import annotations


def outer_stress_three_point(load: float, span: float, width: float, thickness: float) -> float:
    """Stress of the outer fibre at midspan, 3 F L / (2 b h^2) (ISO 178, ISO 899-2, ASTM D790)."""
    return 3.0 * load * span / (2.0 * width * thickness**2)


def outer_strain_three_point(deflection: float, span: float, thickness: float) -> float:
    """Strain of the outer fibre at midspan as a fraction, 6 s h / L^2 (ISO 178, ISO 899-2, ASTM D790)."""
    return 6.0 * deflection * thickness / span**2


def creep_modulus_three_point(load: float, deflection: float, span: float, width: float, thickness: float) -> float:
    """Flexural creep modulus, L^3 F / (4 b h^3 s), shear not counted (ISO 899-2)."""
    return span**3 * load / (4.0 * width * thickness**3 * deflection)


def outer_stress_four_point(load: float, span: float, load_span: float, width: float, thickness: float) -> float:
    """Stress between the loads, 3 F (L - L_i) / (2 b h^2), F the sum of both (statics; as ASTM D6272)."""
    return 3.0 * load * (span - load_span) / (2.0 * width * thickness**2)


def outer_strain_cantilever(deflection: float, length: float, thickness: float) -> float:
    """Strain of the outer fibre at the root under an end load, 3 s h / (2 L^2) (Crawford, Plastics Engineering)."""
    return 3.0 * deflection * thickness / (2.0 * length**2)


def large_deflection_stress_factor(deflection: float, span: float, thickness: float) -> float:
    """Factor on the three-point stress where the deflection exceeds a tenth of the span.

    1 + 6 (D/L)^2 - 4 (d/L)(D/L) with D the deflection, d the thickness (ASTM D790, from memory).
    """
    relative = deflection / span
    return 1.0 + 6.0 * relative**2 - 4.0 * (thickness / span) * relative
