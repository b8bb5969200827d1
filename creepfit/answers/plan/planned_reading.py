"""A reading that is to be taken."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from creepfit.answers.interval import in_hours
from creepfit.answers.wording import clock_cell, clock_time, time_words
from creepfit.units import HOUR


@dataclass(frozen=True)
class PlannedReading:
    """One reading to take: `time` in s since first loading, `after` in s since unloading where there was one by then."""

    time: float
    after: float | None = None
    clock: datetime | None = None

    @property
    def text(self) -> str:
        """In words: "8 d", "1 h after it", with its date where it is known."""
        when = time_words(self.time) if self.after is None else f"{time_words(self.after)} after the unloading"
        return when if self.clock is None else f"{when} ({clock_time(self.clock)})"

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.time / HOUR,
            "after_unloading_h": in_hours(self.after),
            "clock": clock_cell(self.clock),
        }
