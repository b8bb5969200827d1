"""Doubts about runs that are pooled: one that does not fit, one that differs, lengths that do not share a curve."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.inference.pooling import PooledFit
from creepfit.units import show_number

EVEN = 0.5
"""Probability of one curve for all lengths below which it is doubted."""


def pool_doubts(fit: PooledFit) -> Iterator[Caution]:
    """Everything that is doubtful about a pool besides what is about its runs."""
    for m in fit.misfits:
        yield Caution(
            "pool-misfit",
            f"{m.run} does not fit with the others (chi-square {show_number(m.chi_square)} for {m.free} readings, "
            f"probability {m.probability:.2g}): it pulls the average and widens the scatter.",
            "a second look at that run's sizes, loads and gauge; or a fit without it",
        )
    for difference in fit.differences:
        yield Caution(
            "pool-differs",
            f"Pooled although they differ: {difference}. What that does is taken for scatter between specimens.",
            "runs that are alike in it",
        )
    shared = fit.shared_shape
    if shared is not None and shared.probability < EVEN:
        yield Caution("pool-shape", f"Of the runs' lengths: {shared.text}.", "a long run read early too")
