"""What keeps a limit, as a table: how long it is kept as things are, and which load or thickness keeps it for a life."""

from __future__ import annotations

import math

from creepfit.answers.part.design import Design
from creepfit.answers.part.keeping import Keeping
from creepfit.answers.part.sag import Sag
from creepfit.answers.specimen.limit import Life
from creepfit.report.page.findings import Findings
from creepfit.report.page.tables import PageTable
from creepfit.report.page.words import kept_for
from creepfit.report.text.first_words import exceeded_at_once
from creepfit.report.text.pieces import PROMISED, Unit, kept_chance, life_words, read_unit, show_load
from creepfit.shown import capital
from creepfit.units import show_number, show_time

HEADS = ("what", "now", "what keeps it", "probability")


def limit_table(findings: Findings) -> PageTable | None:
    """The limit asked about for a specimen; None where none was, or where nothing can be said."""
    limit, unit, outlook = findings.forecast.limit, read_unit(findings.fit), findings.forecast.outlook
    if limit is None or limit.life is None:
        return None
    now = show_load(findings.forecast.case.peak, outlook.load_unit)
    rows: list[tuple[str, ...]] = [_as_it_is(limit.life, now)]
    if limit.load is not None:
        rows.append(("load", now, outlook.load_unit.show(limit.load.value), _sure(limit.load.probability)))
    loading = outlook.response(findings.curve.times[:1]).ends(findings.fit.level)[1, 0]
    note = _reached(limit.life, limit.value, float(loading), unit, findings.fit.level)
    beside = limit.why_no_load if limit.load is None else limit.load.note
    note = f"{note} {capital(beside)}." if beside else note
    caption = f"Limit of {unit.number(limit.value)} {unit.name}, to be kept for {show_time(limit.life.asked)}, {PROMISED}"
    return PageTable(caption, HEADS, tuple(rows), note=note, words=(1, 2))


def part_limit_table(sag: Sag, design: Design) -> PageTable:
    """The same for a part: its loads, or its thicknesses, that keep the limit for its life."""
    loads = [f"{load.label}" for load in sag.part.loads]
    life = design.life
    rows: list[tuple[str, ...]] = [] if life is None else [_as_it_is(life, " and ".join(loads) or "its own weight")]
    notes = []
    for keeping, what in ((design.load, "loads"), (design.thickness, "thicknesses")):
        if keeping.factor is None:
            notes.append(f"No {what} can be given: {keeping.why}.")
            continue
        rows += _sizes(keeping, safe="low" if keeping is design.load else "high")
        many = len(keeping.sizes) > 1
        notes.append(f"{capital(what)}{' (they hold together only)' if many else ''}: {keeping.note}.")
    loading = float(sag.loading.interval.median)
    note = f"{capital(design.why or '')}."
    if life is not None:
        note = _reached(life, design.limit, loading, Unit("mm"), sag.level)
    if design.cut is not None:
        note = f"{capital(design.cut)}. {note}"
    caption = f"Limit of {show_number(design.limit)} mm, to be kept for {show_time(design.load.life)}, {PROMISED}"
    return PageTable(caption, HEADS, tuple(rows), note=" ".join([note, *notes]), words=(1, 2))


def _as_it_is(life: Life, now: str) -> tuple[str, ...]:
    probability = "unknown" if life.kept is None else kept_chance(life.kept)
    return ("as it is", now, "", probability)


def _sizes(keeping: Keeping, safe: str) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    for size in keeping.sizes:
        unit, one = size.shown
        size_words = f"{show_number(float(getattr(size.interval, safe)) / one)} {unit}"
        name = size.label if safe == "high" else f"load: {size.label}"
        rows.append((name, f"{show_number(size.now / one)} {unit}", size_words, _sure(keeping.probability)))
    return rows


def _sure(probability: float) -> str:
    """A probability that is promised, never rounded up."""
    return f"{math.floor(1000.0 * probability) / 1000.0:g}"


def _reached(life: Life, limit: float, loading: float, unit: Unit, level: float) -> str:
    if life.forecast.median == 0.0:
        return f"{capital(exceeded_at_once(limit, loading, unit))}."
    return f"By the forecast {life_words(life, level)}; {kept_for(life, level)}."
