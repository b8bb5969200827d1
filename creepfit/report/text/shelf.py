"""The shelf in words: a table that fits a terminal, what is missing and why, what stands out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from creepfit.answers.interval import Interval
from creepfit.answers.materials.shelf import Shelf
from creepfit.answers.materials.shelf_row import CREEP_AT, ShelfRow
from creepfit.report.text.columns import columns
from creepfit.report.text.pieces import Unit, paragraph, percent, several, shown_unit, table
from creepfit.shown import listed
from creepfit.units import show_number, show_time

LONGEST = 22
"""Letters of a label that a table has room for."""


def shelf_text(shelf: Shelf) -> str:
    """The whole answer."""
    title = f"{several(len(shelf.rows), 'result')} on the shelf"
    lines = [
        title,
        "=" * len(title),
        *paragraph(
            f"Medians with {percent(shelf.level)} intervals in brackets; what moved is all since the initial reading."
        ),
    ]
    labels = _labels(shelf.rows)
    for unit in dict.fromkeys(row.unit for row in shelf.rows):
        rows = [row for row in shelf.rows if row.unit == unit]
        lines += ["", *_table(rows, [labels[row.file] for row in rows], shown_unit(unit))]
    lines += [line for note in _notes(shelf, labels) for line in paragraph(note, "  - ", "    ")]
    return "\n".join(lines)


def _table(rows: list[ShelfRow], labels: list[str], unit: Unit) -> list[str]:
    """As many of the columns as there is room for: of the creep columns the middle one goes first."""
    moved = "strain" if unit.name == "%" else "moved"
    heads = ["result", "stress [MPa]", "modulus 1 h [MPa]"]
    heads += [*(f"{moved} {show_time(t)} [{unit.name}]" for t in CREEP_AT), "gone back"]
    cells = [
        [
            label,
            show_number(row.stress) if row.stress is not None else "-",
            _in_brackets(row.modulus, Unit("MPa")),
            *(_in_brackets(c, unit) for c in row.creep),
            "-" if row.recovered is None else f"{Unit('%').interval(row.recovered)[1]} %",
        ]
        for row, label in zip(rows, map(_shortened, labels), strict=True)
    ]
    for drop in ((), (4,), (4, 6), (1, 4, 6), (1, 3, 4, 6)):
        shown = [i for i in range(len(heads)) if i not in drop]
        lines = table([heads[i] for i in shown], [[row[i] for i in shown] for row in cells], fold=len(drop) == 4)
        if max(map(len, lines)) <= columns():
            break
    return lines


def _labels(rows: Sequence[ShelfRow]) -> dict[str, str]:
    """What each file's result is called: material and specimen, and the file where that is said of several."""
    names = [row.label for row in rows]
    stems = [Path(row.file).stem for row in rows]
    return {
        row.file: name if names.count(name) == 1 else f"{name} ({stem if stems.count(stem) == 1 else row.file})".strip()
        for row, name, stem in zip(rows, names, stems, strict=True)
    }


def _shortened(label: str) -> str:
    """A label that a table has room for; of a file's name the end, which is what differs."""
    if len(label) <= LONGEST:
        return label
    if not label.endswith(")"):
        return f"{label[: LONGEST - 1]}…"
    name, _, file = label.rpartition(" (")
    file = file if len(file) <= LONGEST - 6 else f"…{file[-(LONGEST - 7) :]}"
    room = LONGEST - len(file) - 2
    return f"{name if len(name) <= room else name[: max(room - 1, 0)] + '…'} ({file}"


def _in_brackets(interval: Interval | None, unit: Unit) -> str:
    if interval is None:
        return "-"
    low, median, high = unit.interval(interval)
    return f"{median} ({low}–{high})"


def _notes(shelf: Shelf, labels: dict[str, str]) -> Iterator[str]:
    reasons: dict[str, list[str]] = {}
    for row in shelf.rows:
        for why in row.why:
            reasons.setdefault(why, []).append(labels[row.file])
    for why, those in reasons.items():
        yield f"{_who(those, len(shelf.rows))}: {why}"
    doubts: dict[str, list[str]] = {}
    for row in shelf.rows:
        for code in row.cautions:
            doubts.setdefault(code, []).append(labels[row.file])
    if doubts:
        sizes = listed(
            [
                f"{code.replace('-', ' ')} ({len(those) if len(those) > 1 else those[0]})"
                for code, those in sorted(doubts.items(), key=lambda d: -len(d[1]))
            ]
        )
        yield f"cautions, and of which or how many results: {sizes}; see creepfit check"


def _who(labels: list[str], of: int) -> str:
    if len(labels) == of > 1:
        return "all"
    return listed(labels) if len(labels) <= 4 else f"{', '.join(labels[:3])} and {len(labels) - 3} more"
