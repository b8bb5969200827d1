"""The answer of `relax` in words."""

from __future__ import annotations

from creepfit.answers.part.relaxation import Relaxation
from creepfit.inference.fitting import FARTHEST
from creepfit.report.text.first_words import in_place_of_a_number, not_a_forecast
from creepfit.report.text.part import inclusion_lines
from creepfit.report.text.pieces import (
    MM,
    N,
    Unit,
    beyond_the_stress,
    cautions,
    out_of_reach,
    paragraph,
    percent,
    table,
    times_the_test,
    title,
)
from creepfit.units import show_number, show_time

PERCENT = Unit("%", 100.0)


def relax_text(result: Relaxation) -> str:
    """Text of `relax`."""
    lines = [
        *title(f"{result.part.name or 'Part'}, held bent, by {result.fit.label}"),
        *paragraph(headline(result)),
        "",
        f"Force, {percent(result.level)} intervals",
        *paragraph(not_a_forecast(result.instead), "  "),
        *_times(result),
        *_released(result),
        "",
        *paragraph(stress_words(result)),
        *inclusion_lines(result.includes),
        *cautions(result.cautions),
    ]
    return "\n".join(lines)


def headline(result: Relaxation) -> str:
    """The latest time asked for, in one sentence."""
    row = max(result.rows, key=lambda r: r.time)
    ratio = row.time / result.fit.run.test_length
    place = "" if result.fit.warming is None else f" {result.fit.warming.text}"
    bent = f"held bent by {MM.number(result.holding.deflection)} mm{place}{result.part.held_as}"
    instead = result.instead
    if instead is not None and instead.of == "all":
        return in_place_of_a_number(instead, f"the force after {show_time(row.time)}, {bent}")
    if ratio > FARTHEST:
        words = out_of_reach(row.force, ratio, N, result.level)
        return f"What force is left after {show_time(row.time)}, {bent}, cannot be forecast: {words}"
    if instead is not None:
        left = N.sentence(row.force, result.level)
        start = f"What force is left after {show_time(row.time)}, {bent}"
        return f"{start}, is out of reach: {instead.because}. In proportion to the strain it would be {left}."
    far = f", {show_number(ratio, digits=2)} times longer than the specimen was tested" if ratio >= 1.5 else ""
    far += beyond_the_stress(result.checks.stress / result.checks.tested[1])
    low, median, high = PERCENT.interval(row.share)
    return (
        f"After {show_time(row.time)}, {bent}, the force will be {N.sentence(row.force, result.level)}, which is "
        f"{median} % of its own first force ({low} to {high} %){far}."
    )


def stress_words(result: Relaxation) -> str:
    """Stress and strain when first bent."""
    checks = result.checks
    return (
        f"Largest stress when first bent {show_number(checks.stress)} MPa (median); the specimen was tested at up to "
        f"{show_number(checks.tested[1])} MPa. The strain there stays at {show_number(100.0 * checks.strain)} %."
    )


def _times(result: Relaxation) -> list[str]:
    heads = ["after", "low", "median [N]", "high", "of the first", "times the test"]
    cells = [["bending", *N.interval(result.first), "100 %", ""]]
    for row in result.rows:
        low, median, high = PERCENT.interval(row.share)
        share = f"{median} % ({low} to {high})"
        cells.append([show_time(row.time), *N.interval(row.force), share, times_the_test(row.decades_beyond)])
    return table(heads, cells)


def _released(result: Relaxation) -> list[str]:
    if not result.released:
        return []
    cells = [[show_time(row.after), *MM.interval(row.interval)] for row in result.released]
    heads = ["after letting go", "low", "median [mm]", "high"]
    return ["", f"Bend that is left, let go at {show_time(result.released[0].at)}", *table(heads, cells)]
