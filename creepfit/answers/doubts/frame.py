"""Doubts about a frame: rests that would have to pull, braces that may buckle, screws on a wall."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from creepfit.answers.doubts.catalogue import part as words
from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import PartChecks, segment_name
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.section import Rectangle, Section
from creepfit.records.part import Part

SHARE_OF_BUCKLING = 1.0 / 3.0
"""Share of the buckling load from which on a brace that is not quite straight bends visibly (its bow grows by half)."""


def frame_doubts(part: Part, checks: PartChecks) -> Iterator[Caution]:
    """Doubts about a part that is a frame; none about any other."""
    frame = part.body
    if not isinstance(frame, Frame):
        return
    compliance = checks.strain.high / checks.stress.value if checks.stress.value else 0.0
    # of a frame that gives way the end counts: by then what does not creep has taken over most
    last = frame.at(compliance) if compliance > 0.0 else frame
    yield from _lifting(part, last)
    yield from _buckling(part, last, checks, compliance)
    if any(hold.give for hold in frame.holds) or any(brace.modulus is not None for brace in frame.braces):
        yield words.STAYS_ELASTIC()
    if any(hold.kind == "screw" and hold.at < 0.0 for hold in frame.holds):
        yield words.SCREWED_UPRIGHT()


def _lifting(part: Part, frame: Frame) -> Iterator[Caution]:
    if frame.support.held_down:
        return
    for hold, reaction in zip(frame.holds, _reactions(part, frame), strict=True):
        if hold.kind == "rest" and reaction[1] < -1e-9 * max(abs(size) for _, size in part.full_load):
            yield words.REST_LIFTS(at=hold.at, force=-reaction[1])


def _reactions(part: Part, frame: Frame) -> list[np.ndarray]:
    total = [np.zeros(3) for _ in frame.holds]
    for load, size in part.full_load:
        total = [a + size * b for a, b in zip(total, frame.reactions(load), strict=True)]
    return total


def _buckling(part: Part, frame: Frame, checks: PartChecks, compliance: float) -> Iterator[Caution]:
    chain = len(frame.axis.segments)
    for number, force in enumerate(frame.brace_forces(part.full_load)):
        section = frame.braces[number].section
        if section is None or force >= 0.0 or compliance <= 0.0:
            continue
        modulus = frame.braces[number].modulus
        soft = compliance if modulus is None else 1.0 / modulus
        critical = np.pi**2 * _weakest(section) / (soft * frame.brace_length(number) ** 2)
        name = segment_name(part, chain + number).capitalize()
        if -force > SHARE_OF_BUCKLING * critical:
            yield words.BRACE_MAY_BUCKLE(name=name, force=-force, critical=critical, when=checks.strain_time)


def _weakest(section: Section) -> float:
    """Least second moment of area, mm^4: of a rectangle also across."""
    own = float(np.asarray(section.second_moment))
    if isinstance(section, Rectangle):
        return min(own, own * (float(np.asarray(section.width)) / float(np.asarray(section.thickness))) ** 2)
    return own
