"""Reading times of a whole test: those proposed, daily ones, and the standard's; and the day to begin on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from creepfit.answers.plan.hours import WorkingHours
from creepfit.answers.plan.optimal import third_reading
from creepfit.answers.specimen.schedule import default_schedule
from creepfit.units import DAY, HOUR, MINUTE, show_time

ISO_899 = (*(MINUTE * np.array([1.0, 6.0, 12.0, 30.0])), *(HOUR * np.array([1, 2, 5, 10, 20, 50, 100, 200, 500, 1000.0])))
"""Recommended times of ISO 899-1 (from memory)."""

LATER = DAY * np.array([7.0, 10.0, 14.0, 20.0, 30.0, 45.0, 60.0, 90.0, 135.0, 180.0, 270.0, 365.0])
"""Readings of a bar that is left hanging."""

APART = 1.25
"""Readings nearer than this factor in time say much the same; the later one is left out."""

AT_ONCE = 2.0 * HOUR
"""Up to so long after loading or unloading whoever did it stays there."""

AFTER_OPENING = HOUR / 2.0


@dataclass(frozen=True)
class Times:
    """Reading times: `under_load` in s since loading, the last at the test's end, `after` in s since unloading."""

    name: str
    under_load: tuple[float, ...]
    after: tuple[float, ...]

    @property
    def length(self) -> float:
        """How long the load is on, s."""
        return self.under_load[-1]

    @property
    def since_loading(self) -> tuple[float, ...]:
        """All of them in s since loading."""
        return (*self.under_load, *(self.length + t for t in self.after))


def proposed(length: float, exponent: float) -> Times:
    """Even steps of log time, the power law's third reading among them; after unloading as long as the load was on."""
    loaded, after = default_schedule(length)
    third = third_reading(loaded[0], length, max(exponent, 0.0))
    step = HOUR / 2.0 if third > HOUR else MINUTE if third > 2.0 * MINUTE else 1.0
    third = round(third / step) * step
    if loaded[0] < third < length:
        near = min(range(len(loaded)), key=lambda i: abs(np.log(loaded[i] / third)))
        if 0 < near < len(loaded) - 1 and abs(np.log(loaded[near] / third)) < np.log(2.0):
            loaded = (*loaded[:near], third, *loaded[near + 1 :])
        else:
            loaded = tuple(sorted((*loaded, third)))
    return Times("proposed", _thinned(loaded), _thinned(after))


def daily(length: float) -> Times:
    """At once and every day; a day after unloading."""
    days = tuple(float(t) for t in np.arange(DAY, 0.999 * length, DAY))
    loaded = (min(MINUTE, 0.1 * length), *days, length)
    return Times("daily", loaded, tuple(t for t in (MINUTE, DAY) if t <= length))


def iso_899(length: float) -> Times:
    """The standard's times; after unloading as daily."""
    loaded = tuple(float(t) for t in ISO_899 if t < 0.9 * length)
    return Times("ISO 899", (*loaded, length), daily(length).after)


def hung_longer(times: Times, length: float) -> Times:
    """The same bar with its load left on to `length`, read at about even steps of log time, and after the unloading."""
    few = (3.0 * times.length, 10.0 * times.length)
    further = [float(t) for t in (*few, *LATER) if times.length * APART < t < 0.85 * length]
    loaded = _thinned((*times.under_load, *sorted(further), length))
    return Times(f"hung for {show_time(length)}", loaded, times.after)


def kept(times: Times, begin: datetime, hours: WorkingHours) -> Times:
    """The same at moments when somebody is there."""

    def moved(start: datetime, wanted: tuple[float, ...]) -> tuple[float, ...]:
        away = start + timedelta(seconds=AT_ONCE)
        return tuple(
            t if t <= AT_ONCE else (hours.nearest(start + timedelta(seconds=t), away) - start).total_seconds()
            for t in wanted
        )

    loaded = _thinned(moved(begin, times.under_load))
    off = begin + timedelta(seconds=loaded[-1])
    return Times(times.name, loaded, _thinned(moved(off, times.after)))


def best_begin(times: Times, earliest: datetime, hours: WorkingHours) -> datetime:
    """The day of the next seven, half an hour after opening, that moves the readings least in log time."""
    midnight = earliest.replace(hour=0, minute=0, second=0, microsecond=0)
    opening = timedelta(seconds=min(hours.opens + AFTER_OPENING, hours.closes))
    days = [midnight + timedelta(days=k) + opening for k in range(8)]
    return min((d for d in days if d >= earliest and hours.holds(d)), key=lambda d: _moved(times, d, hours))


def _moved(times: Times, begin: datetime, hours: WorkingHours) -> float:
    """By how much log times are off, summed; a reading lost counts as a factor of ten."""
    own = kept(times, begin, hours)
    lost = len(times.since_loading) - len(own.since_loading)
    wanted = np.log(np.array([*times.under_load, *times.after]))
    logs = np.log(np.array([*own.under_load, *own.after]))
    return float(np.abs(wanted[:, None] - logs[None, :]).min(axis=1).sum() + np.log(10.0) * lost)


def _thinned(times: tuple[float, ...]) -> tuple[float, ...]:
    """Without readings that say the same; the last one stays."""
    thinned: list[float] = []
    for t in sorted(times):
        if thinned and t < APART * thinned[-1] and (t > AT_ONCE or t == thinned[-1]):
            thinned[-1] = t if t == max(times) else thinned[-1]
        else:
            thinned.append(t)
    return tuple(thinned)
