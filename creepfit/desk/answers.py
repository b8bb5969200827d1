"""What the worker is asked: the doubt about a reading before it is saved, the answer of a run, a part, several runs."""

from __future__ import annotations

import re
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from typing import Any

from creepfit.answers.doubts.catalogue.entry import ranked
from creepfit.answers.doubts.withheld import of_modulus
from creepfit.answers.interval import Caution
from creepfit.answers.part.sag import Sag, sag
from creepfit.answers.specimen.first_day import FirstDay, first_day
from creepfit.answers.specimen.verdict import FAR, ReadingVerdict, read_ahead, verdict
from creepfit.desk.cards import due_after
from creepfit.desk.due import dues_of_begun, left_to_do
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.records.begun import BegunRun
from creepfit.records.editing.additions import Added
from creepfit.records.outputs import slug
from creepfit.records.part import Part
from creepfit.records.run import Run
from creepfit.report.figures.drawings import each_with_run, with_part
from creepfit.report.figures.style import png, svg
from creepfit.report.page import html as pages
from creepfit.report.page.chapter import Chapter
from creepfit.report.page.drawn import figure_contents
from creepfit.report.page.embed import run_sliders
from creepfit.report.page.findings import FEW_POINTS, Findings, find
from creepfit.report.page.html import RunPage, section
from creepfit.report.page.together import chapters
from creepfit.report.page.words import all_doubts
from creepfit.report.text.bench import first_day_text
from creepfit.shown import capital

FEWEST = 2
"""Readings up to which a run has only begun."""

FITS_KEPT = 16


@dataclass(frozen=True)
class Said:
    """What a new reading comes to: a sentence, what it makes doubtful (`grave` where it may be a slip), what comes next."""

    text: str
    cautions: tuple[Caution, ...] = ()
    grave: bool = False
    next: str = ""


def judged(added: Added) -> Said:
    """Say what a reading comes to, before it is written."""
    begun, now = _begun(added), datetime.now()
    ahead = read_ahead(begun or added.run, added.where, now)
    sentence = f"{capital(ahead)}." if ahead else ""
    if begun is not None:
        day = first_day(begun, now)
        text = movement_words(day) if not day.cautions else ""
        said = " ".join(filter(None, (sentence, text)))
        return Said(said, day.cautions, bool(day.cautions), due_after(added, now))
    if added.run is None or added.where is None:
        return Said("")
    judgement = verdict(added.run, added.where)
    return Said(
        " ".join(filter(None, (sentence, f"{capital(judgement.text)}."))),
        tuple(ranked(judgement.cautions)),
        bool(judgement.cautions) or _is_far(judgement),
        due_after(added, now),
    )


def movement_words(day: FirstDay) -> str:
    """Return how far the load should move the gauge, or has; "" where nothing is known of it."""
    lines = first_day_text(day, short=True).split("\n")
    return " ".join(line for line in lines if not line.startswith((" ", "next:")))


def to_do(day: FirstDay, now: datetime) -> list[str]:
    """Return what to read next, the first as on the run's card."""
    return [due.said(now) for due in left_to_do(dues_of_begun(day.begun), now)]


def _begun(added: Added) -> BegunRun | None:
    if added.run is None:
        return None if added.unfinished is None else added.unfinished.begun
    return BegunRun.of(added.run) if len(added.run.used) <= FEWEST else None


def _is_far(verdict: ReadingVerdict) -> bool:
    if verdict.forecast is None:
        return False
    half = 0.5 * (verdict.forecast.high - verdict.forecast.low)
    return abs(verdict.reading.value - verdict.forecast.median) > FAR * half


class Fits:
    """Fits by the state of the files they are of, the ones used last; used by the worker alone."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Fit] = OrderedDict()

    def of(self, run: Run, state: str) -> Fit:
        """Return the fit of a run."""
        if state not in self._kept:
            self._kept[state] = fit(run)
        self._kept.move_to_end(state)
        while len(self._kept) > FITS_KEPT:
            self._kept.popitem(last=False)
        return self._kept[state]


def listed_times(text: str) -> list[str]:
    """Return the times of "30 d, 1 year"; a comma within a number is a decimal one, as everywhere."""
    return [t.strip() for t in re.split(r"[;\n]|(?<!\d),|,(?!\d)", text) if t.strip()]


@dataclass(frozen=True)
class AnswerOptions:
    """What is asked of an answer, as it was typed; "" for what was not."""

    at: str = ""
    limit: str = ""
    life: str = ""

    @property
    def options(self) -> dict[str, Any]:
        """For `find`."""
        options: dict[str, Any] = {"at": listed_times(self.at) or ()}
        if self.limit:
            options["limit"] = self.limit
        if self.life:
            options["life"] = self.life
        return options


def answered(fitted: Fit, asked: AnswerOptions) -> dict[str, Any]:
    """Return what the first screen of a run's page holds."""
    findings = find(fitted, points=FEW_POINTS, **asked.options)
    content = section(findings, None, 1, brief=True)
    withheld = findings.along.unpromised or of_modulus(findings.fit)
    sliders = None if withheld else pages.slider_content(run_sliders(findings), "run1")
    first = next((c for c in ranked(content.leading)), None)
    rest = [c for c in content.doubts if c is not first]
    return {**content.content, "sliders": sliders, "caution": first, "cautions": rest}


def whole(fitted: Fit, asked: AnswerOptions, part: Part | None = None) -> RunPage:
    """Return all that a page says of a run, and of a part by it."""
    findings: Findings = find(fitted, **asked.options)
    return section(findings, _sagged(findings, part), 1)


def picture(fitted: Fit, asked: AnswerOptions, part: Part | None, name: str, kind: str) -> tuple[str, bytes]:
    """Return one figure of that page as a file, .svg or .png: its name and content; InputError where there is none."""
    findings: Findings = find(fitted, **asked.options)
    sagged = _sagged(findings, part)
    for drawing in chain(each_with_run(findings), () if sagged is None else with_part(sagged)):
        if drawing.name == name and kind in (".svg", ".png"):
            content = svg(drawing).encode("utf-8") if kind == ".svg" else png(drawing)
            return f"{slug(findings.label)}-{name}{kind}", content
    raise InputError("there is no such figure", found=name)


def _sagged(findings: Findings, part: Part | None) -> Sag | None:
    return None if part is None else sag(part, findings.fit, [row.time for row in findings.forecast.rows])


def part_answered(part: Part, fitted: Fit, asked: AnswerOptions) -> dict[str, Any]:
    """Return what is said of a part: how far it sags, and which load, thickness and time keep its limit."""
    if part.held is not None and not part.all_loads:
        raise InputError("a part that is held bent and bears no load has no sag", key="load", expected="a load")
    times = asked.options["at"] or ("1 year",)
    sagged = sag(part, fitted, times, limit=asked.limit or None, life=asked.life or None)
    content = pages.part_content(sagged, "part1", figure_contents(with_part(sagged), "part1"), brief=False)
    doubts = all_doubts(sagged.cautions, ())
    first = next(iter(ranked(sagged.cautions)), None)
    return {**content, "caution": first, "cautions": [c for c in doubts if c is not first]}


def together(fits: Sequence[Fit], at: str) -> list[Chapter]:
    """Return what several runs say together."""
    return chapters(fits, listed_times(at))
