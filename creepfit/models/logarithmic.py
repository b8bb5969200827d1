"""Logarithmic creep: D(t) = D0 + c ln(1 + t/t0), t0 = 1 s."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from creepfit.mechanics.loading import Array
from creepfit.models.model import Axis, CreepModel, Instant, Modes, Parameter, Span, Term
from creepfit.models.power_family import PowerFamily


@dataclass(frozen=True)
class Logarithm(Term):
    """phi = ln(1 + t/t0): the power family at n = 0, without a shape value. t0 in s."""

    t0: float = 1.0
    axis: int | None = None

    def value(self, t: Array, shape: Array | None = None) -> Array:
        return np.log1p(np.asarray(t) / self.t0)

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        return PowerFamily(self.t0).integral(np.asarray(t), np.zeros(()))

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        return PowerFamily(self.t0).modes(rates, step, np.zeros(1))


class Logarithmic(CreepModel):
    """A straight line against the logarithm of time."""

    name = "logarithmic"
    title = "logarithmic law"
    formula = "D(t) = D0 + c ln(1 + t/t0), t0 = 1 s"
    source = "listed among creep laws in Crawford, Plastics Engineering, 3rd ed., p. 48"
    terms = (Instant(), Logarithm())
    meanings = {
        "D0": "Compliance at the moment of loading: how far it moves at once.",
        "per decade": "Compliance that each tenfold time adds.",
    }
    no_weight = "the power family stands for it in forecasts: it is its case n = 0"

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return ()

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        per_decade = amplitudes[1] * float(np.log(10.0))
        return Parameter("D0", amplitudes[0], "compliance"), Parameter("per decade", per_decade, "compliance")
