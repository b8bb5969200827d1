"""The functions of time that the freest curve of a run is a non-negative mix of."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.models.model import Dashpot, Kelvin
from creepfit.models.power_family import PowerFamily

EXPONENTS = np.array([-1.0, -0.6, -0.3, -0.1, 0.1, 0.3, 0.5, 0.7, 0.9])
INSTANTS_AT_MOST = 12
PER_DECADE = 2


class FreeSpectrum:
    """Columns of a run's readings for a smooth spectrum of loading, one of unloading, and each load's instant.

    `smooth` (T, K) are those of every fit, `names` says what each is; `taus` [s] are the single retardation times to be
    had beside them.
    """

    def __init__(self, observed: Observations) -> None:
        self.observed = observed
        low, high = observed.span.first / 3.0, 3.0 * max(observed.span.last, 3.0 * observed.span.first)
        self.taus = np.geomspace(low, high, int(np.ceil(PER_DECADE * np.log10(high / low))) + 1)
        rising = observed.history.change * observed.direction > 0.0
        parts = {"rise": _part(observed.history, rising), "fall": _part(observed.history, ~rising)}
        self._parts = {kind: Superposition(part, observed.times) for kind, part in parts.items()}
        self.smooth, self.names = self._smooth()

    def _smooth(self) -> tuple[Array, list[tuple[str, int]]]:
        """Columns of the smooth curve, shape (T, K), with what each is."""
        observed = self.observed
        columns: list[Array] = []
        names: list[tuple[str, int]] = []
        for i, part in enumerate(_instants(observed)):
            columns.append(part.at(observed.times))
            names.append(("instant", i))
        for kind, superposed in self._parts.items():
            columns.extend(superposed.column(PowerFamily(), EXPONENTS))
            names.extend((kind, i) for i in range(EXPONENTS.size))
            columns.append(superposed.column(Dashpot()))
            names.append((f"{kind} flow", 0))
        return observed.factor * np.array(columns).T, names

    def unit(self, i: int) -> Array:
        """Columns of one retardation time, on loading and on unloading, shape (T, 2)."""
        return np.asarray(self._units[i].T)

    @cached_property
    def _units(self) -> Array:
        """Those of each retardation time (U, 2, T)."""
        columns = [part.column(Kelvin(), self.taus) for part in self._parts.values()]
        return np.asarray(self.observed.factor * np.stack(columns, axis=1))

    def compliance(self, time: float, amplitudes: Array, units: Sequence[int]) -> float:
        """Compliance of the first load `time` [s] after it by amplitudes of all of them, 1/MPa (mm/N without geometry)."""
        t, total = np.array(time), 0.0
        grown = PowerFamily().value(t, EXPONENTS)
        for (kind, number), amplitude in zip(self.names, amplitudes, strict=False):
            if kind == "instant" and number == 0:
                total += amplitude
            elif kind == "rise":
                total += amplitude * float(grown[number])
            elif kind == "rise flow":
                total += amplitude * float(Dashpot().value(t))
        for unit, amplitude in zip(units, amplitudes[len(self.names) :: 2], strict=True):
            total += amplitude * float(Kelvin().value(t, self.taus[unit]))
        return float(total)


def _part(history: LoadHistory, chosen: NDArray[np.bool_] | NDArray[np.intp]) -> LoadHistory:
    return LoadHistory(history.start[chosen], history.end[chosen], history.change[chosen])


def _instants(observed: Observations) -> list[LoadHistory]:
    """Parts of the history with an instantaneous response of their own, first the first load of the test."""
    history = observed.history
    order = np.argsort(np.where(history.start < 0.0, np.inf, history.start), kind="stable")
    if order.size <= INSTANTS_AT_MOST:
        return [_part(history, np.array([i])) for i in order]
    rising = history.change * observed.direction > 0.0
    return [_part(history, rising), _part(history, ~rising)]
