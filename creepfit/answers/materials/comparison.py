"""Comparison: which material gives way less, by how much, and whether these readings can tell.

The question is about materials, so values are those of the average specimen: of one specimen that is doubtful by the
whole scatter between specimens, of a pool by what its specimens leave open. Scatter is in each value once. Draws of
different runs are paired at random, as what is doubtful about one material says nothing of another.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from creepfit.answers.doubts.comparison import comparison_doubts
from creepfit.answers.doubts.withheld import MayWithhold, Withheld, withheld_at, withheld_by_stress
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, ends_of, interval
from creepfit.answers.materials.compared_property import (
    Property,
    alike_in_mm,
    compared_by,
    increments_from,
    quantity_of,
    unit_of,
)
from creepfit.answers.materials.specimens_needed import detectable, specimens_needed
from creepfit.asked import asked_level, asked_times, usual_times
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.pool_checks import check_distinct
from creepfit.inference.pooling import PooledFit
from creepfit.inference.response import response
from creepfit.inference.run_fit import asked_fits
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.part import DEFAULT_SCATTER
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, show_time

TOLD = "the difference shows already"
TOO_ALIKE = "more than 200: as good as alike"
LONGER_TESTS_TELL_MORE = "this lies beyond the tests, where longer tests tell more than further specimens"
OPEN = 0.02
"""A value whose interval spans a factor of 50 is not known in its order of size: it may as well be nothing."""

NEAR_NOTHING = "one of the two cannot be told from nothing, so there is no ratio"


@dataclass(frozen=True)
class Value:
    """One run's value at one time."""

    run: str
    material: str
    interval: Interval

    def to_dict(self) -> dict[str, Any]:
        return {"run": self.run, "material": self.material, **self.interval.to_dict()}


@dataclass(frozen=True)
class Ratio:
    """One run's value over another's.

    `interval` is None where either value cannot be told from nothing. `probability_smaller` is that the first is the
    smaller one. `distinguishable`: the interval leaves out 1. `specimens_needed` of each material would show a difference
    of this size four times in five, None where `why` says so; `detectable` is the ratio that three of each would show.
    """

    of: str
    to: str
    interval: Interval | None
    probability_smaller: float
    distinguishable: bool
    specimens_needed: int | None
    why: str | None
    detectable: float

    def over(self, run: str) -> Ratio:
        """The same with that one of the two runs beneath: its inverse where that was the first."""
        if run != self.of:
            return self
        size = self.interval
        turned = None if size is None else Interval(1.0 / size.high, 1.0 / size.median, 1.0 / size.low)
        return replace(self, of=self.to, to=self.of, interval=turned, probability_smaller=1.0 - self.probability_smaller)

    def to_dict(self) -> dict[str, Any]:
        return {
            "of": self.of,
            "to": self.to,
            **ends_of(self.interval),
            "probability_smaller": self.probability_smaller,
            "distinguishable": self.distinguishable,
            "specimens_needed": self.specimens_needed,
            "why": self.why,
        }


@dataclass(frozen=True)
class RatiosAt:
    """Values and ratios at one time [s]: since loading, or since unloading for what is recovered or left."""

    time: float
    values: tuple[Value, ...]
    ratios: tuple[Ratio, ...]

    def to_dict(self, told: bool = True) -> dict[str, Any]:
        """`told` is whether a verdict is given: without one no difference is said to be real or not."""
        untold = {} if told else {"distinguishable": None}
        return {
            "time_h": self.time / HOUR,
            "runs": [v.to_dict() for v in self.values],
            "ratios": [{**r.to_dict(), **untold} for r in self.ratios],
        }


@dataclass(frozen=True)
class Rank:
    """Place in a ranking: runs that cannot be told from the best of their group share a place."""

    place: int
    value: Value


@dataclass(frozen=True, eq=False, repr=False)
class Comparison(MayWithhold, Tabled):
    """Runs side by side in one property; `unit` is "mm", "1" (strain), "%", "1/MPa" or "mm/N"."""

    fits: tuple[Fit, ...]
    by: Property
    quantity: str
    unit: str
    level: float
    moments: tuple[RatiosAt, ...]
    scatter: tuple[float, ...]
    cautions: tuple[Caution, ...]

    @cached_property
    def instead(self) -> Withheld | None:
        """What stands in place of a verdict: why one of the runs has no number for the latest time; None where all have."""
        # what comes back is compared as it was read
        time = 0.0 if self.by in ("recovered", "residual") else self.moments[-1].time
        of = withheld_by_stress if self.unit in ("1/MPa", "mm/N") else withheld_at
        found = ((fit.run.label, of(fit, time)) for fit in self.fits)
        return next((replace(w, text=f"{label}: {w.text}") for label, w in found if w is not None and w.of == "all"), None)

    @property
    def headline(self) -> str:
        if self.withheld is not None:
            return f"{self.quantity}, {show_time(self.moments[-1].time)}: no verdict is given. {self.withheld}"
        places = ", ".join(f"{rank.place}. {rank.value.run}" for rank in self.ranking())
        return f"{self.quantity}, {show_time(self.moments[-1].time)}: {places}"

    def ranking(self, at: int = -1) -> tuple[Rank, ...]:
        """Rank the runs at one of the times, the smallest first (the largest for what is recovered).

        A run opens a new place where it can be told from the first run of the place before.
        """
        moment = self.moments[at]
        order = sorted(moment.values, key=lambda v: v.interval.median, reverse=self.by == "recovered")
        distinguishable = {frozenset((r.of, r.to)): r.distinguishable for r in moment.ratios}
        ranks: list[Rank] = []
        first, place = order[0], 1
        for position, value in enumerate(order, start=1):
            if value is not first and distinguishable[frozenset((first.run, value.run))]:
                first, place = value, position
            ranks.append(Rank(place, value))
        return tuple(ranks)

    def between(self, one: str, other: str, at: int = -1) -> Ratio:
        """The ratio of one run over another at one of the times.

        Raises
        ------
        KeyError
            Where one of them is not a run of this comparison.
        """
        for ratio in self.moments[at].ratios:
            if {ratio.of, ratio.to} == {one, other}:
                return ratio.over(other)
        raise KeyError(f"{one}, {other}")

    def _rows(self) -> list[dict[str, Any]]:
        """One row a run and time."""
        return [{"time_h": m.time / HOUR, **v.to_dict()} for m in self.moments for v in m.values]

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        told = self.withheld is None
        return {
            **heading(self.fits[0], self.level),
            "run": [f.run.label for f in self.fits],
            "quantity": self.quantity,
            "unit": self.unit,
            "withheld": self.withheld,
            "at": [m.to_dict(told) for m in self.moments],
            "ranking": [{"place": r.place, "run": r.value.run} for r in (self.ranking() if told else ())],
            "scatter": list(self.scatter),
            "cautions": [c.to_dict() for c in self.cautions],
        }


def compare(
    fits: Sequence[Fit],
    at: Sequence[str | float] | str | float | None = None,
    *,
    by: Property | None = None,
    level: float | None = None,
) -> Comparison:
    """Compare runs.

    Parameters
    ----------
    fits : sequence of Fit
        Two or more, single runs or pools.
    at : times
        Text such as "5 d" or s; since loading, and since unloading for "recovered" and "residual". If none is given, a day
        for those, and else the last usual time that the shortest test answers for, as on a report's page.
    by : property, optional
        "deformation" (by default, where loads and shapes are alike), "compliance" (strain per stress; by default where
        they are not), "increment" (since a minute after loading; by default where a run has no initial reading),
        "recovered" in per cent of the deformation before unloading, "residual".
    level : float, optional
        Probability of the intervals, that of the first fit if not given.

    Raises
    ------
    InputError
        Fewer than two runs, the same run twice, an unknown property, a time or level that is none, runs that have no
        property in common.
    FitError
        A property that needs an initial reading where a run has none.
    """
    fits = asked_fits(fits)
    if len(fits) < 2:
        raise InputError("nothing to compare", found=f"{len(fits)} run", expected="two runs or more")
    check_distinct([run for f in fits for run in f.runs])
    fits = tuple(_named_apart(fits))
    alike = alike_in_mm(fits)
    chosen = compared_by(by, fits, alike)
    times = asked_times(_usual(fits, chosen) if at is None else at, "at")
    level = fits[0].level if level is None else asked_level(level)
    if chosen == "increment" and times.min() <= increments_from(fits):
        expected = f"times after {show_time(increments_from(fits))}, from which increments count"
        raise InputError(key="at", found=str(at), expected=expected)
    scatter = tuple(_scatter(f) for f in fits)
    unit = unit_of(chosen, fits, alike)
    draws = [_values(f, chosen, times, fits, s, k, unit) for k, (f, s) in enumerate(zip(fits, scatter, strict=True))]
    moments = tuple(_moment(float(t), i, fits, draws, chosen, level) for i, t in enumerate(times))
    cautions = comparison_doubts(fits, chosen, alike, float(times.max()))
    return Comparison(fits, chosen, quantity_of(chosen, fits, unit), unit, level, moments, scatter, cautions)


def _usual(fits: Sequence[Fit], chosen: Property) -> list[float]:
    """When runs are compared where no time was asked for."""
    return [DAY] if chosen in ("recovered", "residual") else usual_times(min(f.horizon for f in fits))[-1:]


def _named_apart(fits: Sequence[Fit]) -> list[Fit]:
    """Call pools by how many specimens they are of, and give runs of one label numbers, so that an answer can name each."""
    fits = [replace(f, run=replace(f.run, name=_count(f))) if isinstance(f, PooledFit) else f for f in fits]
    labels = [f.run.label for f in fits]
    return [
        replace(f, run=replace(f.run, name=f"{f.run.name} ({labels[: i + 1].count(f.run.label)})".strip()))
        if labels.count(f.run.label) > 1
        else f
        for i, f in enumerate(fits)
    ]


def _count(pool: PooledFit) -> str:
    return "(1 specimen)" if pool.specimens == 1 else f"({pool.specimens} specimens)"


def _scatter(fit: Fit) -> float:
    """Scatter to add: what one specimen does not show; a pool's draws have what it leaves open."""
    return 0.0 if isinstance(fit, PooledFit) else DEFAULT_SCATTER


def _values(fit: Fit, by: Property, times: Array, fits: Sequence[Fit], scatter: float, number: int, unit: str) -> Array:
    """Draws of one run's property at all times, shape (N, T), in an order of their own.

    Draws come sorted by model and shape: without a shuffle the slow creepers of one run would meet those of the other,
    and a ratio beyond the data would look up to a third better known than it is.
    """
    own = fit.average
    rng = np.random.default_rng([fit.seed, number])
    order = rng.permutation(own.draws.count)
    load = fit.run.working_load
    if by in ("recovered", "residual"):
        # every run is unloaded after the shortest test of all, so that all had the same time to creep and to recover
        off = min(f.run.test_length for f in fits)
        history = LoadHistory.from_steps([(0.0, 0.0, load), (off, 0.0, 0.0)])
        both = response(own, own.draws, history, np.append(off + times, off))
        sizes = both[:, :-1]
        if by == "recovered":
            return np.asarray(100.0 * (1.0 - sizes / both[:, -1:]))[order]
    else:
        both = response(own, own.draws, LoadHistory.held(load), np.append(times, increments_from(fits)))
        sizes = both[:, :-1] - (both[:, -1:] if by == "increment" else 0.0)
    sizes = np.sign(load) * sizes
    if unit in ("1/MPa", "mm/N"):
        sizes = sizes / (abs(load) * fit.observed.factor)
    sd = np.hypot(scatter, fit.run.relative_sd if unit == "1/MPa" else 0.0)
    return np.asarray(sizes * np.exp(sd * rng.standard_normal(own.draws.count))[:, None])[order]


def _moment(time: float, column: int, fits: Sequence[Fit], draws: Sequence[Array], by: Property, level: float) -> RatiosAt:
    own = [d[:, column] for d in draws]
    values = tuple(Value(f.run.label, f.run.material, interval(d, level)) for f, d in zip(fits, own, strict=True))
    ratios = tuple(
        _ratio((fits[i], own[i]), (fits[j], own[j]), time, by, level)
        for i, j in itertools.combinations(range(len(fits)), 2)
    )
    return RatiosAt(time, values, ratios)


def _ratio(first: tuple[Fit, Array], second: tuple[Fit, Array], time: float, by: Property, level: float) -> Ratio:
    (one, a), (other, b) = first, second
    tail = 0.5 - level / 2.0
    smaller = float(np.mean(a < b))
    distinguishable = not tail <= smaller <= 1.0 - tail
    if any(np.quantile(x, 0.5 * tail) <= 0.0 or np.quantile(x, tail) < OPEN * np.quantile(x, 1.0 - tail) for x in (a, b)):
        return Ratio(one.run.label, other.run.label, None, smaller, distinguishable, None, NEAR_NOTHING, np.inf)
    tiny = 1e-9 * max(float(np.median(a)), float(np.median(b)))
    logs = np.log(np.maximum(a, tiny)) - np.log(np.maximum(b, tiny))
    spread = float(np.diff(np.quantile(logs, [0.1587, 0.8413]))[0]) / 2.0
    single = max(spread / np.sqrt(1.0 / one.specimens + 1.0 / other.specimens), 1e-6)
    needed, why = None, None
    if not distinguishable:
        beyond = any(_beyond(f, time, by) for f in (one, other))
        needed = None if beyond else specimens_needed(float(np.median(logs)), single, level)
        why = LONGER_TESTS_TELL_MORE if beyond else TOO_ALIKE if needed is None else None
    low, median, high = np.exp(np.quantile(logs, [tail, 0.5, 1.0 - tail]))
    ratio = Interval(float(low), float(median), float(high))
    three = float(np.exp(min(detectable(3, single, level), 50.0)))
    why = why or (TOLD if distinguishable else None)
    return Ratio(one.run.label, other.run.label, ratio, smaller, distinguishable, needed, why, three)


def _beyond(fit: Fit, time: float, by: Property) -> bool:
    """Whether a value is a forecast: then its doubt is in the model, and does not average out over specimens."""
    if by in ("recovered", "residual"):
        off = fit.run.unloading
        return off is None or time > 1.05 * (float(fit.observed.times[-1]) - off)
    return time > 1.05 * fit.run.test_length
