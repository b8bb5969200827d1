"""The test as a line of time: loads, the readings taken, and those to take next with their dates."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
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
    WIDTH,
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

MARGIN, LETTER = 0.3, 4.4
"""Inches at either side of the drawing, and points that a letter of a name takes."""

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
        names = _names(run, todo, start)
        levels = _levels(names, 0.55 * start, end)
        high = max(levels, default=0)
        figure, (ax,) = sheet(1.5 + 0.2 * high, left=MARGIN, right=MARGIN)
        ax.set_xscale("log")
        ax.set_xlim(0.55 * start, end)
        ax.set_ylim(-1.4, 1.2 + 0.75 * high)
        ax.grid(visible=False)
        ax.yaxis.set_major_locator(NullLocator())
        ax.spines["left"].set_visible(False)
        _loads(ax, run, start, end)
        ax.plot(np.maximum(taken, 0.7 * start), np.zeros(taken.size), "|", color=INK, markersize=13.0, markeredgewidth=1.4)
        ax.plot(ahead, np.zeros(ahead.size), "o", color=BLUE, markersize=7.0, markerfacecolor=PAPER, markeredgewidth=1.6)
        _events(ax, run, start)
        _set_names(ax, names, levels)
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


@dataclass(frozen=True)
class _Name:
    """Words above the line of time: at `time`, which they end at, or are centred on."""

    time: float
    words: str
    colour: str
    ends: bool = False


def _names(run: Run, todo: Sequence[ToDo], start: float) -> list[_Name]:
    """What is named: the reading before the load, events, and the dates of the readings to take, or their times."""
    names = [_Name(0.7 * start, "before", MUTED)] if any(r.time <= 0.0 for r in run.used) else []
    for event in run.events[:EVENTS]:
        date = "" if run.began is None else f", {clock_time(run.began + timedelta(seconds=event.at))}"
        names.append(_Name(max(event.at, start), f"{event.kind}{date}", TEXT[VERMILION]))
    for item in todo:
        assert item.time is not None
        name = show_time(item.time) if item.clock is None else clock_time(item.clock)
        names.append(_Name(item.time, f"read {name}", TEXT[BLUE], ends=True))
    return sorted(names, key=lambda name: name.time)


def _levels(names: Sequence[_Name], left: float, end: float) -> list[int]:
    """How far up each name stands, so that none covers another: 0 next to the line."""
    per_decade = 72.0 * (WIDTH - 2.0 * MARGIN) / np.log10(end / left)
    taken: list[float] = []  # of each level, where its last name ends, points
    levels = []
    for name in names:
        size, at = LETTER * len(name.words), per_decade * float(np.log10(name.time / left))
        first = at - size if name.ends else at - size / 2.0
        level = next((k for k, last in enumerate(taken) if first > last + LETTER), len(taken))
        taken[level:] = [first + size, *taken[level + 1 :]]
        levels.append(level)
    return levels


def _set_names(ax: Axes, names: Sequence[_Name], levels: Sequence[int]) -> None:
    for name, level in zip(names, levels, strict=True):
        ax.annotate(
            name.words, (name.time, 0.0), xytext=(0, 10 + 11 * level), textcoords="offset points", va="bottom",
            ha="right" if name.ends else "center", color=name.colour, fontsize=8.0,
        )  # fmt: skip


def _events(ax: Axes, run: Run, start: float) -> None:
    for event in run.events[:EVENTS]:
        ax.plot(max(event.at, start), 0.0, "x", color=VERMILION, markersize=6.0, markeredgewidth=1.6)


def _alt(findings: Findings, todo: Sequence[ToDo]) -> str:
    run = findings.fit.run
    off = "" if run.unloading is None else f", unloaded after {show_time(run.unloading)}"
    text = f"{several(len(run.used), 'reading')} over {show_time(float(findings.fit.observed.times[-1]))}{off}."
    if not todo:
        return (
            f"{text} {findings.schedule.why or 'No further reading on this specimen would tell much about the forecast'}."
        )
    return f"{text} To read next: {'; '.join(t.text for t in todo)}."
