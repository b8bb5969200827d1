"""Which way a force acts or a gauge reads, as users write it."""

from __future__ import annotations

import math

from creepfit.errors import InputError
from creepfit.mechanics.beam_loads import Direction
from creepfit.units import quantity


def read_direction(text: str | None, key: str = "direction") -> Direction:
    """Which way a force acts or a gauge reads: "vertical" (down), "perpendicular" or an angle above the horizontal.

    Raises
    ------
    InputError
        None of them.
    """
    if text is None or text == "vertical":
        return "vertical"
    if text == "perpendicular":
        return "perpendicular"
    try:
        return math.degrees(quantity(text, "angle"))
    except InputError as error:
        expected = 'vertical, perpendicular or an angle above the horizontal such as "30 deg"'
        raise InputError(error.problem, key=key, found=text, expected=expected) from None
