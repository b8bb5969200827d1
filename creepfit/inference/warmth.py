"""Draws of the response at another temperature than the test's: growth of both parts, and the clock."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.mechanics.loading import Array
from creepfit.mechanics.temperature import Climate, WarmClock

CLOCKS = 5
"""Activation energies, equally probable, that stand for a posterior's: each takes a superposition of its own."""


@dataclass(frozen=True, eq=False)
class Growth:
    """Draws of what a rise of temperature does.

    Attributes
    ----------
    instant, creep : ndarray, shape (N,)
        Growth of the logarithm of the instantaneous deformation and of the creep per K.
    activation : ndarray, shape (N,)
        Activation energy of the clock in kJ/mol, 0 for a clock that shows plain time.
    """

    instant: Array
    creep: Array
    activation: Array

    @classmethod
    def joined(cls, parts: Sequence[Growth]) -> Growth:
        """All draws of several."""
        return cls(*(np.concatenate([getattr(p, name) for p in parts]) for name in ("instant", "creep", "activation")))

    def take(self, index: NDArray[np.intp]) -> Growth:
        """A selection of draws."""
        return Growth(self.instant[index], self.creep[index], self.activation[index])


@dataclass(frozen=True, eq=False)
class Warmth:
    """What a climate does to N draws of a response that were made at `reference` [degC]."""

    climate: Climate
    reference: float
    growth: Growth

    def factors(self, times: Array) -> tuple[Array, Array]:
        """Factors on the instantaneous part and on the creep at times (T,) [s], each of shape (N, T)."""
        above = self.climate.at(times) - self.reference
        return np.exp(np.outer(self.growth.instant, above)), np.exp(np.outer(self.growth.creep, above))

    def clocks(self) -> list[tuple[WarmClock | None, NDArray[np.bool_]]]:
        """Clocks with the draws (N,) that run on each; None is plain time."""
        activation = self.growth.activation
        groups = [np.flatnonzero(activation == 0.0)]
        shifted = np.flatnonzero(activation > 0.0)
        groups += np.array_split(shifted[np.argsort(activation[shifted], kind="stable")], CLOCKS)
        found: list[tuple[WarmClock | None, NDArray[np.bool_]]] = []
        for rows in (g for g in groups if g.size):
            chosen = np.zeros(activation.size, dtype=bool)
            chosen[rows] = True
            middle = float(np.median(activation[rows]))
            found.append((WarmClock(self.climate, self.reference, middle) if middle > 0.0 else None, chosen))
        return found
