"""Doubts about a part's shape and how it is held: where beam theory, its rests or its bends are strained."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import PartChecks, lifting_rest, plate_sag, sharpest_bend
from creepfit.answers.part.loads import Courses
from creepfit.units import show_number

FALLS = ("lifts-off", "rest-lifts", "buckling")
"""Doubts that leave nothing of the answer standing."""

STOCKY = 5.0
"""Length over depth below which beam theory is in doubt."""

TIGHT = 5.0
"""Centre-line radius over depth below which the inside of a bend carries more than 7 % more (Winkler, a rectangle)."""

PLATE = 1.1
"""Sag over that of a beam from which on a wide strip is no beam any more."""


def shape_doubts(courses: Courses, checks: PartChecks) -> Iterator[Caution]:
    """Doubts about the shape of a part that is drawn as a beam."""
    yield from _rests(courses)
    beam = courses.part.beam
    if checks.slenderness is not None and checks.slenderness < STOCKY:
        yield Caution(
            "stocky",
            f"The part is only {show_number(checks.slenderness)} times as long as deep (below {STOCKY:g}): shear and "
            "the places where it is held and loaded matter, of which a beam knows little; the sag is rather too small.",
            "a test of the part itself",
        )
    yield from _bends(courses, checks)
    yield from _width(courses)
    if beam.support.kind == "cantilever" and beam.root_compliance == 0.0:
        yield Caution(
            "rigid-mounting",
            "The mounting is taken as rigid: screws, plugs and the wall give way too, so the sag is understated by "
            "what they turn.",
            "the part's deflection at two points shortly after loading; then [root] rotation in the part file",
        )
    elif beam.root_compliance > 0.0:
        yield Caution(
            "elastic-mounting",
            "The mounting turns with the moment but is taken not to creep; if it does, the sag is understated.",
            None,
        )
    if checks.opposed:
        yield Caution(
            "opposed-loads",
            "Some loads lift where others sag: while one of them is off the sag can be larger than with all of them "
            "on, and 'always on' is then no upper bound.",
            "part files with one load each",
        )


def _rests(courses: Courses) -> Iterator[Caution]:
    found = lifting_rest(courses)
    if found is None:
        return
    at, force = found
    yield Caution(
        "lifts-off",
        f"THE PART TIPS: at {show_number(at)} mm it would have to be held down with {show_number(force)} N, and a rest "
        "cannot pull. Lying loose it lifts off there, and none of what is said here holds.",
        "held_down = true in [part], if it is screwed or clipped there; else a weight on it, or rests further apart",
    )


def _bends(courses: Courses, checks: PartChecks) -> Iterator[Caution]:
    if checks.tightest_curve is None or checks.tightest_curve >= TIGHT:
        return
    factor, stress, name = sharpest_bend(courses)
    yield Caution(
        "tight-bend",
        f"A bend has a radius of only {show_number(checks.tightest_curve)} depths: on its inside the stress is "
        f"{show_number(factor)} times that of the straight bar used here (Winkler's theory of curved bars), "
        f"{show_number(stress)} MPa in {name}; cracks may start there.",
        "a test of the part itself, or a wider bend",
    )


def _width(courses: Courses) -> Iterator[Caution]:
    found = plate_sag(courses)
    if found is None or found[0] < PLATE:
        return
    factor, wide = found
    yield Caution(
        "plate",
        f"The part is {show_number(wide, digits=2)} times as wide as its span. Where the load acts at one point of "
        f"the width and not all across, it is a plate and sags {show_number(factor)} times as far there as said "
        "here (Timoshenko's plate on two supports, load in the middle of the width).",
        "the sag under the load itself, measured shortly after loading; a load spread across the width",
    )
