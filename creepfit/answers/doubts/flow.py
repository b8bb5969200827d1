"""Doubts about flow that a run was too short to see: what it would add to the specimen's deflection, or to a part's sag."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from creepfit.answers.doubts.catalogue import forecast as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size as size_in_words
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.mechanics.loading import Array, LoadHistory

if TYPE_CHECKING:
    from creepfit.answers.part.response import PartResponse  # all of a part's mechanics, which most answers need not

FLOW_SPOKEN_OF = 0.1
"""Part of the forecast from which on a flow that could not be seen is spoken of."""

UNSEEN_DRAWS, FEWEST_FLOWING = 1000, 100
"""Draws of a model that flows, and how many of a forecast's own stand for it instead."""

EXTRAPOLATED_FLOW = 0.05
"""By what part of itself flow must raise the upper end of a forecast to be spoken of: faint flow is in every mixture."""


def flow_doubts(fit: Fit, horizon: float, flowing: float = 1.0) -> Iterator[Caution]:
    """What flow does to the forecast, and the largest flow that these readings leave open, whatever its probability.

    `flowing` is the load over time up to the horizon, over the run's largest load held that long.
    """
    size = unseen_flow(fit, horizon)
    if size is None:
        return
    draws, recovery, probability = fit.draws, fit.observed.has_recovery, 0.5 + fit.level / 2.0
    held = _held(fit.draws, fit, horizon)
    flows = np.zeros(draws.count, dtype=bool)
    for group in draws.groups:
        flows[group.rows] = group.member.flows
    without = held[~flows]
    if not without.size or np.quantile(held, probability) > (1.0 + EXTRAPOLATED_FLOW) * np.quantile(without, probability):
        ratio = horizon / fit.run.test_length
        yield words.FLOW_EXTRAPOLATED(flow=float(flows.mean()), ratio=ratio, recovery=recovery)
    if size < FLOW_SPOKEN_OF * float(np.median(held)):
        return
    added = size_in_words(flowing * size, fit.unit)
    yield words.UNSEEN_FLOW(size=added, horizon=horizon, probability=probability, recovery=recovery)


def unseen_share(fit: Fit, horizon: float) -> float | None:
    """The same largest flow over the deformation at `horizon` [s]; None where it is too little to be spoken of."""
    size = unseen_flow(fit, horizon)
    share = 0.0 if size is None else size / float(np.median(_held(fit.draws, fit, horizon)))
    return share if share >= FLOW_SPOKEN_OF else None


def part_flow_doubts(response: PartResponse, horizon: float) -> Iterator[Caution]:
    """The same largest flow in a part asked about at `horizon` [s], as large a share of what its plastic gives way by."""
    fit = response.fit
    size = unseen_flow(fit, horizon)
    if size is None:
        return
    share = size / float(np.median(_held(fit.draws, fit, horizon)))
    if share < FLOW_SPOKEN_OF:
        return
    creep = response.creep(np.array([horizon]), held=True)
    more = _grows_by(response, float(np.median(creep[0].compliance[0])), share)
    if more == 0.0:
        return
    sag = response.sag(creep).draws
    yield words.UNSEEN_FLOW_IN_PART(
        size=size_in_words(more * float(np.median(np.abs(sag))), "mm"),
        horizon=horizon,
        stay_on=response.courses.always_on,
        probability=0.5 + fit.level / 2.0,
        recovery=fit.observed.has_recovery,
    )


def _grows_by(response: PartResponse, compliance: float, share: float) -> float:
    """By what part of itself the sag grows where only the plastic's `compliance` [1/MPa] does, by a `share` of itself.

    Mountings, springs and members with a modulus of their own do not flow, and take over load from what does.
    """

    from creepfit.mechanics.frame import Frame  # only a part's doubts need it

    def sag(compliance: float) -> float:
        part = response.part
        if isinstance(part.body, Frame) and part.body.gives:
            part = replace(part, body=part.body.at(compliance))
        influences = [(load.size, part.influence(load.load)) for load in part.all_loads]
        return sum(size * (one.per_compliance * compliance + one.mount) for size, one in influences)

    now = sag(compliance)
    return abs(sag((1.0 + share) * compliance) / now - 1.0) if now else 0.0


def _held(draws: Draws, fit: Fit, horizon: float) -> Array:
    """Size of the deformation at `horizon` [s] under the run's largest load, shape (n,)."""
    return np.abs(draws.deformation(LoadHistory.held(fit.observed.load), np.array([horizon]))[:, 0])


def unseen_flow(fit: Fit, horizon: float) -> float | None:
    """Upper end of the deformation by flow at `horizon` [s] under the run's largest load, if its material flows.

    By the readings alone: the prior probability that it flows at all is not in it. Where the answer is for another
    temperature it is taken to grow with that like the whole, and where runs there were counted in, on their clock as
    creep does. In mm (or strain); None where no model that flows is in the
    mixture, or nothing lies beyond the test.
    """
    flowing = [p for p in fit.mixture.posteriors if p.member.model.flows]
    if not flowing or horizon <= fit.run.test_length:
        return None
    names = {p.member.model.name for p in flowing}
    name = "power-flow" if "power-flow" in names else min(names)
    groups = [g.rows for g in fit.draws.groups if g.member.model.name == name]
    seen = np.concatenate(groups) if groups else np.empty(0, dtype=np.intp)
    others = fit.warming is not None and fit.warming.others is not None
    draws = (
        fit.draws.take(seen)  # among them flows too faint for its own readings, which warmer ones speak of
        if others and seen.size >= FEWEST_FLOWING
        else fit.mixture.of_members(lambda m: m.model.name == name).draws(UNSEEN_DRAWS, fit.seed)
    )
    span, flow = fit.observed.span, np.zeros(draws.count)
    for group in draws.groups:
        flow[group.rows] = draws.creep[group.rows] * group.nodes.shares[:, -1] / (span.last - span.first)
    if others:
        assert draws.warmth is not None
        at = np.array([horizon])
        flow *= draws.warmth.factors(at)[1][:, 0] * draws.warmth.felt(at)[:, 0] / horizon
    as_tested = float(np.quantile(flow, 0.5 + fit.level / 2.0)) * horizon
    if fit.draws.warmth is None or others:
        return as_tested
    warmer = np.median(_held(fit.draws, fit, horizon)) / np.median(_held(replace(fit.draws, warmth=None), fit, horizon))
    return as_tested * float(warmer)
