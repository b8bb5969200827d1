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
            counts = any(known is other for other in fit.used)
            yield words.KNOWN_CONTRADICTS(
                name=known.name, probability=known.misfit.probability, belongs=known.belongs, counts=counts
            )
        elif known.differences:
            yield words.KNOWN_DIFFERS(name=known.name, differences="; ".join(known.differences))
