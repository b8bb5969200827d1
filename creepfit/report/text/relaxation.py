"""The answer of `relax` in words."""

from __future__ import annotations

from typing import Any

from creepfit.answers.part.relaxation import Relaxation
from creepfit.inference.fitting import FARTHEST
from creepfit.report.text.pieces import Unit, hours, out_of_reach, paragraph, percent, table
from creepfit.units import HOUR, show_number

N = Unit("N")
PERCENT = Unit("%", 100.0)
MM = Unit("mm")


def relax_text(result: Relaxation) -> str:
    """Text of `relax`."""
    answer = result.to_dict()
    name = f"{answer['part'] or 'Part'}, held bent, by {result.fit.label}"
    lines = [
        name,
        "=" * len(name),
        *paragraph(headline(result)),
        "",
        f"Force, {percent(answer['level'])} intervals",
        *_times(answer),
        *_released(answer),
        "",
        *paragraph(stress_words(result)),
        "",
        "The intervals include",
        *[line for item in answer["includes"] for line in paragraph(_included(item), "  - ", "    ")],
    ]
    for caution in answer["cautions"]:
        if caution is answer["cautions"][0]:
            lines += ["", "Cautions"]
        lines += paragraph(caution["text"], "  ! ", "    ")
        if caution["settled_by"]:
            lines += paragraph(f"settled by: {caution['settled_by']}", "    ", "    ")
    return "\n".join(lines)


def headline(result: Relaxation) -> str:
    """The latest time asked for, in one sentence."""
    answer = result.to_dict()
    row = max(answer["relax"], key=lambda r: r["time_h"])
    ratio = row["time_h"] * HOUR / result.fit.run.test_length
    place = "" if result.fit.warming is None else f" {result.fit.warming.text}"
    bent = f"held bent by {MM.number(result.holding.deflection)} mm{place}"
    if ratio > FARTHEST:
        found = out_of_reach(row, ratio, N, answer["level"])
        return f"What force is left after {hours(row['time_h'])}, {bent}, cannot be forecast: {found}"
    far = f", {show_number(ratio, digits=2)} times longer than the specimen was tested" if ratio >= 1.5 else ""
    low, median, high = PERCENT.interval(row["share"])
    return (
        f"After {hours(row['time_h'])}, {bent}, the force will be {N.sentence(row, answer['level'])}, which is "
        f"{median} % of the first force ({low} to {high} %){far}."
    )


def stress_words(result: Relaxation) -> str:
    """Stress and strain when first bent."""
    checks = result.checks
    return (
        f"Largest stress when first bent {show_number(checks.stress)} MPa (median); the specimen was tested at up to "
        f"{show_number(checks.tested[1])} MPa. The strain there stays at {show_number(100.0 * checks.strain)} %."
    )


def _times(answer: dict[str, Any]) -> list[str]:
    heads = ["after", "low", "median [N]", "high", "of the first", "times the test"]
    cells = [["bending", *N.interval(answer["first"]), "100 %", ""]]
    for row in answer["relax"]:
        beyond = row["decades_beyond"]
        times = show_number(10.0**beyond, digits=2) if beyond > 0.0 else "within"
        low, median, high = PERCENT.interval(row["share"])
        cells.append([hours(row["time_h"]), *N.interval(row), f"{median} % ({low} to {high})", times])
    return table(heads, cells)


def _released(answer: dict[str, Any]) -> list[str]:
    rows = answer["after_release"]
    if not rows:
        return []
    cells = [[hours(row["after_h"]), *MM.interval(row)] for row in rows]
    heads = ["after letting go", "low", "median [mm]", "high"]
    return ["", f"Bend that is left, let go at {hours(rows[0]['released_at_h'])}", *table(heads, cells)]


def _included(item: dict[str, Any]) -> str:
    return f"{item['what']}: {show_number(100.0 * item['sd'])} %" if item["sd"] is not None else str(item["what"])
