"""Doubts about material, sizes and surroundings: modulus, slenderness, strain, temperature."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from creepfit.answers.doubts.catalogue import material as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.inference.freest_curve import FreestCurve
from creepfit.inference.noise import temperature_swing
from creepfit.mechanics.bent_specimen import when_bent
from creepfit.mechanics.specimen import Segments
from creepfit.mechanics.temperature import arrhenius_shift
from creepfit.records.begun import BegunRun
from creepfit.records.run import Run
from creepfit.shown import capital
from creepfit.units import MINUTE, STANDARD_GRAVITY, YEAR, show_number

# Usual tensile moduli in GPa at room temperature, moulded or printed flat and solid. From memory, datasheet scale.
USUAL_MODULUS: dict[str, tuple[float, float]] = {
    "PLA": (2.7, 3.5), "PETG": (1.8, 2.1), "ABS": (1.8, 2.3), "ASA": (1.8, 2.2), "PC": (2.0, 2.4),
    "PA": (0.6, 2.5), "PP": (0.9, 1.8), "PE": (0.2, 1.3), "POM": (2.3, 3.1), "PMMA": (2.7, 3.3), "PS": (2.8, 3.4),
    "PBT": (2.2, 2.8), "PVC": (2.2, 3.3), "PEEK": (3.2, 4.0),
}  # fmt: skip
ANY_PLASTIC = (0.2, 25.0)
FILLED = (1.0, 4.0)
"""Fibres and fillers multiply the matrix' modulus by up to this (from memory: + 50 to 150 %, more with long fibres)."""

SOFTEST, STIFFEST = 0.4, 1.3
"""Gaps between lines, few walls and a minute's creep make a bar softer than its datasheet; little makes it stiffer."""

ABSURDLY_SOFT = 10.0
"""MPa: rubbers are about as soft as that, and no rigid plastic is (from memory)."""

FAR_TOO_STIFF = 10.0
"""Times the upper end of the usual range from which on a slip of typing comes before all else."""

OF_NONE = 10.0
"""Times outside the usual range from which on no number is given that hangs on the modulus."""

LIKE, LIKELY_SIZE, LIKELY_DEPTH = 2.2, 2.0, 4.0
"""How far a slip may be from what it explains; how far a length, or a depth, may be from what was typed in its unit."""

ZERO = (13.0, 100.0)
"""Times the usual modulus that the zero may have been read under the weight: what creeps then is a tenth to a hundredth."""

THINNEST, SLENDEREST = 0.2, 4.0
"""mm that a bar's depth is at least, and how many times as long as deep a bar is at least, to be asked about."""

SWAPPED = 1.7
"""How far from the middle of the usual moduli the one with width and thickness swapped may be, to be asked about."""

NAMED = 5.0
"""Times outside the usual range from which on a slip of typing is asked about before the shape of the curve."""

SLENDER = 16.0
STRAINS = (
    (0.05, words.STRAIN_ABOVE_5_PERCENT),
    (0.01, words.STRAIN_ABOVE_1_PERCENT),
    (0.005, words.STRAIN_ABOVE_HALF_PERCENT),
)
HOOK = 0.05
"""Of the reading: what large rotations change of a drawn specimen's is said from here on."""

SHARE_OF_SPAN = 0.1
SWING = 2.0
"""K between the coldest and the warmest reading from which it is worth saying what it does."""

ACTIVATION = (100.0, 200.0)
"""Activation energies of creep of plastics below their glass transition, kJ/mol (from memory)."""


@dataclass(frozen=True)
class Slip:
    """A slip that multiplies the modulus by `factor`: `high` words where it came out too high, `low` too low.

    `reads` is whether it is one of the readings, so that not even the deflection is right.
    """

    factor: float
    high: str
    low: str
    reads: bool = False

    ALL: ClassVar[tuple[Slip, ...]]

    @classmethod
    def of(cls, question: str, reads: bool = False) -> Slip:
        """One of sizes or of the set-up, which is asked about in the same words either way."""
        return cls(1.0, question, question, reads)


Slip.ALL = (
    Slip(1000.0, "was the mass in g, typed as kg?", "was the mass in kg, typed as g?"),
    Slip(STANDARD_GRAVITY, "was a force in N typed as a mass in kg?", "was a mass in kg typed as a force in N?"),
    Slip(25.4, "are the readings in inches, typed as mm?", "are the readings in mm, typed as inches?", reads=True),
)


def usual_modulus(material: str) -> tuple[float, float, str]:
    """Usual range of the 1-minute modulus in MPa by the ISO 1043 symbol in a material's name, and whose range it is."""
    parts = re.split(r"[^A-Z0-9]+", material.upper())
    filled = re.search(r"(?:GF|CF|AF|LGF)\d*(?![A-Z])", material.upper()) is not None
    for part in parts:
        for symbol in sorted(USUAL_MODULUS, key=len, reverse=True):
            if re.fullmatch(rf"{symbol}(?:\d*|HD|LD|LLD|H|C|U)(?:GF|CF|AF|LGF)?\d*", part):
                low, high = USUAL_MODULUS[symbol]
                more = FILLED[1] if filled else 1.0
                name = f"{symbol}, fibre-filled" if filled else symbol
                return 1000.0 * low * SOFTEST, 1000.0 * high * STIFFEST * more, name
    return 1000.0 * ANY_PLASTIC[0], 1000.0 * ANY_PLASTIC[1], "rigid plastics"


def _modulus_seen(run: Run, curve: FreestCurve) -> tuple[float, float] | None:
    """The modulus in MPa at a minute, or at the first reading if that is later, and when; None where none is known."""
    if run.specimen.geometry.stress_per_load is None or not curve.observed.has_initial:
        return None
    time = max(MINUTE, curve.observed.span.first)
    compliance = curve.compliance(time)
    return (1.0 / compliance, time) if compliance > 0.0 else None


def modulus_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """A 1-minute modulus outside the polymer's usual range, with the slip that would explain it."""
    modulus, (low, high, whose) = _modulus_seen(run, curve), usual_modulus(run.material)
    if modulus is None or low <= modulus[0] <= high:
        return
    seen, time = modulus
    slips = slips_like(run, seen / _middle(low, high))
    case = {"time": time, "seen": seen, "whose": whose, "low": low, "high": high, "slips": in_words(slips, seen > high)}
    read = not any(slip.reads for slip in slips)
    if modulus_of_none(run, curve):
        yield words.MODULUS_OF_NO_PLASTIC(**case, times=max(low / seen, seen / high), above=seen > high, read=read)
    else:
        yield words.MODULUS_OUT_OF_RANGE(**case, read=read)


def modulus_of_none(run: Run, curve: FreestCurve) -> bool:
    """Whether the 1-minute modulus is so far from what the plastic has that nothing may be worked out from it."""
    seen, (low, high, _) = _modulus_seen(run, curve), usual_modulus(run.material)
    return seen is not None and not low / OF_NONE <= seen[0] <= high * OF_NONE


def modulus_absurd(run: Run, curve: FreestCurve) -> bool:
    """Whether the 1-minute modulus is so far off that a mistake of typing is to be looked for before anything else."""
    seen = _modulus_seen(run, curve)
    return seen is not None and not ABSURDLY_SOFT <= seen[0] <= FAR_TOO_STIFF * usual_modulus(run.material)[1]


def modulus_named(run: Run, curve: FreestCurve) -> bool:
    """Whether the 1-minute modulus is off so far, or in such a way, that one slip is likely and is asked about first."""
    modulus, (low, high, _) = _modulus_seen(run, curve), usual_modulus(run.material)
    if modulus is None or low <= modulus[0] <= high:
        return False
    seen = modulus[0]
    return max(low / seen, seen / high) > NAMED or _swapped_sizes(run, seen / _middle(low, high))


def _middle(low: float, high: float) -> float:
    return float(np.sqrt(low * high))


def _length_slip(run: Run | BegunRun, ratio: float) -> str | None:
    """The span (length) that would explain a modulus `ratio` times the usual: in cm instead of mm, or a moderate error."""
    span, enters = run.specimen.geometry.span, run.specimen.length_enters
    if span is None or enters is None:
        return None
    name, power = enters
    factor = ratio ** (-1.0 / power)  # the modulus worked out goes with that power of it
    tenfold = 0.1 if ratio > 1.0 else 10.0
    depth = run.specimen.geometry.thickness or 0.0
    could_be = run.specimen.three_point_spans is None or span * tenfold >= SLENDEREST * depth
    if could_be and ratio_apart(ratio, float(tenfold**-power)) < LIKE:
        typed, right = ("cm", "mm") if ratio > 1.0 else ("mm", "cm")
        return f"is the {name} {show_number(span * tenfold)} mm, typed in {typed} instead of {right}?"
    if 1.0 / LIKELY_SIZE < factor < LIKELY_SIZE:
        right = show_number(span * factor, digits=2)
        return f"is the {name} {right} mm instead of the {show_number(span)} mm typed ({enters.words})?"
    return None


def _swapped_sizes(run: Run | BegunRun, ratio: float) -> bool:
    """Whether the modulus would be usual with width and thickness swapped: the bar bends about its other axis then."""
    thickness, width = run.specimen.geometry.thickness, run.specimen.across
    if thickness is None or width is None or width == thickness:
        return False
    return ratio_apart(ratio * (thickness / width) ** 2, 1.0) < SWAPPED < ratio_apart(ratio, 1.0)


def ratio_apart(a: float, b: float) -> float:
    """How many times two positive numbers are apart, 1 or more."""
    return max(a / b, b / a)


def slips_like(run: Run | BegunRun, ratio: float) -> list[Slip]:
    """What would explain a modulus `ratio` times the usual: a slip of units of about that size, else the sizes."""
    wrong = ratio if ratio > 1.0 else 1.0 / ratio
    asked = sorted((s for s in Slip.ALL if ratio_apart(s.factor, wrong) < LIKE), key=lambda s: ratio_apart(s.factor, wrong))
    sizes = [_length_slip(run, ratio), _depth_slip(run, ratio)]
    if _swapped_sizes(run, ratio):
        asked.insert(0, Slip.of("are width and thickness swapped?"))
    asked.extend(Slip.of(said) for said in sizes if said is not None)
    if 1.0 / OF_NONE < ratio < 1.0:
        asked.append(Slip.of("are there gaps or a sparse infill, or does the frame give way (rig.compliance)?"))
    if ZERO[0] < ratio < ZERO[1]:
        asked.append(Slip.of("was the zero read with the weight already on?", reads=True))
    return asked or [Slip.of("are load and sizes in the units typed?")]


def in_words(slips: Sequence[Slip], high: bool = True) -> str:
    """The questions about slips, one behind the other."""
    asked = [s.high if high else s.low for s in slips]
    return " ".join([capital(asked[0]), *(f"Or {question}" for question in asked[1:])])


def slip_words(run: Run | BegunRun, ratio: float) -> str:
    """What would explain a modulus `ratio` times the usual, as questions."""
    return in_words(slips_like(run, ratio), ratio > 1.0)


def _depth_slip(run: Run | BegunRun, ratio: float) -> str | None:
    """The depth that would explain it and could be one: in cm instead of mm or the reverse, or a moderate error."""
    depth, enters, span = run.specimen.geometry.thickness, run.specimen.depth_enters, run.specimen.geometry.span
    if depth is None or enters is None:
        return None
    # the modulus worked out goes with 1/h^3 in bending, so the true size is the typed one times the cube root
    factor = ratio ** (-1.0 / enters.power)

    def could_be(size: float) -> bool:
        bends = run.specimen.three_point_spans is not None
        return size >= THINNEST and (span is None or not bends or SLENDEREST * size <= span)

    if ratio_apart(factor, 1.0) < LIKELY_DEPTH and could_be(depth * factor):
        right, times = show_number(depth * factor, digits=2), show_number(factor, digits=2)
        return f"is the {enters.name} {right} mm, {times} times the {show_number(depth)} mm typed ({enters.words})?"
    tenfold = 10.0 if factor > 1.0 else 0.1
    if could_be(depth * tenfold) and ratio_apart(ratio, float(tenfold**-enters.power)) < LIKE:
        typed, right = ("mm", "cm") if factor > 1.0 else ("cm", "mm")
        return f"is the {enters.name} {show_number(depth * tenfold)} mm, typed in {typed} instead of {right}?"
    return None


def equivalent_span(run: Run) -> float | None:
    """Span in bending, mm; of a cantilever twice its length, as half of a three-point bar is one. None elsewhere."""
    span, spans = run.specimen.geometry.span, run.specimen.three_point_spans
    return None if span is None or spans is None else spans * span


def bending_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Short spans and large deflections."""
    span, geometry = equivalent_span(run), run.specimen.geometry
    if span is None or geometry.thickness is None:
        return
    cantilever = run.specimen.three_point_spans == 2.0
    slenderness = span / geometry.thickness
    if slenderness < SLENDER * (1.0 - 1e-9):
        shear = geometry.shear_share
        yield words.SHORT_SPAN(cantilever=cantilever, slenderness=slenderness, sheared=shear is not None, shear=shear)
    deflection = _largest(curve)
    if deflection > SHARE_OF_SPAN * span:
        factor = run.specimen.large_deflection_factor(deflection)
        yield words.LARGE_DEFLECTION(
            deflection=size(deflection, "mm"),
            share=deflection / span,
            cantilever=cantilever,
            known=factor is not None,
            factor=factor,
        )


def hook_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """A drawn specimen that turns so far that its lever arms change, with what that is worth."""
    reading = _largest(curve)
    if not isinstance(run.specimen, Segments) or reading <= 0.0:
        return
    bent = when_bent(run.specimen, reading)
    if bent is not None and abs(bent[1] - 1.0) < HOOK:
        return
    if bent is None:
        yield words.LARGE_ROTATION_NO_REST(reading=size(reading, "mm"))
        return
    turn, ratio = bent
    yield words.LARGE_ROTATION_SPECIMEN(
        reading=size(reading, "mm"), turn=np.degrees(turn), change=100.0 * abs(ratio - 1.0), more=ratio > 1.0
    )


def strain_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Strains where creep stops being proportional to the load: the highest limit passed is named."""
    per_reading = run.specimen.geometry.strain_per_reading
    if per_reading is None:
        return
    strain = _largest(curve) * per_reading
    passed = next((entry for limit, entry in STRAINS if strain > limit), None)
    if passed is not None:
        yield passed(least=not curve.observed.has_initial, strain=size(strain, "1"))


def _largest(curve: FreestCurve) -> float:
    """Largest deformation read since the initial reading (since the first one where there is none), mm or strain."""
    moved = curve.observed.deformation
    with_the_load = float(np.max(curve.observed.direction * moved))
    return with_the_load if with_the_load > 0.0 else float(np.max(np.abs(moved)))  # else a slip of a reading strains it


def temperature_doubts(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    """Temperature swings and drifts, and how far they move a forecast of a year."""
    swing = temperature_swing(run)
    if swing is None:
        return
    observed = curve.observed
    loaded = (run.history.at(observed.times) != 0.0) & (observed.times > 0.0)
    if loaded.sum() < 2 or np.ptp(swing[loaded]) < SWING:
        return
    spread = float(np.ptp(swing[loaded]))
    low, high = (100.0 * shift_effect(curve, spread, ea, _reference(run)) for ea in ACTIVATION)
    yield words.TEMPERATURE_SWING(spread=spread, low=low, high=high)


def shift_effect(curve: FreestCurve, kelvin: float, activation: float, reference: float = 23.0) -> float:
    """Relative change of a year's deformation where the temperature drifts by `kelvin` from first to last reading.

    Creep at the last reading is ahead by the shift a of the clock, so d ln D = s ln a with s = d ln D / d ln t, and the
    slope over the test is wrong by s ln a / ln(t2/t1), which goes on to a year.
    """
    span = curve.observed.span
    shift = float(np.log(arrhenius_shift(np.array(reference + kelvin), reference, activation)))
    ends = [curve.compliance(t) for t in (span.last / 10.0, span.last)]
    if ends[1] <= 0.0:
        return 0.0
    slope = (ends[1] - ends[0]) / (np.log(10.0) * ends[1])
    beyond = np.log(max(YEAR / span.last, 1.0)) / np.log(span.last / min(span.first, span.last / 10.0))
    return float(slope * shift * (1.0 + beyond))


def _reference(run: Run) -> float:
    known = [r.temperature for r in run.used if r.temperature is not None]
    return run.temperature if run.temperature is not None else float(np.mean(known))
