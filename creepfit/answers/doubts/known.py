"""What is doubtful about known runs: they contradict, mislead, or were made in other conditions."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.asked import tails
from creepfit.inference.fitting import Fit
from creepfit.inference.hindcast import Hindcast, hindcast
from creepfit.inference.known import KnownFit
from creepfit.mechanics.loading import LoadHistory
from creepfit.shown import listed
from creepfit.units import show_number

HELD_AT_MOST, BETTER_WITHOUT, MISSED_BY = 0.5, 0.25, 1.5
"""Where known runs are said to mislead: a hindcast with them holds at most this share of later readings, one without this
share more, and the reading missed by most lies so many times as far off as its interval reaches. Readings of one run miss
together: of specimens that belong one in ten has all outside a 90 % interval, but one in a hundred so far (judgement)."""


def known_doubts(fit: Fit) -> Iterator[Caution]:
    """Doubts about the known runs of a fit."""
    if not isinstance(fit, KnownFit):
        return
    for known in fit.known:
        if fit.run.name and known.run.name == fit.run.name:
            yield words.KNOWN_NAMED_ALIKE(name=known.name)
        if known.contradicts:
            counts = any(known is other for other in fit.used)
            yield words.KNOWN_CONTRADICTS(
                name=known.name, probability=known.misfit.probability, belongs=known.belongs, counts=counts
            )
        elif known.differences:
            yield words.KNOWN_DIFFERS(name=known.name, differences="; ".join(known.differences))
    yield from tuple(_misleading(fit)) or _overriding(fit)


def _overriding(fit: KnownFit) -> Iterator[Caution]:
    """What the known runs make of the specimen lies outside what its own readings forecast, where the longest of them ends.

    Of simulated pairs of one material none does so (`tests/benchmarks/README.md`).
    """
    counting = [known for known in fit.used if not known.contradicts]
    if not counting:
        return
    end = max(known.length for known in counting)
    held, at = LoadHistory.held(fit.alone.observed.load), np.array([end])
    own, together = (np.abs(one.draws.deformation(held, at)[:, 0]) for one in (fit.by_itself, fit))
    low, _, high = np.quantile(own, tails(fit.level))
    median = float(np.median(together))
    if low <= median <= high:
        return
    factor, unit = (100.0, "%") if fit.unit == "1" else (1.0, fit.unit)
    ends = [show_number(factor * float(e), digits=3) for e in (low, high)]
    yield words.KNOWN_OVERRIDES(
        names=listed([known.name for known in counting]),
        several=len(counting) > 1,
        end=end,
        median=size(median, fit.unit),
        own=f"{ends[0]} to {ends[1]} {unit}",
        level=fit.level,
        length=fit.alone.run.test_length,
    )


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
