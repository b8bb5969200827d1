"""Runs side by side: what is compared, its figure and its table."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from creepfit.answers.interval import Interval
from creepfit.report.findings import Findings
from creepfit.report.style import BLUE, FAR, HATCH, Drawing, look, sheet
from creepfit.report.tables import Table
from creepfit.report.text_parts import Unit, shown_unit
from creepfit.units import show_time


@dataclass(frozen=True)
class Side:
    """What of one run is held against others: by time [s], what was read and, where it is known, the creep modulus."""

    label: str
    test: float
    quantity: str
    unit: str
    sizes: dict[float, Interval]
    moduli: dict[float, Interval]


@dataclass(frozen=True)
class Comparison:
    """One quantity of several runs at one time: (label, interval, whether beyond ten times the run's test)."""

    name: str
    unit: Unit
    time: float
    rows: tuple[tuple[str, Interval, bool], ...]


def side_of(found: Findings) -> Side:
    """What of a run is held against others."""
    rows = (*found.summary.modulus.rows, *found.forecast.modulus.rows)
    moduli = {m.time: m.modulus for m in rows if m.modulus is not None}
    sizes = {row.time: row.interval for row in found.forecast.rows}
    return Side(found.label, found.test, found.fit.quantity, found.fit.unit, sizes, moduli)


def compared(sides: Sequence[Side]) -> Comparison | None:
    """The runs at the last time that all have an answer for, least first; None where nothing can be compared.

    The creep modulus of those runs that know it; without two of them what was read, if all read the same.
    """
    known = [s for s in sides if s.moduli]
    common = set.intersection(*(set(s.moduli) for s in known)) if len(known) > 1 else set()
    if common:
        time = max(common)
        rows = [(s.label, s.moduli[time], time > FAR * s.test) for s in known]
        return Comparison("creep modulus", Unit("MPa"), time, _ordered(rows))
    common = set.intersection(*(set(s.sizes) for s in sides))
    if len(sides) < 2 or len({(s.quantity, s.unit) for s in sides}) > 1 or not common:
        return None
    time = max(common)
    read = [(s.label, s.sizes[time], time > FAR * s.test) for s in sides]
    return Comparison(sides[0].quantity, shown_unit(sides[0].unit), time, _ordered(read))


def _ordered(rows: list[tuple[str, Interval, bool]]) -> tuple[tuple[str, Interval, bool], ...]:
    return tuple(sorted(rows, key=lambda row: row[1].median))


def comparison_table(found: Comparison) -> Table:
    """The same as rows."""
    cells = [(label, *found.unit.interval(size.to_dict()), "yes" if far else "no") for label, size, far in found.rows]
    heads = ("run", "low", f"median [{found.unit.name}]", "high", "beyond ten times its test")
    return Table(f"{found.name.capitalize()} after {show_time(found.time)}", heads, tuple(cells), words=(4,))


def comparison_figure(found: Comparison) -> Drawing:
    """Intervals side by side; those beyond ten times their own test are hatched."""
    rows, unit = found.rows, found.unit
    with look():
        figure, (ax,) = sheet(0.95 + 0.24 * len(rows), left=1.75, right=0.75)
        ax.grid(visible=False)
        ax.grid(visible=True, axis="x")
        for i, (_, size, far) in enumerate(rows):
            low, high = unit.factor * size.low, unit.factor * size.high
            ax.barh(i, high - low, left=low, height=0.42, color=BLUE, alpha=0.25, linewidth=0.0)
            if far:
                ax.barh(
                    i, high - low, left=low, height=0.42, facecolor="none", edgecolor=BLUE, hatch=HATCH, linewidth=0.0
                )
            ax.plot(unit.factor * size.median, i, "o", color=BLUE, markersize=5.5)
            ax.annotate(
                unit.number(size.median, size.high - size.low), (1.0, i), xycoords=("axes fraction", "data"),
                xytext=(5, 0), textcoords="offset points", va="center", fontsize=8.5, annotation_clip=False,
            )  # fmt: skip
        ax.set_yticks(range(len(rows)), [_short(label) for label, _, _ in rows])
        ax.set_ylim(-0.7, len(rows) - 0.3)
        ax.use_sticky_edges = False
        ax.margins(x=0.04)
        ax.set_xlabel(f"{found.name} after {show_time(found.time)} [{unit.name}]")
    ends = [f"{unit.number(size.median)} {unit.name} for {label}" for label, size, _ in (rows[0], rows[-1])]
    alt = f"{found.name.capitalize()} after {show_time(found.time)}: from {ends[0]} to {ends[1]}."
    return Drawing("comparison", f"{found.name.capitalize()} after {show_time(found.time)}", alt, figure)


def _short(label: str, most: int = 24) -> str:
    return label if len(label) <= most else f"{label[: most - 1]}…"
