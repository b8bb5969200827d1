"""What is to be read next and when, by the usual schedule: one list for the card, today's page, the line beside a reading
and the answer of a run that has only begun.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from creepfit.answers.specimen.first_day import first_day
from creepfit.answers.specimen.schedule import SHOWS_UNLOADED, still_planned, times_at_the_bench
from creepfit.answers.wording import clock_time, time_words
from creepfit.inference.tested_temperature import oven_warmth
from creepfit.records.begun import BegunRun
from creepfit.records.run import Run

SOON = 1.05
"""A time of the schedule closer to the last reading than this factor counts as read."""

ENOUGH = 0.3
"""Share of the time under load for which the recovery was read, from which on a run counts as finished."""


@dataclass(frozen=True)
class Due:
    """One thing to do, and when, where the run knows of clocks."""

    text: str
    clock: datetime | None = None

    def is_late(self, now: datetime) -> bool:
        """Whether its time has come."""
        return self.clock is not None and self.clock < (now if self.clock.tzinfo is None else now.astimezone())

    def said(self, now: datetime) -> str:
        """Return it in words, with its time."""
        if self.clock is None:
            return self.text
        return f"{self.text} ({'due since' if self.is_late(now) else 'due'} {clock_time(self.clock)})"


def left_to_do(dues: Sequence[Due], now: datetime) -> tuple[Due, ...]:
    """Return what is still worth doing: of several that are late the last one, as one reading now is all of them."""
    late = sum(due.is_late(now) for due in dues)
    return tuple(dues[max(late - 1, 0) :])


def dues_of_begun(begun: BegunRun) -> tuple[Due, ...]:
    """Return what there is to do for a run that cannot be fitted yet."""
    dues = []
    for todo in first_day(begun).next:
        text = todo.text.partition(": creepfit add")[0]
        dues.append(Due(text if todo.clock is None else text.rpartition(" (")[0], todo.clock))
    return tuple(dues)


def dues_of_run(run: Run) -> tuple[Due, ...]:
    """Return the readings still to come; none where all is read, the run ended, or it is one in an oven."""
    if any(event.ends_run for event in run.events) or oven_warmth(run) is not None:
        return ()
    last, off = run.used[-1].time, run.unloading
    (under_load, after), planned = times_at_the_bench(run), still_planned(run)
    if off is not None and last >= off - 1.0:
        if last - off >= ENOUGH * off and not planned:
            return ()
        since = max(last - off, 1.0)
        left = [t for t in after if t > (since if planned else SOON * since)]
        return tuple(_due(run, f"read {time_words(t)} after the unloading", off + t) for t in left)
    words = {} if off is None and planned else {under_load[-1]: " and take the load off"}
    latest = last if planned else SOON * last
    dues = [_due(run, f"read {time_words(t)} after loading{words.get(t, '')}", t) for t in under_load if t > latest]
    return tuple(dues) or (Due(f"read on as its answer says; {SHOWS_UNLOADED}"),)


def _due(run: Run, text: str, time: float) -> Due:
    return Due(text, None if run.began is None else run.began + timedelta(seconds=time))
