"""What an answer begins with where its number alone would mislead: a slip to settle first, readings that contradict."""

from __future__ import annotations

import math

from creepfit.answers.doubts.withheld import Withheld
from creepfit.report.text.pieces import Unit
from creepfit.units import show_number

NOT_RELIED_ON = ", so nothing that follows is to be relied on"


def in_place_of_a_number(instead: Withheld, when: str) -> str:
    """The sentence in place of a number, `when` in words; a slip is a question of its own."""
    if not instead.because:
        return instead.text
    if instead.leads:
        return f"{instead.text} So no number is given for {when}."
    return f"No number is given for {when}: {instead.text[0].lower()}{instead.text[1:]}"


def not_a_forecast(instead: Withheld | None) -> str:
    """What is said beside numbers that follow although none is given in the first line; "" elsewhere."""
    return "" if instead is None else f"Not a forecast: {instead.because or instead.short}."


def exceeded_at_once(limit: float, loading: float, unit: Unit) -> str:
    """What is said of a limit that the load breaks as it goes on, both in the answer's unit."""
    whole = math.floor(100.0 * abs(limit) / abs(loading))
    share = f"at most {whole} %" if whole else "less than 1 %"
    moved = show_number(abs(loading) * unit.factor, digits=2)
    against = f"{moved} {unit.name} against {unit.number(abs(limit))} {unit.name}"
    return f"exceeded as soon as it is loaded: {against}; {share} of the load even without creep"
