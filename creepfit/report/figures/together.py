"""Figures of several runs as materials: ratios with their intervals, and isochronous curves of several stresses."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from creepfit.answers.interval import Interval
from creepfit.answers.materials.comparison import Comparison, Ratio
from creepfit.answers.stress.isochronous import Isochronous, IsochronousPoint
from creepfit.inference.run_fit import FAR
from creepfit.mechanics.loading import Array
from creepfit.report.figures.style import (
    BLUE,
    GREEN,
    HATCH,
    MUTED,
    ORANGE,
    PAPER,
    PURPLE,
    RULE,
    TEXT,
    VERMILION,
    Drawing,
    end_labels,
    look,
    sheet,
    shortened,
    title,
)
from creepfit.report.text.compare import as_ranked, headline
from creepfit.report.text.pieces import Unit, percent, several, shown_unit
from creepfit.units import show_time

LONGEST = 24
"""Letters of a name."""

RatioRows = Sequence[tuple[str, Interval, bool]]
"""Label, interval, and whether it lies beyond ten times its own test."""

CURVES = (BLUE, ORANGE, PURPLE, VERMILION, GREEN)
DASHES = ("-", (0, (6, 2)), (0, (3, 1.5)), (0, (1, 1)), (0, (6, 2, 1, 2)))
MARKS = (0.1, 0.2, 0.25, 0.33, 0.5, 0.67, 0.8, 1.0, 1.25, 1.5, 2.0, 3.0, 4.0, 5.0, 10.0)


def values_figure(comparison: Comparison) -> Drawing:
    """Every run's value at the last time, the best on top."""
    moment, unit = comparison.moments[-1], shown_unit(comparison.unit)
    test = {value.run: fit.run.test_length for value, fit in zip(moment.values, comparison.fits, strict=True)}
    rows = [(r.value.run, r.value.interval, moment.time > FAR * test[r.value.run]) for r in comparison.ranking()]
    when = show_time(moment.time)
    axis = (
        f"{comparison.quantity} of the average specimen after {when} [{unit.name}], {percent(comparison.level)} intervals"
    )
    first, last = (f"{unit.sentence(size, comparison.level)} for {run}" for run, size, _ in (rows[0], rows[-1]))
    alt = f"{comparison.quantity.capitalize()} after {when}: from {first} to {last}.{_hatched(rows)}"
    return Drawing("comparison", f"{comparison.quantity.capitalize()} after {when}", alt, sizes_figure(rows, unit, axis))


def _hatched(rows: RatioRows) -> str:
    count = sum(far for _, _, far in rows)
    return f" {several(count, 'interval lies', 'intervals lie')} beyond ten times the test, hatched." if count else ""


def sizes_figure(rows: RatioRows, unit: Unit, axis: str, limit: float | None = None) -> Figure:
    """Intervals under one another, the first on top; beyond ten times their own test they are hatched."""
    with look():
        figure, (ax,) = sheet(0.95 + 0.24 * len(rows), left=1.75, right=0.75)
        ax.grid(visible=False)
        ax.grid(visible=True, axis="x")
        shown = [median for _, median, _ in unit.alike([size for _, size, _ in rows])]
        for place, ((_, size, far), number) in enumerate(zip(reversed(rows), reversed(shown), strict=True)):
            low, high = unit.factor * size.low, unit.factor * size.high
            ax.barh(place, high - low, left=low, height=0.42, color=BLUE, alpha=0.25, linewidth=0.0)
            if far:
                ax.barh(
                    place, high - low, left=low, height=0.42, facecolor="none", edgecolor=BLUE, hatch=HATCH, linewidth=0.0
                )
            ax.plot(unit.factor * size.median, place, "o", color=BLUE, markersize=5.5)
            ax.annotate(
                number, (1.0, place), xycoords=("axes fraction", "data"),
                xytext=(5, 0), textcoords="offset points", va="center", fontsize=8.5, annotation_clip=False,
            )  # fmt: skip
        ax.set_yticks(range(len(rows)), [shortened(label, LONGEST) for label, _, _ in reversed(rows)])
        ax.set_ylim(-0.7, len(rows) - 0.3)
        ax.use_sticky_edges = False
        ax.margins(x=0.04)
        ax.set_xlabel(axis)
        if limit is not None:
            ax.axvline(limit, color=VERMILION, linewidth=1.1)
            mark = f"limit {unit.number(limit)}"
            ax.annotate(mark, (limit, 1.0), xycoords=("data", "axes fraction"), xytext=(0, 2),
                        textcoords="offset points", ha="center", va="bottom", color=TEXT[VERMILION],
                        fontsize=8.0)  # fmt: skip
    return figure


def ratios_figure(comparison: Comparison) -> Drawing | None:
    """Every pair's ratio at the last time against 1: filled where the difference is real; None without any ratio."""
    moment = comparison.moments[-1]
    rows = [(r, r.interval) for r in reversed(as_ranked(comparison, moment)) if r.interval is not None]
    if not rows:
        return None
    with look():
        figure, (ax,) = sheet(1.0 + 0.36 * len(rows), left=1.75, right=1.4)
        ax.grid(visible=False)
        low, high = min(0.93, *(i.low for _, i in rows)), max(1.07, *(i.high for _, i in rows))
        ax.set_xscale("log")
        ax.set_xlim(low / 1.04, high * 1.04)
        _ratio_marks(ax.xaxis, low / 1.04, high * 1.04)
        ax.grid(visible=True, axis="x", color=RULE, linewidth=0.5)
        ax.axvline(1.0, color=MUTED, linewidth=1.0)
        for place, (ratio, size) in enumerate(rows):
            real = ratio.distinguishable
            ax.plot([size.low, size.high], [place, place], color=BLUE, linewidth=6.0, alpha=0.3, solid_capstyle="butt")
            ax.plot(size.median, place, "o", color=BLUE, markersize=5.5, markerfacecolor=BLUE if real else PAPER)
            words = f"{Unit('').interval(size)[1]}, {'real' if real else 'cannot be told'}"
            ax.annotate(
                words, (1.0, place), xycoords=("axes fraction", "data"), xytext=(5, 0), textcoords="offset points",
                va="center", fontsize=8.5, annotation_clip=False,
            )  # fmt: skip
        ax.set_yticks(range(len(rows)), [_pair(ratio) for ratio, _ in rows])
        ax.set_ylim(-0.7, len(rows) - 0.3)
        ax.set_xlabel(
            f"ratio of the {comparison.quantity} after {show_time(moment.time)}, {percent(comparison.level)} intervals"
        )
    return Drawing("ratios", "How many times as much, and whether that is real", headline(comparison), figure)


def _ratio_marks(axis: Axis, low: float, high: float) -> None:
    inside = [m for m in MARKS if low <= m <= high]
    while len(inside) > 7:  # thinned from both sides of 1, which stays
        inside = [m for i, m in enumerate(inside) if (i - inside.index(1.0)) % 2 == 0]
    axis.set_major_locator(FixedLocator(inside))
    axis.set_major_formatter(FixedFormatter([f"{m:g}" for m in inside]))
    axis.set_minor_locator(NullLocator())


def _pair(ratio: Ratio) -> str:
    return f"{shortened(ratio.of, LONGEST)} /\n{shortened(ratio.to, LONGEST)}"


def isochronous_figure(isochronous: Isochronous, name: str) -> Drawing:
    """Stress against strain at a few times; hollow marks lie beyond the readings at their stress."""
    times = sorted({p.time for p in isochronous.points})
    highest = max(p.stress for p in isochronous.points)
    with look():
        figure, (ax,) = sheet(3.5, right=0.85)
        ax.grid(visible=True, axis="x", color=RULE, linewidth=0.5)
        labels: list[tuple[float, str, str]] = []
        for time, colour, dashes in zip(times, CURVES, DASHES, strict=False):
            curve = isochronous.at(time)
            strains, stresses = _from_origin(curve)
            ax.fill_betweenx(stresses, strains[0], strains[2], color=colour, alpha=0.18, linewidth=0.0)
            ax.plot(strains[1], stresses, color=colour, linewidth=1.5, linestyle=dashes)
            for point in (p for p in curve if not p.interpolated):
                ax.plot(
                    100.0 * point.strain.median, point.stress, "o", color=colour, markersize=4.5,
                    markerfacecolor=PAPER if point.extrapolated else colour,
                )  # fmt: skip
            # a hair lower each: names stand beside the curves' ends in the order of the curves, the latest lowest
            labels.append((float(stresses[-1]) * (1.0 - 1e-6 * len(labels)), show_time(time), colour))
        ax.set_xlim(0.0, 1.03 * max(100.0 * p.strain.high for p in isochronous.points))
        ax.set_ylim(0.0, 1.12 * highest)
        end_labels(ax, labels, gap=12.0)
        title(ax, f"stress [MPa], {percent(isochronous.level)} bands")
        ax.set_xlabel("strain [%]")
    return Drawing("isochronous", f"Isochronous curves of {name}", _message(isochronous, times, name), figure)


def _from_origin(curve: tuple[IsochronousPoint, ...]) -> tuple[Array, Array]:
    strains = np.array([[0.0, *(100.0 * getattr(p.strain, end) for p in curve)] for end in ("low", "median", "high")])
    return strains, np.array([0.0, *(p.stress for p in curve)])


def _message(isochronous: Isochronous, times: list[float], name: str) -> str:
    unit = Unit("%", 100.0)
    ends = [isochronous.at(time)[-1] for time in (times[0], times[-1])]
    sizes = [f"{unit.sentence(p.strain, isochronous.level)} after {show_time(p.time)}" for p in ends]
    beyond = sum(p.extrapolated and not p.interpolated for p in isochronous.points)
    rest = f" {several(beyond, 'point lies', 'points lie')} beyond the readings, hollow."
    return (
        f"Strain of {name} against stress: at {ends[0].stress:.3g} MPa {sizes[0]} and {sizes[1]}.{rest if beyond else ''}"
    )
