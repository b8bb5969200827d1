"""What creeps in a part beside what does not, over time and draw by draw: the growths that `mechanics.sharing` asks for.

For each mode of a frame that gives way the draws' own relaxation is marched once, and what it has grown by is written as a
sum of Kelvin units: so it superposes over any load history as every creep function does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.answers.part.kernels import drawn_kernels
from creepfit.inference.mixture import Draws
from creepfit.mechanics.loading import Array, LoadHistory, TimeWarp
from creepfit.mechanics.long_history import Superposition
from creepfit.mechanics.relaxation import EARLIEST, Kernel, time_grid
from creepfit.models.model import Kelvin
from creepfit.units import HOUR

UNITS_PER_DECADE = 3
"""Kelvin units a decade of time: they follow even a growth that is one of them itself to within 1e-3."""


@dataclass(frozen=True, eq=False)
class _OnOneClock:
    """Draws on one clock: `units` (M, n, 1 + U) of each mode, the first of them at once, the rest of times `tau` (U,)."""

    rows: NDArray[np.intp]
    clock: TimeWarp
    tau: Array
    units: Array


@dataclass(frozen=True, eq=False)
class Growths:
    """Growth g(t) of each of M modes for all draws, under a load that is put on at t = 0 and held."""

    count: int
    shares: Array
    parts: tuple[_OnOneClock, ...]

    def superposed(self, loads: Superposition) -> Array:
        """Superposed over a load history of unit size, shape (M, N, T)."""
        out = np.empty((self.shares.size, self.count, loads.times.size))
        for part in self.parts:
            units = loads.column(Kelvin(), part.tau, part.clock)
            columns = np.vstack([loads.load(), units])
            out[:, part.rows] = part.units @ columns
        return out


def growths(draws: Draws, shares: Array, reference: float, until: float, age: float | None, factor: Array) -> Growths:
    """March the relaxation of every mode.

    Parameters
    ----------
    draws : Draws
    shares : ndarray, shape (M,)
        s of each mode, at the compliance `reference` [1/MPa].
    reference : float
    until : float
        s; beyond it nothing can be asked.
    age, factor
        As for `drawn_kernels`.

    Notes
    -----
    A set that stays is taken as coming back as far as it moves forces from one member to another: that the forces in a
    frame go back differently once its load is off is left out.
    """
    grid = time_grid(until, np.empty(0))
    parts = []
    for drawn in drawn_kernels(draws, grid, age, factor / reference):
        tau, units = growth_units(drawn.compliance, shares)
        parts.append(_OnOneClock(drawn.rows, drawn.clock, tau, units))
    return Growths(draws.count, shares, tuple(parts))


def growth_units(compliance: Kernel, shares: Array) -> tuple[Array, Array]:
    """Growths of modes as Kelvin units.

    Parameters
    ----------
    compliance : Kernel
        Of n draws, over the compliance at which the shares are.
    shares : ndarray, shape (M,)

    Returns
    -------
    tau : ndarray, shape (U,)
        s.
    units : ndarray, shape (M, n, 1 + U)
        What comes at once, then the units'.
    """
    felt = compliance.times
    tau = np.geomspace(felt[0], felt[-1], max(int(UNITS_PER_DECADE * np.log10(felt[-1] / felt[0])), 2))
    knots = np.concatenate([[0.0], felt])
    columns = np.vstack([np.ones(knots.size), Kelvin().value(knots[None, :], tau[:, None])]).T
    solve = np.linalg.pinv(columns, rcond=1e-9).T
    return tau, np.array([growth @ solve for growth in growths_on(compliance, shares)])


def growths_on(compliance: Kernel, shares: Array) -> Array:
    """Growths of modes under a load that is held, at t = 0 and the kernel's times; shape (M, n, 1 + T).

    `compliance` is that of n draws over the compliance at which the shares are.
    """
    felt, none = compliance.times, np.zeros_like(compliance.instant)
    growing = np.outer(compliance.set_growth, np.sqrt(felt / HOUR))
    whole = compliance.values + compliance.set_with_load[:, None] + growing
    at_once = compliance.instant + compliance.set_with_load
    growths = np.empty((shares.size, at_once.size, 1 + felt.size))
    for m, s in enumerate(shares):
        kernel = Kernel(felt, s * whole, s * at_once, 1.0 - s, none, none)
        growths[m] = (1.0 - kernel.force(1.0, float(felt[-1])).force) / s
    return growths


def grown(growth: Growths, histories: Sequence[LoadHistory], times: Array) -> tuple[Array, ...]:
    """Superposed growths (M, N, T) of each history; equal ones (the same object) are superposed once."""
    known: dict[int, Array] = {}
    for history in histories:
        if id(history) not in known:
            known[id(history)] = growth.superposed(Superposition(history, times))
    return tuple(known[id(history)] for history in histories)


def horizon(until: float) -> float:
    """A whole decade beyond what is asked, s: what is marched once then serves many answers."""
    return float(10.0 ** np.ceil(np.log10(max(until, 1e4 * EARLIEST)) + 1e-9))
