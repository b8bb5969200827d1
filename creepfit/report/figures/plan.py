"""The timeline of a planned test: when the load is on, when somebody has to be there, and what the week looks like."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from creepfit.answers.plan.proposal import PlannedTest
from creepfit.answers.wording import time_words
from creepfit.report.figures.style import BLUE, INK, MUTED, RULE, VERMILION, Drawing, look, sheet, title
from creepfit.units import DAY


def timeline_figure(plan: PlannedTest) -> Drawing:
    """Load and readings against days of the week, with hours in which nobody is there left grey."""
    end = max(r.time for r in plan.readings)
    with look():
        figure, (ax,) = sheet(1.9, left=0.3, right=0.3)
        midnight = plan.begin.replace(hour=0, minute=0, second=0, microsecond=0)
        first = (midnight - plan.begin).total_seconds() / DAY
        days = int(np.ceil(end / DAY - first + 0.01))
        for k in range(days):
            day = midnight + timedelta(days=k)
            left = first + k
            if plan.hours.weekends or day.weekday() < 5:
                opens, closes = plan.hours.opens / DAY, plan.hours.closes / DAY
                ax.axvspan(left + opens, left + closes, color=RULE, alpha=0.35, linewidth=0)
            if days <= 14 or day.weekday() == 0:
                ax.text(left + 0.5, -0.62, f"{day:%a}", ha="center", va="top", color=MUTED, fontsize=8.0)
        off = plan.unload_at / DAY
        ax.plot([0.0, 0.0, off, off, end / DAY], [0.0, 1.0, 1.0, 0.0, 0.0], color=INK, linewidth=1.4)
        ax.text(
            0.5 * off, 1.12, f"{plan.load.text} for {time_words(plan.unload_at)}", ha="center", va="bottom", fontsize=8.5
        )
        for r in plan.readings:
            loaded = 0.0 < r.time <= plan.unload_at
            colour = BLUE if loaded else VERMILION
            ax.plot(r.time / DAY, 1.0 if loaded else 0.0, "o" if loaded else "s", color=colour, markersize=5.0)
        ax.set_ylim(-0.5, 1.5)
        ax.set_xlim(first, first + days)
        ax.set_yticks([])
        ax.grid(visible=False)
        ax.tick_params(labelbottom=False, length=0)
        title(ax, "load; readings under it (round) and without; shaded: at work")
    count = len(plan.readings)
    alt = f"{plan.load.text} for {time_words(plan.unload_at)}, {count} readings, the last {time_words(end)} after loading."
    return Drawing("timeline", "When to be there", alt, figure)


def widths_figure(plan: PlannedTest) -> Drawing:
    """Expected half widths: bars from that of half the specimens to that of nine in ten, against what is wanted."""
    rows = [*plan.schedules, *plan.longer]
    with look():
        figure, (ax,) = sheet(0.9 + 0.28 * len(rows), left=1.55, right=0.4)
        for place, p in enumerate(reversed(rows)):
            own = p is plan.proposal
            colour = BLUE if own else MUTED
            ax.plot([100.0 * p.typical, 100.0 * p.poor], [place, place], color=colour, linewidth=3.0 if own else 1.8)
            ax.plot(100.0 * p.typical, place, "o", color=colour, markersize=5.0)
        ax.axvline(100.0 * plan.wanted, color=VERMILION, linewidth=1.2, linestyle="--")
        ax.set_yticks(range(len(rows)), [p.times.name for p in reversed(rows)])
        ax.set_ylim(-0.6, len(rows) - 0.4)
        ax.set_xscale("log")
        low, high = min(100.0 * p.typical for p in rows), max(100.0 * p.poor for p in rows)
        marks = [m for m in (1, 2, 5, 10, 20, 50, 100, 200, 500) if low / 1.5 < m < 1.5 * high]
        ax.set_xticks(marks, [f"±{m} %" for m in marks])
        ax.minorticks_off()
        title(ax, "half widths: half of the specimens (dot), nine in ten (end)")
    first = plan.proposal
    alt = (
        f"Half width ±{100.0 * first.typical:.0f} % for half of the specimens, ±{100.0 * first.poor:.0f} % for nine in ten."
    )
    return Drawing("widths", "What it is expected to give", alt, figure)
