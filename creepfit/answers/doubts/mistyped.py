"""What was typed for something else: a template's readings left as they are, one mistyped reading, a reading as a limit.

A reading whose neighbouring digits were swapped, whose comma slipped or that is one turn of the dial off is one question,
and all other doubts are as if it had been typed right.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np

from creepfit.answers.doubts.catalogue import readings as words
from creepfit.answers.doubts.slips import deflects_too_far
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.inference.freest_curve import FreestCurve, findings
from creepfit.records.run import Reading, Run
from creepfit.records.templates import RUN_TEMPLATE
from creepfit.units import HOUR, measure, show_number

PLAIN = 8.0
"""So many times likelier (natural logarithm) the readings are with that one moved: a curve of its own does not do that."""

APART, NEAR = 8.0, 3.0
"""Standard deviations of a reading that it is off as typed at least, and with its digits put right at most."""

LIMIT_AT_LEAST = 2.0
"""Times what was read so far: a limit up to that is taken for one."""

MOST_READINGS = 100
"""A logger swaps no digits."""

SWAPPED, SLIPPED, TURNED, BEYOND = MISTYPED = (
    "swapped-digits",
    "slipped-comma",
    "misread-turn",
    "reading-beyond-the-specimen",
)
"""Codes of the doubts about one mistyped reading."""

TURN = {0.01: 1.0, 0.1: 10.0}
"""mm that one turn of the large hand is worth, by the dial's division in mm (common practice, no source)."""

HAND = 0.03
"""Share of a turn that a reading may be off beside it: who misreads the small hand reads the large one right."""


@dataclass(frozen=True)
class Meant:
    """What a reading may have been, in mm, by which mistake, and how it is asked about."""

    value: float
    code: str
    question: str


@dataclass(frozen=True)
class Mistyped:
    """A reading that fits once a slip is put right: the doubt about it, what it was meant to be, the run with that."""

    caution: Caution
    reading: Reading
    meant: str
    put_right: Run

    def to_dict(self) -> dict[str, Any]:
        return {
            "time_h": self.reading.time / HOUR,
            "value": self.reading.value,
            "place": self.reading.place,
            "would_fit": self.meant,
        }


def mistyped_reading(run: Run, curve: FreestCurve) -> Mistyped | None:
    """The reading that fits once a slip of typing or reading is put right.

    None where every reading fits as well as it is, or none would with any slip that has a name.
    """
    noise, count = curve.observed.noise.stated, curve.observed.times.size
    off = curve.plain.residual_sum > APART**2 * noise**2
    if not off or count > MOST_READINGS or run.unit != "mm" or run.logger is not None or run.gauge.resolution <= 0.0:
        return None
    best: tuple[float, int, float, Meant] | None = None
    for place, moved in enumerate(curve.best_of_each(list(np.eye(count)[..., None]))):
        gain, by = moved.score - curve.plain.score, float(moved.extra[-1])
        if gain < PLAIN or abs(by) < APART * noise or (best is not None and gain <= best[0]):
            continue
        alike = moved.residual_sum <= APART**2 * noise**2
        meant = _likeliest(run.used[place], by, run, noise, turned=alike)
        if meant is not None:
            best = gain, place, by, meant
    if best is None or any(f.kind == "jump" and f.score > best[0] for f in findings(curve)):
        return None
    _, place, by, meant = best
    reading = run.used[place]
    put_right = replace(run, readings=tuple(_right(run, reading, meant.value)))
    return Mistyped(_asked(run, curve, reading, by, meant), reading, _shown(meant.value), put_right)


def _asked(run: Run, curve: FreestCurve, reading: Reading, by: float, meant: Meant) -> Caution:
    """The question about a reading that is off `by`; where no bar could deflect so far, no answer is given beside it."""
    case = {"question": meant.question, "at": reading, "typed": _shown(reading.value), "meant": _shown(meant.value)}
    span, enters = run.specimen.geometry.span, run.specimen.length_enters
    largest = deflects_too_far(run, curve)
    if largest is not None and enters is not None and meant.code != SWAPPED:
        return words.MISTYPED_BEYOND(**case, largest=size(largest, "mm", 3), span=span, name=enters.name)
    return words.MISTYPED(**case, code=meant.code, off=size(abs(by), run.unit), above=by > 0.0)


def _likeliest(reading: Reading, by: float, run: Run, noise: float, turned: bool) -> Meant | None:
    """What a reading that is off `by` was most likely meant to be; None where nothing with a name comes near enough.

    `turned` is whether all is well beside it: where more is off, a millimetre is no turn of the dial.
    """

    def off(meant: Meant) -> float:
        return abs(meant.value - reading.value + by)

    def near(meant: Meant) -> bool:
        if meant.code == TURNED:
            return turned and off(meant) < NEAR * noise + HAND * abs(by)
        return off(meant) < NEAR * math.hypot(noise, 0.05 * by)

    return min(filter(near, _meanings(reading, run.gauge.resolution)), key=off, default=None)


def _meanings(reading: Reading, resolution: float) -> Iterator[Meant]:
    """All that a value may have been, see `MISTYPED`; its unit is asked about where it was typed in another than mm."""
    typed, written = reading.value, reading.typed_unit
    for value in _swaps(typed, resolution):
        yield Meant(value, SWAPPED, "Were two digits swapped?")
    for power, unit in ((1, "cm"), (2, ""), (3, "m")):
        other = f", or was its unit mm and not {unit}" if unit and written in ("", unit) else ""
        yield Meant(typed / 10.0**power, SLIPPED, f"Did the comma slip{other}?")
        yield Meant(typed * 10.0**power, SLIPPED, "Did the comma slip?")
    turn = next((size for division, size in TURN.items() if math.isclose(division, resolution)), None)
    if turn is not None:
        for value in (typed - turn, typed + turn):
            yield Meant(value, TURNED, f"Was the small hand read wrong, by one turn of {turn:g} mm?")


def _right(run: Run, wrong: Reading, meant: float) -> Iterator[Reading]:
    apart = math.nextafter(meant, math.inf)  # beside an equal neighbour it is no copy of that: it was typed otherwise
    for reading in run.readings:
        yield replace(reading, value=apart) if reading is wrong else reading


def _swaps(value: float, resolution: float) -> list[float]:
    """What a value may have been before two neighbouring digits were swapped, as finely as the gauge is read."""
    places = max(0, -math.floor(math.log10(resolution) + 1e-9))
    text = f"{abs(value):.{places}f}"
    digits, point = text.replace(".", ""), text.find(".")
    swaps = set()
    for i in range(len(digits) - 1):
        if digits[i] != digits[i + 1]:
            swapped = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
            swaps.add(math.copysign(float(swapped if point < 0 else f"{swapped[:point]}.{swapped[point:]}"), value))
    return sorted(swaps)


def _shown(value: float) -> str:
    return f"{show_number(value, digits=6)} mm"


def template_doubts(run: Run) -> Iterator[Caution]:
    """The readings of the file that `creepfit new` writes, left as they are."""
    if len(run.readings) > 1 and {f"{r.value:g}" for r in run.readings} == _of_template():
        yield words.TEMPLATE()


@lru_cache(maxsize=1)
def _of_template() -> set[str]:
    shown = tomllib.loads(RUN_TEMPLATE)["readings"]["reading"]
    return {f"{measure(text, 'length').value:g}" for text in shown}


def limit_doubts(run: Run, limit: float, largest: float, quantity: str) -> Iterator[Caution]:
    """A limit on what is `largest` so far [mm] that is rather what the gauge shows under the load."""
    span, enters = run.specimen.geometry.span, run.specimen.length_enters
    if run.unit == "mm" and span is not None and enters is not None and abs(limit) > span:
        yield words.LIMIT_BEYOND_SPECIMEN(limit=_shown(abs(limit)), name=enters.name, length=span, quantity=quantity)
        return
    shown = [r for r in run.used if r.time > 0.0]
    zero = [r.value for r in run.initial]
    if run.unit != "mm" or not zero or not shown:
        return
    low, high = min(r.value for r in shown), max(r.value for r in shown)
    beyond = 0.5 * abs(largest)
    if abs(limit) < LIMIT_AT_LEAST * abs(largest) or not low - beyond <= abs(limit) <= high + beyond:
        return
    nearest = min(shown, key=lambda r: abs(r.value - abs(limit)))
    start = float(np.mean(zero))
    yield words.LIMIT_IS_A_READING(
        limit=_shown(abs(limit)),
        at=nearest,
        shown=_shown(nearest.value),
        moved=_shown(round(abs(nearest.value - start), 6)),
        meant=_shown(round(abs(abs(limit) - start), 6)),
        quantity=quantity,
    )
