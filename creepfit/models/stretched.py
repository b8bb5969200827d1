"""Stretched exponential: D(t) = 1/E1 + (1 - exp(-(t/tau)^beta))/E2, creep that comes to rest slowly.

Within a short test it looks like a power of time with exponent beta; it is the member of the mixture that lets creep
level off beyond the data. beta is fixed for each member, because a function of time has one shape value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gamma, gammainc, loggamma

from creepfit.mechanics.loading import Array
from creepfit.mechanics.long_history import FORGOTTEN, STEP
from creepfit.models.coordinate import Coordinate, PriorSettings, even
from creepfit.models.model import (
    Axis,
    CreepModel,
    Instant,
    Kelvin,
    Modes,
    Parameter,
    Span,
    Term,
    modulus,
    needed,
    retardation_axis,
)
from creepfit.units import HOUR


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
        """Weights from the spectrum of exp(-u^beta), the density of a one-sided stable variable.

        Its Mellin transform is E[S^r] = Gamma(1 - r/beta)/Gamma(1 - r) (Zolotarev 1986, from memory), so the
        density of ln S is a Fourier integral, summed by the trapezoidal rule.
        """
        tau = np.ravel(needed(shape))
        if self.beta == 1.0:
            return Kelvin().modes(rates, step, shape)
        between = float(np.log(rates[-1] / rates[0])) / (rates.size - 1)
        below = max(int(np.ceil((np.log(rates[0] * tau.max()) - self._lowest) / between)), 0)
        slower = rates[0] * np.exp(between * np.arange(-below, 0))
        weights = between * self._log_density(np.log(np.concatenate([slower, rates])), np.log(tau))
        # slower rates than the grid's act as a dashpot; all weights add up to 1, faster ones act as a spring
        return Modes(1.0 - weights.sum(axis=1), weights[:, :below] @ slower, weights[:, below:])

    def own_rates(self, shape: Array | None = None) -> Array:
        """Closer rates for a beta near 1: the narrower the spectrum, the closer they must be for 1e-7 of the whole."""
        tau = np.ravel(needed(shape))
        if self.beta == 1.0:
            return Kelvin().own_rates(shape)
        parts = int(np.ceil(18.0 * STEP / (np.pi**2 * (1.0 / self.beta - 1.0))))
        if parts == 1:
            return np.empty(0)
        step = STEP / parts
        first = np.floor((self._lowest - np.log(tau.max())) / step)
        return np.exp(step * np.arange(first, np.ceil(np.log(FORGOTTEN) / step) + 1.0))

    @property
    def _lowest(self) -> float:
        """Logarithm of the rate times tau below which the spectrum is empty (1e-17, by its saddle point)."""
        b = self.beta
        return float((1.0 / b - 1.0) * np.log((1.0 - b) / 40.0) + np.log(b))

    def _log_density(self, log_rates: Array, log_tau: Array) -> Array:
        """Density of ln(rate tau), shape (S, R)."""
        far = -np.log(1e-10) / self.beta  # the density falls as (rate tau)^-beta towards fast rates
        low = log_rates[0] + log_tau.min()
        period = max(far - min(low, self._lowest), log_rates[-1] + log_tau.max() - self._lowest)
        highest = 24.0 / (0.5 * np.pi * (1.0 / self.beta - 1.0))
        omega = 2.0 * np.pi / period * np.arange(1.0, np.ceil(highest * period / (2.0 * np.pi)) + 1.0)
        transform = np.exp(loggamma(1.0 - 1j * omega / self.beta) - loggamma(1.0 - 1j * omega))
        by_tau = transform * np.exp(-1j * np.outer(log_tau, omega))
        waves = by_tau @ np.exp(-1j * np.outer(omega, log_rates))
        return np.asarray((1.0 + 2.0 * waves.real) / period)


STRETCHES = {0.25: 0.098, 0.4: 0.028, 0.6: 0.014}
"""Stretching exponents that are tried, with their prior weights; in between, neighbours differ by less than a day's
reading shows. Most weight is on the widest spectrum, which levels off slowly: it centres forecasts of published curves."""

LATEST_REST = 1000.0
"""Longest retardation time, in lengths of the test."""


class StretchedExponential(CreepModel):
    """Kohlrausch's law in compliance with a fixed stretching exponent."""

    name = "stretched-exponential"
    title = "stretched exponential"
    formula = "D(t) = 1/E1 + (1 - exp(-(t/tau)^beta))/E2"
    meanings = {
        "E1": "Stiffness at the moment of loading.",
        "E2": "Stiffness of what comes late: the smaller, the more it creeps.",
        "tau": "Time by which 63 % of the late part has come.",
        "beta": "How spread out in time the late part is: 1 for a single delay, less for many.",
    }
    source = "Kohlrausch (1854) and Williams & Watts, Trans. Faraday Soc. 66 (1970) 80, from memory"

    def __init__(self, beta: float) -> None:
        if not 0.0 < beta <= 1.0:
            raise ValueError(f"beta lies between 0 and 1, not at {beta}")
        self.beta = beta
        self.weight = STRETCHES.get(beta, 0.0)
        self.terms = (Instant(), Stretched(beta))

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (retardation_axis("tau", span, 120, beyond=LATEST_REST),)

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        (tau,) = self.axes(span)
        return (even(tau.low, tau.high, 16, 20, log=True),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        return (
            Parameter("E1", modulus(amplitudes[0]), "modulus"),
            Parameter("E2", modulus(amplitudes[1]), "modulus"),
            Parameter("tau", float(shape[0]) / HOUR, "h"),
            Parameter("beta", self.beta, "1"),
        )
