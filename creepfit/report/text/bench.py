"""What is said at the bench: the first day of a run, and one new reading."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.answers.doubts.catalogue.entry import ranked
from creepfit.answers.doubts.mistyped import MISTYPED
from creepfit.answers.specimen.first_day import FirstDay, ToDo
from creepfit.answers.specimen.verdict import ReadingVerdict
from creepfit.answers.wording import left_out, size
from creepfit.records.run import Run
from creepfit.report.text.pieces import caution_lines, paragraph
from creepfit.units import show_number

FAR_OFF = 2.0
"""Times the test so far from which on the reading that tells most is not the next one to take."""


def verdict_text(verdict: ReadingVerdict) -> str:
    """The reading in one line, what it makes doubtful, and what to read next."""
    lines = paragraph(f"{verdict.text}.")
    named = [c for c in verdict.cautions if c.code in MISTYPED]  # what would fit says more than that something is wrong
    for caution in (named or ranked(verdict.cautions))[:1]:
        lines += caution_lines(caution)
    return "\n".join([*lines, *_left_out(verdict), *_next(verdict.run, verdict.next)])


def _left_out(verdict: ReadingVerdict) -> list[str]:
    """How a reading that was rather mistyped is left out, this one or another."""
    wrong = verdict.doubted
    if wrong is None or not wrong.reading.place:
        return []
    own = "; then add it right" if wrong.reading == verdict.reading else ""
    return paragraph(f'leave it out: creepfit add RUN --skip {wrong.reading.place} --why "mistyped"{own}')


def next_text(run: Run, todo: Sequence[ToDo]) -> str:
    """What is left out, and what to read next, where no reading was added."""
    lines = [line for said in left_out(run) for line in paragraph(f"{said}.")]
    return "\n".join([*lines, *_next(run, todo)])


def _next(run: Run, todo: Sequence[ToDo]) -> list[str]:
    """What single reading is worth most; where that is far off, that the daily ones go on."""
    if not todo:
        return []
    last = max(r.time for r in run.used)
    far = todo[0].time is not None and todo[0].time > FAR_OFF * last and run.unloading is None
    until = "; until then read on as before, as a slip shows only beside other readings" if far else ""
    return paragraph(f"next: {todo[0].text}{until}")


def first_day_text(day: FirstDay, short: bool = False) -> str:
    """Sizes and file, how far the load should move the gauge, what to read next and when."""
    begun, unit = day.begun, day.unit
    gauge = f"gauge to {size(begun.gauge.resolution, unit)}, repeatability {size(begun.gauge.repeatability, unit)}"
    lines = [] if short else [begun.label, "=" * len(begun.label)]
    verdict = "File and sizes can be read" + ("." if day.cautions else " and nothing is wrong with them so far.")
    count = len(begun.counted)
    readings = "no reading yet" if not count else f"{count} reading{'s' if count > 1 else ''} so far"
    if not short:
        lines += [*paragraph(verdict), "", *paragraph(f"{begun.specimen.describe()}; {gauge}; {readings}")]
    lines += _movement(day)
    for caution in day.cautions:
        lines += caution_lines(caution)
    if short:
        return "\n".join([*lines, *(line for t in day.next[:1] for line in paragraph(f"next: {t.text}"))])
    lines += ["", "What to read next"]
    lines += [line for todo in day.next for line in paragraph(todo.text, "  - ", "    ")]
    return "\n".join(lines)


def _movement(day: FirstDay) -> list[str]:
    if day.expected is None:
        return []
    factor, unit = (100.0, "%") if day.unit == "1" else (1.0, day.unit)
    low, high = (show_number(factor * end, digits=2) for end in day.expected)
    if day.moved is None:
        return paragraph(f"This load should move the gauge by {low} to {high} {unit} (usual moduli, from memory).")
    if day.cautions:
        return []
    moved = size(abs(day.moved), day.unit, 3)
    return paragraph(f"The load moved the gauge by {moved}, where {low} to {high} {unit} is usual (from memory).")
