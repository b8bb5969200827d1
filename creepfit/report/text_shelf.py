"""The shelf in words: a table that fits a terminal, what is missing and why, what stands out."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Interval
from creepfit.answers.shelf import CREEP_AT, Shelf, ShelfRow
from creepfit.report.text_parts import WIDTH, Unit, listed, paragraph, percent, several, shown_unit, table
from creepfit.units import show_number, show_time

LONGEST = 22
"""Letters of a label that a table has room for."""


def shelf_text(found: Shelf) -> str:
    """The whole answer."""
    title = f"{several(len(found.rows), 'result')} on the shelf"
    lines = [title, "=" * len(title), *paragraph(f"Medians with {percent(found.level)} intervals in brackets.")]
    for unit in dict.fromkeys(row.unit for row in found.rows):
        rows = [row for row in found.rows if row.unit == unit]
        lines += ["", *_table(rows, shown_unit(unit))]
    lines += [line for note in _notes(found) for line in paragraph(note, "  - ", "    ")]
    return "\n".join(lines)


def _table(rows: list[ShelfRow], unit: Unit) -> list[str]:
    """As many of the columns as there is room for: of the creep columns the middle one goes first."""
    heads = ["result", "MPa", "modulus 1 h [MPa]", *(f"creep {show_time(t)} [{unit.name}]" for t in CREEP_AT), "gone back"]
    cells = [
        [
            row.label if len(row.label) <= LONGEST else f"{row.label[: LONGEST - 1]}…",
            show_number(row.stress) if row.stress is not None else "-",
            _in_brackets(row.modulus, Unit("MPa")),
            *(_in_brackets(c, unit) for c in row.creep),
            "-" if row.recovered is None else f"{Unit('%').interval(row.recovered.to_dict())[1]} %",
        ]
        for row in rows
    ]
    for drop in ((), (4,), (4, 6), (1, 4, 6), (1, 3, 4, 6)):
        kept = [i for i in range(len(heads)) if i not in drop]
        lines = table([heads[i] for i in kept], [[row[i] for i in kept] for row in cells])
        if max(map(len, lines)) <= WIDTH:
            break
    return lines


def _in_brackets(found: Interval | None, unit: Unit) -> str:
    if found is None:
        return "-"
    low, median, high = unit.interval(found.to_dict())
    return f"{median} ({low}–{high})"


def _notes(found: Shelf) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for row in found.rows:
        for why in row.why:
            reasons.setdefault(why, []).append(row.label)
    for why, labels in reasons.items():
        yield f"{_who(labels, len(found.rows))}: {why}"
    doubts: dict[str, list[str]] = {}
    for row in found.rows:
        for code in row.cautions:
            doubts.setdefault(code, []).append(row.label)
    if doubts:
        sizes = listed([f"{code} ({len(labels)})" for code, labels in sorted(doubts.items(), key=lambda d: -len(d[1]))])
        yield f"cautions, and of how many results: {sizes}; see creepfit check"


def _who(labels: list[str], of: int) -> str:
    if len(labels) == of > 1:
        return "all"
    return listed(labels) if len(labels) <= 4 else f"{', '.join(labels[:3])} and {len(labels) - 3} more"
