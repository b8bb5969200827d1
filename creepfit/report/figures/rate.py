"""Creep from reading to reading as a rate, so that gaps of minutes and of days can be held against one threshold."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtri

from creepfit.answers.specimen.increments import Increment
from creepfit.report.figures.style import (
    GREEN,
    MUTED,
    VERMILION,
    Drawing,
    end_labels,
    log_size,
    log_time,
    look,
    sheet,
    title,
)
from creepfit.report.page.findings import Findings
from creepfit.report.text.pieces import percent, read_unit, several
from creepfit.units import DAY, HOUR, MINUTE, show_number, show_time

MOST = 60
"""Gaps in one figure; of more, the last ones."""


def rate_figure(findings: Findings) -> Drawing | None:
    """Mean rate of creep between successive readings, the gauge's floor for each gap, and the threshold as a rate.

    A gap of nine minutes and one of a day are not judged by one change: what counts is how fast it goes. None where no two
    readings were taken under one load at two moments.
    """
    known = [r for r in findings.summary.increments if r.change is not None and r.std_error is not None]
    rows = [r for r in known if r.end > r.start][-MOST:]
    if not rows:
        return None
    unit, stop, k = read_unit(findings.fit), findings.summary.stop, read_unit(findings.fit).factor
    per, name = _per(findings.test)
    start, end = np.array([max(r.start, 0.0) for r in rows]), np.array([r.end for r in rows])
    start = np.maximum(start, end / 1e4)
    gap, way = (end - start) / per, findings.fit.observed.direction
    rate = way * np.array([k * (r.change or 0.0) for r in rows]) / gap
    floor = float(ndtri(0.5 + findings.fit.level / 2.0)) * np.array([k * (r.std_error or 0.0) for r in rows]) / gap
    seen = np.array([bool(r.distinguishable) for r in rows]) & (rate > 0.0)
    limit = k * stop.threshold / (stop.window / per)
    shown = np.where(rate > 0.0, rate, floor)
    low = 0.5 * min(limit, float(shown.min()), float(floor.min()))
    high = 2.5 * max(limit, float(shown.max()), float(floor.max()))
    low = max(low, high * 1e-7)
    with look():
        figure, (ax,) = sheet(3.2, right=1.35)
        log_time(ax, float(start.min()) / 1.6, float(end.max()) * 1.5)
        log_size(ax, low, high)
        for a, b, f in zip(start, end, floor, strict=True):
            ax.fill_between([a, b], [low, low], [max(f, low)] * 2, color=MUTED, alpha=0.2, linewidth=0.0)
        ax.hlines(np.maximum(shown, low), start, end, color=GREEN, linewidth=1.3)
        middle = np.sqrt(start * end)
        ax.plot(middle[seen], shown[seen], "o", color=GREEN, markersize=6.0)
        ax.plot(
            middle[~seen], np.maximum(shown[~seen], low), "o", color=GREEN, markersize=6.0, markerfacecolor="none",
            markeredgewidth=1.4,
        )  # fmt: skip
        ax.axhline(limit, color=VERMILION, linewidth=1.0, linestyle=(0, (4, 2)))
        words = f"creep stop:\n{show_number(k * stop.threshold, digits=2)} {unit.name}\nin {show_time(stop.window)}"
        below = (
            float(np.maximum(floor[-1], low) * low) ** 0.5,
            f"gauge cannot\ntell ({percent(findings.fit.level)})",
            MUTED,
        )
        end_labels(ax, [(limit, words, VERMILION), below], gap=34.0)
        ax.set_xlabel("time since loading; each line spans the gap between two readings")
        title(ax, f"rate of creep [{unit.name} per {name}]")
    return Drawing(
        "increments", "How fast it creeps, from reading to reading", _alt(findings, rows, seen, rate, limit), figure
    )


def _per(test: float) -> tuple[float, str]:
    """The time a rate is quoted over: days, hours or minutes, by the length of the test."""
    return (DAY, "d") if test > 2.0 * DAY else (HOUR, "h") if test > 2.0 * HOUR else (MINUTE, "min")


def _alt(findings: Findings, rows: list[Increment], seen: np.ndarray, rate: np.ndarray, limit: float) -> str:
    unit, stop = read_unit(findings.fit), findings.summary.stop
    _, name = _per(findings.test)
    last = max(float(rate[-1]), 0.0)
    return (
        f"Mean rate of creep in {several(len(rows), 'gap')} between readings on logarithmic axes, {int(seen.sum())} of "
        f"them larger than the gauge's noise (filled). The last is {show_number(last, digits=2)} {unit.name} per "
        f"{name}, the creep-stop threshold, {show_number(unit.factor * stop.threshold, digits=2)} {unit.name} in "
        f"{show_time(stop.window)}, is {show_number(limit, digits=2)} {unit.name} per {name}. {stop.sentence}"
    )
