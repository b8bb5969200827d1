"""Burgers' four-element model: a Maxwell and a Kelvin-Voigt unit in series; it flows without end."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.models.coordinate import Coordinate, PriorSettings, even, flow_share
from creepfit.models.model import (
    Axis,
    CreepModel,
    Dashpot,
    Instant,
    Kelvin,
    Parameter,
    Span,
    modulus,
    retardation_axis,
)
from creepfit.units import HOUR


class Burgers(CreepModel):
    """D(t) = 1/E1 + (1 - exp(-t/tau))/E2 + t/eta1, tau = eta2/E2.

    After unloading at t1 the set is exactly t1/eta1: proportional to the time under load.
    """

    name = "burgers"
    title = "Burgers"
    formula = "D(t) = 1/E1 + (1 - exp(-t/tau))/E2 + t/eta1, tau = eta2/E2"
    source = "Crawford, Plastics Engineering, 3rd ed., eq. 2.42 (pp. 90-92)"
    flows = True
    meanings = {
        "E1": "Stiffness at the moment of loading.",
        "E2": "Stiffness of what comes late: the smaller, the more it creeps.",
        "eta1": "Viscosity of what flows and never comes back: the larger, the less it flows.",
        "eta2": "Viscosity that delays the late part; over E2 it is the time of delay.",
    }
    weight = 0.03
    set_growths = ()
    terms = (Instant(), Kelvin(), Dashpot())

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (retardation_axis("tau", span, 120),)

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        (tau,) = self.axes(span)
        return even(tau.low, tau.high, 16, 25, log=True), flow_share(beliefs, 8, 12)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        retarded = modulus(amplitudes[1])
        return (
            Parameter("E1", modulus(amplitudes[0]), "modulus"),
            Parameter("eta1", modulus(amplitudes[2]), "modulus h"),
            Parameter("E2", retarded, "modulus"),
            Parameter("eta2", retarded * float(shape[0]) / HOUR, "modulus h"),
        )
