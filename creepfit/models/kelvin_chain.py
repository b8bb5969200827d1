"""Kelvin chain: a spring in series with N Kelvin-Voigt units (a Prony series in compliance)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from creepfit.models.coordinate import Coordinate, PriorSettings, even, even_share
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


class KelvinChain(CreepModel):
    """D(t) = 1/E0 + sum_i (1 - exp(-t/tau_i))/E_i for `units` units, retardation times ascending."""

    name = "kelvin-chain"
    title = "Kelvin chain"
    formula = "D(t) = 1/E0 + sum_i (1 - exp(-t/tau_i))/E_i"
    source = "Findley, Lai & Onaran (1976), section 5.4, from memory"
    meanings = {
        "E0": "Stiffness at the moment of loading.",
        "E1": "Stiffness of the first late part.",
        "tau1": "Time by which 63 % of the first late part has come.",
        "E2": "Stiffness of the second late part.",
        "tau2": "Time by which 63 % of the second late part has come.",
    }
    flow_beside = 0.2  # else two units that a fine gauge shows, and a third too late for the test, pass for two at rest
    weight = 0.01

    def __init__(self, units: int = 2) -> None:
        if units < 1:
            raise ValueError(f"a Kelvin chain has one unit or more, not {units}")
        self.units = units
        self.terms = (Instant(), *(Kelvin(axis=i) for i in range(units)))

    def axes(self, span: Span) -> tuple[Axis, ...]:
        # the grid is a product over units: keep it to a few thousand nodes whatever the number of units
        count = {1: 120, 2: 36, 3: 16}.get(self.units, 8)
        axis = retardation_axis("tau", span, count)
        return tuple(replace(axis, name=f"tau{i + 1}") for i in range(self.units))

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        times = tuple(even(a.low, a.high, 10, 14, i, log=True) for i, a in enumerate(self.axes(span)))
        return (*times, even_share(5, 8)) if self.units > 1 else times

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        rows = [Parameter("E0", modulus(amplitudes[0]), "modulus")]
        for i in range(self.units):
            rows.append(Parameter(f"E{i + 1}", modulus(amplitudes[i + 1]), "modulus"))
            rows.append(Parameter(f"tau{i + 1}", float(shape[i]) / HOUR, "h"))
        return tuple(rows)
