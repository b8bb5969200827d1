"""Doubts about warmth: what a dependence on temperature, or an answer for another temperature, leaves open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.tested_temperature import oven_warmth, transition_of
from creepfit.inference.warmth import UsualGrowth
from creepfit.records.run import Run
from creepfit.units import show_number

FAST = 5.0
"""K/min above which the lag of bar and thermometer is as large as what is looked for."""

NEAR_TRANSITION = 20.0
"""K below the glass transition from which on a held bar ages faster or is annealed (common practice, no source)."""


def dependence_doubts(
    fits: Sequence[Fit], temperatures: Sequence[float], to: Sequence[float], verdict: str
) -> Iterator[Caution]:
    """What runs at several temperatures leave open."""
    one_each = len({f.run.bar for f in fits}) <= len(temperatures) and len(fits) > 1
    if one_each:
        yield words.ONE_BAR_A_TEMPERATURE(temperatures=len(temperatures))
    if len(temperatures) == 2:
        yield words.TWO_TEMPERATURES()
    if verdict == "open":
        yield words.SHIFT_OPEN()
    transition = transition_of(f.run for f in fits)
    if transition is None:
        yield words.GLASS_TRANSITION_UNSAID()
    else:
        yield from _near_transition(transition, [*temperatures, *to])


def warming_doubts(fit: Fit) -> Iterator[Caution]:
    """What an answer for another temperature leaves open."""
    warming = fit.warming
    if warming is None:
        return
    low, high = warming.climate.lowest, warming.climate.highest
    where = f"{show_number(high)} °C" if low == high else f"{show_number(low)} to {show_number(high)} °C"
    if isinstance(warming.source, UsualGrowth):
        yield words.WARMTH_ASSUMED(reference=warming.reference, where=where, high=high)
    if fit.run.glass_transition is not None:
        yield from _near_transition(fit.run.glass_transition, [high])


def oven_doubts(run: Run) -> Iterator[Caution]:
    """A bar in a warming oven: nothing can be said of it as of one that creeps, and it may warm too fast."""
    warmth = oven_warmth(run)
    if warmth is None:
        return
    coldest, hottest, rate = warmth
    yield words.OVEN_RUN(coldest=coldest, hottest=hottest)
    yield from fast_oven_doubts(rate)


def fast_oven_doubts(rate: float) -> Iterator[Caution]:
    """An oven whose rate [K/min] is more than bar and thermometer follow."""
    if rate > FAST:
        yield words.OVEN_TOO_FAST(rate=rate)


def _near_transition(transition: float, temperatures: Sequence[float]) -> Iterator[Caution]:
    hottest = max((t for t in temperatures if t < transition), default=None)
    if hottest is not None and hottest > transition - NEAR_TRANSITION:
        yield words.NEAR_GLASS_TRANSITION(hottest=hottest, within=NEAR_TRANSITION, transition=transition)
