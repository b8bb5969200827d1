"""The readings to take on this specimen, with dates where they are known: a schedule as things to do."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta

from creepfit.answers.specimen.first_day import ToDo
from creepfit.answers.specimen.schedule import Schedule
from creepfit.answers.wording import clock_time
from creepfit.records.run import Run
from creepfit.units import show_time


def to_take(schedule: Schedule) -> tuple[ToDo, ...]:
    """Readings on this specimen that would narrow the forecast, the best first; those for the next one are left out."""
    return tuple(_to_take(schedule))


def _to_take(schedule: Schedule) -> Iterator[ToDo]:
    run = schedule.fit.run
    off, last = run.unloading, float(schedule.fit.observed.times[-1])
    just_off = off is not None and last - 1.0 <= off <= last
    for s in schedule.suggestions:
        if s.place == "next specimen" or (just_off and s.place == "later"):
            continue
        if just_off and off is not None:
            yield _dated(run, f"read {show_time(s.time)} after the unloading", off + s.time, s.text)
            continue
        since = 0.0 if s.place == "later" else run.unloading
        if since is None or since > float(schedule.fit.observed.times[-1]):
            yield ToDo(s.text)
            continue
        yield _dated(run, s.text.partition(":")[0], since + s.time, s.text)


def _dated(run: Run, what: str, time: float, words: str) -> ToDo:
    """What to do, with its date where that is known, and what it is worth."""
    clock = None if run.began is None else run.began + timedelta(seconds=time)
    dated = what if clock is None else f"{what} ({clock_time(clock)})"
    return ToDo(f"{dated}:{words.partition(':')[2]}", time, clock)
