"""Times that a person can keep: within working hours, not at the weekend unless that is wanted."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from creepfit.errors import InputError
from creepfit.units import HOUR


@dataclass(frozen=True)
class WorkingHours:
    """When somebody is there to read: `opens` and `closes` in s since midnight, and whether also on Saturday and Sunday."""

    opens: float = 8.0 * HOUR
    closes: float = 17.0 * HOUR
    weekends: bool = False

    def holds(self, when: datetime) -> bool:
        """Whether somebody is there."""
        since = (when - when.replace(hour=0, minute=0, second=0, microsecond=0)).total_seconds()
        return self._is_workday(when) and self.opens <= since <= self.closes

    def nearest(self, when: datetime, not_before: datetime | None = None) -> datetime:
        """The moment closest to `when` at which somebody is there, not before another one."""
        if self.holds(when) and (not_before is None or when >= not_before):
            return when
        midnight = when.replace(hour=0, minute=0, second=0, microsecond=0)
        tried = []
        for days in range(-4, 8):
            day = midnight + timedelta(days=days)
            if self._is_workday(day):
                tried += [day + timedelta(seconds=self.opens), day + timedelta(seconds=self.closes)]
                if not_before is not None and self.holds(not_before) and not_before.date() == day.date():
                    tried.append(not_before)
        tried = [t for t in tried if not_before is None or t >= not_before]
        return min(tried, key=lambda t: abs((t - when).total_seconds()))

    def _is_workday(self, when: datetime) -> bool:
        return self.weekends or when.weekday() < 5

    @property
    def words(self) -> str:
        days = "every day" if self.weekends else "Monday to Friday"
        return f"{days}, {_clock(self.opens)} to {_clock(self.closes)}"


def _clock(seconds: float) -> str:
    return f"{int(seconds // HOUR)}:{int(seconds % HOUR // 60):02d}"


def working_hours(text: str | None = None, weekends: bool = False) -> WorkingHours:
    """Read "8-17" or "7:30-16:00".

    Raises
    ------
    InputError
        No such hours.
    """
    if text is None:
        return WorkingHours(weekends=weekends)
    expected = 'two times of day such as "8-17" or "7:30-16:00"'
    try:
        opens, closes = (_of_day(part) for part in text.replace("\u2013", "-").split("-"))
    except ValueError:
        raise InputError(key="hours", found=text, expected=expected) from None
    if not 0.0 <= opens < closes <= 24.0 * HOUR - 60.0:
        raise InputError(key="hours", found=text, expected=expected)
    return WorkingHours(opens, closes, weekends)


def _of_day(text: str) -> float:
    hour, _, minute = text.strip().partition(":")
    if not 0 <= int(minute or 0) < 60:
        raise ValueError(text)
    return int(hour) * HOUR + int(minute or 0) * 60.0


def first_day(begin: str | datetime | None) -> datetime | None:
    """Return a day from text; InputError where it is none."""
    if begin is None or isinstance(begin, datetime):
        return begin
    try:
        return datetime.fromisoformat(begin).replace(tzinfo=None)
    except (ValueError, TypeError):
        raise InputError(key="begin", found=begin, expected='a day such as "2031-05-05"') from None
