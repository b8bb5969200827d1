"""What the gauge would show: draws of a specimen's response, of all models together and without ageing, and of one.

The response is the change since the run's own reference: the initial reading, or without one the first reading under
load. A hanger or plunger that acted at the reference goes on acting, as it does on the bench.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from creepfit.asked import tails
from creepfit.inference.components import Member
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.promises import counted
from creepfit.mechanics.loading import Array, LoadHistory

FEWEST_DRAWS = 200
"""A model with fewer draws than this in the mixture's own is drawn on its own, so that its line is no accident."""

OWN_DRAWS = 200


@dataclass(frozen=True)
class Interval:
    """Median and ends of the central credible interval of the answer's level, in the answer's unit."""

    low: float
    median: float
    high: float

    def times(self, factor: float) -> Interval:
        """The interval of the quantity times a factor that is not negative."""
        return Interval(factor * self.low, factor * self.median, factor * self.high)

    def to_dict(self) -> dict[str, float]:
        return {"low": self.low, "median": self.median, "high": self.high}


Method = Literal["linear", "hazen", "inverted_cdf"]


def quantiles(draws: Array, probabilities: Sequence[float], method: Method = "linear") -> Array:
    """Several quantiles of draws (N,) or (N, T) to the last bit as numpy has them, shape (P,) or (P, T).

    Of thousands of draws even one is found sooner when they are sorted.
    """
    ordered = np.sort(draws, axis=0)
    last = ordered.shape[0] - 1
    if method == "inverted_cdf" or np.isnan(ordered[-1]).any():
        return np.asarray(np.quantile(ordered, probabilities, axis=0, method=method))
    asked = np.array(probabilities)
    place = asked * last if method == "linear" else np.clip((last + 1) * asked + 0.5 - 1.0, 0.0, last)
    first = np.minimum(place.astype(int), last)
    part = (place - first).reshape(-1, *(1,) * (ordered.ndim - 1))
    below, above = ordered[first], ordered[np.minimum(first + 1, last)]
    # from the nearer end, as numpy's quantiles, so that rounding is theirs
    return np.asarray(np.where(part < 0.5, below + (above - below) * part, above - (above - below) * (1.0 - part)))


@dataclass(frozen=True, eq=False)
class Predicted:
    """Draws of a quantity, shape (N,) or (N, T), and the same without ageing, None where no model ages.

    Ageing slows creep, and its rate is known from other materials only: so it may never make an answer safer than the plain
    clock does. Whatever ends an interval or a probability is taken from both sets here, and nowhere else. Of what is
    `promised` these sets are there a second time, as a promise counts them: `careful`.

    `method` is how quantiles are read off: "linear", or "inverted_cdf" for draws that may be infinite, as between a time
    and "never" there is nothing to interpolate.
    """

    draws: Array
    unaged: Array | None = None
    method: Method = "linear"
    careful: tuple[Array, ...] = ()

    @classmethod
    def of(cls, sets: Iterable[Array]) -> Predicted:
        """From one set, or both in order."""
        draws, *rest = sets
        return cls(draws, rest[0] if rest else None)

    @property
    def both(self) -> tuple[Array, ...]:
        """The one set, or both."""
        return (self.draws,) if self.unaged is None else (self.draws, self.unaged)

    @property
    def every(self) -> tuple[Array, ...]:
        """All sets: what is said holds by each."""
        return (*self.both, *self.careful)

    def map(self, step: Callable[[Array], Array]) -> Predicted:
        """The draws of a quantity that follows from this one."""
        unaged = None if self.unaged is None else step(self.unaged)
        return replace(self, draws=step(self.draws), unaged=unaged, careful=tuple(step(d) for d in self.careful))

    def as_drawn(self) -> Predicted:
        """The same with quantiles that are draws."""
        return replace(self, method="inverted_cdf")

    def lowest(self, probability: float) -> Array:
        """Quantile, the lowest of all sets; shape (T,) or ()."""
        return np.asarray(np.min([quantiles(d, (probability,), self.method)[0] for d in self.every], axis=0))

    def highest(self, probability: float) -> Array:
        """Quantile, the highest of all sets; shape (T,) or ()."""
        return np.asarray(np.max([quantiles(d, (probability,), self.method)[0] for d in self.every], axis=0))

    def least(self, event: Callable[[Array], NDArray[np.bool_]]) -> Array:
        """Probability of an event, the least of all sets; shape (T,) or ()."""
        return np.asarray(np.min([event(d).mean(axis=0) for d in self.every], axis=0))

    def ends(self, level: float, more_is_safe: bool = False) -> Array:
        """Low, median and high of the central interval, shape (3, T) or (3,).

        Of a deformation or a stiffness to be given the end away from zero is nearer to it in no set of draws; of what is
        `more_is_safe`, a life or a load, the low end is lower in none. The median of what is promised is on the same side,
        so that it does not lie within a limit that is called broken with a probability above one half.
        """
        of_sets = np.array([quantiles(d, tails(level), self.method) for d in self.every])
        low, median, high = of_sets[0]
        if len(of_sets) > 1:
            downward = np.broadcast_to(more_is_safe, median.shape) | (median < 0.0)
            least, most = of_sets.min(axis=0), of_sets.max(axis=0)
            low, high = np.where(downward, least[0], low), np.where(downward, high, most[2])
            if self.careful:
                median = np.where(downward, least[1], most[1])
        return np.array([low, median, high])

    def intervals(self, level: float, more_is_safe: bool = False) -> list[Interval]:
        """One interval for each time, of draws of shape (N, T); see `ends`."""
        return [Interval(*map(float, row)) for row in self.ends(level, more_is_safe).T]

    def interval(self, level: float, more_is_safe: bool = False) -> Interval:
        """The interval of draws of shape (N,); see `ends`."""
        return Interval(*map(float, self.ends(level, more_is_safe)))


@dataclass(frozen=True, eq=False)
class Family:
    """One model as the user knows it: its name, its weight, and draws of it alone (those of `draws` in `rows`)."""

    label: str
    weight: float
    draws: Draws
    rows: NDArray[np.intp] | slice


def predicted(fit: Fit, history: LoadHistory, times: Array) -> Predicted:
    """Response to an added load history, with ageing and without; see `response`."""
    plain = fit.unaged_draws
    without = None if plain is None else response(fit, plain, history, times)
    return Predicted(response(fit, fit.draws, history, times), without)


def promised(fit: Fit, found: Predicted) -> Predicted:
    """A quantity (N,) or (N, T), of the fit's draws in their order, of which something is promised; see `promises`."""
    sets = (fit.draws, fit.unaged_draws)[: len(found.both)]
    pairs = zip(found.both, sets, strict=True)
    return replace(found, careful=tuple(drawn[counted(own)] for drawn, own in pairs if own is not None))


def response(fit: Fit, draws: Draws, history: LoadHistory, times: Array, discrepancy: bool = True) -> Array:
    """Response to an added load history.

    Parameters
    ----------
    fit : Fit
        The run's fit: says what the reference is, and what acted on the specimen before the first load.
    draws : Draws
        Draws of the fit's mixture, or of a part of it.
    history : LoadHistory
        Added loads in N (MPa for a specimen under stress), from t = 0 on.
    times : ndarray, shape (T,)
        Times since first loading, s.
    discrepancy : bool
        Whether the model discrepancy is in.

    Returns
    -------
    ndarray, shape (N, T)
        Change since the reference, mm or strain.
    """
    times = np.asarray(times, dtype=float)
    standing = standing_load(fit)
    if fit.observed.has_initial and standing.change.size == 0:
        return draws.deformation(history, times, discrepancy=discrepancy)
    reference = reference_times(fit)
    whole = LoadHistory.joined([standing, history])
    both = draws.deformation(whole, np.concatenate([reference, times]), discrepancy=discrepancy)
    return np.asarray(both[:, reference.size :] - both[:, : reference.size].mean(axis=1, keepdims=True))


def discrepancy(fit: Fit, draws: Draws, history: LoadHistory, times: Array) -> Array:
    """What model discrepancy alone adds to the response, mm or strain, shape (N, T)."""
    nothing = np.zeros(draws.count)
    return response(fit, replace(draws, groups=(), instant=nothing, creep=nothing), history, times)


def standing_load(fit: Fit) -> LoadHistory:
    """Hanger and plunger: what acted on the specimen before the first load was added."""
    return fit.observed.history.until(0.0)


def reference_times(fit: Fit) -> Array:
    """Times of the readings that the response is counted from, s."""
    times = fit.observed.times
    if fit.observed.has_initial:
        return np.asarray(times[times <= 0.0])
    loaded = (fit.run.history.at(times) != 0.0) & (times > 0.0)
    return np.asarray(times[loaded][:1])


def label_of(member: Member) -> str:
    """Name of the model a member belongs to, as tables show it."""
    name, ageing = member.family
    if member.flow_beside:
        return f"{name}, flow"
    return f"{name}, ageing clock" if ageing else name


def families(fit: Fit) -> tuple[Family, ...]:
    """The models of the mixture with their weights and draws, in the mixture's order."""
    labels = [label_of(p.member) for p in fit.mixture.posteriors]
    out = []
    for label in dict.fromkeys(labels):
        groups = [np.asarray(g.rows, dtype=np.intp) for g in fit.draws.groups if label_of(g.member) == label]
        rows = np.sort(np.concatenate(groups)) if groups else np.empty(0, dtype=np.intp)
        weight = fit.mixture.weight_of_members(lambda m, name=label: label_of(m) == name)  # type: ignore[misc]
        if fit.warming is not None and fit.warming.others is not None:
            weight = rows.size / fit.draws.count  # the other temperatures have said which models go on
        if rows.size >= FEWEST_DRAWS:
            out.append(Family(label, weight, fit.draws, rows))
        else:
            own = fit.mixture.of_members(lambda m, name=label: label_of(m) == name)  # type: ignore[misc]
            out.append(Family(label, weight, own.draws(OWN_DRAWS, fit.seed), slice(None)))
    return tuple(out)
