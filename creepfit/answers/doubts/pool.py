"""Doubts about runs that are pooled: one that does not fit, one that differs, lengths that do not share a curve."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.inference.pooling import PooledFit

EVEN = 0.5
"""Probability of one curve for all lengths below which it is doubted."""


def pool_doubts(fit: PooledFit) -> Iterator[Caution]:
    """Everything that is doubtful about a pool besides what is about its runs."""
    for m in fit.misfits:
        yield words.POOL_MISFIT(run=m.run, chi_square=m.chi_square, free=m.free, probability=m.probability)
    for difference in fit.differences:
        yield words.POOL_DIFFERS(difference=difference)
    shared = fit.shared_shape
    if shared is not None and shared.probability < EVEN:
        yield words.POOL_SHAPE(text=shared.text)
