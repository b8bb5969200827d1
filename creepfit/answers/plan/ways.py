"""The ways a running test can go on, load left on or taken off, and the times at which it can be read on each."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import numpy as np

from creepfit.answers.plan.hours import WorkingHours
from creepfit.answers.specimen.schedule import unloaded_now
from creepfit.inference.preposterior import Estimand, FurtherReadings
from creepfit.inference.run_fit import Fit
from creepfit.mechanics.loading import Array
from creepfit.units import DAY, HOUR, MINUTE

OFFSETS = (
    *(MINUTE * np.array([1.0, 10.0, 30.0])),
    *(HOUR * np.array([1.0, 6.0])),
    *(DAY * np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 20.0])),
)
"""How long after the last reading, or after the unloading, a reading can be taken: about equal steps of log time."""

LATER_THAN = 1.02
"""A reading under load nearer to the last one than this factor in time says the same again."""

LATER_AFTER = 1.1
"""The same for one after an unloading, by the time since then."""

ON_THE_SPOT = HOUR
"""Up to so long after the unloading whoever took the load off is there, whatever the hour."""


@dataclass(frozen=True, eq=False)
class Way:
    """One way to go on.

    Attributes
    ----------
    unload_at : float or None
        When the load is taken off, s since first loading; None where it is left as it is.
    since : float
        What times of its readings are quoted from, s since first loading: 0, or the unloading.
    times : ndarray, shape (C,)
        Readings that could be taken, s since first loading.
    readings : FurtherReadings
    """

    unload_at: float | None
    since: float
    times: Array
    readings: FurtherReadings = field(repr=False)

    def within(self, last: float, days: float) -> list[int]:
        """Those of the readings that come at most so many days after the last one so far."""
        return [int(i) for i in np.flatnonzero(self.times <= last + days * DAY * 1.25)]


def ways(fit: Fit, asked: Estimand, within: float, hours: WorkingHours) -> tuple[Way, ...]:
    """The ways a run can go on for a time `within` [s] after its last reading.

    Where dates are known readings an hour or more away are moved to when somebody is there.
    """
    run, own = fit.run, fit.observed.history
    last, off = float(fit.observed.times[-1]), run.unloading
    if off is not None and off < last:
        times = _kept(run.began, last, off + LATER_AFTER * (last - off), within, hours)
        return (Way(None, off, times, FurtherReadings.of(asked, fit, own, times)),) if times.size else ()
    open_ways = []
    loaded = own if off is None else own.until(off)
    times = _kept(run.began, last, LATER_THAN * last, within, hours)
    if times.size:
        open_ways.append(Way(None, 0.0, times, FurtherReadings.of(asked, fit, loaded, times)))
    times = _kept(run.began, last, last, within, hours)
    if times.size:
        open_ways.append(Way(last, last, times, FurtherReadings.of(asked, fit, unloaded_now(fit), times)))
    return tuple(open_ways)


def _kept(began: datetime | None, last: float, after: float, within: float, hours: WorkingHours) -> Array:
    """Times after `after` and at most `within` after `last`, when somebody is there, shape (C,)."""
    times = [last + offset for offset in OFFSETS if offset <= 1.001 * within]
    if began is not None:
        times = [t if t - last <= ON_THE_SPOT else _moved(began, t, last, hours) for t in times]
    apart: list[float] = []
    for t in sorted(times):
        if t > after and (not apart or t - last > 1.3 * (apart[-1] - last)):
            apart.append(t)
    return np.array(apart)


def _moved(began: datetime, time: float, last: float, hours: WorkingHours) -> float:
    when = hours.nearest(began + timedelta(seconds=time), began + timedelta(seconds=last + ON_THE_SPOT))
    return (when - began).total_seconds()
