"""What a user asks of a part, from texts and numbers to internal units."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array
from creepfit.units import quantity


def asked_times(at: Sequence[str | float] | str | float, key: str) -> Array:
    """Times in s, shape (T,), from texts and numbers.

    Raises
    ------
    InputError
        None at all, or one not above zero.
    """
    listed = [at] if isinstance(at, str | int | float) else list(at)
    if not listed:
        raise InputError(key=key, found="no time", expected='times such as "1 year"')
    out = []
    for value in listed:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        seconds = float(value) if number else quantity(value, "time", key=key)
        if not 0.0 < seconds < np.inf:
            raise InputError(key=key, found=value, expected='a time above zero, such as "1 year"')
        out.append(seconds)
    return np.array(out)


def asked_length(limit: str | float) -> float:
    """Sag not to be exceeded, mm; InputError where it is no length above zero."""
    number = isinstance(limit, int | float) and not isinstance(limit, bool)
    value = float(limit) if number else quantity(limit, "length", key="limit")
    if not 0.0 < value < np.inf:
        raise InputError(key="limit", found=limit, expected='a length above zero, such as "2 mm"')
    return value


def asked_level(level: float) -> float:
    """Probability of the intervals; InputError where it is none."""
    if isinstance(level, bool) or not isinstance(level, int | float) or not 0.0 < level < 1.0:
        raise InputError(key="level", found=level, expected="a probability between 0 and 1, such as 0.9")
    return float(level)


def asked_scatter(given: str | float) -> float:
    """Scatter from the specimen to the part, as a fraction; InputError where it is none."""
    value = quantity(given, "fraction", key="specimen_scatter")
    if not 0.0 <= value < 1.0:
        raise InputError(key="specimen_scatter", found=given, expected='a fraction from 0 on, such as "8 %"')
    return value
