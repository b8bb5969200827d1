"""How much each caution can do to an answer, by its code.

The sentence is written where a caution is raised, as it is of the case. A test sees to it that every code here is raised.
"""

from __future__ import annotations

from collections.abc import Iterable

from creepfit.answers.interval import Caution

FOREMOST = (
    "larger-than-specimen", "reads-the-other-way", "columns-swapped", "absurd-strain", "zero-with-the-weight-on",
    "load-came-off", "broke", "lifts-off", "buckling", "load-time", "readings-contradict", "event-by-one-reading",
    "below-the-zero", "no-model-fits-loads",
    "modulus-out-of-range", "accelerating", "jump", "gauge-range-end", "stress-not-tested", "warmth-assumed",
    "outlier", "few-readings",
    "no-initial-reading", "copied-reading", "plateau", "large-deflection", "near-buckling", "plate",
    "large-rotation", "noise-above-gauge",
    "prior-dominates", "far-beyond-test", "beyond-ten-times", "unseen-flow", "short-time-span", "late-first-reading",
    "flow-extrapolated", "strain", "temperature-swing", "no-recovery-reading",
)  # fmt: skip
"""Doubts by what they can do to the answer, the worst first; others follow in the order they were raised."""

GENERAL = ("not-a-strength-check", "outside-the-test", "moulded-bars", "humidity")
"""Doubts that hold for every run: never the first to be shown where there is another."""

SAID_BY = {"beyond-ten-times": "far-beyond-test"}
"""Doubts about a run that another, about a part by it, says too."""


def rank(code: str) -> int:
    """How far behind the worst a caution stands: 0 for the worst; equal ones stay in the order they were raised."""
    if code in GENERAL:
        return len(FOREMOST) + 1
    return FOREMOST.index(code) if code in FOREMOST else len(FOREMOST)


def foremost(cautions: Iterable[Caution]) -> Caution | None:
    """The one doubt that matters most; None where none was raised."""
    return min(cautions, key=lambda caution: rank(caution.code), default=None)


def ranked(cautions: Iterable[Caution]) -> list[Caution]:
    """All of them, the one that matters most first."""
    return sorted(cautions, key=lambda caution: rank(caution.code))
