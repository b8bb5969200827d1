"""Compliance of the draws as kernels of a hereditary integral, those on one clock together.

Whatever keeps a deflection, or shares a load with what does not creep, needs the material's relaxation draw by draw
(`mechanics.relaxation`), with no member of the mixture, no allowance and no temperature left out that the sag would have.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.mixture import Draws
from creepfit.mechanics.loading import Array, LoadHistory, TimeWarp
from creepfit.mechanics.relaxation import Kernel
from creepfit.models.model import SET_WITH_LOAD
from creepfit.units import HOUR


@dataclass(frozen=True, eq=False)
class DrawnKernel:
    """Draws on one clock: their `rows` (n,) among all draws, the `clock`, and the compliance on it, set apart."""

    rows: NDArray[np.intp]
    clock: TimeWarp
    compliance: Kernel


def drawn_kernels(draws: Draws, grid: Array, age: float | None, factor: Array) -> list[DrawnKernel]:
    """Compliances [1/MPa] of all draws under a load of 1 that is held.

    Parameters
    ----------
    draws : Draws
        In a climate they have what its hottest moment up to the last time does, from the beginning on: what a part has lost
        by then is lost.
    grid : ndarray, shape (T,)
        s, ascending.
    age : float or None
        Of the part at t = 0, s.
    factor : ndarray, shape (N,)
        Allowances on the compliance.
    """
    scale = factor / draws.observed.factor
    held, one_hour = LoadHistory.held(1.0), np.array([HOUR])
    bare = replace(draws, groups=tuple(replace(g, nodes=g.nodes.without_set()) for g in draws.groups))
    values = bare.deformation(held, grid, age=age)
    stays = (draws.deformation(held, one_hour, age=age) - bare.deformation(held, one_hour, age=age))[:, 0]
    instant = draws.instant / draws.observed.load
    if draws.warmth is not None:
        at_once, later = draws.warmth.factors(grid)
        creep = (values - at_once * instant[:, None]) / later * later[:, -1:]
        instant = instant * at_once[:, -1]
        values = instant[:, None] + creep
        stays = stays / draws.warmth.factors(one_hour)[1][:, 0] * later[:, -1]
    stays = np.maximum(stays, 0.0) * scale
    values, instant = values * scale[:, None], instant * scale
    grows = np.zeros(draws.count, dtype=bool)
    for group in draws.groups:
        growth = group.member.set_growth
        grows[group.rows] = growth is not None and growth != SET_WITH_LOAD
    kernels = []
    for rows, clock in _clocks(draws, age):
        with_load, growing = np.where(grows[rows], 0.0, stays[rows]), np.where(grows[rows], stays[rows], 0.0)
        compliance = Kernel(clock(grid), values[rows], instant[rows], 0.0, with_load, growing)
        kernels.append(DrawnKernel(rows, clock, compliance))
    return kernels


def _clocks(draws: Draws, age: float | None) -> list[tuple[NDArray[np.intp], TimeWarp]]:
    """Draws by the clock that they run on: that of the temperature, and on it that of ageing."""
    ageing: dict[tuple[float | None, float | None], tuple[TimeWarp, NDArray[np.bool_]]] = {}
    left = np.ones(draws.count, dtype=bool)
    for group in draws.groups:
        own = group.member.clock(age)
        key = (None, None) if own is None else (group.member.rate, group.member.age)
        _, chosen = ageing.setdefault(key, (own or _plain, np.zeros(draws.count, dtype=bool)))
        chosen[group.rows] = True
        left[group.rows] = False
    if left.any():  # an elastic material has no member
        ageing.setdefault((None, None), (_plain, np.zeros(draws.count, dtype=bool)))[1][left] = True
    warm = [(None, np.ones(draws.count, dtype=bool))] if draws.warmth is None else draws.warmth.clocks()
    clocks: list[tuple[NDArray[np.intp], TimeWarp]] = []
    for heated, warmed in warm:
        for aged, chosen in ageing.values():
            rows = np.flatnonzero(chosen & warmed)
            if rows.size:
                clocks.append((rows, aged if heated is None else _after(aged, heated)))
    return clocks


def _plain(times: Array) -> Array:
    return times


def _after(second: TimeWarp, first: TimeWarp) -> TimeWarp:
    return lambda times: second(first(times))
