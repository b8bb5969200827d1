"""Stretched exponential: D(t) = 1/E1 + (1 - exp(-(t/tau)^beta))/E2, creep that comes to rest slowly.

Within a short test it looks like a power of time with exponent beta; it is the member of the mixture that lets creep
level off beyond the data. beta is fixed for each member, because a function of time has one shape value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gamma, gammainc

from creepfit.mechanics.loading import Array
from creepfit.models.model import (
    HOUR,
    Axis,
    CreepModel,
    Instant,
    Modes,
    Parameter,
    Span,
    Term,
    fitted_modes,
    modulus,
    needed,
    retardation_axis,
)


@dataclass(frozen=True)
class Stretched(Term):
    """phi = 1 - exp(-(t/tau)^beta), 0 < beta <= 1: completely monotone rate, so amplitudes are not negative."""

    beta: float
    axis: int | None = 0

    def value(self, t: Array, shape: Array | None = None) -> Array:
        return np.asarray(-np.expm1(-((np.asarray(t) / needed(shape)) ** self.beta)))

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        tau = needed(shape)
        x = (np.asarray(t) / tau) ** self.beta
        # the integral of exp(-u^beta) is an incomplete gamma function
        decayed = gammainc(1.0 / self.beta, x) * gamma(1.0 / self.beta) / self.beta
        # for small x the difference loses its digits; there it is the integral of (u^beta - u^(2 beta)/2)
        early = x * (1.0 / (self.beta + 1.0) - x / (4.0 * self.beta + 2.0))
        scaled = np.asarray(t) / tau
        return np.asarray(tau * np.where(x < 1e-5, scaled * early, scaled - decayed))

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        return fitted_modes(self, rates, np.ravel(needed(shape)))


class StretchedExponential(CreepModel):
    """Kohlrausch's law in compliance with a fixed stretching exponent."""

    name = "stretched-exponential"
    title = "stretched exponential"
    formula = "D(t) = 1/E1 + (1 - exp(-(t/tau)^beta))/E2"
    source = "Kohlrausch (1854) and Williams & Watts, Trans. Faraday Soc. 66 (1970) 80, from memory"

    def __init__(self, beta: float) -> None:
        if not 0.0 < beta <= 1.0:
            raise ValueError(f"beta lies between 0 and 1, not at {beta}")
        self.beta = beta
        self.terms = (Instant(), Stretched(beta))

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (retardation_axis("tau", span, 120),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        return (
            Parameter("E1", modulus(amplitudes[0]), "modulus"),
            Parameter("E2", modulus(amplitudes[1]), "modulus"),
            Parameter("tau", float(shape[0]) / HOUR, "h"),
            Parameter("beta", self.beta, "1"),
        )
