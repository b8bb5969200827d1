"""Doubts about a part that bends far or is compressed: what was followed, how well, and when it buckles."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from creepfit.answers.interval import Caution
from creepfit.answers.part.bent_check import NEAR, BentCheck
from creepfit.units import show_number, show_time

CHANGED = 0.05
"""Of the sag: what bending far adds or takes is said from here on."""

TURNED = 0.1
"""rad: beyond, the lever arms of a frame have changed by some per cent."""

FAR = 0.5
"""rad: beyond, the moment of today is no longer a good stand-in for that of all times."""


def bent_doubts(bent: BentCheck, when: float) -> Iterator[Caution]:
    """Doubts about the bent shape at a time [s]."""
    share = bent.buckling_share
    if not bent.found or (share is not None and share >= 1.0):
        yield Caution("buckling", _buckled(bent, when), "a stiffer part, less load, or something that holds it sideways")
    elif share is not None and share > NEAR:
        yield Caution(
            "near-buckling",
            f"The part is compressed: by {show_time(when)} it is loaded to {100.0 * share:.0f} % (upper end) of what makes "
            f"it buckle. {_when(bent)} What that adds is in the sag, but it grows faster and faster, and with every degree "
            "that the part leans.",
            "the part's own deflection under its load after some days, set beside the one said here",
        )
    if abs(bent.change) < CHANGED and bent.turn < FAR:
        return
    more = "more" if bent.change > 0.0 else "less"
    rough = (
        "; at such rotations that is rough"
        if bent.turn > FAR
        else ", which is a little too much where the moment grows and a little too little where it falls"
    )
    yield Caution(
        "large-rotation",
        f"The part turns by up to {show_number(np.degrees(bent.turn), digits=2)} degrees, so its lever arms change. That "
        f"is followed: the sag is {100.0 * abs(bent.change):.0f} % {more} than by the shape as made. The moment of each "
        f"time is taken for that of all times before{rough}.",
        "a test of the part itself",
    )


def turning_frame(turn: float) -> Iterator[Caution]:
    """A frame that turns so far that its lever arms change, which is not followed."""
    if turn > TURNED:
        yield Caution(
            "frame-turns",
            f"The part turns by up to {show_number(np.degrees(turn), digits=2)} degrees: its lever arms change, which is "
            "followed for arms but not for frames. The sag is off by some per cent, by more where it is compressed.",
            "a test of the part itself",
        )


def _buckled(bent: BentCheck, when: float) -> str:
    at = f"by {show_time(when)}"
    if bent.buckling_share is None or bent.buckling_share < 1.0:
        return f"THE PART GIVES WAY: {at} there is no position in which it could rest under its loads; rely on no sag."
    share = f"{100.0 * bent.buckling_share:.0f} % (upper end) of what makes it buckle"
    return (
        f"THE PART BUCKLES: {at} it is loaded to {share}. {_when(bent)} From there on it leans over under the same load; "
        "the sag said here is that of the bent post, and a post less straight than drawn goes sooner."
    )


def _when(bent: BentCheck) -> str:
    if bent.buckles is None:
        return ""
    low, median = bent.buckles
    if not np.isfinite(low):
        return f"That is not reached within {show_time(bent.horizon)}."
    middle = show_time(_rounded(median)) if np.isfinite(median) else f"more than {show_time(bent.horizon)}"
    return (
        f"That is reached after {middle} (lower end {show_time(_rounded(low))})."
        if low > 0.0
        else "That is reached at once."
    )


def _rounded(seconds: float) -> float:
    unit = 86400.0 if seconds > 86400.0 else 1.0
    return float(f"{seconds / unit:.2g}") * unit
