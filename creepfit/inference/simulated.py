"""Mixtures of simulated readings: many sets of them on one run's times and loads, whose common part is worked out once."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from copy import copy

from creepfit.inference.columns import Observations
from creepfit.inference.components import members_of
from creepfit.inference.laid_grids import LaidGrids, LaidLikelihood
from creepfit.inference.mixture import Mixture, mixture_of
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import Array


class SimulatedLikelihood(LaidLikelihood):
    """The likelihood of one set of readings after another, see `seeing`."""

    def seeing(self, values: Array) -> SimulatedLikelihood:
        """The same for other readings, shape (T,)."""
        other = copy(self)
        vars(other).pop("misfit", None)
        other.observed = self.observed.with_values(values)
        vars(other.observed)["loads"] = self.observed.loads  # of times and loads alone
        other._see()
        return other


def simulated_mixtures(observed: Observations, values: Iterable[Array], priors: Priors) -> Iterator[Mixture]:
    """Yield the mixture of each set of readings (T,) at the times and under the loads of `observed`."""
    members = members_of(observed, priors, None)
    shared = SimulatedLikelihood(observed, priors, LaidGrids())
    _ = shared.design  # once for all sets
    for row in values:
        yield mixture_of(members, shared.seeing(row))
