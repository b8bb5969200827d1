"""What an answer begins with where its number alone would mislead: a slip to settle first, readings that contradict."""

from __future__ import annotations

import math

from creepfit.answers.doubts.collected import about_fit, no_number
from creepfit.answers.doubts.mistyped import MISTYPED
from creepfit.answers.doubts.readings import CONTRADICTING
from creepfit.answers.doubts.slips import WITHHELD_BEYOND, NotForecast, withheld
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.report.text.pieces import Unit
from creepfit.units import show_number

_NAMING = (*MISTYPED, "readings-contradict", "load-came-off", "event-by-one-reading", "outlier", "load-time", "jump",
           "copied-reading", "no-model-fits-loads")  # fmt: skip
"""Doubts that name the reading or load to look at, the most telling first."""


def instead_of_a_number(fit: Fit) -> str | None:
    """The sentence in place of the answer where sizes, columns or the gauge's sense cannot be right."""
    if isinstance(fit, PooledFit):
        return None
    caution = withheld(about_fit(fit))
    return None if caution is None else caution.text


def instead_of_a_forecast(fit: Fit, time: float, when: str) -> str | None:
    """The sentence in place of the answer for a time [s], in words `when`: a slip, or creep that speeds up."""
    why = no_number(fit, time)
    if why is None or why.code not in WITHHELD_BEYOND:
        return None if why is None else why.text
    return f"No number is given for {when}: {after_colon(why)}"


def after_colon(doubt: Caution) -> str:
    """A doubt's sentence as it goes on behind a colon."""
    return f"{doubt.text[0].lower()}{doubt.text[1:]}"


def no_forecast(fit: Fit, time: float) -> str:
    """What is said beside numbers that follow although none is given for a time [s] in the first line; "" elsewhere."""
    instead = not_forecast(fit, time)
    return "" if instead is None else f"Not a forecast: {instead.because}."


def not_forecast(fit: Fit, time: float) -> NotForecast | None:
    """What is said where the readings allow no number for a time [s] beyond the test; None where they do."""
    why = no_number(fit, time)
    return None if why is None else WITHHELD_BEYOND.get(why.code)


def nothing_promised(fit: Fit, time: float) -> str | None:
    """Why no load, thickness or life is named for a time [s] from such readings; None where they can be."""
    why = no_number(fit, time)
    if why is not None:
        instead = WITHHELD_BEYOND.get(why.code)
        return f"nothing is promised{' before that is settled' if instead is None else f', as {instead.because}'}"
    return (
        None if contradiction(fit) is None else "nothing is promised, as the readings contradict each other or every model"
    )


def contradiction(fit: Fit) -> str | None:
    """Why an answer is not to be relied on: the readings lie many times the gauge's noise about every model."""
    if isinstance(fit, PooledFit) or not fit.models:
        return None
    lowest = min(m.residual_sum / max(m.free, 1) for m in fit.models.values())
    ratio = math.sqrt(lowest) / fit.observed.noise.stated
    if ratio < CONTRADICTING:
        return None
    doubts = {c.code: c for c in reversed(about_fit(fit))}
    named = next((doubts[code] for code in _NAMING if code in doubts), None)
    said = "" if named is None else named.text.split(". ")[0].rstrip(".")
    look = f" {said}{'' if said.endswith('?') else '.'}" if said else ""
    far = f"they lie {show_number(ratio, digits=2)} times the gauge's noise about the best model"
    return f"The readings contradict each other or every model ({far}), so nothing that follows is to be relied on.{look}"


def exceeded_at_once(limit: float, loading: float, unit: Unit) -> str:
    """What is said of a limit that the load breaks as it goes on, both in the answer's unit."""
    share = math.floor(100.0 * abs(limit) / abs(loading))
    moved = show_number(abs(loading) * unit.factor, digits=2)
    against = f"{moved} {unit.name} against {unit.number(abs(limit))} {unit.name}"
    return f"exceeded as soon as it is loaded: {against}; at most {share} % of the load even without creep"
