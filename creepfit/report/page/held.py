"""What a page says of a part that is held bent: its sentence, key numbers and tables."""

from __future__ import annotations

from creepfit.answers.part.relaxation import Relaxation
from creepfit.report.page.tables import PageTable
from creepfit.report.page.words import Key
from creepfit.report.text.first_words import not_a_forecast
from creepfit.report.text.pieces import N, Unit, percent
from creepfit.report.text.relaxation import stress_words
from creepfit.units import show_number, show_time

PERCENT = Unit("%", 100.0)


def held_keys(result: Relaxation) -> list[Key]:
    """Key numbers: the first force, and what is left of it."""
    level = percent(result.level)
    low, median, high = N.interval(result.first)
    keys = [Key("force when first bent", f"{median} N", f"{level}: {low} to {high} N")]
    for row in result.rows[-2:]:
        if (instead := result.instead_at(row.time)) is not None:
            keys.append(Key(f"left after {show_time(row.time)}", "not given", instead.short))
            continue
        low, median, high = PERCENT.interval(row.share)
        keys.append(Key(f"left after {show_time(row.time)}", f"{median} %", f"{level}: {low} to {high} %"))
    times = show_number(result.checks.stress / result.checks.tested[1], digits=2)
    keys.append(Key("largest stress", f"{show_number(result.checks.stress)} MPa", f"{times} times the stress tested"))
    return keys


def held_tables(result: Relaxation) -> dict[str, PageTable]:
    """Force and its share of the first at the times asked for, and what the intervals include."""
    rows = []
    for row in result.rows:
        low, median, high = PERCENT.interval(row.share)
        times = show_number(row.time / result.fit.run.test_length, digits=2)
        rows.append((show_time(row.time), *N.interval(row.force), f"{median} % ({low} to {high})", times))
    heads = ("after", "low", "median [N]", "high", "of the first", "times the test")
    includes = tuple((i.what, "" if i.sd is None else percent(round(i.sd, 4))) for i in result.includes)
    title, note = f"Force, {percent(result.level)} intervals", not_a_forecast(result.instead)
    return {
        "force": PageTable(title, heads, tuple(rows), note=note),
        "stress": PageTable("Stress when first bent", ("what",), ((stress_words(result),),), words=(0,)),
        "includes": PageTable("What the intervals include", ("what", "size"), includes),
    }
