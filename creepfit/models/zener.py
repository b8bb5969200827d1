"""Standard linear solid (Zener): a spring in series with one Kelvin-Voigt unit; creep that comes to rest."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.models.coordinate import Coordinate, PriorSettings, even
from creepfit.models.model import (
    Axis,
    CreepModel,
    Instant,
    Kelvin,
    Parameter,
    Span,
    modulus,
    retardation_axis,
)
from creepfit.units import HOUR


class Zener(CreepModel):
    """D(t) = 1/E1 + (1 - exp(-t/tau))/E2."""

    name = "zener"
    title = "standard linear solid"
    formula = "D(t) = 1/E1 + (1 - exp(-t/tau))/E2"
    source = "Crawford, Plastics Engineering, 3rd ed., section 2.11 (spring and Kelvin-Voigt unit)"
    terms = (Instant(), Kelvin())
    meanings = {
        "E1": "Stiffness at the moment of loading.",
        "E2": "Stiffness of what comes late: the smaller, the more it creeps.",
        "tau": "Time by which 63 % of the late part has come.",
    }
    weight = 0.015

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (retardation_axis("tau", span, 120),)

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        (tau,) = self.axes(span)
        return (even(tau.low, tau.high, 20, 33, log=True),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        return (
            Parameter("E1", modulus(amplitudes[0]), "modulus"),
            Parameter("E2", modulus(amplitudes[1]), "modulus"),
            Parameter("tau", float(shape[0]) / HOUR, "h"),
        )
