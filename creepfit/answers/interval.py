"""Intervals from draws, and cautions: what every answer is made of."""

from __future__ import annotations

from dataclasses import dataclass

from creepfit.inference.response import Interval, Predicted
from creepfit.mechanics.loading import Array
from creepfit.units import HOUR

__all__ = ["Caution", "Interval", "IntervalAt", "ends_of", "in_hours", "interval", "intervals"]


def interval(draws: Array, level: float) -> Interval:
    """Central interval of one quantity's draws, shape (N,), at probability `level`."""
    return Predicted(draws).interval(level)


def intervals(draws: Array, level: float) -> list[Interval]:
    """One interval for each column of draws, shape (N, T)."""
    return Predicted(draws).intervals(level)


def ends_of(interval: Interval | None) -> dict[str, float | None]:
    """An interval for JSON, whose ends are None where it is not known."""
    return {"low": None, "median": None, "high": None} if interval is None else dict(interval.to_dict())


def in_hours(seconds: float | None) -> float | None:
    """A time for JSON, None where it is not known."""
    return None if seconds is None else seconds / HOUR


@dataclass(frozen=True)
class IntervalAt:
    """An interval and the time [s] it is of."""

    time: float
    interval: Interval

    def to_dict(self) -> dict[str, float]:
        return {"time_h": self.time / HOUR, **self.interval.to_dict()}


@dataclass(frozen=True, eq=False)
class IntervalCurve:
    """Low, median and high over times [s], each of shape (T,)."""

    times: Array
    low: Array
    median: Array
    high: Array


@dataclass(frozen=True)
class Caution:
    """A doubt raised by the case: what it does to the answer, and which reading would settle it (None: none would).

    Of two, the one with the lower rank matters more. `at_desk` is what settles it in the words of forms, where
    `settled_by` names keys of a file or a command.
    """

    code: str
    text: str
    settled_by: str | None = None
    rank: int = 500
    at_desk: str | None = None

    @property
    def settled_at_desk(self) -> str | None:
        """What would settle it, to one who fills in forms."""
        return self.at_desk or self.settled_by

    def to_dict(self) -> dict[str, str | None]:
        return {"code": self.code, "text": self.text, "settled_by": self.settled_by}
