"""What is doubtful about known runs: they contradict, were made in other conditions, or reach no further."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.known import KnownFit


def known_doubts(fit: Fit) -> Iterator[Caution]:
    """Doubts about the known runs of a fit."""
    if not isinstance(fit, KnownFit):
        return
    for known in fit.known:
        if known.contradicts:
            weight = "It has no weight in the answer"
            if any(known is counting for counting in fit.used):
                weight = f"It counts by {100.0 * known.belongs:.0f} %, and the rest of the answer is without it"
            yield words.KNOWN_CONTRADICTS(name=known.name, probability=known.misfit.probability, weight=weight)
        elif known.differences:
            yield words.KNOWN_DIFFERS(name=known.name, differences="; ".join(known.differences))
