"""The answer of `recover` in words: what is left, how much went back, and what will stay."""

from __future__ import annotations

from typing import Any

from creepfit.answers.specimen.recovery import Recovery
from creepfit.report.text.pieces import Unit, chance, hours, paragraph, percent, shown_unit, table


def recovery_lines(result: Recovery) -> list[str]:
    """Everything between title and cautions."""
    answer = result.to_dict()
    unit = shown_unit(answer["unit"])
    return [
        *paragraph(headline(answer, unit)),
        *([] if result.warming is None else paragraph(f"Loaded and unloaded {result.warming.text}.")),
        "",
        f"Left after unloading, {percent(answer['level'])} intervals",
        *_left(answer, unit),
        "",
        "Permanent set",
        *_set(answer, unit),
        *_practice(answer),
    ]


def headline(answer: dict[str, Any], unit: Unit) -> str:
    """The last time asked for, in one sentence."""
    row = max(answer["recovery"], key=lambda r: r["after_h"])
    when = f"{hours(row['after_h'])} after unloading"
    if row["median"] is None:
        return f"What is left {when} cannot be known: {row['why']}."
    back = Unit("%").interval(row["recovered_percent"])
    asked = " (had it been unloaded at the last reading)" if answer["unloading"]["hypothetical"] else ""
    size = unit.sentence(row, answer["level"])
    return f"{when[0].upper()}{when[1:]}{asked}, {size} is left: {back[1]} % ({back[0]} to {back[2]} %) has gone back."


def _left(answer: dict[str, Any], unit: Unit) -> list[str]:
    rows = answer["recovery"]
    if rows[0]["median"] is None:
        return paragraph(f"unknown: {rows[0]['why']}", "  ")
    heads = ["after", "low", f"median [{unit.name}]", "high", "gone back [%]"]
    strain = all(row["residual_strain"] is not None for row in rows) and unit.name != "%"
    cells = []
    for row in rows:
        low, median, high = Unit("%").interval(row["recovered_percent"])
        cells.append([hours(row["after_h"]), *unit.interval(row), f"{median} ({low} to {high})"])
        if strain:
            low, median, high = shown_unit("1").interval(row["residual_strain"])
            cells[-1].append(f"{median} ({low} to {high})")
    return table([*heads, "largest strain left [%]"] if strain else heads, cells)


def _set(answer: dict[str, Any], unit: Unit) -> list[str]:
    found = answer["permanent_set"]
    if found["median"] is None:
        return paragraph(f"unknown: {found['why']}", "  ")
    lines = [
        *_remains(found, unit, answer["level"]),
        *paragraph(f"{unit.sentence(found, answer['level'])}: {found['why']}", "  "),
    ]
    rows = [[law["law"], *unit.interval(law)] for law in found["laws"]]
    return [*lines, *table(["how a set might grow", "low", f"median [{unit.name}]", "high"], rows, indent="    ")]


def _remains(found: dict[str, Any], unit: Unit, level: float) -> list[str]:
    """Whether a set remains at all, and how large it is if one does."""
    if found["probability"] is None:
        return []
    then = "" if found["if_any"] is None else f"; if one does, it is {unit.sentence(found['if_any'], level)}"
    least = f"{unit.number(found['larger_than'])} {unit.name}"
    return paragraph(f"a set of more than {least} remains with probability {chance(found['probability'])}{then}", "  ")


def _practice(answer: dict[str, Any]) -> list[str]:
    if not answer["practice"]:
        return []
    rows = [
        [rule["rule"], rule["verdict"] + (f" ({rule['why']})" if rule.get("why") else ""), f"({rule['source']})"]
        for rule in answer["practice"]
    ]
    lines = [line for row in rows for line in paragraph(f"{row[0]} {row[2]}: {row[1]}", "  ", "    ")]
    return ["", "Rules of practice, for comparison", *lines]
