"""Intervals from draws, and the shape every answer has."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from creepfit.mechanics.loading import Array
from creepfit.units import HOUR

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True)
class Interval:
    """Median and ends of the central credible interval of the answer's level, in the answer's unit."""

    low: float
    median: float
    high: float

    def to_dict(self) -> dict[str, float]:
        return {"low": self.low, "median": self.median, "high": self.high}


class Answer(Protocol):
    """What every result offers."""

    def table(self) -> DataFrame: ...

    def to_dict(self) -> dict[str, Any]: ...


def interval(draws: Array, level: float) -> Interval:
    """Central interval of one quantity's draws, shape (N,), at probability `level`."""
    low, median, high = np.quantile(draws, [0.5 - level / 2.0, 0.5, 0.5 + level / 2.0])
    return Interval(float(low), float(median), float(high))


def intervals(draws: Array, level: float) -> list[Interval]:
    """One interval for each column of draws, shape (N, T)."""
    rows = np.quantile(draws, [0.5 - level / 2.0, 0.5, 0.5 + level / 2.0], axis=0)
    return [Interval(*map(float, row)) for row in rows.T]


@dataclass(frozen=True)
class IntervalAt:
    """An interval and the time [s] it is of."""

    time: float
    interval: Interval

    def to_dict(self) -> dict[str, float]:
        return {"time_h": self.time / HOUR, **self.interval.to_dict()}


@dataclass(frozen=True)
class Caution:
    """A doubt raised by the case: what it does to the answer, and which reading would settle it (None: none would)."""

    code: str
    text: str
    settled_by: str | None = None

    def to_dict(self) -> dict[str, str | None]:
        return {"code": self.code, "text": self.text, "settled_by": self.settled_by}
