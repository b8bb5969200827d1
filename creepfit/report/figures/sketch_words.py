"""Sizes and holds of a part in words, as they stand beneath its drawing and for those who cannot see it."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_axis import Arc, Segment
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.section import Rectangle, Round, Section, Tube
from creepfit.units import show_number


def size_lines(beam: Beam) -> list[str]:
    """Sizes of every segment and brace in words, numbered where there are several."""
    lines, own = [], "arm" if isinstance(beam, Frame) or not beam.rests else "bar"
    for k, segment in enumerate((*beam.upright, *beam.segments)):
        kind = "upright" if k < len(beam.upright) else own
        lines.append(segment_words(segment, kind))
    for number, brace in enumerate(beam.braces if isinstance(beam, Frame) else ()):
        if brace.section is not None and isinstance(beam, Frame):
            ends = brace.joints[0] if brace.joints[0] == brace.joints[1] else f"{brace.joints[0]} and {brace.joints[1]}"
            long = show_number(beam.brace_length(number))
            stays = "" if brace.modulus is None else f", {show_number(brace.modulus / 1000.0)} GPa, does not creep"
            lines.append(f"{brace.name or 'brace'}: {long} mm, {_sizes(brace.section, None)}, {ends} ends{stays}")
    numbered = lines if len(lines) < 2 else [f"{k}  {line}" for k, line in enumerate(lines, start=1)]
    return [*numbered, *_springs(beam)]


def _springs(beam: Beam) -> list[str]:
    """Springs and turning mountings, in words."""
    if not isinstance(beam, Frame):
        return []
    springs = []
    for hold in beam.holds:
        place = f"{hold.kind} at {show_number(hold.at)} mm"
        springs += [f"{place}: on a spring of {show_number(1.0 / hold.give)} N/mm"] if hold.give else []
        springs += [f"{place}: turns by {show_number(1e3 * hold.turn)} rad/(N m)"] if hold.turn else []
    return springs


def segment_words(segment: Segment, kind: str = "arm") -> str:
    """Name, length and sizes of a segment, and how it turns out of the plane."""
    out = f", turned {show_number(segment.out)}° about its axis" if segment.out else ""
    return f"{segment.name or kind}: {_length(segment)}, {_sizes(segment.section, segment.end_section)}{out}"


def _length(segment: Segment) -> str:
    if isinstance(segment, Arc):
        return f"arc of radius {show_number(segment.radius)} mm through {show_number(segment.angle)}°"
    return f"{show_number(segment.axis_length)} mm"


def _sizes(start: Section, end: Section | None) -> str:
    def size(key: str) -> str:
        first = show_number(float(getattr(start, key)))
        last = first if end is None else show_number(float(getattr(end, key)))
        return first if first == last else f"{first} to {last}"

    if isinstance(start, Rectangle):
        words = f"{size('width')} mm wide, {size('thickness')} mm thick"
    elif isinstance(start, Round | Tube):
        words = f"{size('diameter')} mm in diameter"
    else:
        words = f"{size('height')} mm high, {size('width')} mm wide"
    return words


def held_words(beam: Beam) -> str:
    """How it is held, for those who cannot see it."""
    if isinstance(beam, Frame):
        held: Sequence[str] = [f"{hold.kind} at {show_number(hold.at)} mm" for hold in beam.holds]
        return "Held by " + ", ".join([*(["a clamp at its beginning"] if beam.clamped else []), *held])
    if beam.rests:
        return "Resting at " + " and ".join(f"{show_number(at)} mm" for at in beam.rests)
    return "Clamped at its beginning"
