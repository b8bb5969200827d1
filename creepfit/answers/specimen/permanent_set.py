"""Bounds of the permanent set: over growth laws, and one that needs no law."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import ndtri

from creepfit.answers.interval import Interval, ends_of, interval, intervals
from creepfit.answers.wording import size, size_with_error
from creepfit.inference.components import Member, UnitCreep
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.posterior import Posterior, posteriors
from creepfit.inference.response import reference_times, standing_load
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.units import HOUR, show_time

NO_INITIAL = (
    "no reading was taken before loading, so what is left cannot be told from what was there: "
    "take one (better three) before the next loading"
)
NO_RECOVERY = (
    "no reading was taken after an unloading, and creep under load fits no set and much set alike: "
    "unload and read at 1 min, 1 h, 1 d and as long after unloading as the load was on"
)
ZERO_MOVED = "the gauge got a new zero between the initial and the last reading, so they cannot be subtracted"

RULED_OUT = 7.0
"""A growth law whose evidence is exp(-7) of the mixture's is left out of the envelope."""

NOTICED = 0.5
"""A set is one from half a standard deviation of a reading on: less than that nobody will ever see."""

SELDOM = 0.02
"""A probability of a set below which its interval is not given."""

OPEN = 0.1, 0.5
"""Between these probabilities of a set the median given is that of a set that remains; below it is nought or nearly so."""

SET_CELLS = 48, 24
"""Coarse and fine cells of the set: as bounds are wanted here, finer than a forecast needs."""

FAINT = 1e-3
"""Members of the mixture with less weight are not tried with other growth laws."""


@dataclass(frozen=True)
class LastReading:
    """The last reading after unloading: `after` [s] it, what is left, its standard error; None where `why` says so."""

    after: float
    left: float | None
    std_error: float | None
    unit: str
    why: str | None = None

    @classmethod
    def of(cls, fit: Fit, off: float) -> LastReading | None:
        """Of the readings later than `off` [s] without added load, the last; None where there is none."""
        observed = fit.observed
        idle = np.flatnonzero((observed.times > off) & (fit.run.history.at(observed.times) == 0.0))
        if idle.size == 0:
            return None
        last = int(idle[-1])
        after = float(observed.times[last]) - off
        zero = np.flatnonzero(observed.times <= 0.0)
        if zero.size == 0:
            return cls(after, None, None, fit.unit, NO_INITIAL)
        if (observed.zeros[zero] != observed.zeros[last]).any():
            return cls(after, None, None, fit.unit, ZERO_MOVED)
        weights = np.zeros(observed.times.size)
        weights[last], weights[zero] = 1.0, -1.0 / zero.size
        error = fit.noise_sd * np.sqrt(weights @ observed.noise.correlation @ weights)
        return cls(after, float(weights @ observed.values), float(error), fit.unit)

    def to_dict(self) -> dict[str, Any]:
        return {
            "after_h": self.after / HOUR,
            "value": self.left,
            "std_error": self.std_error,
            "unit": self.unit,
            **({"why": self.why} if self.why else {}),
        }


@dataclass(frozen=True)
class PermanentSet:
    """Bounds of the set, counted along the load; `upper_bound` needs no growth law, `laws` gives each law's interval.

    `probability` is that a set larger than `least` remains, `if_any` its interval if one does, over all laws. Where that
    is open the median of the bounds is the one of a set that remains: nought would be the answer to another question.
    """

    bounds: Interval | None
    why: str
    upper_bound: float | None = None
    laws: tuple[tuple[str, Interval], ...] = ()
    probability: float | None = None
    least: float | None = None
    if_any: Interval | None = None

    @property
    def if_one_remains(self) -> bool:
        """Whether the median of the bounds is that of a set that remains, though more likely than not none does."""
        if self.bounds is None or self.if_any is None or self.probability is None:
            return False
        return self.probability <= OPEN[1] and self.bounds.median > 0.0 and self.bounds.median == self.if_any.median

    def to_dict(self) -> dict[str, Any]:
        return {
            **ends_of(self.bounds),
            "why": self.why,
            "probability": self.probability,
            "larger_than": self.least,
            "if_any": self.if_any.to_dict() if self.if_any else None,
            "upper_bound": self.upper_bound,
            "laws": [{"law": name, **i.to_dict()} for name, i in self.laws],
        }


def permanent_set(fit: Fit, history: LoadHistory, off: float, last: LastReading | None, level: float) -> PermanentSet:
    """Envelope of the set over growth laws, capped by the last reading and its error.

    The laws: set that comes with the load; that grows as the creep does (its own exponent), with the root of time, and
    in proportion to time under load; and the fit's own mixture, flow included. Lower end and median of a law leave the
    prior chance of no set at all, so they are 0 where the readings allow it; its upper end is that of a set of this
    law. So is that of the whole, which reaches as far as a set that remains does.

    Parameters
    ----------
    fit : Fit
    history : LoadHistory
        Added loads, unloading included.
    off : float
        When the load was off, s.
    last : LastReading or None
        The last reading after it.
    level : float
        Probability of the intervals.
    """
    if not fit.observed.has_initial:
        return PermanentSet(None, NO_INITIAL)
    if last is None:
        return PermanentSet(None, NO_RECOVERY)
    pools = _by_law(fit)
    loads = since_reference(fit, history, off)
    with_set = [lasting(fit, drawn, loads) for _, drawn in pools.values()]
    drawn = [lasting(fit, drawn, loads) for drawn in (fit.draws, *(drawn for drawn, _ in pools.values()))]
    own, *of_laws = intervals(np.array([*drawn, *with_set]).T, level)
    each = {"the mixture's own": own}
    for name, law, highest in zip(pools, of_laws, of_laws[len(pools) :], strict=False):
        each[name] = Interval(law.low, law.median, max(law.high, highest.high))
    every = np.concatenate(drawn)
    low, high = min(i.low for i in each.values()), max(i.high for i in each.values())
    cap = _cap(fit, last, level)
    laws = tuple(each.items())
    top = np.inf if cap is None else cap
    least = NOTICED * fit.observed.noise.stated
    noticed = every[every > least]
    chance = noticed.size / every.size
    if_any = None if chance < SELDOM else _below(interval(noticed, level), top)
    high = high if if_any is None else max(high, if_any.high)
    median = if_any.median if if_any is not None and OPEN[0] <= chance <= OPEN[1] else float(np.median(every))
    bounds = _below(Interval(low, min(median, high), high), top)
    why = f"{SPAN}; {last.why}" if cap is None else _words(fit, last, cap, high)
    return PermanentSet(bounds, why, cap, laws, chance, least, if_any)


SPAN = "from the lowest to the highest end of all the ways in which a set might grow"
"""What the bounds are, in words."""


def _below(interval: Interval, cap: float) -> Interval:
    return Interval(min(interval.low, cap), min(interval.median, cap), min(interval.high, cap))


def _cap(fit: Fit, last: LastReading, level: float) -> float | None:
    """Upper limit of what was left at the last reading, at the same tail probability as the interval's."""
    if last.left is None or last.std_error is None:
        return None
    return max(fit.observed.direction * last.left + float(ndtri(0.5 + level / 2.0)) * last.std_error, 0.0)


def _words(fit: Fit, last: LastReading, cap: float, high: float) -> str:
    seen = size_with_error(last.left or 0.0, last.std_error or 0.0, fit.unit)
    ends = "the upper end is that bound" if high > cap else "the upper end lies below that bound"
    return (
        f"{SPAN}; {seen} was left {show_time(last.after)} after unloading, "
        f"so whatever the law no more than {size(cap, fit.unit)} can stay; {ends}"
    )


def _by_law(fit: Fit) -> dict[str, tuple[Draws, Draws]]:
    """For each law the readings allow, draws of the power family with or without a set by it, and with it only."""
    members = [
        p.member
        for w, p in zip(fit.mixture.weights, fit.mixture.posteriors, strict=True)
        if p.member.model.leads and (w > FAINT or p.member.rate is None)
    ]
    without = [m for m in members if m.set_growth is None]
    patterns = [m for m in members if m.set_growth == 0.0]
    if not without or not patterns:
        return {}
    own = _exponent(fit)
    creeping = f"grows as t^{own:.2g}, like the creep"
    laws = {"comes with the load": 0.0, creeping: own, "grows as t^0.5": 0.5, "flow": 1.0}
    best = max(p.log_evidence for p in fit.mixture.posteriors)
    tried = [*without, *(_with_law(m, growth) for growth in laws.values() for m in patterns)]
    each = posteriors(tried, fit.likelihood, each_alone=True)
    plain, pools = each[: len(without)], {}
    for k, name in enumerate(laws):
        with_set = each[len(without) + k * len(patterns) :][: len(patterns)]
        if max(p.log_evidence for p in [*plain, *with_set]) > best - RULED_OUT:
            pools[name] = _pool(fit, [*plain, *with_set]), _pool(fit, with_set)
    return pools


def _with_law(member: Member, growth: float) -> Member:
    """A member whose set grows by one law, with the weight of both laws of the mixture and a finer grid."""
    fine = tuple(replace(c, coarse=SET_CELLS[0], fine=SET_CELLS[1]) if c.role == "set" else c for c in member.coordinates)
    return replace(member, coordinates=fine, set_growth=growth, weight=2.0 * member.weight)


def _pool(fit: Fit, posteriors: Sequence[Posterior]) -> Draws:
    log_weight = np.array([np.log(p.member.weight) + p.log_evidence for p in posteriors])
    weights = np.exp(log_weight - log_weight.max())
    return fit.mixture.with_members(posteriors, weights / weights.sum()).creep_draws(fit.draws.count, fit.seed)


def _exponent(fit: Fit) -> float:
    """Median exponent of the power family in the mixture, kept where a set can grow by it."""
    values, weights = [], []
    for w, p in zip(fit.mixture.weights, fit.mixture.posteriors, strict=True):
        if p.member.model.leads:
            different, where = p.nodes.different[0]
            values.append(different)
            weights.append(np.bincount(where, w * p.weight, different.size))
    n, mass = np.concatenate(values), np.concatenate(weights)
    order = np.argsort(n)
    middle = n[order][np.searchsorted(np.cumsum(mass[order]), 0.5 * mass.sum())]
    return float(np.clip(middle, 0.05, 0.45))


def since_reference(fit: Fit, history: LoadHistory, off: float) -> Superposition:
    """Loads from the times of the reference to that when the load is off, for `lasting`."""
    whole = LoadHistory.joined([standing_load(fit), history])
    return Superposition(whole, np.concatenate([reference_times(fit), [off * (1.0 + 1e-9) + 1e-6]]))


def lasting(fit: Fit, draws: Draws, loads: Superposition) -> Array:
    """What never comes back of each draw, shape (N,): its set and flow since the reference, see `since_reference`."""
    out = np.zeros(draws.count)
    for group in draws.groups:
        if not group.member.flows and group.member.set_growth is None:
            continue
        unit = UnitCreep(group.member, fit.observed.span)
        change = np.zeros(group.rows.size)
        for part in unit.lasting_of(group.nodes, loads):
            change += part.weight * (part.columns[:, -1] - part.columns[:, :-1].mean(axis=1))[part.where]
        out[group.rows] = draws.creep[group.rows] / fit.observed.load * change
    return np.asarray(fit.observed.direction * out)
