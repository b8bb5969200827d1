"""The members of the mixture: a model, what stays after unloading, and the clock, with a prior for each coordinate.

A member's creep is one curve of unit size: the deformation it adds between the first and the last reading under the
reference load is 1. So every member has two amplitudes, both in mm under the reference load: the instantaneous
deformation and the creep within the test. What else it has (exponent, retardation time, share of flow, share of set,
shift rate of the clock) is a coordinate of a grid.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations
from creepfit.inference.nodes import GridNodes, Nodes, grid_over
from creepfit.inference.priors import Priors
from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.models.coordinate import Coordinate, flow_share, half_normal_share
from creepfit.models.model import SET_WITH_LOAD, CreepModel, Dashpot, Instant, Span, Term
from creepfit.units import HOUR

FLOW_CELLS = 5, 6
"""Cells of the share of a flow beside a model that comes to rest, in the first pass and in later ones."""


@dataclass(frozen=True)
class Member:
    """One member of the mixture.

    Attributes
    ----------
    label : str
        In words, for tables.
    model : CreepModel
    coordinates : tuple of Coordinate
    weight : float
        Prior weight.
    flow_beside : bool
        Whether a flow is beside the model's own functions, the last of the member's.
    set_growth : float or None
        Growth exponent of its set, 0 for a set that comes with the load, None for none.
    age, rate : float or None
        Age at first loading [s] and shift rate of the ageing clock; None for plain time.
    """

    label: str
    model: CreepModel
    coordinates: tuple[Coordinate, ...]
    weight: float
    flow_beside: bool = False
    set_growth: float | None = None
    age: float | None = None
    rate: float | None = None

    @property
    def family(self) -> tuple[str, bool]:
        """Members that are one model to the user: same model, same kind of clock."""
        return self.model.name, self.rate is not None

    def clock(self, age: float | None = None) -> Callable[[Array], Array] | None:
        """The member's clock for a specimen or part of `age` [s] at t = 0, by default the specimen's own."""
        own = self.age if age is None else age
        return None if self.rate is None or own is None else AgeingClock(own, self.rate, self.age)

    @cached_property
    def creep_terms(self) -> tuple[Term, ...]:
        own = tuple(t for t in self.model.terms if not isinstance(t, Instant))
        return (*own, Dashpot()) if self.flow_beside else own

    @property
    def flows(self) -> bool:
        """Whether part of its creep never comes back and never ends."""
        return self.model.flows or self.flow_beside

    @property
    def flow_share(self) -> Coordinate | None:
        """The coordinate that is the share of that part, in a member that flows; None where it has none."""
        role = "flow" if self.flow_beside else "share"
        return next((c for c in self.coordinates if c.role == role), None)


def nodes_of(member: Member, ranges: Sequence[tuple[float, float]] | None = None, fine: bool = False) -> GridNodes:
    """Lay a member's grid over its coordinates, over the whole of them or over `ranges` of them."""
    return grid_over(member.coordinates, len(member.creep_terms), fine, ranges)


@dataclass(frozen=True, eq=False)
class ColumnPart:
    """What one function adds to the creep of M nodes: weight (M,) times the row `where` (M,) of columns (S, T).

    Of all P R nodes of a grid the weight is a row (1, R) and `where` a column (P, 1).
    """

    weight: Array
    columns: Array
    where: NDArray[np.intp]


def _added_up(parts: Sequence[ColumnPart]) -> Array:
    """Creep columns of the nodes, shape (M, T)."""
    whole = np.asarray(sum(part.weight[..., None] * part.columns[part.where] for part in parts))
    return whole.reshape(-1, whole.shape[-1])


class UnitCreep:
    """Superposes the unit creep of a member's nodes over any history, each function once for each shape value.

    The unit is the creep between the first and the last reading under the reference load held, on the member's clock
    at the specimen's age.
    """

    def __init__(self, member: Member, span: Span) -> None:
        self.member = member
        clock = member.clock()
        ends = np.array([span.first, span.last])
        self.ends = ends if clock is None else clock(ends)
        self.last = span.last

    def columns(self, nodes: Nodes | GridNodes, history: LoadHistory, times: Array, age: float | None = None) -> Array:
        """Creep per unit of creep in the test under unit load, times the load: shape (M, T)."""
        return self.columns_of(nodes, Superposition(history, times), age)

    def columns_of(self, nodes: Nodes | GridNodes, loads: Superposition, age: float | None = None) -> Array:
        """As `columns`, for several members under the same loads: what they share is worked out once."""
        return _added_up(self.parts_of(nodes, loads, age))

    def lasting_of(self, nodes: Nodes | GridNodes, loads: Superposition) -> list[ColumnPart]:
        """Of the same what never comes back: flow and set."""
        return self.parts_of(nodes, loads, wanted=Dashpot)

    def parts_of(
        self, nodes: Nodes | GridNodes, loads: Superposition, age: float | None = None, wanted: type[Term] = Term
    ) -> list[ColumnPart]:
        """The same function by function: many nodes have few different functions of time between them."""
        functions = self.functions_at(nodes, wanted)
        return [ColumnPart(weight, self.column(term, values, loads, age), at) for term, weight, values, at in functions]

    def functions_at(
        self, nodes: Nodes | GridNodes, wanted: type[Term] = Term
    ) -> Iterator[tuple[Term | None, Array, Array | None, NDArray[np.intp]]]:
        """Each function of time (None: the set) with its weight at the nodes (M,), the shape values that it takes there
        (S,), None without, and which of them a node has (M,)."""
        for k, term in enumerate(self.member.creep_terms):
            if isinstance(term, wanted):
                values, where = (None, nodes.none) if term.axis is None else nodes.different[term.axis]
                yield term, nodes.weights(k), values, where
        if self.member.set_growth is not None:
            yield None, nodes.weights(None), None, nodes.none

    def column(self, term: Term | None, values: Array | None, loads: Superposition, age: float | None = None) -> Array:
        """Columns (S, T) of one function (None: the set) at shape values (S,), None for one without; in the test under
        unit load each adds 1."""
        whole = self.full_column(term, values, loads, age)
        return whole if term is None else np.asarray(whole / self.size(term, values))

    def full_column(self, term: Term | None, values: Array | None, loads: Superposition, age: float | None) -> Array:
        """The same, each as large as the function itself is."""
        if term is None:
            return self._set(loads)[None, :]
        column = loads.column(term, values, self.member.clock(age))
        return column[None, :] if values is None else column

    def size(self, term: Term, values: Array | None) -> Array:
        """What a function adds in the test under unit load, (S, 1)."""
        ends = term.value(self.ends[None, :], None if values is None else values[:, None])
        return np.asarray(ends[:, 1:] - ends[:, :1])

    def over(self, other: UnitCreep, nodes: Nodes) -> tuple[Nodes, Array]:
        """The nodes (M,) as they are over another span, and what the amplitude of each is to be multiplied by, (M,)."""
        grown = nodes.shares * other._sizes(nodes) / self._sizes(nodes)
        factor = grown.sum(axis=1)
        growth = self.member.set_growth or 0.0
        set_share = nodes.set_share * (other.last / self.last) ** growth / factor
        return Nodes(nodes.shapes, grown / factor[:, None], set_share, nodes.log_prior), factor

    def _sizes(self, nodes: Nodes) -> Array:
        """What each function comes to over the span, shape (M, K)."""
        out = np.empty(nodes.shares.shape)
        for k, term in enumerate(self.member.creep_terms):
            ends = self.ends if term.axis is None else self.ends[:, None]
            out[:, k] = np.diff(
                term.value(ends) if term.axis is None else term.value(ends, nodes.shapes[:, term.axis]), axis=0
            )
        return out

    def columns_at(self, observed: Observations, nodes: Nodes | GridNodes) -> Array:
        """Deformation at the readings per unit of creep in the test under the reference load, shape (M, T)."""
        return _added_up(self.parts_at(observed, nodes))

    def parts_at(self, observed: Observations, nodes: Nodes | GridNodes) -> list[ColumnPart]:
        """The same function by function."""
        runs = [
            [ColumnPart(p.weight, p.columns * unit / run.load, p.where) for p in self.parts_of(nodes, run.loads, age)]
            for run, age, unit in observed.by_run()
        ]
        if len(runs) == 1:
            return runs[0]
        return [
            ColumnPart(of_runs[0].weight, np.concatenate([p.columns for p in of_runs], axis=1), of_runs[0].where)
            for of_runs in zip(*runs, strict=True)
        ]

    def _set(self, loads: Superposition) -> Array:
        """Set per unit of set at the end of the test under unit load, times the load, shape (T,)."""
        growth = self.member.set_growth
        if growth is None or growth == SET_WITH_LOAD:
            return loads.peak()
        return np.asarray(loads.growth(growth) / (self.last / HOUR) ** growth)


def members_of(observed: Observations, priors: Priors, age: float | None) -> tuple[Member, ...]:
    """The members of the mixture for a run: with set where it could be seen, on the ageing clock where age is known.

    One table of weights for every run: what was not read can make no forecast surer.
    """
    members = [
        Member(model.title, model, model.coordinates(observed.span, priors), weight)
        for model, weight in priors.weighted_models()
    ]
    if observed.has_initial and observed.has_recovery:
        members = _with_sets(members, priors)
    members += _with_flow_beside(members, priors)
    if age is not None:
        members = [aged for m in members for aged in _with_ageing(m, members, priors, age)]
    return tuple(members)


def _with_flow_beside(members: Sequence[Member], priors: Priors) -> list[Member]:
    """The members whose model has that once more, with a flow beside them, which is a set of its own."""
    share = replace(flow_share(priors, *FLOW_CELLS), role="flow")
    return [
        replace(
            member,
            label=f"{member.label}, with flow",
            coordinates=(*member.coordinates, share),
            weight=member.model.flow_beside * sum(m.weight for m in members if m.model is member.model),
            flow_beside=True,
        )
        for member in members
        if member.model.flow_beside > 0.0 and member.set_growth is None
    ]


def _with_ageing(member: Member, members: Sequence[Member], priors: Priors, age: float) -> list[Member]:
    """A member as it is, and on clocks of several rates; what its model has with a set goes to the clocks without one.

    Last of all, so that without the clocks the others weigh as they would if nothing aged.
    """
    if not member.model.ages:
        return [member]
    plain = replace(member, weight=member.weight * (1.0 - priors.ageing_weight))
    if member.set_growth is not None:
        return [plain]
    # each rate is a whole grid: where that has two axes already, the ends of the range are enough
    rates = np.linspace(priors.ageing_low, priors.ageing_high, 4 if len(member.coordinates) == 1 else 2)
    weight = sum(m.weight for m in members if m.model is member.model) * priors.ageing_weight / rates.size
    return [
        plain,
        *(replace(member, label=f"{member.label}, ageing", weight=weight, age=age, rate=float(rate)) for rate in rates),
    ]


def _with_sets(members: Sequence[Member], priors: Priors) -> list[Member]:
    """The members as they are and with a set; what of it grows in proportion to time makes flow the likelier."""
    flowing = sum(m.weight for m in members if m.model.flows)
    share = priors.set_in_proportion if flowing > 0.0 else 0.0
    variants = [variant for m in members for variant in _with_set(m, priors, share)]
    left = sum(m.weight for m in members) - sum(m.weight for m in variants)
    return [replace(m, weight=m.weight * (1.0 + left / flowing)) if share and m.model.flows else m for m in variants]


def _with_set(member: Member, priors: Priors, in_proportion: float) -> list[Member]:
    """A member as it is, and with a set by each law that its model allows; without what is left to flow."""
    growths = member.model.set_growths
    if not growths:
        return [member]
    weight = member.weight * priors.set_weight * (1.0 - in_proportion) / len(growths)
    # a grid of four axes is large, and eight cells of this one change its log evidence by less than 0.03
    fine = 11 if len(member.coordinates) == 1 else 8
    c = half_normal_share(priors.set_scale, 6, fine)
    variants = [
        replace(member, coordinates=(*member.coordinates, c), weight=weight, set_growth=growth) for growth in growths
    ]
    return [replace(member, weight=member.weight * (1.0 - priors.set_weight)), *variants]
