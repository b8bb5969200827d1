"""Moments as users write them: elapsed times ("5 d") or date-times, and the clock that brings both together."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

from creepfit.errors import InputError
from creepfit.limits import TOO_LARGE
from creepfit.units import quantity

Moment = float | datetime
"""Elapsed seconds on the file's own clock, or a date-time."""

MOMENT_EXAMPLE = 'a time such as "5 d" or a date-time such as "2031-05-04 16:30"'

_EUROPEAN = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4}|\d{2}),?\s+(\d{1,2}):(\d{2})(?::(\d{2}))?")
_GERMAN_DAY = re.compile(r"(\d{1,2})\.(\d{1,2})\.(\d{4}|\d{2})")
_SHORT_YEAR = re.compile(r"\s*(\d{1,2}\.\d{1,2}\.\d{2})(?:,?\s.*)?", re.DOTALL)
_TIME_OF_DAY = re.compile(r"(\d{1,2})[:.](\d{2})(?::(\d{2}))?(?:\s*(?:h|Uhr))?")
_DAYS_BACK = {"today": 0, "yesterday": 1, "heute": 0, "gestern": 1}
_LOOKS_LIKE_DATE = re.compile(r"\s*(?:\d{4}-\d|\d{8}T|\d{1,2}[./-]\d{1,2}[./-]\d{2,4})")


def moment(value: object) -> Moment:
    """Return an elapsed time in s, or a date-time.

    Date-times are ISO 8601 ("2031-05-04 16:30") or day.month.year ("4.5.2031 16:30", "4.5.31 16:30"); a date written
    with slashes is refused, as half the world reads 4/5 as April.

    Raises
    ------
    InputError
        Neither of the two, or a date without the time of day.
    """
    if isinstance(value, datetime):
        return value
    if isinstance(value, timedelta):
        return value.total_seconds()
    if isinstance(value, date | time):
        raise InputError(found=str(value), expected=MOMENT_EXAMPLE)
    if isinstance(value, str) and looks_like_date(value):
        return date_time(value)
    try:
        return quantity(value, "time")
    except InputError as error:
        expected = error.expected if error.problem == TOO_LARGE else MOMENT_EXAMPLE
        raise InputError(error.problem, found=error.found, expected=expected) from None


def looks_like_date(text: str) -> bool:
    """Whether a text begins as a date does, be it a good one or not."""
    return _LOOKS_LIKE_DATE.match(text) is not None


def date_time(text: str) -> datetime:
    """Return the date-time in a text, see `moment`."""
    text = text.strip()
    expected = 'a date-time such as "2031-05-04 16:30" or "4.5.2031 16:30"'
    european = _EUROPEAN.fullmatch(text)
    try:
        if european:
            day, month, year, hour, minute, second = (int(g or 0) for g in european.groups())
            return datetime(_whole_year(year), month, day, hour, minute, second)
        if ":" in text or "T" in text:  # fromisoformat takes a bare date for midnight
            return datetime.fromisoformat(text)
    except ValueError:
        pass
    raise InputError(found=text, expected=expected)


def _whole_year(year: int) -> int:
    """A year of two digits is one of this century."""
    return 2000 + year if year < 100 else year


def short_year(cell: object) -> str | None:
    """Return the date in a cell whose year has two digits, "26.11.26"; None where there is none."""
    match = _SHORT_YEAR.fullmatch(cell) if isinstance(cell, str) else None
    return match[1] if match else None


def day_of(cell: object) -> date:
    """Return the day in a cell: "2031-05-04", "4.5.2031" or a spreadsheet's date.

    Raises
    ------
    InputError
        None of these; a date written with slashes, as half the world reads 4/5 as April.
    """
    if isinstance(cell, datetime):
        return cell.date()
    if isinstance(cell, date):
        return cell
    text = str(cell).strip()
    try:
        if german := _GERMAN_DAY.fullmatch(text):
            day, month, year = (int(g) for g in german.groups())
            return date(_whole_year(year), month, day)
        return date.fromisoformat(text.removesuffix(" 00:00:00"))
    except ValueError:
        raise InputError(found=text, expected='a date such as "2031-05-04" or "4.5.2031"') from None


def is_day(cell: object) -> bool:
    """Whether a cell holds a day without the time; a spreadsheet shows one as midnight."""
    if isinstance(cell, datetime):
        return cell.time() == time()
    try:
        day_of(cell)
    except InputError:
        return False
    return True


def time_of_day(cell: object) -> time:
    """Return the time of day in a cell: "16:30", "16:30:15" or a spreadsheet's time.

    Raises
    ------
    InputError
        Neither.
    """
    if isinstance(cell, datetime):
        return cell.time()
    if isinstance(cell, time):
        return cell
    if isinstance(cell, timedelta):
        cell = str(cell)
    text = str(cell).strip()
    match = _TIME_OF_DAY.fullmatch(text)
    try:
        if match is not None:
            hour, minute, second = (int(g or 0) for g in match.groups())
            return time(hour, minute, second)
    except ValueError:
        pass
    raise InputError(found=text, expected='a time of day such as "16:30"')


def moment_or_now(text: str) -> Moment:
    """Return when something at the bench happened: "now", "16:30" of today, "yesterday 16:30", or as `moment`.

    Raises
    ------
    InputError
        None of these.
    """
    now = datetime.now().replace(microsecond=0)
    if text.strip().casefold() == "now":
        return now
    day, _, hour = text.strip().partition(" ")
    back = _DAYS_BACK.get(day.casefold())
    if back is not None and not hour.strip():
        raise InputError(found=text, expected=f'the time of day with it, such as "{day} 16:30"')
    try:
        return datetime.combine(now.date() - timedelta(days=back or 0), time_of_day(text if back is None else hour))
    except InputError:
        if back is not None:
            raise
    return moment(text.strip())


@dataclass(frozen=True)
class Clock:
    """Turns moments into seconds since the first load.

    `zero` is the date-time from which elapsed times count (None where there is none), `first_load` the first
    load's moment in elapsed seconds.
    """

    zero: datetime | None
    first_load: float

    @classmethod
    def of(cls, first_load: Moment, start: datetime | None, others: Iterable[tuple[str | None, str, Moment]]) -> Clock:
        """Build the clock of a file.

        Parameters
        ----------
        first_load : Moment
            When the first load was put on.
        start : datetime or None
            The date-time elapsed times are counted from; without one they count from a first load that has a
            date-time.
        others : iterable of (file, key, Moment)
            All other moments in the file: date-times among them need one to count from.

        Raises
        ------
        InputError
            Date-times beside a first load known by elapsed time only.
        """
        zero = start if start is not None else (first_load if isinstance(first_load, datetime) else None)
        if zero is None:
            for file, key, other in others:
                if isinstance(other, datetime):
                    raise InputError(
                        "the first load has an elapsed time only, so date-times cannot be counted from it",
                        file=file,
                        key=key,
                        found=str(other),
                        expected="a date-time as the first load's `at`, or `start` in [run]",
                    )
        elapsed = first_load if isinstance(first_load, float) else _between(zero, first_load, "load 1, at")
        return cls(zero, elapsed)

    def seconds(self, when: Moment, key: str) -> float:
        """Return seconds since the first load; `key` names the place for a message.

        Raises
        ------
        InputError
            Where one date-time has a time zone and another has none.
        """
        elapsed = when if isinstance(when, float) else _between(self.zero, when, key)
        # To the microsecond: a reading "at the load's own time" must not slip behind it by a rounding of 0.1 h.
        return round(elapsed - self.first_load, 6)


def _between(zero: datetime | None, when: datetime, key: str) -> float:
    if zero is None:
        raise AssertionError("a clock without a date-time never meets one: Clock.of has refused it")
    try:
        return (when - zero).total_seconds()
    except TypeError:
        raise InputError(
            key=key, found=str(when), expected="date-times that all have a time zone, or none of them"
        ) from None
