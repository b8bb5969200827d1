"""Doubts about warmth: what a dependence on temperature, or an answer for another temperature, leaves open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.tested_temperature import oven_warmth, transition_of
from creepfit.inference.warmth import UsualGrowth
from creepfit.records.run import Run
from creepfit.shown import listed
from creepfit.units import show_number

FAST = 5.0
"""K/min above which the lag of bar and thermometer is as large as what is looked for."""

NEAR_TRANSITION = 20.0
"""K below the glass transition from which on a held bar ages faster or is annealed (common practice, no source)."""


def dependence_doubts(
    fits: Sequence[Fit], temperatures: Sequence[float], to: Sequence[float], verdict: str
) -> Iterator[Caution]:
    """What runs at several temperatures leave open."""
    shared = tuple(_warmed_again(fits))
    yield from shared
    bars = {f.run.bar if f.run.name else str(i) for i, f in enumerate(fits)}
    if 1 < len(bars) <= len(temperatures) or (len(fits) > 1 and not shared and len(bars) == 1):
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


def _warmed_again(fits: Sequence[Fit]) -> Iterator[Caution]:
    """Runs at several temperatures that are taken as one bar's by its name: no scatter between bars is counted then."""
    degrees: dict[str, set[float]] = {}
    for run in (f.run for f in fits):
        if run.name and run.temperature is not None:
            degrees.setdefault(run.bar, set()).add(run.temperature)
    for bar, at in degrees.items():
        if len(at) > 1:
            shown = listed([f"{show_number(t)} °C" for t in sorted(at)])
            yield words.ONE_NAME_AT_SEVERAL_TEMPERATURES(bar=bar, degrees=shown, both=len(at) == 2)


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
