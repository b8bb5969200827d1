"""Whole grids of members that were laid once: for all readings at the same times under the same loads they are the same.

So it is with the sets of readings that are simulated of one run, and with the runs of a batch that were read by one plan.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from functools import cache, cached_property

import numpy as np

from creepfit.inference.columns import Observations
from creepfit.inference.components import Member, UnitCreep, nodes_of
from creepfit.inference.likelihood import Likelihood, Projections
from creepfit.inference.nodes import GridNodes
from creepfit.inference.priors import Priors

MOST = 64
"""Grids that are kept at a time: those of two or three plans."""


class LaidGrids:
    """Grids by design and member, those that were asked for last."""

    def __init__(self) -> None:
        self._known: OrderedDict[tuple[bytes, Member], tuple[GridNodes, Projections]] = OrderedDict()

    def of(self, member: Member, shared: LaidLikelihood) -> tuple[GridNodes, Projections]:
        """A member's whole grid, with the readings of `shared` seen."""
        key = shared.design, member
        known = self._known.pop(key, None)  # and back to the end, so that threads of a cluster's worker may share them
        nodes, projections = shared.laid_anew(member) if known is None else known
        self._known[key] = nodes, projections
        if len(self._known) > MOST:
            self._known.popitem(last=False)
        return nodes, projections if known is None else projections.seen(shared)


@cache
def of_batches() -> LaidGrids:
    """The grids that all runs of batches in this process have in common."""
    return LaidGrids()


class LaidLikelihood(Likelihood):
    """The likelihood of one run's readings, which knows grids that were laid for others (None: it lays its own)."""

    def __init__(self, observed: Observations, priors: Priors, laid: LaidGrids | None) -> None:
        super().__init__(observed, priors)
        self.laid = laid

    @cached_property
    def design(self) -> bytes:
        """A mark of all that a grid hangs on besides its member: times, loads, covariance and zeros, but no value."""
        observed, history = self.observed, self.observed.history
        numbers = np.array([observed.load, observed.span.first, observed.span.last])
        of = self.transform, self.instant, observed.times, history.start, history.end, history.change, numbers
        mark = hashlib.sha256()
        for array in of:
            mark.update(np.array(array.shape).tobytes() + np.ascontiguousarray(array).tobytes())
        return mark.digest()

    def whole_grid(self, member: Member) -> tuple[GridNodes, Projections]:
        return self.laid_anew(member) if self.laid is None else self.laid.of(member, self)

    def laid_anew(self, member: Member) -> tuple[GridNodes, Projections]:
        """A member's whole grid, whatever is known."""
        nodes = nodes_of(member)
        parts = UnitCreep(member, self.observed.span).parts_at(self.observed, nodes)
        return nodes, Projections.of(parts, self)
