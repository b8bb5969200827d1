"""A run on its first day: are sizes and file fine, how far should the load move the gauge, what to read next and when."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from creepfit.answers.doubts.catalogue import readings as words
from creepfit.answers.doubts.material import slip_words, usual_modulus
from creepfit.answers.heading import heading_without_fit
from creepfit.answers.interval import Caution, in_hours
from creepfit.answers.specimen.schedule import times_at_the_bench
from creepfit.answers.wording import clock_cell, clock_time, size, time_words
from creepfit.records.begun import BegunRun
from creepfit.units import MINUTE

if TYPE_CHECKING:
    from pandas import DataFrame

STILL, EARLIER = 20.0, 0.3
"""Times the gauge's repeatability, and share of the least movement expected under the load: readings said to be before it
that are further apart were hardly taken without it."""

LEAST_DECADES = 1.05
"""A time of the schedule that is closer to a reading taken already than this factor is left out."""


@dataclass(frozen=True)
class ToDo:
    """What to do next: `time` in s since first loading and `clock` where they are known."""

    text: str
    time: float | None = None
    clock: datetime | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "text": self.text,
            "time_h": in_hours(self.time),
            "clock": clock_cell(self.clock),
        }


@dataclass(frozen=True)
class FirstDay:
    """What can be said before a fit: how far the load should move the gauge and has, doubts, and what to read next.

    `expected` is in mm (strain in a run of strains), smallest and largest; None where there is no load or no modulus to go
    by. `moved` is None where it was not read yet.
    """

    begun: BegunRun
    expected: tuple[float, float] | None
    moved: float | None
    cautions: tuple[Caution, ...]
    next: tuple[ToDo, ...]

    @property
    def unit(self) -> str:
        return self.begun.unit

    def table(self) -> DataFrame:
        """One row a reading to take."""
        from pandas import DataFrame

        return DataFrame([todo.to_dict() for todo in self.next], columns=["text", "time_h", "clock"])

    def to_dict(self) -> dict[str, Any]:
        """What ``check --json`` prints on the first day."""
        return {
            **heading_without_fit(self.begun.label),
            "begun": True,
            "readings": len(self.begun.counted),
            "unit": self.unit,
            "expected_movement": None if self.expected is None else dict(zip(("low", "high"), self.expected, strict=True)),
            "movement": self.moved,
            "cautions": [c.to_dict() for c in self.cautions],
            "next_readings": [todo.to_dict() for todo in self.next],
        }


def first_day(begun: BegunRun, now: datetime | None = None) -> FirstDay:
    """Say what can be said of a run that has too few readings to be fitted.

    Parameters
    ----------
    begun : BegunRun
    now : datetime, optional
        Times before it are not asked for any more, where the file has date-times.
    """
    moved = _moved(begun)
    expected = _expected(begun)
    return FirstDay(begun, expected, moved, tuple(_doubts(begun, expected, moved)), tuple(_next(begun, now)))


def _before(begun: BegunRun) -> list[float]:
    """Readings before the load; all of them where none was noted."""
    return [r.value for r in begun.counted if not begun.steps or r.time <= 0.0]


def _loaded(begun: BegunRun) -> list[float]:
    return [r.value for r in begun.counted if begun.steps and r.time > 0.0]


def _load(begun: BegunRun) -> float | None:
    return begun.steps[0].value if begun.steps else None


def _expected(begun: BegunRun) -> tuple[float, float] | None:
    load, geometry = _load(begun), begun.specimen.geometry
    if load is None or geometry.stress_per_load is None:
        return None
    low, high, _ = usual_modulus(begun.material)
    return abs(load) * geometry.reading_per_compliance / high, abs(load) * geometry.reading_per_compliance / low


def _moved(begun: BegunRun) -> float | None:
    before, after = _before(begun), _loaded(begun)
    return begun.gauge.sign * (after[0] - sum(before) / len(before)) if before and after else None


def _doubts(begun: BegunRun, expected: tuple[float, float] | None, moved: float | None) -> list[Caution]:
    doubts = []
    if not _before(begun) and _loaded(begun):
        doubts.append(words.NO_INITIAL_READING_TODAY())
    moves = begun.steps and not _loaded(begun) and _spread(begun)
    if moves and moves > max(STILL * begun.gauge.repeatability, 0.0 if expected is None else EARLIER * expected[0]):
        doubts.append(words.LOADED_BEFORE_IT_SAYS(moved=size(moves, begun.unit)))
    load = _load(begun)
    if moved is not None and expected is not None and load is not None:
        if moved * load <= 0.0:
            doubts.append(words.MOVED_AGAINST_THE_LOAD(down=moved * begun.gauge.sign < 0.0, falls=begun.gauge.falls))
        elif not expected[0] <= abs(moved) <= expected[1]:
            low, high, whose = usual_modulus(begun.material)
            modulus = abs(load) * begun.specimen.geometry.reading_per_compliance / abs(moved)
            slips = slip_words(begun, modulus / (low * high) ** 0.5)
            doubts.append(
                words.FIRST_MOVEMENT_OUT_OF_RANGE(
                    moved=size(abs(moved), begun.unit),
                    modulus=modulus,
                    whose=whose,
                    low=low,
                    high=high,
                    slips=slips,
                )
            )
    return doubts


def _spread(begun: BegunRun) -> float:
    """How far apart the readings before the load are."""
    values = _before(begun)
    return max(values, default=0.0) - min(values, default=0.0)


def _next(begun: BegunRun, now: datetime | None) -> list[ToDo]:
    if not begun.counted:
        first = "read the gauge before the load goes on, best three times with the gauge put on anew"
        return [ToDo(first), *_from_loading(begun, now)]
    if not begun.steps:
        return [ToDo('put the load on and note when: creepfit add RUN --loaded "0.4 kg"'), *_from_loading(begun, now)]
    return _from_loading(begun, now)


def _from_loading(begun: BegunRun, now: datetime | None) -> list[ToDo]:
    under_load, after = times_at_the_bench(begun)
    off = under_load[-1]
    read = [r.time for r in begun.counted if r.time > 0.0] if begun.steps else []
    todo = []
    for t in under_load[:-1]:
        clock = begun.clock_time(t)
        gone = clock is not None and now is not None and _apart(clock, now) < -MINUTE
        if t > LEAST_DECADES * max(read, default=0.0) and not gone:
            todo.append(_at(f"read {time_words(t)} after loading", t, clock))
    early = ", ".join(time_words(t) for t in after)
    then = f", take the load off then, and read {early} after that" if after else ""
    todo.append(_at(f"read {time_words(off)} after loading{then}", off, begun.clock_time(off)))
    return todo


def _apart(clock: datetime, now: datetime) -> float:
    if (clock.tzinfo is None) != (now.tzinfo is None):
        now = now.astimezone() if now.tzinfo is None else now.astimezone().replace(tzinfo=None)
    return (clock - now).total_seconds()


def _at(text: str, time: float, clock: datetime | None) -> ToDo:
    return ToDo(text if clock is None else f"{text} ({clock_time(clock)})", time, clock)
