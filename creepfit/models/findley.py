"""Findley's power law: D(t) = D0 + m t^n, t in hours, 0 < n < 1."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import gamma

from creepfit.mechanics.loading import Array
from creepfit.models.model import Axis, CreepModel, Instant, Modes, Parameter, Span, Term, needed
from creepfit.units import HOUR


@dataclass(frozen=True)
class PurePower(Term):
    """phi = (t / 1 h)^n. Its spectrum is n s^(-n-1)/Gamma(1-n) over all rates s."""

    axis: int | None = 0

    def value(self, t: Array, shape: Array | None = None) -> Array:
        return np.asarray((np.asarray(t) / HOUR) ** needed(shape))

    def integral(self, t: Array, shape: Array | None = None) -> Array:
        n = needed(shape)
        return np.asarray(HOUR * (np.asarray(t) / HOUR) ** (n + 1.0) / (n + 1.0))

    def modes(self, rates: Array, step: float, shape: Array | None = None) -> Modes:
        n = np.ravel(needed(shape))[:, None]
        s = rates * HOUR
        factor = n * step / gamma(1.0 - n)
        weights = factor * s ** (-n)
        # faster rates than the grid's act as a spring, slower ones as a dashpot: geometric series
        above, below = s[-1] * np.exp(step), s[0] * np.exp(-step)
        spring = factor * above ** (-n) / (-np.expm1(-n * step))
        dashpot = factor * below ** (1.0 - n) / (-np.expm1(-(1.0 - n) * step)) / HOUR
        return Modes(spring[:, 0], dashpot[:, 0], weights)


class Findley(CreepModel):
    """Instantaneous response plus a power of time."""

    name = "findley"
    title = "Findley power law"
    formula = "D(t) = D0 + m t^n, t in h"
    source = "Findley & Tracy, Polym. Eng. Sci. 14 (1974) 577 (page from memory); FPL Report 2039 (1958)"
    terms = (Instant(), PurePower())
    meanings = {
        "D0": "Compliance at the moment of loading: how far it moves at once.",
        "m": "Compliance that creep has added after 1 h.",
        "n": "How fast creep slows down: a tenfold time multiplies the creep by 10 to the n.",
    }
    no_weight = "the power family stands for it in forecasts: the same power of time with an offset of a second"

    def axes(self, span: Span) -> tuple[Axis, ...]:
        return (Axis("n", 0.005, 0.95, 120),)

    def parameters(self, shape: Sequence[float], amplitudes: Sequence[float]) -> tuple[Parameter, ...]:
        return (
            Parameter("D0", amplitudes[0], "compliance"),
            Parameter("m", amplitudes[1], "compliance"),
            Parameter("n", float(shape[0]), "1"),
        )
