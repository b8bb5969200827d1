"""Draws of one specimen over the sets of known runs that may belong with it, each as often as the set is likely."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

import numpy as np

from creepfit.inference.components import Member, UnitCreep
from creepfit.inference.groups import Group
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.posterior import Posterior
from creepfit.mechanics.loading import Array

NEGLIGIBLE = 0.025
"""A set of known runs less likely than this is left out: of draws as few as these no end of an interval depends."""


@dataclass(frozen=True)
class RunSet:
    """Known runs, by their numbers, that may be those that belong, and how likely that is; with none, nothing does."""

    runs: tuple[int, ...]
    probability: float


def run_sets(belongs: Sequence[float]) -> tuple[RunSet, ...]:
    """Sets of known runs from the probabilities (K,) that each belongs, the likeliest first, together 1.

    A run does not belong unless those that are likelier do too: of K + 1 sets instead of 2^K.
    """
    order = sorted(range(len(belongs)), key=lambda k: -belongs[k])
    sets, before = [], 1.0
    for count in range(len(order) + 1):
        goes_on = belongs[order[count]] if count < len(order) else 0.0
        sets.append(RunSet(tuple(sorted(order[:count])), before * (1.0 - goes_on)))
        before *= goes_on
    likely = [s for s in sets if s.probability >= NEGLIGIBLE]
    total = sum(s.probability for s in likely)
    return tuple(sorted((replace(s, probability=s.probability / total) for s in likely), key=lambda s: -s.probability))


@dataclass(frozen=True, eq=False)
class SeveralSets(Mixture):
    """The mixture of one set of runs, with draws of others among its own.

    Attributes
    ----------
    others : tuple of (float, Mixture)
        Of the other sets, or of the same where the models miss more or less of it, with the probability of each; the rest
        is its own.
    """

    others: tuple[tuple[float, Mixture], ...] = field(kw_only=True)

    def _as_tested(self, count: int, seed: int) -> Draws:
        """As of any mixture; each set has its part of them."""
        bounds = np.rint(count * (1.0 - np.cumsum([0.0, *(p for p, _ in self.others)]))).astype(int)
        drawn = [super()._as_tested(int(bounds[-1]), seed)] if bounds[-1] else []
        for k, (_, other) in enumerate(self.others):
            if bounds[k] > bounds[k + 1]:
                drawn.append(replace(other, warming=None).draws(int(bounds[k] - bounds[k + 1]), seed + 1 + k))
        return _joined([_in_terms_of(draws, self) for draws in drawn], np.random.default_rng(seed))

    @property
    def _own(self) -> float:
        """Probability of its own set."""
        return 1.0 - sum(p for p, _ in self.others)

    def weight_of_members(self, wanted: Callable[[Member], bool]) -> float:
        return self._own * super().weight_of_members(wanted) + sum(p * m.weight_of_members(wanted) for p, m in self.others)

    def of_members(self, wanted: Callable[[Member], bool]) -> Mixture:
        """As of any mixture; of a set in which they are likelier there is more."""
        total = self.weight_of_members(wanted)
        found = [(p, m) for p, m in self.others if any(wanted(q.member) for q in m.posteriors)]
        others = [(p * m.weight_of_members(wanted) / total if total else p, m.of_members(wanted)) for p, m in found]
        return replace(super().of_members(wanted), others=tuple(others))  # type: ignore[call-arg]

    def with_members(self, posteriors: Sequence[Posterior], weights: Array) -> Mixture:
        """As of any mixture; they are of its own set of runs, and nothing is drawn of the others."""
        return replace(super().with_members(posteriors, weights), others=())  # type: ignore[call-arg]

    def without_ageing(self) -> Mixture | None:
        own, others = super().without_ageing(), [(p, m, m.without_ageing()) for p, m in self.others]
        if own is None and all(plain is None for _, _, plain in others):
            return None
        return replace(own or self, others=tuple((p, plain or m) for p, m, plain in others))  # type: ignore[call-arg]


def _in_terms_of(draws: Draws, mixture: Mixture) -> Draws:
    """The same draws with creep as a share of that over the mixture's span; what no model has begins where it did."""
    assert mixture.tested is not None
    span, own_span = mixture.observed.span, draws.observed.span
    creep, groups = draws.creep.copy(), []
    for group in draws.groups:
        own, there = UnitCreep(group.member, own_span), UnitCreep(group.member, span)
        nodes, factor = own.over(there, group.nodes)
        creep[group.rows] *= factor
        groups.append(Group(group.member, group.rows, nodes))
    departure = np.broadcast_to(draws.departure, (draws.count, 3))
    observed = replace(mixture.tested.plain.blocks[0], span=span)
    restated = replace(
        draws, groups=tuple(groups), creep=creep, departure=departure, observed=observed, departs_after=mixture.tested.last
    )
    if own_span.last == span.last:
        return restated
    return replace(restated, discrepancy=np.zeros(draws.count), further=((own_span.last, draws.discrepancy),))


def _joined(sets: Sequence[Draws], rng: np.random.Generator) -> Draws:
    """All of them as one, in an order that tells nothing of where each came from."""
    count = sum(d.count for d in sets)
    place, groups, first = rng.permutation(count), [], 0
    for draws in sets:
        groups += [Group(g.member, place[first + np.asarray(g.rows)], g.nodes) for g in draws.groups]
        first += draws.count

    def whole(of: Callable[[Draws], Array]) -> Array:
        every = np.concatenate([of(draws) for draws in sets])
        out = np.empty_like(every)
        out[place] = every
        return out

    none = np.zeros(1)
    ends = dict.fromkeys(last for draws in sets for last, _ in draws.further)
    return replace(
        sets[0],
        groups=tuple(groups),
        instant=whole(lambda d: d.instant),
        creep=whole(lambda d: d.creep),
        discrepancy=whole(lambda d: d.discrepancy),
        noise=whole(lambda d: d.noise),
        departure=whole(lambda d: d.departure),
        scatter=none,
        creep_scatter=none,
        further=tuple((end, whole(partial(_further, end))) for end in ends),
    )


def _further(end: float, draws: Draws) -> Array:
    """Discrepancy of draws whose data ended at this time, 0 for all others; shape (N,)."""
    return dict(draws.further).get(end, np.zeros(draws.count))
