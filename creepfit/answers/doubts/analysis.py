"""Doubts about a part that is known by an elastic analysis made elsewhere: what the analysis has to hold for."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import part as words
from creepfit.answers.interval import Caution
from creepfit.mechanics.analysed import Analysed

USUAL_POISSON = 0.3, 0.45
"""Of plastics that keep their shape (common practice, no source)."""


def analysis_doubts(analysed: Analysed) -> Iterator[Caution]:
    """What the user knows of an analysis, and creepfit does not."""
    if "panel" in analysed.formula:
        yield words.PANEL_FORMULA(formula=analysed.formula, poisson=analysed.poisson)
        return
    if analysed.formula:
        yield words.TEXTBOOK_FORMULA(formula=analysed.formula)
        return
    yield words.ANALYSIS_TAKEN_AS_GIVEN(modulus=analysed.modulus)
    unsaid = [
        what
        for what, said in (("under which load", analysed.load), ("where the deflection was read", analysed.read_at))
        if not said
    ]
    if unsaid:
        yield words.ANALYSIS_UNSAID(unsaid=" and ".join(unsaid))
    low, high = USUAL_POISSON
    if analysed.poisson is not None and not low <= analysed.poisson <= high:
        yield words.ANALYSIS_POISSON(poisson=analysed.poisson, low=low, high=high)
