"""Power family: D(t) = D0 + c ((1 + t/t0)^n - 1)/n with t0 = 1 s and n < 1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import exprel, gamma

from creepfit.mechanics.loading import Array
from creepfit.models.coordinate import Coordinate, PriorSettings, exponent
from creepfit.models.model import (
    SET_WITH_LOAD,
    Axis,
    CreepModel,
    Instant,
    Modes,
    Parameter,
    Span,
    Term,
    needed,
)
from creepfit.units import HOUR

T0 = 1.0
"""Offset of the time axis in s: what happens faster than a second is part of the instantaneous response."""

N_LOW, N_HIGH = -1.0, 0.9

EXPONENT_MEANING = "Above 0 creep grows as a power of time, at 0 with its logarithm, below 0 it levels off."


@dataclass(frozen=True)
class PowerFamily(Term):
    """phi = ((1 + t/t0)^n - 1)/n, and ln(1 + t/t0) at n = 0.

    Finite at zero, with a completely monotone rate for every n < 1: its spectrum of retardation rates s/t0 is
    s^(-n-1) exp(-s)/Gamma(1-n), which is where `modes` comes from (the integral of the Gamma function).
    """

    t0: float = T0
    axis: int | None = 0

    def value(self, t: Array, shape: Array | None = None) -> Array:
        log_growth = np.log1p(t / self.t0)
        return np.asarray(log_growth * exprel(needed(shape) * log_growth))

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        n = needed(shape)
        x = t / self.t0
        log_growth = np.log1p(x)
        grown = log_growth * exprel((n + 1.0) * log_growth)  # ((1+x)^(n+1) - 1)/(n+1)
        flat = (1.0 + x) * log_growth - x
        near = np.abs(n) < 1e-7  # there the difference has no digits left, and two terms of the series in n have all
        series = flat + n * (0.5 * (1.0 + x) * log_growth * log_growth - flat)
        full = np.where(near, series, (grown - x) / np.where(near, 1.0, n))
        # for small x the differences lose their digits; there the integral is x^2/2 + (n-1) x^3/6
        return np.asarray(self.t0 * np.where(x < 1e-5, x * x / 2.0 * (1.0 + (n - 1.0) * x / 3.0), full))

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        n = np.ravel(needed(shape))[:, None]
        s = rates * self.t0
        weights = step * s ** (-n) * np.exp(-s) / gamma(1.0 - n)
        # all slower rates of the same grid together act as one dashpot: a geometric series
        below = s[0] * np.exp(-step)
        slow = step * below ** (1.0 - n[:, 0]) / (-np.expm1(-(1.0 - n[:, 0]) * step))
        return Modes(np.zeros(n.shape[0]), slow / gamma(1.0 - n[:, 0]) / self.t0, weights)


@lru_cache(maxsize=64)  # errors of parameters ask for the same few exponents once an amplitude
def in_first_hour(n: float) -> float:
    """The power family's value at 1 h."""
    return float(PowerFamily().value(np.asarray(HOUR), np.asarray(n)))


class PowerFamilyModel(CreepModel):
    """Findley's law with an offset for n > 0, the logarithmic law at n = 0, bounded for n < 0."""

    name = "power-family"
    title = "power family"
    formula = "D(t) = D0 + c ((1 + t/t0)^n - 1)/n, t0 = 1 s"
    source = (
        "Findley, Lai & Onaran, Creep and Relaxation of Nonlinear Viscoelastic Materials (1976), from memory, "
        "with the offset t0 that makes it finite at zero and joins the logarithmic law"
    )
    terms = (Instant(), PowerFamily())
    meanings = {
        "D0": "Compliance at the moment of loading: how far it moves at once.",
        "creep at 1 h": "Compliance that creep has added after 1 h.",
        "n": EXPONENT_MEANING,
    }
    weight = 0.655
    # within the test a set that grows with the root of time looks like one that came with the load, so one of the
    # models is enough to let it grow beyond
    set_growths = (SET_WITH_LOAD, 0.5)
    ages = True
    leads = True

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (Axis("n", N_LOW, N_HIGH, 120),)

    def coordinates(self, span: Span, beliefs: PriorSettings) -> tuple[Coordinate, ...]:
        return (exponent(beliefs, N_LOW, N_HIGH, 71),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        n = float(shape[0])
        return (
            Parameter("D0", amplitudes[0], "compliance"),
            Parameter("creep at 1 h", amplitudes[1] * in_first_hour(n), "compliance"),
            Parameter("n", n, "1"),
        )
