"""What to read next: which single further reading would narrow the forecast most, and a schedule to start from.

A reading is worth what it is expected to take off the standard deviation of the deformation's logarithm, as in a plan
(`inference.preposterior`). The interval itself is a bad judge: while flow is neither seen nor ruled out its ends stay where
flow takes them, or jump, whatever is read.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.heading import heading
from creepfit.answers.outlook import outlook
from creepfit.asked import asked_time
from creepfit.inference.fitting import Fit
from creepfit.inference.preposterior import Estimand, narrowing_of, with_set_to_come
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, MINUTE, show_time

FARTHER = (1.25, 1.5, 2.0, 3.0, 5.0, 10.0)
"""Candidates while the load stays on, as multiples of the last reading's time: one decade is the preferred limit."""

AFTER_UNLOADING = (MINUTE, HOUR, 6.0 * HOUR, DAY)
ROUND_TIMES = (
    *(MINUTE * np.array([1.0, 2.0, 5.0, 10.0, 20.0, 30.0])),
    *(HOUR * np.array([1.0, 2.0, 3.0, 6.0, 12.0])),
    *(DAY * np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 21.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 270.0, 365.0])),
)
"""Times that a person would set an alarm to. Those inside the test are candidates for the next specimen."""

DOUBT = (
    "The doubt is the standard deviation of the forecast's logarithm, in which what is unlikely but far off counts too. "
    "The interval, which leaves that out, may narrow less."
)
"""Said beside a list of suggestions."""

APART = 1.4
"""A candidate nearer to a reading than this factor in time is left out: it would say the same again."""

SAME = 4.0
"""Two readings within this factor in time do much the same for a curve that is spread over decades."""

LEAST = 0.03
"""An expected narrowing below this share is no advice: it is within the error of the average."""

UNDER_LOAD = (MINUTE, 10.0 * MINUTE, HOUR, 6.0 * HOUR, DAY, 2.0 * DAY, 4.0 * DAY)
"""Reading times under load that do well for any exponent: about equal steps in log time, so that three decades are
seen. Next to daily readings alone the standard error at a year falls to about a seventh, and most of that is the
reading at 1 min (own computation for a power law with n = 0.2)."""

ReadingPlace = Literal["later", "after unloading", "next specimen"]


@dataclass(frozen=True)
class Suggestion:
    """One further reading and what it is expected to bring.

    `place` is "later" (load left on), "after unloading", or "next specimen" (a time that is over on this one); `time`
    in s since first loading, or since unloading; `narrowing` the expected share of the doubt that is taken off.
    """

    place: ReadingPlace
    time: float
    narrowing: float
    text: str

    def to_dict(self) -> dict[str, Any]:
        return {
            "place": self.place,
            "time_h": self.time / HOUR,
            "narrowing_percent": 100.0 * self.narrowing,
            "text": self.text,
        }


@dataclass(frozen=True, repr=False)
class Schedule(Tabled):
    """Suggestions, the best first, to narrow the forecast at `horizon` [s]; `why` says why there are none."""

    suggestions: tuple[Suggestion, ...]
    horizon: float
    why: str | None
    fit: Fit = field(repr=False)

    @property
    def headline(self) -> str:
        return f"{self.fit.label}: {self.suggestions[0].text if self.suggestions else self.why}"

    def _rows(self) -> list[dict[str, Any]]:
        """One row a suggestion."""
        return [s.to_dict() for s in self.suggestions]

    def to_dict(self) -> dict[str, Any]:
        return {
            **heading(self.fit),
            "forecast_at_h": self.horizon / HOUR,
            "next": [s.to_dict() for s in self.suggestions],
            "why": self.why,
        }


def default_schedule(length: str | float = "6 d") -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Reading times for a test without data yet.

    Parameters
    ----------
    length : str or float
        How long the load is to stay on; text or s.

    Returns
    -------
    tuple of two tuples
        Times under load (s since loading, the end included), and after unloading (s since unloading): also as long as
        the load was on, since a set can be told from slow recovery only then. A reading before loading comes first.
    """
    end = asked_time(length, "length")
    loaded = tuple(t for t in UNDER_LOAD if t < 0.75 * end)
    return (*loaded, end), (*(t for t in AFTER_UNLOADING if t < 0.75 * end), end)


def next_reading(fit: Fit, by: str | float = "1 year", count: int = 5) -> Schedule:
    """Rank further readings by how much each is expected to narrow the forecast.

    Parameters
    ----------
    fit : Fit
    by : str or float
        Time of the forecast to be narrowed, text or s; at most 100 times the data count.
    count : int
        Length of the list.

    Notes
    -----
    The models see no other doubt than their own: a model outside the mixture is not in the draws.
    """
    fit = asked_fit(fit)
    horizon = min(asked_time(by, "by"), fit.horizon)
    first = to_settle_first(fit, horizon)
    if first is not None:
        return Schedule((), horizon, first, fit)
    whole = with_set_to_come(fit)
    asked = Estimand.response(outlook(whole).response(np.array([horizon])).draws[:, 0])
    todos = []
    for place, history, times, since in _candidates(fit):
        for t, narrowing in zip(times, narrowing_of(whole, asked, history, times), strict=True):
            words = _words(fit, place, float(t - since), narrowing, horizon)
            todos.append(Suggestion(place, float(t - since), narrowing, words))
    todos.sort(key=lambda s: -s.narrowing)
    chosen = _apart([s for s in todos if s.narrowing >= LEAST])[:count]
    why = None if chosen else f"no single reading is expected to take off {100.0 * LEAST:g} % or more of the doubt"
    return Schedule(chosen, horizon, why, fit)


def to_settle_first(fit: Fit, time: float) -> str | None:
    """Why no reading is advised for an answer about a time [s] before something else is settled; None where nothing is."""
    if any(doubt.code == "load-came-off" for doubt in about_fit(fit)):
        return "first note whether and when the load came off: what to read next depends on it"
    instead = withheld_at(fit, time)
    return None if instead is None else instead.unadvised


def unloaded_now(fit: Fit) -> LoadHistory:
    """What acts on the specimen where all that was put on is taken off at the last reading; a preload stays."""
    last = float(fit.observed.times[-1])
    return fit.observed.history.unloaded(last, float(fit.run.history.until(last).change.sum()))


def _apart(ranked: list[Suggestion]) -> tuple[Suggestion, ...]:
    """Of readings on the next specimen that say nearly the same the best; those on this one differ in their cost."""
    apart: list[Suggestion] = []
    for s in ranked:
        alike = (k for k in apart if k.place == s.place == "next specimen" and 1 / SAME < s.time / k.time < SAME)
        if next(alike, None) is None:
            apart.append(s)
    return tuple(apart)


def _candidates(fit: Fit) -> list[tuple[ReadingPlace, LoadHistory, Array, float]]:
    """Place, what acts on the specimen, times in s since first loading, and the moment they are quoted from."""
    run, own = fit.run, fit.observed.history
    last = float(fit.observed.times[-1])
    end = fit.run.test_length
    off = run.unloading
    out: list[tuple[ReadingPlace, LoadHistory, Array, float]] = []
    if off is None or off >= last:
        out.append(("later", own if off is None else own.until(off), _later(last), 0.0))
        out.append(("after unloading", unloaded_now(fit), last + np.array([*AFTER_UNLOADING, end]), last))
    else:
        since = np.array([2.0, 4.0]) * (last - off)
        out.append(("after unloading", own, off + since, off))
    read = np.append(fit.observed.times[fit.observed.times > 0.0], end)
    within = np.array([t for t in ROUND_TIMES if t < end and (np.abs(np.log(t / read)) > np.log(APART)).all()])
    out.append(("next specimen", own, within, 0.0))
    return out


def _later(last: float) -> Array:
    """Round times after the last reading, up to ten times as far."""
    goals = last * np.array(FARTHER)
    away = np.abs(np.log(np.array(ROUND_TIMES)[:, None] / goals))
    near = np.unique(np.array(ROUND_TIMES)[away.argmin(axis=0)])
    later = near[near > 1.15 * last]
    return np.asarray(later if later.size else goals)


def _words(fit: Fit, place: ReadingPlace, time: float, narrowing: float, horizon: float) -> str:
    when = show_time(time)
    what = {
        "later": f"leave the load on and read at {when}",
        "after unloading": (
            f"take the load off and read {when} later"
            if fit.run.unloading is None or fit.run.unloading > fit.observed.times[-1]
            else f"read on, {when} after the unloading"
        ),
        "next specimen": f"on the next specimen read at {when} too",
    }[place]
    return f"{what}: expected to take off {100.0 * narrowing:.0f} % of the doubt about {show_time(horizon)}"
