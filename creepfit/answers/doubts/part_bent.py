"""Doubts about a part that bends far or is compressed: what was followed, how well, and when it buckles."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np

from creepfit.answers.doubts.catalogue import part as words
from creepfit.answers.interval import Caution
from creepfit.answers.part.bent_check import NEAR, BentCheck
from creepfit.units import DAY, show_time

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
        if share is None or share < 1.0:
            yield words.GIVES_WAY(when=when)
        else:
            yield words.BUCKLES(when=when, share=100.0 * share, **_reached(bent))
    elif share is not None and share > NEAR:
        yield words.NEAR_BUCKLING(when=when, share=100.0 * share, **_reached(bent))
    if abs(bent.change) < CHANGED and bent.turn < FAR:
        return
    yield words.LARGE_ROTATION(
        turn=np.degrees(bent.turn), change=100.0 * abs(bent.change), more=bent.change > 0.0, rough=bent.turn > FAR
    )


def turning_frame(turn: float) -> Iterator[Caution]:
    """A frame that turns so far that its lever arms change, which is not followed."""
    if turn > TURNED:
        yield words.FRAME_TURNS(turn=np.degrees(turn))


def _reached(bent: BentCheck) -> dict[str, Any]:
    """When what makes the part buckle is reached, as the catalogue asks for it."""
    low, median = bent.buckles or (0.0, 0.0)  # never None where the part is near buckling
    return {
        "never": not np.isfinite(low),
        "at_once": low <= 0.0,
        "horizon": bent.horizon,
        "median": show_time(_rounded(median)) if np.isfinite(median) else f"more than {show_time(bent.horizon)}",
        "low": _rounded(low),
    }


def _rounded(seconds: float) -> float:
    unit = DAY if seconds > DAY else 1.0
    return float(f"{seconds / unit:.2g}") * unit
