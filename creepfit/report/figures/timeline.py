"""The test as a line of time: loads, the readings taken, and those to take next with their dates."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from creepfit.answers.specimen.first_day import ToDo
from creepfit.answers.specimen.to_take import to_take
from creepfit.answers.wording import clock_time
from creepfit.records.run import Run
from creepfit.report.figures.style import (
    BLUE,
    INK,
    MUTED,
    PAPER,
    TEXT,
    TIME_MARKS,
    VERMILION,
    Drawing,
    look,
    sheet,
)
from creepfit.report.page.findings import Findings
from creepfit.report.text.pieces import several, show_load
from creepfit.units import MINUTE, show_time

TIMELINE = "timeline"
EVENTS = 4
"""Events that are named; of more, the first ones."""

SHOWN = 3
"""Readings to take that are drawn."""


def timeline_figure(findings: Findings) -> Drawing:
    """When what was loaded and read, and what is to be read next.

    Time before the load and the first minute share the left end; from there on it is logarithmic, as creep is.
    """
    run = findings.fit.run
    todo = [t for t in to_take(findings.schedule) if t.time is not None][:SHOWN]
    taken = np.array([r.time for r in run.used])
    ahead = np.array([t.time for t in todo if t.time is not None])
    end = 1.3 * max(float(taken.max()), float(ahead.max(initial=0.0)), *(step.at for step in run.steps))
    start = _start(taken)
    with look():
        named = bool(todo or run.events)
        figure, (ax,) = sheet(1.85 if named else 1.5, left=0.3, right=0.3)
        ax.set_xscale("log")
        ax.set_xlim(0.55 * start, end)
        ax.set_ylim(-1.4, 2.3 if named else 1.2)
        ax.grid(visible=False)
        ax.yaxis.set_major_locator(NullLocator())
        ax.spines["left"].set_visible(False)
        _loads(ax, run, start, end)
        ax.plot(np.maximum(taken, 0.7 * start), np.zeros(taken.size), "|", color=INK, markersize=13.0, markeredgewidth=1.4)
        ax.plot(ahead, np.zeros(ahead.size), "o", color=BLUE, markersize=7.0, markerfacecolor=PAPER, markeredgewidth=1.6)
        _names(ax, run, todo, start)
        _events(ax, run, start)
        marks = [(t, name) for t, name in TIME_MARKS if start <= t <= end]
        room = 0.11 * np.log10(end / (0.55 * start))
        labels: list[tuple[float, str]] = []
        for time, name in reversed(marks):
            if not labels or np.log10(labels[-1][0] / time) >= room:
                labels.append((time, name))
        ax.xaxis.set_major_locator(FixedLocator([t for t, _ in labels]))
        ax.xaxis.set_major_formatter(FixedFormatter([n for _, n in labels]))
        ax.xaxis.set_minor_locator(NullLocator())
        began = "" if run.began is None else f", from {clock_time(run.began)} on"
        ax.set_xlabel(f"time since loading{began}")
    return Drawing(TIMELINE, "The test so far, and what to read next", _alt(findings, todo), figure)


def _start(taken: np.ndarray) -> float:
    """Where the logarithm begins: the first reading under load, or a minute."""
    under = taken[taken > 0.0]
    return float(min(under[0], MINUTE)) if under.size else MINUTE


def _loads(ax: Axes, run: Run, start: float, end: float) -> None:
    """A bar for each load with its size; none where nothing hangs."""
    steps = run.steps
    most = max(abs(step.value) for step in steps)
    width = np.log10(end / (0.55 * start))
    for k, step in enumerate(steps):
        until = steps[k + 1].at if k + 1 < len(steps) else end
        if step.value == 0.0 or until <= start:
            continue
        low = max(step.at, start)
        tall = 0.75 * abs(step.value) / most
        ax.fill_between([low, until], [-0.5, -0.5], [-0.5 - tall] * 2, color=MUTED, alpha=0.28, linewidth=0.0)
        if np.log10(until / low) > 0.2 * width:
            words = show_load(step.value, run.load_unit)
            ax.text(np.sqrt(low * until), -0.5 - tall / 2.0, words, ha="center", va="center", color=INK, fontsize=8.0)


def _names(ax: Axes, run: Run, todo: Sequence[ToDo], start: float) -> None:
    """Dates of the readings to take, or their times, on two levels where they are close."""
    for before, item in enumerate(sorted(todo, key=lambda t: t.time or 0.0)):
        assert item.time is not None
        name = show_time(item.time) if item.clock is None else clock_time(item.clock)
        ax.annotate(
            f"read {name}", (item.time, 0.0), xytext=(0, 10 + 11 * (before % 2)), textcoords="offset points", ha="right",
            va="bottom", color=TEXT[BLUE], fontsize=8.0,
        )  # fmt: skip
    if any(r.time <= 0.0 for r in run.used):
        ax.annotate("before", (0.7 * start, 0.0), xytext=(0, 10), textcoords="offset points", ha="center", va="bottom",
                    color=MUTED, fontsize=8.0)  # fmt: skip


def _events(ax: Axes, run: Run, start: float) -> None:
    for event in run.events[:EVENTS]:
        at = max(event.at, start)
        ax.plot(at, 0.0, "x", color=VERMILION, markersize=6.0, markeredgewidth=1.6)
        date = "" if run.began is None else f", {clock_time(run.began + timedelta(seconds=event.at))}"
        ax.annotate(f"{event.kind}{date}", (at, 0.0), xytext=(0, 10), textcoords="offset points", ha="center", va="bottom",
                    color=TEXT[VERMILION], fontsize=8.0)  # fmt: skip


def _alt(findings: Findings, todo: Sequence[ToDo]) -> str:
    run = findings.fit.run
    off = "" if run.unloading is None else f", unloaded after {show_time(run.unloading)}"
    text = f"{several(len(run.used), 'reading')} over {show_time(float(findings.fit.observed.times[-1]))}{off}."
    if not todo:
        return (
            f"{text} {findings.schedule.why or 'No further reading on this specimen would tell much about the forecast'}."
        )
    return f"{text} To read next: {'; '.join(t.text for t in todo)}."
