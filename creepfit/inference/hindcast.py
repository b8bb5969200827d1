"""Hindcast: what would have been forecast from the first part of a run, and how the rest of it turned out.

The only check of a forecast that a user's own readings can make; failures are part of the answer.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from creepfit.asked import tails
from creepfit.inference.columns import Observations, observations
from creepfit.inference.mixture import DEFAULT_DRAWS, Draws, mixture
from creepfit.inference.next_reading import next_readings
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.units import HOUR, show_number, show_time

PART_OF_LOG_TIME = 1.0 / 3.0
FEWEST_LOADED = 3
"""Readings under load in the first part: two amplitudes and a shape; one more without an initial reading."""

FEWEST_LEFT = 2
DECADES_LEFT = 0.45
"""What is left to forecast: about half a decade, a little less so that daily readings to day 2 and to day 6 count."""

MANY = 3
"""Readings outside their intervals that are asked whether they are so together."""

PLAIN_MISS = 0.15
"""By what part of the movement a trial has to miss to count against the forecast that is made now: of runs that creep
by 16 % in five days one in sixty misses by so much, and its forecast is wide in any case (`tests/benchmarks/README.md`)."""

FASTER = 4.0
"""So many times the creep a decade of the first part the rest has to show, before that is asked: a power of time with an
exponent of 0.3 comes to 3.7, and what creeps no faster is foretold."""


class Tried(Protocol):
    """What is tried on its own run: a fit, before or after it has a mixture."""

    @property
    def run(self) -> Run: ...
    @property
    def observed(self) -> Observations: ...
    @property
    def priors(self) -> Priors: ...
    @property
    def level(self) -> float: ...
    @property
    def seed(self) -> int: ...
    @property
    def unit(self) -> str: ...


@dataclass(frozen=True)
class Miss:
    """The reading farthest from what was forecast, measured by its interval.

    `time` in s, `value` reading less median in `unit`, `relative` its share of the largest deformation so far (None
    where that is nothing), `outside` whether it lay outside its interval.
    """

    time: float
    value: float
    relative: float | None
    outside: bool
    unit: str

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.time / HOUR,
            "value": self.value,
            "unit": self.unit,
            "percent": None if self.relative is None else 100.0 * self.relative,
            "outside": self.outside,
        }

    @property
    def text(self) -> str:
        """In words, without a full stop."""
        size, unit = (100.0 * self.value, "%") if self.unit == "1" else (self.value, self.unit)
        side = "above" if self.value > 0.0 else "below"
        share = "" if self.relative is None else f" ({100.0 * abs(self.relative):.0f} % of the movement)"
        where = "outside" if self.outside else "inside"
        miss = f"{show_number(abs(size), digits=2)} {unit}{share}"
        return f"{miss} {side} the forecast at {show_time(self.time)}, {where} the interval"


@dataclass(frozen=True)
class Foretold:
    """One later reading and the interval it was foretold: `time` in s, sizes in the readings' unit, zero not taken off."""

    time: float
    low: float
    median: float
    high: float
    reading: float

    @property
    def inside(self) -> bool:
        return self.low <= self.reading <= self.high

    @property
    def off(self) -> float:
        """How far off it is, in what its interval reaches on that side; infinite where that is nothing."""
        if self.reading == self.median:
            return 0.0
        end = self.high if self.reading > self.median else self.low
        return (self.reading - self.median) / (end - self.median) if end != self.median else math.inf


@dataclass(frozen=True)
class Hindcast:
    """How a forecast did.

    Attributes
    ----------
    fitted_to : float
        Last reading the forecast knew, s.
    readings, inside : int
        Readings forecast, and how many of them fell in their interval for the next reading.
    level : float
        Probability of those intervals.
    largest_miss : Miss
    foretold : tuple of Foretold
        Each of those readings with its interval; empty where an old forecast was scored.
    shortfall : float
        By how much more than foretold the specimen gave way under load at most, mm or strain; 0 where it never did.
    """

    fitted_to: float
    readings: int
    inside: int
    level: float
    largest_miss: Miss
    foretold: tuple[Foretold, ...] = ()
    shortfall: float = 0.0

    @property
    def expected(self) -> float:
        """How many readings would fall inside if the intervals hold their level."""
        return self.level * self.readings

    @property
    def together(self) -> str:
        """Why many fell outside, where all of those did to one side; "" where they did not."""
        above = [f.reading > f.high for f in self.foretold if not f.inside]
        if len(above) < MANY or len(set(above)) > 1:
            return ""
        side = "above" if above[0] else "below"
        return f"all {len(above)} others lie {side} theirs: what the first readings did not show goes on through them"

    @property
    def text(self) -> str:
        """One line."""
        return (
            f"fitted to the first {show_time(self.fitted_to)}, {self.inside} of {self.readings} later readings fell in "
            f"their {100.0 * self.level:g} % intervals (about {self.expected:.1f} expected); "
            f"{self.together}{'; ' if self.together else ''}largest miss {self.largest_miss.text}"
        )

    def to_dict(self) -> dict[str, Any]:
        return {
            "fitted_to_h": self.fitted_to / HOUR,
            "readings": self.readings,
            "inside": self.inside,
            "expected": self.expected,
            "level": self.level,
            "largest_miss": self.largest_miss.to_dict(),
            "text": self.text,
        }


@dataclass(frozen=True)
class NoHindcast:
    """No hindcast, and why."""

    why: str

    @property
    def text(self) -> str:
        return f"no hindcast: {self.why}"


def hindcast(fit: Tried, refit: Callable[[Run], Draws] | None = None) -> Hindcast | NoHindcast:
    """Refit on the first part of the run, forecast the rest under the run's own loads, and count.

    The first part is a third of the log-time between the first and the last reading under load, or the first three of
    them where that holds fewer (four without an initial reading).

    Parameters
    ----------
    fit : Fit
        Of the whole run; its priors, level and seed are used.
    refit : callable, optional
        Draws of the specimen from the first part of the run; by default by that part alone.

    Returns
    -------
    Hindcast or NoHindcast
    """
    run, observed = fit.run, fit.observed
    cut = _cut(run, observed)
    if isinstance(cut, NoHindcast):
        return cut
    last = _last_usable(run, observed, cut)
    begun = replace(run, readings=run.used[:cut])
    part = observations(begun)
    draws = mixture(part, fit.priors, run.age).draws(DEFAULT_DRAWS, fit.seed) if refit is None else refit(begun)
    # the stated noise of the part may differ a little, as scatter among repeated readings enters it
    joint = observed.noise.correlation[:last, :last] * (observed.noise.stated / part.noise.stated) ** 2
    ahead = observed.times[cut:last]
    sample = next_readings(draws, observed.history, ahead, joint).sample(fit.seed)
    low, median, high = np.quantile(sample, tails(fit.level), axis=0)
    return _counted(observed, cut, last, (low, median, high), fit)


def _counted(observed: Observations, cut: int, last: int, band: tuple[Array, Array, Array], fit: Tried) -> Hindcast:
    low, median, high = band
    shown = observed.values[cut:last]
    inside = (shown >= low) & (shown <= high)
    each = tuple(Foretold(*map(float, row)) for row in zip(observed.times[cut:last], low, median, high, shown, strict=True))
    miss = shown - median
    # by its own interval: a large miss where much was open is less of one than a small miss where nothing was
    worst = int(np.argmax([one.off for one in each]))
    moved = float(np.abs(observed.deformation[: cut + worst + 1]).max())
    largest = Miss(
        float(observed.times[cut + worst]),
        float(miss[worst]),
        float(miss[worst]) / moved if moved > 0.0 else None,
        not bool(inside[worst]),
        fit.unit,
    )
    more = np.sign(observed.deformation[cut - 1]) * miss * (observed.history.at(observed.times[cut:last]) != 0.0)
    short = max(0.0, float(more.max()))
    return Hindcast(float(observed.times[cut - 1]), int(inside.size), int(inside.sum()), fit.level, largest, each, short)


def plainly_missed(fit: Tried, tried: Callable[[], Hindcast | NoHindcast], jumped: float = 0.0) -> float:
    """By how much a decade beyond its data the run's own trial fell short, mm or strain; 0 where that says nothing.

    It counts where readings went beyond their intervals together, and by `PLAIN_MISS` of the movement or more, under one
    load since the initial reading: under several the plastic may give more than in proportion. What the readings `jumped`
    by, mm or strain, is no creep that was missed. `tried` gives the hindcast, which costs as much as the mixture, and is
    not asked where the readings after the first part go too little further for that, or hardly faster than in it.
    """
    run, observed = fit.run, fit.observed
    cut = _cut(run, observed)
    if isinstance(cut, NoHindcast) or not observed.has_initial or len({s.value for s in run.steps if s.value != 0.0}) > 1:
        return 0.0
    moved = np.abs(observed.deformation)
    last = _last_usable(run, observed, cut)
    first, furthest = int(np.searchsorted(observed.times, 0.0, side="right")), cut + int(np.argmax(moved[cut:last]))
    early, late = moved[cut - 1] - moved[first], moved[furthest] - moved[cut - 1]
    early_decades, late_decades = np.log10(observed.times[[cut - 1, furthest]] / observed.times[[first, cut - 1]])
    if late < PLAIN_MISS * moved.max() or late * early_decades < FASTER * early * late_decades:
        return 0.0
    past = tried()
    if isinstance(past, NoHindcast) or not past.together:
        return 0.0
    short = past.shortfall - jumped
    if short < PLAIN_MISS * float(moved.max()):
        return 0.0
    followed = max(one.time for one in past.foretold if one.time <= run.test_length)
    return short / math.log10(followed / past.fitted_to)


def _cut(run: Run, observed: Observations) -> int | NoHindcast:
    """Number of readings in the first part."""
    times = observed.times
    loaded = np.flatnonzero((run.history.at(times) != 0.0) & (times > 0.0))
    needed = FEWEST_LOADED + (0 if observed.has_initial else 1)
    moments = np.unique(times[loaded])  # several readings of one moment tell of no curve
    if moments.size < needed:
        return NoHindcast(f"it takes {needed} readings under load and more to forecast, and there are {moments.size}")
    third = moments[0] * (moments[-1] / moments[0]) ** PART_OF_LOG_TIME
    within = int(np.sum(times[loaded] <= max(third, moments[needed - 1])))
    cut = int(loaded[within - 1]) + 1
    last = _last_usable(run, observed, cut)
    if last - cut < FEWEST_LEFT:
        return NoHindcast(f"fewer than {FEWEST_LEFT} readings are left after the first {cut}")
    if np.log10(times[last - 1] / times[cut - 1]) < DECADES_LEFT:
        return NoHindcast(
            f"the readings after the first {cut} reach only {times[last - 1] / times[cut - 1]:.1f} times as far; "
            "earlier readings (1 min, 10 min, 1 h after loading) would allow one"
        )
    return cut


def _last_usable(run: Run, observed: Observations, cut: int) -> int:
    """Readings up to here have a zero that the first part knows."""
    known = observed.zeros[cut - 1]
    other = np.flatnonzero((observed.zeros[cut:] != known).any(axis=1))
    return cut + int(other[0]) if other.size else observed.times.size


def score(
    rows: Sequence[Mapping[str, Any]], run: Run, *, level: float, after: float, unit: str | None = None
) -> Hindcast | NoHindcast:
    """Score an old forecast against readings taken since.

    Parameters
    ----------
    rows : sequence of mapping
        The saved forecast: "time_h", "low", "median", "high" of the mean curve, as in the JSON, in any order.
    run : Run
        The run with its new readings.
    level : float
        Probability of the saved intervals.
    after : float
        Last reading the forecast knew, s; later ones under the working load count.
    unit : str, optional
        "mm" or "1", by default that of the run's readings.

    Notes
    -----
    Between saved times the forecast is interpolated in the logarithm of time; readings outside them do not count. The
    saved interval is the mean curve's: the scatter of a reading and of the zero is added to both sides in quadrature.
    """
    observed = observations(run)
    saved = sorted((float(r["time_h"]) * HOUR, *(float(r[k]) for k in ("low", "median", "high"))) for r in rows)
    if not saved:
        return NoHindcast("the saved forecast has no rows")
    table = np.array(saved)
    times = observed.times
    loaded = np.isclose(run.history.at(times), run.working_load, rtol=1e-12) & (times > max(after, 0.0))
    counted = np.flatnonzero(loaded & (times >= 0.999 * table[0, 0]) & (times <= 1.001 * table[-1, 0]))
    counted = counted[(observed.zeros[counted] == observed.zeros[0]).all(axis=1)]
    if counted.size == 0:
        return NoHindcast(
            f"no reading under load after {show_time(after)} lies between the saved forecast's times, "
            f"{show_time(table[0, 0])} and {show_time(table[-1, 0])}"
        )
    at = np.log(times[counted])
    low, median, high = (np.interp(at, np.log(table[:, 0]), column) for column in table[:, 1:].T)
    shown, scatter = _since_reference(observed, run, counted)
    reach = float(ndtri(0.5 + level / 2.0)) * scatter
    upper = median + np.hypot(high - median, reach)
    lower = median - np.hypot(median - low, reach)
    inside = (shown >= lower) & (shown <= upper)
    miss = shown - median
    worst = int(np.argmax(np.abs(miss) / np.where(miss > 0.0, upper - median, median - lower)))
    own_unit = unit or run.unit
    relative = float(miss[worst] / abs(shown[worst])) if shown[worst] != 0.0 else None
    largest = Miss(float(times[counted[worst]]), float(miss[worst]), relative, not bool(inside[worst]), own_unit)
    return Hindcast(after, int(counted.size), int(inside.sum()), level, largest)


def _since_reference(observed: Observations, run: Run, counted: NDArray[np.intp]) -> tuple[Array, Array]:
    """Readings less the reference, and the standard deviation of that difference (drift included)."""
    times = observed.times
    if observed.has_initial:
        reference = np.flatnonzero(times <= 0.0)
    else:
        reference = np.flatnonzero((run.history.at(times) != 0.0) & (times > 0.0))[:1]
    weight = np.zeros((counted.size, times.size))
    weight[np.arange(counted.size), counted] = 1.0
    weight[:, reference] -= 1.0 / reference.size
    variance = np.einsum("ij,jk,ik->i", weight, observed.noise.correlation, weight)
    return weight @ observed.values, observed.noise.stated * np.sqrt(variance)
