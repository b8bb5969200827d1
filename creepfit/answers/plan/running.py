"""A running test: which readings to take next, together, what more days buy, and whether unloading tells more."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.doubts.withheld import MayWithhold, Withheld, withheld_at
from creepfit.answers.heading import heading
from creepfit.answers.interval import Interval, in_hours, interval
from creepfit.answers.plan.hours import WorkingHours
from creepfit.answers.plan.planned_reading import PlannedReading
from creepfit.answers.plan.question import Question, QuestionKind, question
from creepfit.answers.plan.ways import Way, ways
from creepfit.answers.specimen.schedule import LEAST, SHOWS_UNLOADED, to_settle_first
from creepfit.answers.specimen.shares import shares
from creepfit.asked import asked_time
from creepfit.inference.response import discrepancy, response
from creepfit.inference.run_fit import Fit
from creepfit.mechanics.loading import LoadHistory
from creepfit.shown import Shown, listed
from creepfit.units import DAY, HOUR, show_time

if TYPE_CHECKING:
    from pandas import DataFrame

MORE_DAYS = (1.0, 5.0, 20.0)
MOST = 3
"""Readings that are chosen together at most."""

CLEARLY = 1.1
"""One way tells more than another where it leaves less than 1/1.1 of its doubt."""


@dataclass(frozen=True)
class Choice:
    """Readings to take together, and what they are expected to tell.

    `unload_at` is when the load is taken off for them, s since first loading, None where it stays as it is; `narrowing`
    the share of the doubt they are expected to take off, and `doubt` what they leave; `width` the expected width of the
    interval over that of now, None where a yes or no is asked for.
    """

    unload_at: float | None
    readings: tuple[PlannedReading, ...]
    narrowing: float
    doubt: float
    width: float | None

    @property
    def text(self) -> str:
        """What to do, in words."""
        what = "take the load off now and read" if self.unload_at is not None else "read"
        if self.unload_at is None and all(r.after is None for r in self.readings):
            what = "leave the load on and read at"
        return f"{what} {listed([r.text for r in self.readings])}"

    def to_dict(self) -> dict[str, Any]:
        return {
            "unload_at_h": in_hours(self.unload_at),
            "readings": [r.to_dict() for r in self.readings],
            "narrowing_percent": 100.0 * self.narrowing,
            "doubt": self.doubt,
            "width_ratio": self.width,
            "text": self.text,
        }


@dataclass(frozen=True)
class MoreDays:
    """What `days` more are expected to buy: with the load left as it is, and taken off now (None where neither can be)."""

    days: float
    as_it_is: Choice | None
    unloaded: Choice | None

    def to_dict(self) -> dict[str, Any]:
        return {
            "days": self.days,
            "as_it_is": None if self.as_it_is is None else self.as_it_is.to_dict(),
            "unloaded": None if self.unloaded is None else self.unloaded.to_dict(),
        }


@dataclass(frozen=True, eq=False, repr=False)
class RunningPlan(MayWithhold, Shown):
    """What to read next on a run for one question.

    Attributes
    ----------
    fit : Fit
    question : Question
    now : Interval or float
        The answer by today's readings; a probability where a yes or no is asked for.
    doubt : float
        Standard deviation of it (of its logarithm for a deformation), or the probability to decide wrongly today.
    best : tuple of Choice
        The best one, two and three readings; empty where `why` says so.
    more : tuple of MoreDays
    unloading : str or None
        Whether taking the load off tells more than waiting; None where it is off already.
    rests_on : str or None
        What the doubt is made of most; None where `why` names something to be settled first.
    """

    fit: Fit = field(repr=False)
    question: Question = field(repr=False)
    now: Interval | float
    doubt: float
    best: tuple[Choice, ...]
    more: tuple[MoreDays, ...]
    unloading: str | None
    rests_on: str | None
    why: str | None

    @property
    def headline(self) -> str:
        return f"{self.fit.label}, {self.question.words}: {self.best[0].text if self.best else self.why}"

    @property
    def instead(self) -> Withheld | None:
        """Why the answer by today's readings is not to stand first, as in a forecast; else None."""
        return withheld_at(self.fit, self.question.spoken_of)

    def table(self) -> DataFrame:
        """One row for the best one, two and three readings."""
        from creepfit.whole_table import WholeTable

        rows = [{"readings": len(c.readings), **c.to_dict()} for c in self.best]
        for row, choice in zip(rows, self.best, strict=True):
            row["time_h"] = ", ".join(f"{r.time / HOUR:.6g}" for r in choice.readings)
        return WholeTable(rows, columns=["readings", "text", "time_h", "unload_at_h", "narrowing_percent", "width_ratio"])

    def to_dict(self) -> dict[str, Any]:
        """What ``plan RUN --json`` prints."""
        now: dict[str, float | None] = (
            {**self.now.to_dict()} if isinstance(self.now, Interval) else {"probability": self.now}
        )
        if self.question.promised is not None:
            now["promised"] = None if self.unpromised else self.question.promised
        return {
            **heading(self.fit),
            "for": self.question.kind,
            "by_h": self.question.by / HOUR,
            "unit": self.fit.unit if self.question.is_size else "1",
            "now": now,
            "withheld": self.withheld,
            "nothing_promised": self.nothing_promised,
            "doubt": self.doubt,
            "best": [c.to_dict() for c in self.best],
            "why": self.why,
            "more_days": [m.to_dict() for m in self.more],
            "unloading": self.unloading,
            "rests_on": self.rests_on,
        }


def plan_running(
    fit: Fit,
    kind: QuestionKind = "forecast",
    *,
    by: str | float = "1 year",
    limit: str | float | None = None,
    other: Fit | None = None,
    within: str | float = "20 d",
    hours: WorkingHours | None = None,
) -> RunningPlan:
    """Plan the next readings of a run.

    Parameters
    ----------
    fit : Fit
        Of one run.
    kind, by, limit, other
        The question, see `question.question`.
    within : str or float
        How long from the last reading on there is time for; text or s.
    hours : WorkingHours, optional
        When somebody is there, for runs whose dates are known.

    Raises
    ------
    InputError, FitError
        As `question.question`; a time that is none.
    """
    put = question(fit, kind, by, limit, other)
    span = asked_time(within, "within")
    size = put.forecast or (interval(put.values, fit.level) if put.is_size else None)
    now = float(np.mean(put.values)) if size is None else size
    first = to_settle_first(fit, put.spoken_of)
    if first is not None:
        return RunningPlan(fit, put, now, put.asked.now, (), (), None, None, first)
    open_ways = ways(put.fit, put.asked, span, WorkingHours() if hours is None else hours)
    ranked = [_choices(put, way, range(way.times.size)) for way in open_ways]
    best = [
        min((row[count] for row in ranked if len(row) > count), key=lambda c: c.doubt, default=None)
        for count in range(MOST)
    ]
    chosen = _worth_more([c for c in best if c is not None])
    more = _more(put, open_ways, [days for days in MORE_DAYS if days * DAY <= 1.001 * span])
    why = None if chosen else _no_advice(put, open_ways)
    return RunningPlan(fit, put, now, put.asked.now, chosen, more, _unloading(put, open_ways, more), _rests_on(put), why)


def _choices(question: Question, way: Way, among: Sequence[int]) -> list[Choice]:
    return [_choice(question, way, taken, doubt) for taken, doubt in way.readings.best(MOST, among)]


def _choice(question: Question, way: Way, taken: Sequence[int], doubt: float) -> Choice:
    began = question.fit.run.began
    readings = tuple(
        PlannedReading(
            float(way.times[i]),
            float(way.times[i]) - way.since if way.since > 0.0 else None,
            None if began is None else began + timedelta(seconds=float(way.times[i])),
        )
        for i in taken
    )
    width = way.readings.width(question.values, taken, question.fit.level) if question.is_size else None
    return Choice(way.unload_at, readings, question.asked.narrowing(doubt), doubt, width)


def _worth_more(choices: Sequence[Choice]) -> tuple[Choice, ...]:
    """Those that tell something, and more than fewer readings do."""
    better: list[Choice] = []
    for c in choices:
        if c.narrowing >= LEAST + (better[-1].narrowing if better else 0.0) * (1.0 - LEAST):
            better.append(c)
    return tuple(better)


def _no_advice(question: Question, open_ways: Sequence[Way]) -> str:
    if not open_ways:
        return "there is no time left for a reading that would tell anything new"
    if question.asked.now == 0.0:
        return "these readings leave no doubt about it that further ones could take off"
    least = f"{100.0 * LEAST:g} % or more"
    what = "the doubt" if question.is_size else "the chance of a wrong verdict"
    return f"no reading in that time is expected to take off {least} of {what}"


def _more(question: Question, open_ways: Sequence[Way], spans: Sequence[float]) -> tuple[MoreDays, ...]:
    """What each of some spans [d], the shortest first, buys; a longer one at least what a shorter one does."""
    last = float(question.fit.observed.times[-1])
    rows: dict[bool, Choice | None] = {False: None, True: None}
    more = []
    for days in spans:
        for way in open_ways:
            among, off = way.within(last, days), way.unload_at is not None
            if among:
                own, known = _choice(question, way, *way.readings.best(MOST, among)[-1]), rows[off]
                rows[off] = own if known is None or own.doubt < known.doubt else known
        more.append(MoreDays(days, rows[False], rows[True]))
    return tuple(more)


def _unloading(question: Question, open_ways: Sequence[Way], more: Sequence[MoreDays]) -> str | None:
    if not any(way.unload_at is not None for way in open_ways):
        return None
    sides = []
    for m in more:
        if m.unloaded is None:
            continue
        waiting = question.asked.now if m.as_it_is is None else m.as_it_is.doubt
        if m.unloaded.narrowing >= LEAST and waiting > CLEARLY * m.unloaded.doubt:
            sides.append((m.days, "unloading"))
        elif m.as_it_is is not None and m.as_it_is.narrowing >= LEAST and m.unloaded.doubt > CLEARLY * waiting:
            sides.append((m.days, "waiting"))
    off = [f"{days:g} d" for days, side in sides if side == "unloading"]
    on = [f"{days:g} d" for days, side in sides if side == "waiting"]
    if off and on:
        return f"with {listed(off)} more, taking the load off now tells more; with {listed(on)}, leaving it on"
    if off:
        return f"taking the load off now tells more than leaving it on (with {listed(off)} more)"
    if on:
        more_days = f"leaving the load on tells more than taking it off now (with {listed(on)} more)"
        return more_days if question.kind == "set" else f"{more_days}; {SHOWS_UNLOADED}"
    return "taking the load off now and leaving it on tell about as much"


_MADE_OF = {
    "gauge": "the scatter of the gauge",
    "parameters": "how fast creep slows down (the exponent, and the share that flows)",
    "model": "which model is right: whether the specimen flows at a steady rate, slows down, or stops",
    "discrepancy": "what no model has, as seen on published curves",
    "temperature": "the temperature",
}


def _rests_on(question: Question) -> str:
    """The largest part of the variance of the response at the time asked about; of a set, whether there is one."""
    fit, times = question.fit, np.array([question.by])
    if question.kind == "set":
        none = float(np.mean(np.abs(question.values) < 0.1 * fit.observed.noise.stated))
        return f"whether anything stays at all: by the models, nothing does with a probability of {100.0 * none:.0f} %"
    held = LoadHistory.held(fit.run.working_load)
    base = response(fit, fit.draws, held, times, discrepancy=False)
    added = discrepancy(fit, fit.draws, held, times)
    parts = shares(fit.draws, base, added, times)[0].to_dict()
    name = max(parts, key=lambda n: parts[n] or 0.0)
    return f"{_MADE_OF.get(name, name)} ({100.0 * (parts[name] or 0.0):.0f} % of the variance at {show_time(question.by)})"
