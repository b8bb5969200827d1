"""Dates that a user asks about, as times since the run's first loading, or since its unloading."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, time, timedelta

from creepfit.errors import InputError
from creepfit.records.moments import date_time, day_of, is_day, looks_like_date

MIDDAY = time(12)
"""What hour of a day is meant where only the day is asked about."""


AskedTimes = Iterable[str | float] | str | float


def since_loading(asked: AskedTimes, began: datetime | None, key: str = "at", unloading: float | None = None) -> AskedTimes:
    """Return the times asked about, those that are dates as seconds since the first loading, or since an `unloading`.

    Parameters
    ----------
    asked : times
        "30 d", s, "2031-06-04" or "2031-06-04 16:30".
    began : datetime or None
        When the first load was put on; None where that is not known.
    key : str
        What a mistake is said of.
    unloading : float, optional
        From when on times count instead, s since the first loading.

    Raises
    ------
    InputError
        A date where `began` is not known, one before it or the unloading, or one that is none.
    """

    def seconds(one: str | float) -> str | float:
        if not isinstance(one, str) or not looks_like_date(one):
            return one
        try:
            return _seconds(one, began, unloading)
        except InputError as error:
            raise error.within(key=key) from None

    if isinstance(asked, str) or not isinstance(asked, Iterable):
        return seconds(asked)
    return [seconds(one) for one in asked]


def _seconds(text: str, began: datetime | None, unloading: float | None) -> float:
    event = "the first loading" if unloading is None else "the unloading"
    if began is None:
        problem = "a date, and it is not known on which the load was put on"
        expected = f'a time since {event} such as "5 d", or in [run] start = "2031-05-04 16:30"'
        raise InputError(problem, found=text, expected=expected)
    when = datetime.combine(day_of(text), MIDDAY) if is_day(text) else date_time(text)
    start = began + timedelta(seconds=unloading or 0.0)
    gone = (when if when.tzinfo and start.tzinfo else when.replace(tzinfo=start.tzinfo)) - start
    if gone.total_seconds() <= 0.0:
        raise InputError(found=text, expected=f"a date after {event}, {start:%Y-%m-%d %H:%M}")
    return gone.total_seconds()
