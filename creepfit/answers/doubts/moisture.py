"""Doubts about a plastic that takes up water: what its run says of that, and what it leaves open."""

from __future__ import annotations

import re
from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import material as words
from creepfit.answers.interval import Caution
from creepfit.records.defaults import takes_up_water
from creepfit.records.run import Run

_DRY = re.compile(r"\b(?:bone-?)?(?:dry|dried|drying|desiccat\w*|dessicat\w*|silica gel|vacuum)\b", re.IGNORECASE)
_NOT = re.compile(r"\b(?:no|not|never|without|un)[\s-]*(?:been\s+)?$", re.IGNORECASE)


def moisture_doubts(run: Run) -> Iterator[Caution]:
    """What water does to a polyamide: dried before, humidity noted but not whether it came to rest, or nothing noted."""
    if not takes_up_water(run.material):
        return
    if run.conditioning is not None:
        if was_dried(run.conditioning):
            yield words.DRIED_BEFORE(conditioning=run.conditioning, length=run.test_length)
    elif run.humidity is not None:
        yield words.MOISTURE_NOT_AT_REST(humidity=100.0 * run.humidity)
    else:
        yield words.MOISTURE_UNKNOWN()


def was_dried(conditioning: str) -> bool:
    """Whether words about a specimen say that it was dried or kept dry; "no drying" does not."""
    return any(not _NOT.search(conditioning[: found.start()]) for found in _DRY.finditer(conditioning))
