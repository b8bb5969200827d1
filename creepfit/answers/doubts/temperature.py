"""Doubts about warmth: what a dependence on temperature, or an answer for another temperature, leaves open."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.warmth import UsualGrowth
from creepfit.units import show_number

NEAR_TRANSITION = 20.0
"""K below the glass transition from which on a held bar ages faster or is annealed (common practice, no source)."""


def transition_of(fits: Sequence[Fit]) -> float | None:
    """Glass transition [degC] of a material by the first run that says it."""
    return next((f.run.glass_transition for f in fits if f.run.glass_transition is not None), None)


def dependence_doubts(
    fits: Sequence[Fit], temperatures: Sequence[float], to: Sequence[float], verdict: str
) -> Iterator[Caution]:
    """What runs at several temperatures leave open."""
    one_each = len({f.run.label for f in fits}) <= len(temperatures) and len(fits) > 1
    if one_each:
        yield Caution(
            "one-bar-a-temperature",
            f"At each of the {len(temperatures)} temperatures there is one bar, so what bars differ by cannot be told from "
            "warmth; the intervals count with the usual scatter.",
            "a second bar at the lowest and at the highest temperature",
        )
    if len(temperatures) == 2:
        yield Caution(
            "two-temperatures",
            "Two temperatures give one step of growth: whether it is the same per 10 K in between and beyond is assumed.",
            "a run at a temperature between the two, or where the part will be",
        )
    if verdict == "open":
        yield Caution(
            "shift-open",
            "These curves do not tell a clock that runs faster from growth on plain time, so no time is bought by "
            "warmth: nothing is forecast further than the tests allow.",
            "a longer run at the lowest temperature, that overlaps with the warm one",
        )
    transition = transition_of(fits)
    if transition is None:
        yield Caution(
            "glass-transition-unsaid",
            "No run says the glass transition of the material; across it nothing here holds.",
            "glass_transition in [run], from the data sheet",
        )
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
        yield Caution(
            "warmth-assumed",
            f"The test was made at {show_number(warming.reference)} °C, the answer is for {where}: what warmth does to "
            "this material was not tested. What is usual is counted in: 10 K more make a plastic give way 1.10 times as "
            "much, 0.98 to 1.30 times with 90 %.",
            f"a run of a bar at {show_number(high)} °C",
        )
    if fit.run.glass_transition is not None:
        yield from _near_transition(fit.run.glass_transition, [high])


def _near_transition(transition: float, temperatures: Sequence[float]) -> Iterator[Caution]:
    hottest = max((t for t in temperatures if t < transition), default=None)
    if hottest is not None and hottest > transition - NEAR_TRANSITION:
        yield Caution(
            "near-glass-transition",
            f"{show_number(hottest)} °C is within {NEAR_TRANSITION:g} K of the glass transition of "
            f"{show_number(transition)} °C: a bar held there ages faster and may be annealed, so that it creeps less than "
            "a fresh one, and a little more warmth softens it at once.",
            "a run at the highest temperature of service on a bar that was kept as the part will be",
        )
