"""What to read next: which single further reading would narrow the forecast most, and a schedule to start from.

A reading is worth what it is expected to take off the standard deviation of the deformation's logarithm, as in a plan
(`inference.preposterior`). The interval itself is a bad judge: while flow is neither seen nor ruled out its ends stay where
flow takes them, or jump, whatever is read.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.heading import heading
from creepfit.answers.outlook import outlook
from creepfit.asked import asked_time
from creepfit.inference.fitting import Fit
from creepfit.inference.preposterior import Estimand, FurtherReadings, with_set_to_come
from creepfit.inference.run_fit import asked_fit
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.begun import BegunRun
from creepfit.records.run import Run
from creepfit.shown import Tabled, listed
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

USUAL_LENGTH = 5.0 * DAY
"""How long the load is taken to stay on where the file does not say (common practice, no source)."""

SHOWS_UNLOADED = "recovery and permanent set show only once the load is off"
"""Said beside whatever is advised for a forecast of a specimen that is still loaded."""

APART = 1.4
"""A candidate nearer to a reading than this factor in time is left out: it would say the same again."""

SAME = 4.0
"""Two readings within this factor in time do much the same for a curve that is spread over decades."""

LEAST = 0.03
"""An expected narrowing below this share is no advice: it is within the error of the average."""

NO_NARROWER = 0.995
"""Share of its width from which on an interval is said not to narrow."""

UNDER_LOAD = (MINUTE, 10.0 * MINUTE, HOUR, 6.0 * HOUR, DAY, 2.0 * DAY, 4.0 * DAY)
"""Reading times under load that do well for any exponent: about equal steps in log time, so that three decades are
seen. Next to daily readings alone the standard error at a year falls to about a seventh, and most of that is the
reading at 1 min (own computation for a power law with n = 0.2)."""

ReadingPlace = Literal["later", "after unloading", "next specimen"]


@dataclass(frozen=True)
class Suggestion:
    """One further reading and what it is expected to bring.

    `place` is "later" (load left on), "after unloading", or "next specimen" (a time that is over on this one); `time`
    in s since first loading, or since unloading; `narrowing` the expected share of the doubt that is taken off, `width` the
    expected width of the interval over that of now.
    """

    place: ReadingPlace
    time: float
    narrowing: float
    text: str
    width: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "place": self.place,
            "time_h": self.time / HOUR,
            "narrowing_percent": 100.0 * self.narrowing,
            "width_ratio": self.width,
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
    def ranked_by(self) -> str:
        """How the list is ranked, to stand beside it; "" without suggestions."""
        if not self.suggestions:
            return ""
        shares = listed([f"{100.0 * s.narrowing:.0f}" for s in self.suggestions])
        return ranked_by("the forecast's logarithm", shares, any(s.width > 1.0 for s in self.suggestions))

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


def still_planned(run: Run | BegunRun) -> bool:
    """Whether its file has places left for readings later than all that were taken; one left out earlier plans nothing."""
    taken = max((r.time for r in run.readings if r.skip is None), default=-math.inf)
    return bool(run.steps) and any(t > taken for t in run.to_come)


def times_at_the_bench(run: Run | BegunRun) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return when a run is to be read: the places left in its own file for readings to come, as a plan lays them out.

    Where it has none, the usual times, for as long as the load is to stay on by the file, 5 d where it does not say.

    Returns
    -------
    tuple of two tuples
        As `default_schedule`; without an unloading planned times all stand in the first.
    """
    off = next((s.at for s in run.steps[1:] if s.value == 0.0), None)
    if not still_planned(run):
        return default_schedule(off or USUAL_LENGTH)
    end = run.to_come[-1] if off is None else off
    under_load = {t for t in run.to_come if 0.0 < t < end - 1.0}
    return (*sorted(under_load), end), tuple(t - end for t in run.to_come if t > end + 1.0)


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
    values = outlook(whole).response(np.array([horizon])).draws[:, 0]
    asked = Estimand.response(values)
    found = [candidate for row in _candidates(fit) for candidate in _worth_of(whole, asked, *row)]
    found.sort(key=lambda c: -c.narrowing)
    chosen = tuple(_suggestion(fit, c, values, horizon) for c in _apart([c for c in found if c.narrowing >= LEAST])[:count])
    why = None if chosen else f"no single reading is expected to take off {100.0 * LEAST:g} % or more of the doubt"
    return Schedule(chosen, horizon, why, fit)


@dataclass(frozen=True, eq=False)
class _Candidate:
    """A reading that could be taken: its place among `further`, and the moment it is quoted from."""

    place: ReadingPlace
    time: float
    narrowing: float
    further: FurtherReadings
    index: int


def _worth_of(
    fit: Fit, asked: Estimand, place: ReadingPlace, history: LoadHistory, times: Array, since: float
) -> list[_Candidate]:
    if not times.size:
        return []
    # only ever one of them: a time that is over has no place among further ones whose drift goes on from the last reading
    further = FurtherReadings.of(asked, fit, history, times)
    return [
        _Candidate(place, float(t - since), asked.narrowing(further.doubt([i])), further, i) for i, t in enumerate(times)
    ]


def _suggestion(fit: Fit, c: _Candidate, values: Array, horizon: float) -> Suggestion:
    width = c.further.width(values, [c.index], fit.level)
    text = _words(fit, c.place, c.time, c.narrowing, width, horizon)
    return Suggestion(c.place, c.time, c.narrowing, text, width)


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


def _apart(ranked: list[_Candidate]) -> tuple[_Candidate, ...]:
    """Of readings on the next specimen that say nearly the same the best; those on this one differ in their cost."""
    apart: list[_Candidate] = []
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


def _words(fit: Fit, place: ReadingPlace, time: float, narrowing: float, width: float, horizon: float) -> str:
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
    return f"{what}: {worth(fit, narrowing, width, horizon)}"


def worth(fit: Fit, narrowing: float, width: float, horizon: float) -> str:
    """What a reading is expected to make of the interval, in words; where that does not narrow, of the doubt."""
    interval = f"the {100.0 * fit.level:.3g} % interval at {show_time(horizon)}"
    if width >= NO_NARROWER:
        return f"{interval} is not expected to narrow, the doubt to become {100.0 * narrowing:.0f} % less"
    return f"{interval} is expected to become {100.0 * width:.0f} % as wide as now"


def ranked_by(of: str, shares: str, widens: bool) -> str:
    """By what readings are chosen, which is not the width of the interval."""
    takes_in = " today, and takes it in where a reading shows it" if widens else ""
    return (
        f"Chosen by the doubt that is expected to go, {shares} %: the standard deviation of {of}, in which what is "
        f"unlikely but far off counts too. The interval leaves that out{takes_in}."
    )
