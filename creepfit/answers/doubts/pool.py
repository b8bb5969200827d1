"""Doubts about runs that are pooled: one that does not fit, one that differs, lengths that do not share a curve."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.inference.pooling import PooledFit
from creepfit.records.run import Run
from creepfit.shown import listed

EVEN = 0.5
"""Probability of one curve for all lengths below which it is doubted."""


FEWEST_ALIKE = 5
"""Readings of two runs that are alike by no chance: each would have to come out the same to the gauge's division."""


def same_readings(runs: Sequence[Run]) -> Iterator[Caution]:
    """Runs under two names that hold the same readings, whatever else their files say."""
    first: dict[tuple[tuple[float, float], ...], Run] = {}
    for run in runs:
        shown = tuple((round(r.time, 3), r.value) for r in run.used)
        other = first.setdefault(shown, run)
        if other is not run and len(shown) >= FEWEST_ALIKE:
            names = [r.file or r.label for r in (other, run)] if other.bar == run.bar else [other.label, run.label]
            yield words.SAME_READINGS(one=names[0], other=names[1], count=len(shown))


def same_names(runs: Sequence[Run]) -> Iterator[Caution]:
    """Several files that name one specimen, as copies of a file do: they count as one bar."""
    bars: dict[str, list[Run]] = {}
    for run in runs:
        if run.name:
            bars.setdefault(run.bar, []).append(run)
    for bar, of_bar in bars.items():
        files = list(dict.fromkeys(run.file for run in of_bar if run.file))
        if len(files) > 1:
            yield words.SAME_NAME(bar=bar, files=listed([Path(file).name for file in files]), count=len(of_bar))


def pool_doubts(fit: PooledFit) -> Iterator[Caution]:
    """Everything that is doubtful about a pool besides what is about its runs."""
    yield from same_readings(fit.runs)
    yield from same_names(fit.runs)
    for m in fit.misfits:
        yield words.POOL_MISFIT(run=m.run, chi_square=m.chi_square, free=m.free, probability=m.probability)
    for difference in fit.differences:
        yield words.POOL_DIFFERS(difference=difference)
    shared = fit.shared_shape
    if shared is not None and shared.probability < EVEN:
        yield words.POOL_SHAPE(text=shared.text)
