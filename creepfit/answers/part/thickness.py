"""Which thickness keeps the limit on a part's sag: a common factor on every size in the direction of bending."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.answers.part.bent import bent_sag, upper_compliance
from creepfit.answers.part.bent_keeping import BentBeams, worst_when_bent
from creepfit.answers.part.checks import segment_name, tested_stresses, worst_stress
from creepfit.answers.part.keeping import Keeping, ScaledSize
from creepfit.answers.part.loads import CourseCreep, Leverage
from creepfit.answers.part.response import PartResponse
from creepfit.answers.specimen.limit import UNCHECKED
from creepfit.errors import InputError
from creepfit.inference.response import Predicted, promised
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_axis import Segment
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.loading import Array
from creepfit.mechanics.section import Rectangle, Round, Section, Tube
from creepfit.records.part import Part
from creepfit.units import show_number

THINNEST, THICKEST = 0.25, 6.0
"""Range in which a thickness is looked for, as factors on the part's own."""

STEPS = 41
"""Between neighbours the sag is a power of the thickness to 0.1 %: 3e-4 of the thickness found."""


def keeping_thickness(
    response: PartResponse, creep: tuple[CourseCreep, ...], limit: float, life: float, level: float
) -> Keeping:
    """Common factor on the thickness (size in the direction of bending) of all segments, width and walls kept."""
    probability = 0.5 + level / 2.0
    if response.part.analysed is not None:
        return Keeping.unknown(
            life, level, "the part is known by an analysis of its shape as it is; another needs another one"
        )
    if response.courses.sharing is not None:
        why = "what does not creep takes another share of the load with every thickness: ask with that one in the file"
        return Keeping.unknown(life, level, why)
    beams = _possible_beams(response.part.beam)
    if len(beams) < 2:
        return Keeping.unknown(life, level, "walls or bends leave no room for another thickness")
    levers = [response.courses.leverage(beam) for beam in beams.values()]
    factors, shapes = np.array(list(beams)), list(beams.values())
    bent = BentBeams(response.courses, shapes)
    smallest = Predicted.of(_smallest_thickness(c, bent, levers, factors, limit) for c in creep)
    thickness = promised(response.fit, smallest).as_drawn()
    ends = thickness.ends(level)
    if not np.isfinite(ends[2]):
        why = f"not certain at any thickness up to {show_number(max(beams))} times the part's own"
        return Keeping.unknown(life, level, why)
    tested, compliance = tested_stresses(response.fit.run)[1], upper_compliance(creep, level)

    def excess(factor: float) -> float:
        beam = thickened(response.part.beam, float(factor))
        bent = bent_sag(response.courses, beam)
        grown = 1.0 if bent is None else bent.state(compliance).stress_factor
        return grown * worst_stress(response.courses, beam).value - tested

    least, most = min(beams), max(beams)
    if excess(ends[0]) > 0.0:
        if excess(most) > 0.0:
            why = f"the stress stays above the highest tested, {show_number(tested)} MPa, at every thickness looked at"
            return Keeping.unknown(life, level, why)
        from scipy.optimize import brentq  # slow to import, and few answers need it

        least = float(brentq(excess, ends[0], most, xtol=1e-5))
    capped = bool(ends[0] < least)
    note = (
        f"no thinner than keeps the stress at the highest tested, {show_number(tested)} MPa: more was not tested; "
        f"{UNCHECKED}"
    )
    if not capped and ends[0] <= min(beams) * (1.0 + 1e-9):
        note = f"thinner than {show_number(min(beams))} times the part's own was not looked at; {UNCHECKED}"
        capped = True
    low, median, high = (float(max(end, least)) for end in ends)
    factor = Interval(low, median, high)
    return Keeping(life, probability, factor, high, _depths(response.part, factor), capped, note if capped else UNCHECKED)


def _smallest_thickness(
    creep: CourseCreep, beams: BentBeams, levers: list[Leverage], factors: Array, limit: float
) -> Array:
    """Factor on the thickness at which each draw's largest sag in the life is the limit, shape (N,); inf for none."""
    # the largest sag comes at one of few times, which hardly depend on the thickness: only those are looked at
    largest = [np.argmax(np.abs(creep.sag(*lever.all)), axis=1) for lever in (levers[0], levers[-1])]
    decisive = creep.at(creep.times[np.unique(largest)])
    worst = np.empty((creep.compliance[0].shape[0], factors.size))
    for k, lever in enumerate(levers):
        worst[:, k] = np.abs(decisive.sag(*lever.all)).max(axis=1)
    worst = worst_when_bent(beams, decisive, levers, limit, worst)
    over = worst > limit
    # the first thickness from which on the limit is kept; between neighbours the sag is nearly a power of it
    index = np.where(over.any(axis=1), factors.size - np.argmax(over[:, ::-1], axis=1), 0)
    inner = np.clip(index, 1, factors.size - 1)
    rows = np.arange(worst.shape[0])
    tiny = np.finfo(float).tiny
    before, after = (np.log(np.clip(worst[rows, i], tiny, 1e6 * limit)) for i in (inner - 1, inner))
    gap = np.where(before > after, before - after, 1.0)
    part = np.clip((before - np.log(limit)) / gap, 0.0, 1.0)
    log_factor = np.log(factors)
    crossed = np.exp(log_factor[inner - 1] + part * (log_factor[inner] - log_factor[inner - 1]))
    return np.where(index == 0, factors[0], np.where(index == factors.size, np.inf, crossed))


def _possible_beams(beam: Beam) -> dict[float, Beam]:
    """Beams by factor on the thickness, ascending, as far as walls and bends leave room."""
    beams = {}
    for factor in np.union1d(np.geomspace(THINNEST, THICKEST, STEPS), [1.0]):
        try:
            beams[float(factor)] = thickened(beam, float(factor))
        except InputError:  # walls that leave no core, an arc whose inside has no radius left
            continue
    return beams


def thickened(beam: Beam, factor: float) -> Beam:
    """Return the beam with every size in the direction of bending multiplied by a factor.

    Raises
    ------
    InputError
        Where walls or bends leave no room for it.
    """

    def segments(chain: Sequence[Segment]) -> tuple[Segment, ...]:
        return tuple(
            replace(
                s,
                section=_scaled(s.section, factor),
                end_section=None if s.end_section is None else _scaled(s.end_section, factor),
            )
            for s in chain
        )

    thicker = replace(beam, segments=segments(beam.segments), upright=segments(beam.upright))
    if not isinstance(thicker, Frame):
        return thicker
    braces = (b if b.section is None else replace(b, section=_scaled(b.section, factor)) for b in thicker.braces)
    return replace(thicker, braces=tuple(braces))


def depth_key(section: Section) -> str:
    """Name of the size that a section has in the direction of bending."""
    if isinstance(section, Rectangle):
        return "thickness"
    return "diameter" if isinstance(section, Round | Tube) else "height"


def _scaled(section: Section, factor: float) -> Section:
    key = depth_key(section)
    return replace(section, **{key: getattr(section, key) * factor})  # type: ignore[type-var]


def _depths(part: Part, factor: Interval) -> tuple[ScaledSize, ...]:
    """The thicknesses of every segment, start and end of a taper."""
    depths = []
    chain = (*part.beam.upright, *part.beam.segments)
    members = [(segment.section, segment.end_section) for segment in chain]
    members += [(b.section, None) for b in part.beam.braces if b.section] if isinstance(part.beam, Frame) else []
    for number, (start, end) in enumerate(members):
        key = depth_key(start)
        ends = [("", start)] if end is None else [(" at its start", start), (" at its end", end)]
        for place, section in ends:
            now = float(section.depth)
            depths.append(ScaledSize(f"{segment_name(part, number)}, {key}{place}", now, factor.times(now), "mm"))
    return tuple(depths)
