"""Doubts about dependence on stress: what the specimens cannot show, and what test would."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from scipy.special import ndtri

from creepfit.answers.interval import Caution
from creepfit.answers.stress.levels import IsochronousPoint
from creepfit.answers.stress.proportion import TOO_CLOSE, TOO_COARSE, Linearity, Ratio
from creepfit.mechanics.stress_law import BARS
from creepfit.units import show_number, show_time

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

FAR = 10.0
"""Times what was read from which on an entry is more forecast than test (common practice, no source)."""


def stress_doubts(found: Linearity) -> tuple[Caution, ...]:
    """Everything that is doubtful about an answer on proportion, by the case."""
    return (
        *_too_little(found),
        *_bending(found),
        *_specimens(found),
        *_stiffer(found),
        *_end_of_range(found),
        *_differences(found),
    )


def _too_little(found: Linearity) -> Iterator[Caution]:
    """Stresses too close together, or readings too coarse, to tell a departure that matters."""
    top = found.top
    if top is None or found.proportional != "cannot be told":
        return
    low, high = top.low_stress, top.high_stress
    half = 0.5 * float(np.log(top.ratio.high / top.ratio.low))
    seen = found.share * WANTED * (1.0 - (low / high) ** 2)
    where = f"at {show_number(high)} MPa in tension"
    text = (
        f"The stresses compared are {show_number(high / low, digits=2)} times apart: creep {show_number(100.0 * WANTED)} % "
        f"above proportion {where} would change the ratio by {show_number(100.0 * seen, digits=2)} %, and its interval is "
        f"+-{show_number(100.0 * half, digits=2)} %."
    )
    needed = _stress_that_tells(found, top, half)
    if needed is not None:
        yield Caution(
            TOO_CLOSE,
            text,
            f"{_same_bar(found)}a stress of {show_number(needed, digits=2)} MPa, {show_number(needed / low, digits=2)} "
            f"times the lowest one: {show_number(100.0 * WANTED)} % {where} would then show",
        )
    else:
        yield Caution(TOO_CLOSE if high < APART * low else TOO_COARSE, text, _finer(found))


def _stress_that_tells(found: Linearity, top: Ratio, half: float) -> float | None:
    """The stress beside the lowest one that would tell, with errors as they are; None where it strains too much.

    The departure grows with the square of stress, so between the stresses l and h' it is share * WANTED * (h'^2 - l^2)/h^2.
    """
    low, high = top.low_stress, top.high_stress
    width = float(ndtri(0.5 + found.level / 2.0))
    seen = half * (width + float(ndtri(POWER))) / width  # normal errors
    needed = float(np.sqrt(high**2 * seen / (found.share * WANTED) + low**2))
    fit = found.fit
    compliance = float(np.median(fit.draws.compliance(np.array([fit.run.test_length]))))
    return needed if high < needed <= HIGHEST_STRAIN / compliance else None


def _one_specimen_each(found: Linearity) -> bool:
    names = [name for level in found.levels for name in level.specimens]
    return len(set(names)) == len(found.levels)


def _same_bar(found: Linearity) -> str:
    return "on one and the same specimen, " if _one_specimen_each(found) else ""


def _finer(found: Linearity) -> str:
    """What helps where no stress that may be advised would."""
    if found.steps is None:
        return f"one specimen at rising stresses, the highest at least {WIDE:g} times the lowest"
    if found.levels[-1].stress < APART * found.levels[0].stress:
        return f"steps further apart, the highest stress at least {WIDE:g} times the lowest"
    finer = "the mean of several readings at each time, or a finer gauge"
    return finer if found.share > 0.9 else f"a bar in tension, which shows all of the departure; else {finer}"


def _bending(found: Linearity) -> Iterator[Caution]:
    if any(isinstance(run.specimen, BARS) for run in found.runs):
        law = "; the law counts with that" if found.law is not None else ""
        yield Caution(
            "bending-hides-softening",
            "In bending the section hands stress from its outside inwards, so a ratio as tested shows only about "
            f"{100.0 * found.share:.0f} % of the departure from proportion that tension would show at this stress{law}.",
            "a run in tension at the highest stress",
        )


def _specimens(found: Linearity) -> Iterator[Caution]:
    if _one_specimen_each(found):
        yield Caution(
            "one-specimen-a-stress",
            "Each stress has one specimen, so a stiff bar cannot be told from a stiff stress: the intervals hold what "
            "bars usually differ by.",
            "a second specimen at the lowest and at the highest stress, or one specimen at rising stresses",
        )


def _stiffer(found: Linearity) -> Iterator[Caution]:
    top = found.top
    if top is not None and top.ratio.high < 1.0:
        yield Caution(
            "stiffer-at-higher-stress",
            "The specimens are stiffer at the higher stress, which plastics are not: supports or clamp may settle under "
            "the first loads, the gauge's plunger may carry some, or a load is not what was typed.",
            "the first load put on and off a few times before the run begins; loads weighed",
        )


def _end_of_range(found: Linearity) -> Iterator[Caution]:
    if found.law is not None and found.law.at_end:
        yield Caution(
            "sinh-stress-at-end",
            "The sinh stress came out as low as it is looked for, a third of the highest stress tested: it may be lower, "
            "and creep at the highest stress steeper than shown.",
            "a further stress between the two highest",
        )


def _differences(found: Linearity) -> Iterator[Caution]:
    for difference in found.differences:
        yield Caution(
            "runs-differ",
            f"The runs also differ in something else: {difference}. What that does cannot be told from what stress does.",
            "runs that are alike in it",
        )


def isochronous_doubts(points: Sequence[IsochronousPoint]) -> tuple[Caution, ...]:
    """Doubts about isochronous curves: entries that are more forecast than test."""
    far = [p for p in points if p.read is not None and p.time > FAR * p.read[1] * (1.0 + 1e-9)]
    if not far:
        return ()
    longest = show_time(max(p.read[1] for p in far if p.read is not None))
    first = show_time(min(p.time for p in far))
    return (
        Caution(
            "isochronous-forecast",
            f"{len(far)} of {len(points)} entries lie beyond ten times what their stress was held and read for "
            f"(at most {longest}; entries from {first} on): there they are what models make of it, and at a higher stress "
            "creep may speed up later than any reading shows.",
            f"a run at the highest stress, held and read for {show_time(max(p.time for p in far) / FAR)}",
        ),
    )
