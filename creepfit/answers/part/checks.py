"""What can be checked of a part without knowing more: stress and strain against the test, shape, how far beyond it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.answers.part.bent_check import BentCheck, check_bent, frame_turn
from creepfit.answers.part.loads import Courses
from creepfit.answers.part.response import PartResponse, reach
from creepfit.inference.response import Predicted
from creepfit.mechanics.beam import Beam, StressPeak
from creepfit.mechanics.beam_axis import Arc, Segment
from creepfit.mechanics.beam_loads import PointLoad, SelfWeight
from creepfit.mechanics.curved import inside_factor
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.plate import strip_factor
from creepfit.mechanics.section import Rectangle
from creepfit.records.part import Part
from creepfit.records.run import Run
from creepfit.units import show_number

PLATE_WIDTH = 0.75
"""Width over span below which a strip is as good as a beam."""

MOST_COURSES = 8
"""Courses that are combined on and off, 2^8 cases; of more, those beyond count as on."""


@dataclass(frozen=True)
class PartChecks:
    """Numbers behind a part's cautions.

    Attributes
    ----------
    stress : StressPeak
        Largest outer-fibre stress at any time, MPa, in the worst combination of loads.
    segment : str
        In which segment, in words.
    tested : tuple of float
        Lowest and highest stress that was tested, MPa.
    strain : Interval
        Largest outer-fibre strain at `strain_time` [s], as a fraction, all loads on from the start.
    slenderness : float
        Length over depth, the least of arm and upright; None where the part is not drawn.
    tightest_curve : float or None
        Least centre-line radius over depth; None without arcs.
    bent : BentCheck or None
        How far it turns and whether it buckles; None where the part is no beam, or a frame.
    frame_turn : float or None
        Largest rotation of a frame, rad, which is not followed; None of no frame.
    opposed : bool
        Whether some loads lift where others sag.
    """

    stress: StressPeak
    segment: str
    tested: tuple[float, float]
    strain: Interval
    strain_time: float
    slenderness: float | None
    tightest_curve: float | None
    bent: BentCheck | None
    frame_turn: float | None
    opposed: bool

    @property
    def where(self) -> str:
        """Where the largest stress is, in words."""
        return self.segment if self.stress.at is None else f"{self.segment}, {show_number(self.stress.at)} mm along"

    def to_dict(self) -> dict[str, Any]:
        """What stands under "stress" in the JSON, and the strain."""
        return {
            "part_MPa": self.stress.value,
            "tested_MPa": self.tested[1],
            "lowest_tested_MPa": self.tested[0],
            "at_mm": self.stress.at,
            "segment": self.segment,
        }


@dataclass(frozen=True)
class HeldChecks:
    """Largest stress [MPa] when first bent, its median; the highest tested; strain there as a fraction, which stays."""

    stress: float
    tested: tuple[float, float]
    strain: float


def tested_stresses(run: Run) -> tuple[float, float]:
    """Lowest and highest stress of the run's own loads, MPa; the specimen's geometry has to be known."""
    per_load = run.specimen.geometry.stress_per_load or 0.0
    levels = [abs(step.value) * per_load for step in run.steps if step.value != 0.0]
    return min(levels), max(levels)


def worst_stress(
    courses: Courses, beam: Beam | None = None, factor: float = 1.0, compliances: Sequence[float] = ()
) -> StressPeak:
    """Largest outer-fibre stress that any combination of loads brings.

    Parameters
    ----------
    courses : Courses
    beam : Beam, optional
        In place of the part's own.
    factor : float
        On all loads but the part's own weight.
    compliances : sequence of float
        1/MPa, the first and the last: at which a frame that gives way shares its load.

    Notes
    -----
    The stress is convex in the size of each load, so it is largest where each course is at an end of its range. Forces that
    go from what creeps to what does not do so one way, so the stress is taken to be largest at the beginning or the end.
    """
    body = courses.part.body if beam is None else beam
    if isinstance(body, Frame) and body.gives and compliances:
        ends = [worst_stress(courses, body.at(compliance), factor) for compliance in compliances]
        return max(ends, key=lambda peak: peak.value)
    ranges = [_range(plan) for plan in courses.plans]
    free = [k for k, (low, high) in enumerate(ranges) if low != high][:MOST_COURSES]
    worst: StressPeak | None = None
    for chosen in product(*(ranges[k] for k in free)):
        share = {k: high for k, (_, high) in enumerate(ranges)} | dict(zip(free, chosen, strict=True))
        loads = [
            (load.load, load.size * share[k] * (1.0 if isinstance(load.load, SelfWeight) else factor))
            for k, members in enumerate(courses.members)
            for load in members
        ]
        stress = body.peak_stress(loads)
        if worst is None or stress.value > worst.value:
            worst = stress
    assert worst is not None  # product() of no ranges is one empty choice
    return worst


def _range(plan: LoadPlan) -> tuple[float, float]:
    """Least and greatest value of a course of unit size."""
    values = [step.value for step in plan.steps]
    if plan.steps[0].at > 0.0:
        values.append(0.0)
    return min(values), max(values)


def segment_name(part: Part, number: int) -> str:
    """A segment in words, by its name or its place."""
    if part.analysed is not None:
        return part.analysed.formula or "the part as analysed"
    beam = part.beam
    chain = (*beam.upright, *beam.segments)
    if isinstance(beam, Frame) and number >= len(chain):
        return beam.braces[number - len(chain)].name or f"brace {number - len(chain) + 1}"
    if chain[number].name:
        return chain[number].name
    if number < len(beam.upright):
        return f"upright {number + 1}"
    return f"segment {number - len(beam.upright) + 1}"


def slenderness(beam: Beam) -> float:
    """Length over depth, the least of arm and upright; between two rests the distance that bends most counts."""
    arm = _length(beam.segments)
    if beam.support.kind == "overhanging":
        first, second = beam.support.at
        arm = max(first, second - first, arm - second)
    ratios = [arm / max(s.depth for s in beam.segments)]
    if beam.upright:
        ratios.append(_length(beam.upright) / max(s.depth for s in beam.upright))
    return float(min(ratios))


def _length(segments: Sequence[Segment]) -> float:
    return sum(segment.axis_length for segment in segments)


def check_part(response: PartResponse, latest: float, level: float) -> PartChecks:
    """Check a part.

    Parameters
    ----------
    response : PartResponse
    latest : float
        Latest time that counts: of those asked for and the service life, s.
    level : float
        Of the strain's interval.
    """
    part, run = response.part, response.fit.run
    body = part.body
    held = response.creep(np.array([latest]), held=True)
    peak = worst_stress(response.courses, compliances=response.compliances(held, level))
    bent = check_bent(response, held, level)
    if bent is not None:
        peak = replace(peak, value=bent.stress_factor * peak.value)
    strain = Predicted.of(peak.value * c.compliance[0] for c in held).intervals(level)[0]
    levers = [reach(part, load) for load in part.all_loads]
    floor = 1e-6 * max(abs(lever) for lever in levers)
    return PartChecks(
        peak,
        segment_name(part, peak.segment),
        tested_stresses(run),
        strain,
        latest,
        slenderness(body) if isinstance(body, Beam) else None,
        body.axis.tightest_curve if isinstance(body, Beam) else None,
        bent,
        frame_turn(response, held, level),
        any(lever > floor for lever in levers) and any(lever < -floor for lever in levers),
    )


def lifting_rest(courses: Courses) -> tuple[float, float] | None:
    """Where and with how many newtons a rest would have to hold the part down at worst; None where none has to."""
    beam = courses.part.beam
    if beam.support.held_down or not beam.rests:
        return None
    lowest, largest = np.zeros(2), np.zeros(2)
    for unit, members in zip(courses.plans, courses.members, strict=True):
        for load in members:
            up = load.size * np.array(beam.rest_forces(load.load))
            ends = np.outer((1.0, 1.0) if isinstance(load.load, SelfWeight) else _range(unit), up)
            lowest += ends.min(axis=0)
            largest += np.abs(ends).max(axis=0)
    worst = int(np.argmin(lowest))
    return (beam.rests[worst], float(-lowest[worst])) if lowest[worst] < -1e-9 * largest.max() else None


def sharpest_bend(courses: Courses) -> tuple[float, float, str]:
    """Factor on the stress inside the bend where that is largest, the stress there in MPa, and the segment's name."""
    beam, axis = courses.part.beam, courses.part.beam.axis
    loads = courses.part.full_load
    bends = []
    for number, segment in enumerate(axis.segments):
        if not isinstance(segment, Arc):
            continue
        along = np.linspace(axis.joints[number], np.nextafter(axis.joints[number + 1], 0.0), 33)
        stress = beam.stress(loads, along)
        fractions = np.linspace(0.0, 1.0, 33)
        factors = np.array([inside_factor(segment.section_at(np.array(f)), segment.radius) for f in fractions])
        worst = int(np.argmax(stress * factors))
        bends.append((float(factors[worst]), float(stress[worst] * factors[worst]), segment_name(courses.part, number)))
    return max(bends, key=lambda bend: bend[1])


def plate_sag(courses: Courses) -> tuple[float, float] | None:
    """Sag over that of a beam if forces act at one point of the width, and width over span; None for no such strip."""
    part, beam = courses.part, courses.part.beam
    sections = [s.section for s in beam.axis.segments]
    if not beam.rests or not all(isinstance(s, Rectangle) and s.walls is None for s in sections):
        return None
    first, second = beam.rests
    span, width = second - first, max(float(s.width) for s in sections if isinstance(s, Rectangle))
    read_at = beam.axis.locate(part.read_at) - first
    places = [
        beam.axis.locate(load.load.at) - first
        for load in part.loads
        if isinstance(load.load, PointLoad) and first < beam.axis.locate(load.load.at) < second
    ]
    if not places or not 0.0 < read_at < span or width < PLATE_WIDTH * span:
        return None
    return max(strip_factor(span, width, at, read_at, beam.poisson) for at in places), width / span
