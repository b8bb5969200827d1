"""Draws by the member that they came from, and the functions of time that the creep of all of them is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.components import Member, UnitCreep
from creepfit.inference.nodes import Nodes
from creepfit.mechanics.loading import Array, Indices
from creepfit.mechanics.long_history import Superposition
from creepfit.models.model import Span, Term


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

    It is a sum of few functions of time. One that several members have is worked out once, at the shape values of all of
    them, and each draw takes its own from the table of all: it is calls that cost, and not sums.

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
        self._count, self._size = count, 0
        self._functions: list[_Function] = []
        summands: list[list[_Rows]] = []
        for group in groups:
            unit = UnitCreep(group.member, span)
            for k, (term, weight, values, where) in enumerate(unit.functions_at(group.nodes)):
                if k == len(summands):
                    summands.append([])
                summands[k].append((group.rows, weight, self._place(unit, term, values) + where))
        self._summands = [_in_order_of_draws(parts, count) for parts in summands]

    def _place(self, unit: UnitCreep, term: Term | None, values: Array | None) -> int:
        """Where in the table a function begins, from there on at its values; it is entered where it is not there yet."""
        known = next((f for f in self._functions if f.is_that_of(unit.member, term)), None)
        if known is None:
            known = _Function(unit, term, [], [])
            self._functions.append(known)
        elif values is None:
            return int(known.places[0][0])
        first, size = self._size, 1 if values is None else values.size
        known.places.append(np.arange(first, first + size))
        if values is not None:
            known.values.append(values)
        self._size += size
        return first

    def under(self, loads: Superposition, age: float | None = None) -> Array:
        """Load times creep at the times of the loads, shape (T, N)."""
        table = np.empty((loads.times.size, self._size))
        for function in self._functions:
            table[:, np.concatenate(function.places)] = function.columns(loads, age).T
        out = np.zeros((loads.times.size, self._count))
        for rows, weight, where in self._summands:
            own = weight * table.take(where, axis=1)
            if rows is None:
                out += own
            else:
                out[:, rows] += own
        return out


@dataclass(frozen=True, eq=False)
class _Function:
    """A function of time on one clock (None: a set), its values in several groups, and their places in the table."""

    unit: UnitCreep
    term: Term | None
    values: list[Array]
    places: list[Indices]

    def is_that_of(self, member: Member, term: Term | None) -> bool:
        """Whether it is the same in another member."""
        own = self.unit.member
        if (own.rate, own.age) != (member.rate, member.age):
            return False
        return self.term == term if term is not None else self.term is None and own.set_growth == member.set_growth

    def columns(self, loads: Superposition, age: float | None) -> Array:
        """Its columns at all values, shape (V, T)."""
        return self.unit.column(self.term, np.concatenate(self.values) if self.values else None, loads, age)


def _in_order_of_draws(parts: Sequence[_Rows], count: int) -> tuple[Indices | None, Array, Indices]:
    """Those of several groups as one; of all draws in their order, which need no rows."""
    rows, weight, where = (np.concatenate(each) for each in zip(*parts, strict=True))
    order = np.argsort(rows, kind="stable")
    return None if rows.size == count else rows[order], weight[order], where[order]
