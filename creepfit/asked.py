"""What a user asks for, from text or number to internal units: times, levels, sizes.

Every question takes its times as "5 d" or in s, its level as 0.9 or "90 %", and says the same sentence about a slip.
"""

from __future__ import annotations

from collections.abc import Iterable
from numbers import Real
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from creepfit.errors import InputError
from creepfit.units import DAY, HOUR, MINUTE, YEAR, Kind, example_of, quantity, show_number

OfKind = TypeVar("OfKind")
Asked = str | float
"""A quantity as asked for: text with a unit, or a number in the internal unit."""


def asked_time(given: object, key: str) -> float:
    """Return a time above zero in s from "5 d" or a number of s.

    Raises
    ------
    InputError
        No time, not above zero, or without end.
    """
    seconds = float(given) if _number(given) else quantity(given, "time", key=key)  # type: ignore[arg-type]
    if not 0.0 < seconds < np.inf:
        raise InputError(key=key, found=given, expected='a time above zero, such as "30 d"')
    return seconds


def asked_times(given: Iterable[Asked] | Asked, key: str) -> NDArray[np.float64]:
    """Return times in s, shape (T,), from one or several; in the order asked for.

    Raises
    ------
    InputError
        None at all, or one that is none (see `asked_time`).
    """
    listed = [given] if isinstance(given, str) or _number(given) else _listed(given, key)
    if not listed:
        raise InputError(key=key, found="no time", expected='times such as "30 d"')
    return np.array([asked_time(one, key) for one in listed])


USUAL_TIMES = (MINUTE, HOUR, DAY, 30.0 * DAY, YEAR)
"""Times of an answer for which none was asked, s."""


HIGHEST_LEVEL = 0.99
"""Of 4000 draws twenty lie beyond each end of such an interval; further out an end hangs on single ones."""


def usual_times(horizon: float) -> list[float]:
    """Return the last two usual times that a test answers for, up to its `horizon` [s]; that itself where none is."""
    return [t for t in USUAL_TIMES if t <= horizon][-2:] or [horizon]


def asked_level(given: object, key: str = "level") -> float:
    """Return the probability of an interval from 0.9 or "90 %"; InputError where it is none up to `HIGHEST_LEVEL`."""
    expected = 'a probability between 0 and 1 such as 0.9 or "90 %"'
    try:
        level = float(given) if _number(given) else round(quantity(given, "fraction"), 12)  # type: ignore[arg-type]
    except InputError:
        raise InputError(key=key, found=given, expected=expected) from None
    if not 0.0 < level < 1.0:
        raise InputError(key=key, found=given, expected=expected)
    if level > HIGHEST_LEVEL:
        problem = "nobody can tell the ends of so sure an interval"
        raise InputError(problem, key=key, found=given, expected=f"{HIGHEST_LEVEL:g} or less")
    return level


def tails(level: float) -> tuple[float, float, float]:
    """Probabilities of the low end, the median and the high end of a central interval."""
    return 0.5 - level / 2.0, 0.5, 0.5 + level / 2.0


def asked_size(given: object, kind: Kind, key: str) -> float:
    """Return a size above zero in the internal unit, from text or number: a limit, a threshold, a stress.

    Raises
    ------
    InputError
        No such quantity, not above zero, or without end.
    """
    size = float(given) if _number(given) else quantity(given, kind, key=key)  # type: ignore[arg-type]
    if not 0.0 < size < np.inf:
        raise InputError(key=key, found=given, expected=f"{example_of(kind)}, above zero")
    return size


def asked_fraction(given: object, key: str) -> float:
    """Return a fraction from 0 to 1 from 0.08 or "8 %"; InputError where it is none."""
    value = quantity(given, "fraction", key=key)
    if not 0.0 <= value < 1.0:
        raise InputError(key=key, found=given, expected='a fraction from 0 to 1 such as 0.08 or "8 %"')
    return value


def asked_count(given: object, key: str, what: str) -> int:
    """Return a whole number above zero; InputError where it is none."""
    if not _number(given) or given != int(given) or given < 1:  # type: ignore[call-overload,operator]
        shown = show_number(float(given)) if _number(given) else given  # type: ignore[arg-type]
        raise InputError(key=key, found=shown, expected=f"a number of {what} above zero")
    return int(given)  # type: ignore[call-overload, no-any-return]


def asked_for(given: Any, kind: type[OfKind], name: str, expected: str) -> OfKind:
    """Return what was given where it is of the type that is wanted.

    Raises
    ------
    InputError
        Something else, with how to come to the wanted from there.
    """
    if not isinstance(given, kind):
        raise InputError(f"a {type(given).__name__} where a {kind.__name__} is wanted", key=name, expected=expected)
    return given


def asked_for_each(given: Any, kind: type[OfKind], name: str, expected: str) -> tuple[OfKind, ...]:
    """The same for a list of them; InputError for one alone as well."""
    if isinstance(given, kind) or not isinstance(given, Iterable) or isinstance(given, str):
        raise InputError(f"one {type(given).__name__}", key=name, expected=f"a list, each of it {expected}")
    return tuple(asked_for(one, kind, name, expected) for one in given)


def _number(given: object) -> bool:
    return isinstance(given, Real) and not isinstance(given, bool | np.bool_)


def _listed(given: Any, key: str) -> list[object]:
    try:
        return list(given)
    except TypeError:
        raise InputError(key=key, found=given, expected='times such as "30 d"') from None
