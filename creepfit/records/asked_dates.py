"""Dates that a user asks about, as times since the run's first loading."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, time

from creepfit.errors import InputError
from creepfit.records.moments import date_time, day_of, is_day, looks_like_date

MIDDAY = time(12)
"""What hour of a day is meant where only the day is asked about."""


AskedTimes = Iterable[str | float] | str | float


def since_loading(asked: AskedTimes, began: datetime | None) -> AskedTimes:
    """Return the times asked about, those that are dates as seconds since the first loading.

    Parameters
    ----------
    asked : times
        "30 d", s, "2031-06-04" or "2031-06-04 16:30".
    began : datetime or None
        When the first load was put on; None where that is not known.

    Raises
    ------
    InputError
        A date where `began` is not known, one before it, or one that is none.
    """
    if isinstance(asked, str):
        return _seconds(asked, began) if looks_like_date(asked) else asked
    if not isinstance(asked, Iterable):
        return asked
    return [_seconds(one, began) if isinstance(one, str) and looks_like_date(one) else one for one in asked]


def _seconds(text: str, began: datetime | None) -> float:
    if began is None:
        problem = "a date, and it is not known on which the load was put on"
        expected = 'a time since first loading such as "5 d", or in [run] start = "2031-05-04 16:30"'
        raise InputError(problem, key="at", found=text, expected=expected)
    try:
        when = datetime.combine(day_of(text), MIDDAY) if is_day(text) else date_time(text)
    except InputError as error:
        raise error.within(key="at") from None
    gone = (when if when.tzinfo and began.tzinfo else when.replace(tzinfo=began.tzinfo)) - began
    if gone.total_seconds() <= 0.0:
        raise InputError(key="at", found=text, expected=f"a date after the first loading, {began:%Y-%m-%d %H:%M}")
    return gone.total_seconds()
