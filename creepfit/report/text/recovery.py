"""The answer of `recover` in words: what is left, how much went back, and what will stay."""

from __future__ import annotations

from typing import TYPE_CHECKING

from creepfit.answers.interval import Interval
from creepfit.report.text.first_words import in_place_of_a_number, not_a_forecast
from creepfit.report.text.pieces import Unit, chance, paragraph, percent, read_unit, shown_unit, table
from creepfit.shown import capital
from creepfit.units import show_number, show_time

if TYPE_CHECKING:
    from creepfit.answers.specimen.permanent_set import PermanentSet
    from creepfit.answers.specimen.recovery import Recovery


def recovery_lines(result: Recovery) -> list[str]:
    """Everything between title and cautions."""
    notes = [*beyond_start(result), not_a_forecast(result.instead)]
    return [
        *paragraph(headline(result)),
        *([] if result.warming is None else paragraph(f"Loaded and unloaded {result.warming.text}.")),
        "",
        f"Left after unloading, {percent(result.level)} intervals",
        *_left(result),
        *(line for text in notes if text for line in paragraph(text, "  ")),
        "",
        "Permanent set",
        *_set(result.permanent_set, read_unit(result.fit), result.level),
        *_practice(result),
    ]


def below_start(result: Recovery, left: Interval | None) -> bool:
    """Whether the specimen lies beyond where it was before the load, on the side away from it."""
    return left is not None and result.before is not None and left.median * result.before.median < 0.0


def beyond_start(result: Recovery) -> list[str]:
    """Why more than all has gone back, where it has: as one sentence, or none."""
    if not any(below_start(result, row.left) for row in result.residuals):
        return []
    gauge, rig = result.fit.run.gauge, result.fit.run.rig
    if gauge.force:
        return [
            f"Below zero: the gauge's plunger presses with {show_number(gauge.force)} N all the time, against the load, "
            "and goes on bending the specimen back beyond where it was before."
        ]
    if rig.preload * result.fit.run.peak_load < 0.0:
        return ["Below zero: the preload pulls the other way all the time, and the specimen goes on giving way to it."]
    return ["Below zero: these readings do not tell that from nothing left; a wrong zero looks like this, too."]


def back_words(recovered: Interval) -> tuple[str, str, str]:
    """Low, median and high of what has gone back in per cent; more than all of it is "all"."""
    sizes = (recovered.low, recovered.median, recovered.high)
    ends = zip(Unit("%").interval(recovered), sizes, strict=True)
    low, median, high = ("all" if size > 100.0 else shown for shown, size in ends)
    return low, median, high


def headline(result: Recovery) -> str:
    """The last time asked for, in one sentence."""
    row = max(result.residuals, key=lambda r: r.after)
    when = f"{show_time(row.after)} after unloading"
    if row.left is None or row.recovered is None:
        return f"What is left {when} cannot be known: {row.why}."
    if result.instead is not None:
        return in_place_of_a_number(result.instead, f"what is left {when}")
    back = back_words(row.recovered)
    asked = " (had it been unloaded at the last reading)" if result.hypothetical else ""
    size = read_unit(result.fit).sentence(row.left, result.level)
    if not result.tested:
        return (
            f"{capital(when)}{asked}, what is left was not tested: by creep alone, which comes back, {size}, and more by "
            "all that has set or flowed."
        )
    if below_start(result, row.left):
        return f"{capital(when)}{asked} all of the deformation has gone back; {_beyond(result, row.left)}."
    if "all" in back:
        return f"{capital(when)}{asked}, {size} is left: {back[1]} % ({back[0]} % to all) has gone back."
    return f"{capital(when)}{asked}, {size} is left: {back[1]} % ({back[0]} to {back[2]} %) has gone back."


def _beyond(result: Recovery, left: Interval) -> str:
    if left.low * left.high <= 0.0:
        return "nothing of it is left that these readings could show"
    sizes = sorted(abs(end) for end in (left.low, left.median, left.high))
    return f"it lies {read_unit(result.fit).sentence(Interval(*sizes), result.level)} beyond where it was"


def _left(result: Recovery) -> list[str]:
    unit, rows = read_unit(result.fit), result.residuals
    strain = all(row.strain is not None for row in rows) and unit.name != "%"
    cells = []
    for row in rows:
        if row.left is None or row.recovered is None:
            return paragraph(f"unknown: {row.why}", "  ")
        cells.append([show_time(row.after), *unit.interval(row.left), back_cell(row.recovered, result.tested)])
        if strain and row.strain is not None:
            cells[-1].append(shown_unit("1").in_words(row.strain))
    heads = ["after", "low", f"median [{unit.name}]", "high", "gone back [%]"]
    return table([*heads, "largest strain left [%]"] if strain else heads, cells)


def back_cell(recovered: Interval, tested: bool) -> str:
    """What has gone back in a cell; at most, where nothing was read of what stays."""
    return _in_words(recovered) if tested else f"at most {back_words(recovered)[2]}"


def _in_words(recovered: Interval) -> str:
    low, median, high = back_words(recovered)
    return "all" if low == "all" else f"{median} ({low} to {high})"


def _set(remains: PermanentSet, unit: Unit, level: float) -> list[str]:
    if remains.bounds is None:
        return paragraph(f"unknown: {remains.why}", "  ")
    stays = stays_words(remains, remains.bounds, unit, level)
    lines = [*_remains(remains, unit, level), *paragraph(f"what stays for good is {stays}: {remains.why}", "  ")]
    rows = [[law, *unit.interval(size)] for law, size in remains.laws]
    return [*lines, *table(["how a set might grow", "low", f"median [{unit.name}]", "high"], rows, indent="    ")]


def stays_words(remains: PermanentSet, bounds: Interval, unit: Unit, level: float) -> str:
    """Bounds of a set; without the middle value where that is of a set that remains, which is the less likely case."""
    if not remains.if_one_remains:
        return unit.sentence(bounds, level)
    low, _, high = unit.interval(bounds)
    return f"between {low} and {high} {unit.name} ({percent(level)})"


def _remains(remains: PermanentSet, unit: Unit, level: float) -> list[str]:
    """Whether a set remains at all, and how large it is if one does."""
    if remains.probability is None:
        return []
    least, of = f"{unit.number(remains.least)} {unit.name}", remains.if_any
    if of is not None and remains.if_one_remains:
        none, one = chance(1.0 - remains.probability), chance(remains.probability)
        of_one = f"if one does, with {one}, it is {unit.sentence(of, level)}"
        return paragraph(f"no set of more than {least} remains with probability {none}; {of_one}", "  ")
    then = "" if of is None else f"; if one does, it is {unit.sentence(of, level)}"
    return paragraph(f"a set of more than {least} remains with probability {chance(remains.probability)}{then}", "  ")


def _practice(result: Recovery) -> list[str]:
    if not result.practice:
        return []
    lines = ["", "Rules of practice, for comparison"]
    for rule in result.practice:
        why = f" ({rule.why})" if rule.why else ""
        lines += paragraph(f"{rule.rule} ({rule.source}): {rule.verdict}{why}", "  ", "    ")
    return lines
