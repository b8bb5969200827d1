"""Doubts about a part's loads and its limit: loads that bend nothing or lift, a sag that is mostly the mounting's."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from creepfit.answers.doubts.catalogue import part as words
from creepfit.answers.interval import Caution
from creepfit.answers.part.response import reach
from creepfit.answers.part.segment_shares import SegmentShare
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_axis import BeamAxis
from creepfit.mechanics.beam_loads import PointLoad, cross, unit_vector
from creepfit.mechanics.loading import Array
from creepfit.records.part import Part, PartLoad
from creepfit.shown import capital

NOTHING = 1e-6
"""Of what the same force comes to where and as it bends the part most: less is what sums of numbers leave."""

MOSTLY = 0.5
"""Share of the sag that does not creep from which on it is asked about."""


def bending_nothing(part: Part) -> tuple[tuple[PartLoad, bool], ...]:
    """Forces that cannot move the part where its sag is read, and whether each is because it acts along the part."""
    if not isinstance(part.body, Beam):
        return ()
    found = []
    for load in part.loads:
        if not isinstance(load.load, PointLoad) or load.size == 0.0:
            continue
        axis = part.body.axis
        places = [axis.locate(load.load.at), 0.5 * (axis.start + axis.end), axis.end]
        best = max(
            abs(reach(part, replace(load, load=PointLoad(at, direction)))) for at in places for direction in (-90.0, 0.0)
        )
        if abs(reach(part, load)) <= NOTHING * best:
            across = cross(axis.tangent(_inside(axis, places[0])), _way(axis, load.load))
            found.append((load, bool(abs(float(across[0])) < NOTHING)))
    return tuple(found)


def bend_nothing(part: Part) -> bool:
    """Whether no load at all bends the part, its own weight included."""
    idle = [load for load, _ in bending_nothing(part)]
    return bool(idle) and all(load in idle for load in part.all_loads if load.size != 0.0)


def lifted(part: Part) -> bool:
    """Whether the loads together, at their fullest, move the part up where its sag is read."""
    if not isinstance(part.body, Beam) or part.opposite_at is not None or bend_nothing(part):
        return False
    up = [load for load in part.loads if isinstance(load.load, PointLoad) and _way(part.body.axis, load.load)[1, 0] > 0.0]
    lifts = any(reach(part, load) < 0.0 for load in up) and part.read_direction == "vertical"
    return lifts and sum(reach(part, load) for load in part.all_loads) < 0.0


def _inside(axis: BeamAxis, at: float) -> Array:
    """A place just inside the joint, as `PointLoad` has it; shape (1,)."""
    return np.array([at if at == axis.start else np.nextafter(at, axis.start)])


def _way(axis: BeamAxis, load: PointLoad) -> Array:
    """Unit vector of a force, shape (2, 1)."""
    return unit_vector(axis, load.direction, _inside(axis, axis.locate(load.at)))


def part_load_doubts(part: Part) -> Iterator[Caution]:
    """Loads that cannot be what was meant."""
    every = bend_nothing(part)
    for load, along in bending_nothing(part):
        if every:
            yield words.BENDS_NOTHING(label=capital(load.label), along=along)
        else:
            yield words.ONE_BENDS_NOTHING(label=capital(load.label), along=along)
    if lifted(part):
        yield words.LIFTS()


def mounting_doubts(shares: Sequence[SegmentShare], part: Part, when: float) -> Iterator[Caution]:
    """A sag [by `when`, s] that is mostly that of the mounting, of springs or of what has a modulus of its own."""
    for share in shares:
        if not share.creeps and share.share > MOSTLY:
            root = isinstance(part.body, Beam) and "mounting" in share.name
            yield words.MOSTLY_MOUNTING(share=share.share, what=share.name, when=when, root=root)


def part_limit_doubts(part: Part, limit: float | None) -> Iterator[Caution]:
    """A limit [mm] that is larger than the part."""
    if limit is None or not isinstance(part.body, Beam):
        return
    length = part.body.axis.end - part.body.axis.start
    if limit > length:
        yield words.LIMIT_BEYOND_PART(limit=limit, length=length)
