"""Doubts about a part that is known by an elastic analysis made elsewhere: what the analysis has to hold for."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.mechanics.analysed import Analysed
from creepfit.units import show_number

USUAL_POISSON = 0.3, 0.45
"""Of plastics that keep their shape (common practice, no source)."""


def analysis_doubts(analysed: Analysed) -> Iterator[Caution]:
    """What the user knows of an analysis, and creepfit does not."""
    if analysed.formula:
        yield Caution(
            "textbook-formula",
            f"The part is taken as {analysed.formula}, by its textbook formula: small deflections, ends and mountings that "
            "do not give way. It is twisted, of which the specimen shows nothing: torsion is taken to creep as tension and "
            "bending do, and printed layers can be several times weaker in it. Its stress is the equivalent in tension.",
            "the part's deflection under its load shortly after it is put up, and after a day",
        )
        return
    yield Caution(
        "analysis-taken-as-given",
        "The shape was not looked at here: the sag is the deflection of an elastic analysis made elsewhere, with the "
        f"modulus of {show_number(analysed.modulus)} MPa replaced by the creep modulus of each time. That holds for one "
        "linear material, supports that do not give way, no contact that opens or closes, and small rotations.",
        "the part's deflection under its load shortly after it is put up",
    )
    unsaid = [
        words
        for words, said in (("under which load", analysed.load), ("where the deflection was read", analysed.read_at))
        if not said
    ]
    if unsaid:
        yield Caution(
            "analysis-unsaid",
            f"[elastic] does not say {' and '.join(unsaid)}: a deflection of another load or of another place gives "
            "another sag, and nothing here would show it.",
            "load and read_at in [elastic], in words",
        )
    low, high = USUAL_POISSON
    if analysed.poisson is not None and not low <= analysed.poisson <= high:
        yield Caution(
            "analysis-poisson",
            f"The analysis has a Poisson's ratio of {analysed.poisson:g}; that of plastics is mostly {low:g} to {high:g}, "
            "and plates and thick places deflect by some per cent more or less with it.",
            "the analysis with a ratio of 0.38",
        )
