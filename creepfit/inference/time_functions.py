"""Functions of time that several members of a mixture are made of, each worked out once for all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from creepfit.inference.columns import Observations
from creepfit.inference.components import ColumnPart, UnitCreep
from creepfit.inference.nodes import GridNodes, Nodes
from creepfit.mechanics.loading import Array, Indices
from creepfit.mechanics.long_history import Superposition
from creepfit.models.model import Term


class TimeFunctions:
    """A table of functions of time, of which one that members have in common is worked out at the shape values of all.

    All are placed before the first of them is worked out.
    """

    def __init__(self) -> None:
        self._functions: list[_Function] = []
        self._size = 0

    def place(self, unit: UnitCreep, term: Term | None, values: Array | None) -> int:
        """Where in the table a function of a member (None: its set) begins, from there on at its shape values (V,); it is
        entered where it is not there yet."""
        known = next((f for f in self._functions if f.is_that_of(unit, term)), None)
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
        """All of them under a load, each per unit of what it adds in the test under unit load, shape (size, T)."""
        table = np.empty((self._size, loads.times.size))
        for function in self._functions:
            table[function.rows] = function.columns(loads, age)
        return table


@dataclass(frozen=True, eq=False)
class _Function:
    """A function of time on one clock (None: a set), its values in several members, and their places in the table."""

    unit: UnitCreep
    term: Term | None
    values: list[Array]
    places: list[Indices]

    def is_that_of(self, unit: UnitCreep, term: Term | None) -> bool:
        """Whether it is the same in another member."""
        own, other = self.unit.member, unit.member
        if (own.rate, own.age) != (other.rate, other.age):
            return False
        return self.term == term if term is not None else self.term is None and own.set_growth == other.set_growth

    @cached_property
    def rows(self) -> Indices:
        """Its places, one after the other, (V,)."""
        return np.concatenate(self.places)

    @cached_property
    def _values(self) -> Array | None:
        return np.concatenate(self.values) if self.values else None

    @cached_property
    def _size(self) -> Array | float:
        return 1.0 if self.term is None else self.unit.size(self.term, self._values)

    def columns(self, loads: Superposition, age: float | None) -> Array:
        """Its columns at all values, shape (V, T)."""
        return np.asarray(self.unit.full_column(self.term, self._values, loads, age) / self._size)


def parts_of_each(
    units: Sequence[UnitCreep], nodes: Sequence[Nodes | GridNodes], observed: Observations
) -> list[list[ColumnPart]]:
    """Deformation of several members at the readings, function by function; see `UnitCreep.parts_at`."""
    table = TimeFunctions()
    placed = [
        [(weight, table.place(unit, term, values), where, 1 if values is None else values.size)
         for term, weight, values, where in unit.functions_at(own)]
        for unit, own in zip(units, nodes, strict=True)
    ]  # fmt: skip
    runs = [table.under(run.loads, age) * per_unit / run.load for run, age, per_unit in observed.by_run()]
    columns = runs[0] if len(runs) == 1 else np.concatenate(runs, axis=1)
    return [
        [ColumnPart(weight, columns[first : first + count], where) for weight, first, where, count in parts]
        for parts in placed
    ]
