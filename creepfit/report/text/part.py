"""The answer of `sag` in words: one sentence, the times asked for, the limit, stress, segments, what is included."""

from __future__ import annotations

import math
from collections.abc import Sequence

from creepfit.answers.interval import Interval
from creepfit.answers.part.keeping import Keeping
from creepfit.answers.part.response import Inclusion
from creepfit.answers.part.sag import Sag
from creepfit.inference.fitting import FARTHEST
from creepfit.report.text.first_words import exceeded_at_once, in_place_of_a_number, not_a_forecast
from creepfit.report.text.pieces import (
    MM,
    Unit,
    beyond_the_stress,
    cautions,
    kept_lines,
    life_words,
    out_of_reach,
    paragraph,
    percent,
    promise,
    table,
    times_the_test,
    title,
)
from creepfit.shown import listed
from creepfit.units import show_number, show_time


def render_sag(result: Sag) -> str:
    """Text of `sag`."""
    lines = [
        *title(f"{result.part.name or 'Part'}, by {result.fit.label}"),
        *paragraph(headline(result)),
        "",
        *time_lines(result),
        *unloaded_lines(result),
        *limit_lines(result),
        *_stress(result),
        *_segments(result),
        *inclusion_lines(result.includes),
        *cautions(result.cautions),
    ]
    return "\n".join(lines)


def headline(result: Sag) -> str:
    """The latest time asked for, in one sentence; where a slip in the run has to be settled first, that."""
    row, instead = max(result.rows, key=lambda r: r.time), result.instead
    loads = listed([load.label for load in result.part.all_loads])
    if result.falls is not None:
        return f"No sag can be promised under {loads}: {result.falls.text}"
    if instead is not None and instead.of == "all":
        settle = "" if instead.because else "Nothing can be said of the part before this is settled for the specimen: "
        return f"{settle}{in_place_of_a_number(instead, f'the part after {show_time(row.time)}')}"
    largest, at = row.interval if row.peak is None else row.peak.interval, show_time(row.time)
    size = MM.sentence(largest, result.level)
    ratio = row.time / result.fit.run.test_length
    if ratio > FARTHEST:
        words = out_of_reach(largest, ratio, MM, result.level)
        return f"How far the part will have sagged after {at} under {loads} is out of reach: {words}"
    if instead is not None:
        start = f"How far the part will have sagged after {at} under {loads}"
        return f"{start} is out of reach: {instead.because}. In proportion to the load it would be {size}."
    far = f", {show_number(ratio, digits=2)} times longer than the specimen was tested" if ratio >= 1.5 else ""
    far += _beyond_the_stress_tested(result)
    place = "" if result.fit.warming is None else f" {result.fit.warming.text}"
    held = result.part.held_as
    part = f"the part{held}{',' if held else ''}"
    moved, move = ("sagged", "sag") if result.part.opposite_at is None else ("opened", "open")
    if row.peak is not None:
        then = MM.interval(row.interval)[1]
        return f"Up to {at} under {loads}{place} {part} will {move} by at most {size}{far}; at {at} itself by {then} mm."
    return f"{_before_the_sag(result)}After {at} under {loads}{place} {part} will have {moved} by {size}{far}."


def _before_the_sag(result: Sag) -> str:
    """What is to be read before the size of a sag: that the loads lift the part, that its material has an odd modulus."""
    said = {c.code: c.text for c in result.cautions}
    lifts, odd = said.get("load-lifts", ""), said.get("modulus-out-of-range", "").partition(" (from memory)")[0]
    return f"{lifts} " if lifts else f"{odd}; if a slip made it so, the sag is wrong by as much. " if odd else ""


def _beyond_the_stress_tested(result: Sag) -> str:
    """By how much the part's stress lies above what was tested, where the doubt about that is raised."""
    doubted = any(caution.code == "stress-not-tested" for caution in result.cautions)
    return beyond_the_stress(result.checks.stress.value / result.checks.tested[1]) if doubted else ""


def time_lines(result: Sag) -> list[str]:
    """The times asked for."""
    besides: list[tuple[str, list[Interval | None]]] = [
        ("largest until then", [row.peak.interval if row.peak else None for row in result.rows]),
        ("trough of the cycle", [row.trough.interval if row.trough else None for row in result.rows]),
        ("if always on", [row.always_on for row in result.rows]),
    ]
    besides = [(head, sizes) for head, sizes in besides if any(sizes)]
    cells = [[show_time(result.loading.time), *MM.interval(result.loading.interval), "", *("" for _ in besides)]]
    for i, row in enumerate(result.rows):
        beside = ["" if (own := sizes[i]) is None else MM.in_words(own) for _, sizes in besides]
        cells.append([show_time(row.time), *MM.interval(row.interval), times_the_test(row.decades_beyond), *beside])
    heads = ["after", "low", "median [mm]", "high", "times the test", *(head for head, _ in besides)]
    what = "Sag" if result.part.opposite_at is None else "Opening"
    said = paragraph(not_a_forecast(result.instead), "  ")
    return [f"{what}, {percent(result.level)} intervals", *said, *table(heads, cells)]


def unloaded_lines(result: Sag) -> list[str]:
    """What is left after the loads came off; nothing where that was not asked about."""
    if not result.unloaded:
        return []
    cells = [[show_time(row.after), *MM.interval(row.interval)] for row in result.unloaded]
    heads = ["after unloading", "low", "median [mm]", "high"]
    return ["", f"Left after unloading at {show_time(result.unloaded[0].off_at)}", *table(heads, cells)]


def limit_lines(result: Sag) -> list[str]:
    """When the limit is reached and what keeps it; nothing where there is none."""
    if result.design is None:
        return []
    limit, life = result.design.limit, result.design.life
    title = f"Limit of {MM.number(limit)} mm"
    if result.unpromised is not None:
        return ["", title, *paragraph(result.unpromised.nothing_promised, "  ", "    ")]
    if life is None:
        reached = result.design.why or ""
    elif life.forecast.median == 0.0:
        reached = exceeded_at_once(limit, result.loading.interval.median, MM)
    else:
        reached = life_words(life, result.level)
    kept, unknown = [] if life is None else kept_lines(life, result.level), []
    for keeping, what in ((result.design.load, "load"), (result.design.thickness, "thickness")):
        if keeping.factor is None:
            unknown += paragraph(f"no {what} that keeps it can be given: {keeping.why}", "  ", "    ")
        else:
            kept += _keeping(keeping, what)
    cut = [] if result.design.cut is None else paragraph(result.design.cut, "  ", "    ")
    return ["", title, *paragraph(reached, "  ", "    "), *cut, *promise(kept), *unknown]


def _keeping(keeping: Keeping, what: str) -> list[str]:
    """The load or thickness that keeps the limit."""
    least = math.floor(1000.0 * keeping.probability) / 1000.0  # never round a promise up
    lines = paragraph(
        f"kept for {show_time(keeping.life)} with probability {least:g} by this {what} ({keeping.note}):", "    ", "      "
    )
    for size in keeping.sizes:
        unit, one = size.shown
        safe = show_number((size.interval.low if what == "load" else size.interval.high) / one)
        now = show_number(size.now / one)
        as_labelled = size.label.partition(" ")[0].replace(",", ".") == now  # a load's label begins with its size
        text = f"{safe} {unit} in place of {size.label if as_labelled else f'{now}, {size.label}'}"
        lines += paragraph(text, "      ", "        ")
    return lines


def _stress(result: Sag) -> list[str]:
    checks = result.checks
    low, median, high = Unit("%", 100.0).interval(checks.strain)
    text = (
        f"Largest stress {show_number(checks.stress.value)} MPa, in {checks.where}; "
        f"the specimen was tested at up to {show_number(checks.tested[1])} MPa. Strain there after "
        f"{show_time(checks.strain_time)}: {median} % ({low} to {high} %)."
    )
    return ["", *paragraph(text)]


def _segments(result: Sag) -> list[str]:
    if len(result.segments) < 2:
        return []
    cells = [[s.name, f"{100.0 * s.share:.0f} %"] for s in result.segments]
    return ["", "Where the sag comes from", *table(["part of it", "share"], cells)]


def inclusion_lines(includes: Sequence[Inclusion]) -> list[str]:
    """What the intervals include, with its size where it has one."""
    lines = ["", "The intervals include"]
    for item in includes:
        size = ""
        if item.sd is not None:
            size = f": {show_number(100.0 * item.sd)} %"
        elif item.factor is not None:
            size = f": {item.factor:g}"
        lines += paragraph(f"{item.what}{size}", "  - ", "    ")
    return lines
