"""Doubts about a part's shape and how it is held: where beam theory, its rests or its bends are strained."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import part as words
from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import PartChecks, lifting_rest, plate_sag, sharpest_bend
from creepfit.answers.part.loads import Courses

FALLS = ("lifts-off", "rest-lifts", "buckling", "bends-nothing")
"""Doubts that leave nothing of the answer standing."""

LEAST_SLENDERNESS = 5.0
"""Length over depth below which beam theory is in doubt."""

TIGHT = 5.0
"""Centre-line radius over depth below which the inside of a bend carries more than 7 % more (Winkler, a rectangle)."""

WIDE = 1.1
"""Sag over that of a beam from which on a wide strip is no beam any more."""


def shape_doubts(courses: Courses, checks: PartChecks) -> Iterator[Caution]:
    """Doubts about the shape of a part that is drawn as a beam."""
    yield from _rests(courses)
    beam = courses.part.beam
    if checks.slenderness is not None and checks.slenderness < LEAST_SLENDERNESS:
        yield words.STOCKY(slenderness=checks.slenderness, limit=LEAST_SLENDERNESS)
    yield from _bends(courses, checks)
    yield from _width(courses)
    if beam.support.kind == "cantilever" and beam.root_compliance == 0.0:
        yield words.RIGID_MOUNTING()
    elif beam.root_compliance > 0.0:
        yield words.ELASTIC_MOUNTING()
    if checks.opposed:
        yield words.OPPOSED_LOADS()


def _rests(courses: Courses) -> Iterator[Caution]:
    lifted = lifting_rest(courses)
    if lifted is None:
        return
    at, force = lifted
    yield words.LIFTS_OFF(at=at, force=force)


def _bends(courses: Courses, checks: PartChecks) -> Iterator[Caution]:
    if checks.tightest_curve is None or checks.tightest_curve >= TIGHT:
        return
    factor, stress, name = sharpest_bend(courses)
    yield words.TIGHT_BEND(radius=checks.tightest_curve, factor=factor, stress=stress, name=name)


def _width(courses: Courses) -> Iterator[Caution]:
    plate = plate_sag(courses)
    if plate is None or plate[0] < WIDE:
        return
    factor, wide = plate
    yield words.PLATE(wide=wide, factor=factor)
