"""Draws by the member that they came from, and the functions of time that the creep of all of them is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.components import Member, UnitCreep
from creepfit.inference.nodes import Nodes
from creepfit.inference.time_functions import TimeFunctions
from creepfit.mechanics.loading import Array, Indices
from creepfit.mechanics.long_history import Superposition
from creepfit.models.model import Span


@dataclass(frozen=True, eq=False)
class Group:
    """The draws that came from one member: which draws, and the node of each."""

    member: Member
    rows: Indices
    nodes: Nodes

    @cached_property
    def different(self) -> tuple[Nodes, Indices]:
        """The different nodes among those of the draws, and which of them each draw has.

        Most draws of one node stand side by side, so few are left to be put in order.
        """
        table = np.vstack([self.nodes.shapes.T, self.nodes.shares.T, self.nodes.set_share])
        begins = _changes(table)
        table = table[:, begins]
        order = np.lexsort(table)
        changed = _changes(table[:, order])
        where = np.empty(order.size, dtype=np.intp)
        where[order] = np.cumsum(changed) - 1
        return self.nodes.take(np.flatnonzero(begins)[order[changed]]), where[np.cumsum(begins) - 1]


def _changes(table: Array) -> NDArray[np.bool_]:
    """Which columns of a table are not those before them."""
    return np.concatenate([[True], (table[:, 1:] != table[:, :-1]).any(axis=0)])


_Rows = tuple[Indices, Array, Indices]
"""Draws, what a function weighs in each, and its place in the table."""


class CreepOfDraws:
    """Creep of N draws under any load, per unit of their creep in the test.

    Each draw takes its functions of time from the table of those of all: it is calls that cost, and not sums.

    Parameters
    ----------
    groups : sequence of Group
        The draws by member; those in none do not creep.
    span : Span
        Of the test.
    count : int
        N.
    """

    def __init__(self, groups: Sequence[Group], span: Span, count: int) -> None:
        self._count, self._table = count, TimeFunctions()
        summands: list[list[_Rows]] = []
        for group in groups:
            unit = UnitCreep(group.member, span)
            for k, (term, weight, values, where) in enumerate(unit.functions_at(group.nodes)):
                if k == len(summands):
                    summands.append([])
                summands[k].append((group.rows, weight, self._table.place(unit, term, values) + where))
        self._summands = [_in_order_of_draws(parts, count) for parts in summands]

    def under(self, loads: Superposition, age: float | None = None) -> Array:
        """Load times creep at the times of the loads, shape (T, N)."""
        table = np.ascontiguousarray(self._table.under(loads, age).T)
        out = np.zeros((loads.times.size, self._count))
        for rows, weight, where in self._summands:
            own = weight * table.take(where, axis=1)
            if rows is None:
                out += own
            else:
                out[:, rows] += own
        return out


def _in_order_of_draws(parts: Sequence[_Rows], count: int) -> tuple[Indices | None, Array, Indices]:
    """Those of several groups as one; of all draws in their order, which need no rows."""
    rows, weight, where = (np.concatenate(each) for each in zip(*parts, strict=True))
    order = np.argsort(rows, kind="stable")
    return None if rows.size == count else rows[order], weight[order], where[order]
