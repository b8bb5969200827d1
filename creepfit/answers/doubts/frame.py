"""Doubts about a frame: rests that would have to pull, braces that may buckle, screws on a wall."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import PartChecks, segment_name
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.section import Rectangle, Section
from creepfit.records.part import Part
from creepfit.units import show_number, show_time

NEAR_BUCKLING = 1.0 / 3.0
"""Share of the buckling load from which on a brace that is not quite straight bends visibly (its bow grows by half)."""


def frame_doubts(part: Part, checks: PartChecks) -> Iterator[Caution]:
    """Doubts about a part that is a frame; none about any other."""
    frame = part.body
    if not isinstance(frame, Frame):
        return
    yield from _lifting(part, frame)
    yield from _buckling(part, frame, checks)
    if any(hold.kind == "screw" and hold.at < 0.0 for hold in frame.holds):
        yield Caution(
            "screwed-upright",
            "Screws are taken as points that hold and let turn, and the upright between and beyond them as free of the "
            "wall. A wall that it is pressed against holds it too, so the sag is rather overstated; screws and plugs that "
            "give way make it larger.",
            "the part's deflection at two points shortly after loading",
        )


def _lifting(part: Part, frame: Frame) -> Iterator[Caution]:
    if frame.support.held_down:
        return
    for hold, reaction in zip(frame.holds, _reactions(part, frame), strict=True):
        if hold.kind == "rest" and reaction[1] < -1e-9 * max(abs(size) for _, size in part.full_load):
            yield Caution(
                "rest-lifts",
                f"The rest at {show_number(hold.at)} mm would have to pull the part down by {show_number(-reaction[1])} N: "
                "unless it is screwed there the part lifts off, and everything said here is of another part.",
                "[[screw]] in place of [[rest]] where it is screwed, or the part file without that rest",
            )


def _reactions(part: Part, frame: Frame) -> list[np.ndarray]:
    total = [np.zeros(3) for _ in frame.holds]
    for load, size in part.full_load:
        total = [a + size * b for a, b in zip(total, frame.reactions(load), strict=True)]
    return total


def _buckling(part: Part, frame: Frame, checks: PartChecks) -> Iterator[Caution]:
    compliance = checks.strain.high / checks.stress.value if checks.stress.value else 0.0
    chain = len(frame.axis.segments)
    for number, force in enumerate(frame.brace_forces(part.full_load)):
        section = frame.braces[number].section
        if section is None or force >= 0.0 or compliance <= 0.0:
            continue
        critical = np.pi**2 * _weakest(section) / (compliance * frame.brace_length(number) ** 2)
        name = segment_name(part, chain + number).capitalize()
        if -force > NEAR_BUCKLING * critical:
            yield Caution(
                "brace-may-buckle",
                f"{name} is pressed by {show_number(-force)} N, and would buckle at {show_number(critical)} N by "
                f"{show_time(checks.strain_time)} (Euler, ends free to turn, upper end of the creep): its bow is not "
                "followed here, so the sag is understated and it may give way altogether.",
                "a thicker brace, or a test of the part itself",
            )


def _weakest(section: Section) -> float:
    """Least second moment of area, mm^4: of a rectangle also across."""
    own = float(np.asarray(section.second_moment))
    if isinstance(section, Rectangle):
        return min(own, own * (float(np.asarray(section.width)) / float(np.asarray(section.thickness))) ** 2)
    return own
