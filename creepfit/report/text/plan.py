"""Plans in words: a test before it begins, and what to read next on a run."""

from __future__ import annotations

from creepfit.answers.interval import Interval
from creepfit.answers.plan.load import load_words
from creepfit.answers.plan.planned_reading import PlannedReading
from creepfit.answers.plan.proposal import PlannedTest
from creepfit.answers.plan.running import Choice, RunningPlan
from creepfit.answers.specimen.schedule import LEAST, ranked_by
from creepfit.answers.wording import clock_time, size_with_range, time_words
from creepfit.inference.stress_law import RATIO_SPREAD
from creepfit.report.text.first_words import in_place_of_a_number
from creepfit.report.text.pieces import PROMISED, chance, kept_chance, paragraph, percent, table
from creepfit.shown import capital, listed
from creepfit.units import show_time

NOT_IN_IT = (
    "A forecast is not a strength check: creep rupture, heat, moisture, sun and the direction of layers are outside this "
    "test, and beyond ten times its length a forecast is a guess with a number on it."
)


TitledRows = tuple[tuple[str, ...], list[tuple[str, ...]]]

PROMISE_NOTE = (
    "Half widths over the value; half of the specimens end within the one, nine in ten within the other. The schedules "
    "below the proposal are tried on every so many of the specimens: its widths are multiplied by what becomes of those, "
    "and their nine in ten is rough."
)

BARS_NOTE = (
    "Simulated bars, pooled. The first row trusts that prints differ as is usual; in the others the bars show it, of which "
    "one shows nothing, two hardly anything. What more bars tell of the curve's shape is left out: pools of five come "
    "to a fifth less for another print, a third less for their average."
)

ELSEWHERE_NOTE = (
    "Simulated bars. On trust: for warmth by what is usual of plastics, for stress a ratio of compliances of 1 to within "
    f"{100.0 * RATIO_SPREAD:.0f} % (one standard deviation), where a forecast takes proportion for granted."
)


def running_text(plan: RunningPlan) -> str:
    """Text of `plan` for a run with readings."""
    title = f"{plan.fit.label}: what to read next"
    lines = [title, "=" * len(title), *paragraph(_now(plan))]
    if plan.best:
        lines += ["", *_best(plan)]
    else:
        lines += ["", *paragraph(f"{plan.why}.".capitalize())]
    if plan.more:
        lines += ["", "What more days would buy, with up to three readings", *_more(plan)]
        if plan.unloading:
            lines += ["", *paragraph(f"{capital(plan.unloading)}.")]
    if plan.rests_on:
        lines += ["", *paragraph(f"The doubt rests most on {plan.rests_on}.")]
    return "\n".join(lines)


def _now(plan: RunningPlan) -> str:
    asked = plan.question
    if plan.instead is not None:
        return in_place_of_a_number(plan.instead, show_time(asked.by))
    if isinstance(plan.now, Interval):
        return f"Asked for is {asked.words}, today {size_with_range(plan.now, plan.fit.unit)}, {percent(plan.fit.level)}."
    promised = "" if asked.promised is None else f"; {PROMISED}, as for a promise, yes with {kept_chance(asked.promised)}"
    return (
        f"Asked is {asked.words}: today yes with probability {_chance(plan.now)}, so that deciding now is wrong with "
        f"{_chance(plan.doubt)}{promised}."
    )


def _best(plan: RunningPlan) -> list[str]:
    lines = []
    names = ("The best next reading", "The best two together", "The best three together")
    for choice in plan.best:
        lines += paragraph(f"{names[len(choice.readings) - 1]}: {choice.text}. {_worth(plan, choice)}", "", "  ")
    if plan.question.is_size:
        lines += paragraph(_measure(plan))
    return lines


def _measure(plan: RunningPlan) -> str:
    """What the doubt is, and what becomes of the interval, which is another thing."""
    whole = "what stays" if plan.question.kind == "set" else "its logarithm"
    shares = listed([f"{100.0 * c.narrowing:.0f}" for c in plan.best])
    return ranked_by(whole, shares, any(c.width is not None and c.width > 1.0 for c in plan.best))


def _worth(plan: RunningPlan, choice: Choice) -> str:
    if not plan.question.is_size:
        return f"Expected: deciding then is wrong with probability {_chance(choice.doubt)}."
    width = 1.0 if choice.width is None else choice.width
    return f"The {percent(plan.fit.level)} interval is expected to become {100.0 * width:.0f} % as wide as now."


def _more(plan: RunningPlan) -> list[str]:
    size = plan.question.is_size
    head = "doubt taken off" if size else "wrong verdict"
    sides = [(m.as_it_is, m.unloaded) for m in plan.more]
    names = ["load left on", "taken off now"] if any(b is not None for _, b in sides) else ["as it is"]

    def cell(choice: Choice | None) -> str:
        if choice is None:
            return "-"
        if not size:  # draws of a verdict scatter by more than so little
            return _chance(choice.doubt) if choice.narrowing >= LEAST else "no change"
        return f"{100.0 * choice.narrowing:.0f} %"

    rows = [(f"{m.days:g} d", *(cell(c) for c in side[: len(names)])) for m, side in zip(plan.more, sides, strict=True)]
    return table([head, *names], rows)


def _chance(probability: float) -> str:
    """A probability to two digits, so that what a reading makes of it shows."""
    return f"{probability:.3f}" if 0.01 <= probability < 0.1 else chance(probability)


def planned_text(plan: PlannedTest) -> str:
    """Text of `plan` before a test."""
    title = f"{plan.label}: plan of a test"
    lines = [title, "=" * len(title), *paragraph(plan.verdict), *paragraph(plan.for_the_part)]
    lines += ["", *paragraph(f"Load  {load_words(plan.load, plan.unit, plan.unload_at)}; {plan.load.why}.", "", "  ")]
    lines += paragraph(
        f"Specimen  {plan.begun.specimen.describe()}; gauge to {plan.begun.gauge.resolution:g} {_unit(plan)}", "", "  "
    )
    lines += ["", f"Readings, {plan.hours.words}", *_reading_rows(plan)]
    lines += ["", f"Expected {percent(plan.level)} interval of {plan.asked}, tried on paper"]
    lines += [*table(promise_heads(plan), promise_rows(plan)), *paragraph(PROMISE_NOTE, "  ", "  ")]
    lines += ["", "With more bars of the material, typically", *table(*bars_table(plan)), *paragraph(BARS_NOTE, "  ", "  ")]
    lines += ["", "For a bar elsewhere, typically", *table(*elsewhere_table(plan)), *paragraph(ELSEWHERE_NOTE, "  ", "  ")]
    lines += ["", "What else would tell more"]
    for text in plan.also:
        lines += paragraph(f"{text}.", "  - ", "    ")
    lines += ["", *paragraph(f"The plan rests most on one assumption, {plan.rests_on}.")]
    lines += ["", "Believed beforehand"]
    for text in plan.belief.assumptions:
        lines += paragraph(text, "  - ", "    ")
    return "\n".join([*lines, "", *paragraph(NOT_IN_IT)])


def sheet_text(plan: PlannedTest) -> str:
    """A table to print and fill in by the bench."""
    title = f"{plan.label}, {plan.load.text}"
    lines = [title, "=" * len(title), f"{plan.begun.specimen.describe()}", ""]
    heads = ("when", "state", "time", "gauge reading", "note")
    rows = [(_when(plan, r), _what(plan, r), _time(r), "_" * 14, "_" * 24) for r in plan.readings]
    sizes = [max(len(row[i]) for row in (heads, *rows)) for i in range(len(heads))]
    for row in (heads, *rows):
        lines += ["  ".join(cell.ljust(size) for cell, size in zip(row, sizes, strict=True)).rstrip(), ""]
    return "\n".join(lines).rstrip()


def reading_rows(plan: PlannedTest) -> list[tuple[str, str, str]]:
    """Day and hour, what is done, and the time since loading or unloading, for every reading."""
    return [(_when(plan, r), _what(plan, r), _time(r)) for r in plan.readings]


def promise_rows(plan: PlannedTest) -> list[tuple[str, str, str, str, str]]:
    """Schedule, its readings, half widths of half and of nine in ten specimens, and how many end within what is wanted."""
    return [
        (
            p.times.name,
            str(len(p.times.since_loading)),
            _half(p.typical),
            _half(p.poor),
            f"{p.kept} of {p.tried}",
        )
        for p in (*plan.schedules, *plan.longer)
    ]


def bars_table(plan: PlannedTest) -> TitledRows:
    """Heads and rows of what more bars come to."""
    rows: list[tuple[str, ...]] = [
        (f"{s.count}, scatter trusted" if s.trusted else str(s.count), _half(s.average), _half(s.next_one))
        for s in plan.specimens
    ]
    return ("bars", "their average", "another print" if plan.part is None else "the part"), rows


def elsewhere_table(plan: PlannedTest) -> TitledRows:
    """Heads and rows of what a second temperature and a second stress come to."""
    rows: list[tuple[str, ...]] = [(e.words, _half(e.trust), _half(e.second), _half(e.same)) for e in plan.elsewhere]
    return ("", "on trust", "a second bar there", "the same bar there afterwards"), rows


def promise_heads(plan: PlannedTest) -> tuple[str, str, str, str, str]:
    """Heads of `promise_rows`."""
    return "reading times", "readings", "half of them", "nine in ten", f"within ±{100.0 * plan.wanted:.3g} %"


def _reading_rows(plan: PlannedTest) -> list[str]:
    return table(("when", "time", "state"), [(a, c, b) for a, b, c in reading_rows(plan)], left=3)


def _when(plan: PlannedTest, reading: PlannedReading) -> str:
    if reading.clock is None:
        return ""
    return clock_time(reading.clock) if plan.dated else f"{_week(plan, reading)}{reading.clock:%a %H:%M}"


def _week(plan: PlannedTest, reading: PlannedReading) -> str:
    """Which week it is, where no date is known."""
    assert reading.clock is not None
    first = plan.begin.isocalendar()
    weeks = (reading.clock.date() - plan.begin.date()).days + first.weekday - 1
    return f"week {weeks // 7 + 1}, "


def _what(plan: PlannedTest, reading: PlannedReading) -> str:
    if reading.time < 0.0:
        return "gauge put on anew, no load"
    if reading.after is not None:
        return "unloaded"
    return "loaded, then take it off" if abs(reading.time - plan.unload_at) < 1.0 else "loaded"


def _time(reading: PlannedReading) -> str:
    if reading.time < 0.0:
        return "before"
    return time_words(reading.time if reading.after is None else reading.after)


def _half(share: float) -> str:
    return f"±{100.0 * share:.0f} %" if share >= 0.0095 else f"±{100.0 * share:.1f} %"


def _unit(plan: PlannedTest) -> str:
    return "mm" if plan.unit == "mm" else "strain"
