"""Mixtures of simulated readings: many sets of them on one run's times and loads, whose common part is worked out once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import copy

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, Nodes, UnitCreep, members_of, nodes_of
from creepfit.inference.mixture import Mixture, mixture_of
from creepfit.inference.posterior import Likelihood, Projections
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import Array


class SimulatedLikelihood(Likelihood):
    """The likelihood of one set of readings after another, see `seeing`; grids over all of a member are laid once."""

    def __init__(self, observed: Observations, priors: Priors) -> None:
        super().__init__(observed, priors)
        self._grids: dict[Member, tuple[Nodes, Projections]] = {}

    def seeing(self, values: Array) -> SimulatedLikelihood:
        """The same for other readings, shape (T,)."""
        other = copy(self)
        vars(other).pop("misfit", None)
        other.observed = self.observed.with_values(values)
        vars(other.observed)["loads"] = self.observed.loads  # of times and loads alone
        other._see()
        return other

    def whole_grid(self, member: Member) -> tuple[Nodes, Projections]:
        if member not in self._grids:
            nodes = nodes_of(member)
            parts = UnitCreep(member, self.observed.span).parts_at(self.observed, nodes)
            self._grids[member] = nodes, Projections.of(parts, self)
        nodes, projections = self._grids[member]
        return nodes, projections.seen(self)


def simulated_mixtures(observed: Observations, values: Iterable[Array], priors: Priors) -> Iterator[Mixture]:
    """Yield the mixture of each set of readings (T,) at the times and under the loads of `observed`."""
    members = members_of(observed, priors, None)
    shared = SimulatedLikelihood(observed, priors)
    for row in values:
        yield mixture_of(members, shared.seeing(row))
