"""Burgers' four-element model: a Maxwell and a Kelvin-Voigt unit in series; it flows without end."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.models.model import (
    HOUR,
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


class Burgers(CreepModel):
    """D(t) = 1/E1 + (1 - exp(-t/tau))/E2 + t/eta1, tau = eta2/E2.

    After unloading at t1 the set is exactly t1/eta1: proportional to the time under load.
    """

    name = "burgers"
    title = "Burgers"
    formula = "D(t) = 1/E1 + (1 - exp(-t/tau))/E2 + t/eta1, tau = eta2/E2"
    source = "Crawford, Plastics Engineering, 3rd ed., eq. 2.42 (pp. 90-92)"
    flows = True
    terms = (Instant(), Kelvin(), Dashpot())

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (retardation_axis("tau", span, 120),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        retarded = modulus(amplitudes[1])
        return (
            Parameter("E1", modulus(amplitudes[0]), "modulus"),
            Parameter("eta1", modulus(amplitudes[2]), "modulus h"),
            Parameter("E2", retarded, "modulus"),
            Parameter("eta2", retarded * float(shape[0]) / HOUR, "modulus h"),
        )
