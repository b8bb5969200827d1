"""What is doubtful about known runs: they contradict, mislead, or were made in other conditions."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.hindcast import Hindcast, hindcast
from creepfit.inference.known import KnownFit
from creepfit.shown import listed

HELD_AT_MOST, BETTER_WITHOUT, MISSED_BY = 0.5, 0.25, 1.5
"""Where known runs are said to mislead: a hindcast with them holds at most this share of later readings, one without this
share more, and the reading missed by most lies so many times as far off as its interval reaches. Readings of one run miss
together: of specimens that belong one in ten has all outside a 90 % interval, but one in a hundred so far (judgement)."""


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
    yield from _misleading(fit)


def _misleading(fit: KnownFit) -> Iterator[Caution]:
    """The forecast from the first part of the run did badly with known runs that count, and better without."""
    counting = [known.name for known in fit.used if not known.contradicts]
    together = fit.hindcast_with if counting else None
    if not isinstance(together, Hindcast) or together.inside > HELD_AT_MOST * together.readings:
        return
    if max(one.off for one in together.foretold) < MISSED_BY:
        return
    alone = hindcast(fit.by_itself)
    if isinstance(alone, Hindcast) and alone.inside - together.inside >= BETTER_WITHOUT * together.readings:
        yield words.KNOWN_MISLEADS(
            names=listed(counting),
            several=len(counting) > 1,
            until=together.fitted_to,
            inside=together.inside,
            readings=together.readings,
            alone=alone.inside,
        )
