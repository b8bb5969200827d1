"""Doubts about dependence on stress: what the specimens cannot show, and what test would."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import ndtri

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.doubts.pool import same_readings
from creepfit.answers.interval import Caution
from creepfit.answers.stress.levels import IsochronousPoint
from creepfit.answers.stress.proportion import Linearity, StressRatio
from creepfit.inference.run_fit import FAR
from creepfit.mechanics.stress_law import BARS

WANTED = 0.05
"""Departure from proportion in tension that a test should be able to tell: what `linearity` takes for a small one."""

POWER = 0.8
"""Share of tests that should show that departure."""

HIGHEST_STRAIN = 0.01
"""Strain up to which a higher stress is advised (common practice for rigid plastics, no source)."""

APART = 1.5
"""Highest over lowest stress below which less than about half of a departure shows between them."""

WIDE = 3.0
"""Highest over lowest stress from which on nine tenths of it show."""


def stress_doubts(proportion: Linearity) -> tuple[Caution, ...]:
    """Everything that is doubtful about an answer on proportion, by the case."""
    return (
        *same_readings(proportion.runs),
        *_too_little(proportion),
        *_of_specimens(proportion),
        *(words.RUNS_DIFFER(difference=d) for d in proportion.differences),
    )


def _too_little(proportion: Linearity) -> Iterator[Caution]:
    """Stresses too close together, or readings too coarse, to tell a departure that matters."""
    top = proportion.top
    if top is None or proportion.proportional != "cannot be told":
        return
    low, high = top.low_stress, top.high_stress
    half = 0.5 * float(np.log(top.ratio.high / top.ratio.low))
    seen = proportion.share * WANTED * (1.0 - (low / high) ** 2)
    untold = {"apart": high / low, "wanted": WANTED, "high": high, "seen": seen, "half": half}
    needed = _stress_that_tells(proportion, top, half)
    if needed is not None:
        yield words.STRESSES_TOO_CLOSE_BY_A_LITTLE(
            **untold, same_bar=_one_specimen_each(proportion), needed=needed, times=needed / low
        )
        return
    entry = words.STRESSES_TOO_CLOSE if high < APART * low else words.READINGS_TOO_COARSE
    yield entry(
        **untold,
        one_stress_each=proportion.steps is None,
        close=proportion.levels[-1].stress < APART * proportion.levels[0].stress,
        wide=WIDE,
        bent=proportion.share <= 0.9,
    )


def _stress_that_tells(proportion: Linearity, top: StressRatio, half: float) -> float | None:
    """The stress beside the lowest one that would tell, with errors as they are; None where it strains too much.

    The departure grows with the square of stress, so between the stresses l and h' it is share * WANTED * (h'^2 - l^2)/h^2.
    """
    low, high = top.low_stress, top.high_stress
    width = float(ndtri(0.5 + proportion.level / 2.0))
    seen = half * (width + float(ndtri(POWER))) / width  # normal errors
    needed = float(np.sqrt(high**2 * seen / (proportion.share * WANTED) + low**2))
    fit = proportion.fit
    compliance = float(np.median(fit.draws.compliance(np.array([fit.run.test_length]))))
    return needed if high < needed <= HIGHEST_STRAIN / compliance else None


def _one_specimen_each(proportion: Linearity) -> bool:
    names = [name for level in proportion.levels for name in level.specimens]
    return len(set(names)) == len(proportion.levels)


def _of_specimens(proportion: Linearity) -> Iterator[Caution]:
    """What bars in bending, and one bar a stress, hide; and a law at the end of its range."""
    if any(isinstance(run.specimen, BARS) for run in proportion.runs):
        yield words.BENDING_HIDES_SOFTENING(share=100.0 * proportion.share, law=proportion.law is not None)
    if _one_specimen_each(proportion):
        yield words.ONE_SPECIMEN_A_STRESS()
    if proportion.top is not None and proportion.top.ratio.high < 1.0:
        yield words.STIFFER_AT_HIGHER_STRESS()
    if proportion.law is not None and proportion.law.at_end:
        yield words.SINH_STRESS_AT_END()


def isochronous_doubts(points: Sequence[IsochronousPoint]) -> tuple[Caution, ...]:
    """Doubts about isochronous curves: entries that are more forecast than test."""
    far = [p for p in points if p.read is not None and p.time > FAR * p.read[1] * (1.0 + 1e-9)]
    if not far:
        return ()
    return (
        words.ISOCHRONOUS_FORECAST(
            far=len(far),
            points=len(points),
            longest=max(p.read[1] for p in far if p.read is not None),
            first=min(p.time for p in far),
            tenth=max(p.time for p in far) / FAR,
        ),
    )
