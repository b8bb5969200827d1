"""Figures of the answers: creep modulus, recovery and set, what an interval is made of."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from creepfit.answers.interval import Interval
from creepfit.inference.run_fit import FAR
from creepfit.mechanics.loading import Array
from creepfit.report.figures.style import (
    BLUE,
    GREEN,
    INK,
    MUTED,
    ORANGE,
    SKY,
    VERMILION,
    Drawing,
    band,
    decade_marks,
    end_labels,
    log_size,
    log_time,
    look,
    mark_times,
    sheet,
    title,
)
from creepfit.report.page.findings import Findings
from creepfit.report.text.pieces import Unit, percent, read_unit
from creepfit.units import show_number, show_time

SHARES = (
    ("gauge", "gauge", SKY),
    ("parameters", "parameters", BLUE),
    ("model", "choice of model", ORANGE),
    ("discrepancy", "what no model has", VERMILION),
)


def modulus_figure(findings: Findings) -> Drawing | None:
    """Creep modulus against time with a plain log-line beside it; None where the modulus is unknown."""
    curve = findings.modulus
    if curve is None:
        return None
    test = findings.test
    line = _log_line(curve.times, curve.median, test)
    with look():
        figure, (ax,) = sheet(3.3, right=1.3)
        band(ax, curve.times, curve.low, curve.high, FAR * test)
        ax.plot(curve.times, curve.median, color=BLUE, linewidth=1.8)
        labels = [
            (float(curve.high[-1]), f"{percent(findings.fit.level)} band", BLUE),
            (
                float(curve.median[-1]),
                f"{'forecast' if findings.along.unpromised is None else 'models'}{_at_end(findings)}",
                BLUE,
            ),
        ]
        if line is not None:
            ax.plot(curve.times, line, color=MUTED, linewidth=1.0, linestyle=(0, (5, 2)))
            labels.append((float(line[-1]), "straight in log time", MUTED))
        low, high = float(curve.low.min()), float(curve.high.max())
        log_size(ax, 0.92 * max(low, 1e-3 * high), 1.08 * high)
        log_time(ax, curve.times[0] * 0.8, curve.times[-1] * 1.02)
        title(ax, "creep modulus [MPa]")
        end_labels(ax, labels, gap=12.0)
        decade_marks(ax, test)
    at_end = float(np.interp(np.log(test), np.log(curve.times), curve.median))
    last = Interval(curve.low[-1], curve.median[-1], curve.high[-1])
    beside = ""
    if line is not None and line[-1] > 0.0:
        beside = f"; a straight line through the test would give {show_number(float(line[-1]))} MPa there"
    alt = (
        f"The creep modulus falls from {show_number(float(curve.median[0]))} MPa after "
        f"{show_time(float(curve.times[0]))} to {show_number(at_end)} MPa at the end of the test and "
        f"{Unit('MPa').sentence(last, findings.fit.level)} after {show_time(float(curve.times[-1]))}{beside}."
    )
    return Drawing("modulus", "Creep modulus", alt, figure)


def _at_end(findings: Findings) -> str:
    """The modulus at the end of the line where that is the time asked for."""
    row = findings.forecast.modulus.rows[-1]
    if row.modulus is None or row.time != findings.drawn[-1].time:
        return ""
    return f" {Unit('MPa').number(row.modulus.median, row.modulus.high - row.modulus.low)}"


def _log_line(times: Array, modulus: Array, test: float) -> Array | None:
    """The modulus as a straight line in log time through the second half of the test's log time; None below zero."""
    inside = (times <= test) & (times >= np.sqrt(times[0] * test))
    if inside.sum() < 2:
        return None
    slope, start = np.polyfit(np.log(times[inside]), modulus[inside], 1)
    line = start + slope * np.log(times)
    return None if (line <= 0.0).any() else np.asarray(line)


def recovery_figure(findings: Findings) -> Drawing | None:
    """What is left after unloading and the bounds of the permanent set; None where it cannot be known."""
    curve, answer = findings.residual, findings.recovery
    if curve is None or answer.before is None:
        return None
    fit, unit = findings.fit, read_unit(findings.fit)
    k, bounds = unit.factor, answer.permanent_set.bounds
    most = "\nnothing seen"
    if bounds is not None and bounds.high > 0.0:
        most = f"at most\n{unit.interval(bounds)[2]}"
    read = float(fit.observed.times[-1]) - answer.unloading
    # without a reading after unloading nothing of this was seen: all of it is hatched
    far = FAR * read if read > 0.0 and not answer.hypothetical else curve.times[0]
    way = fit.observed.direction
    with look():
        figure, (ax,) = sheet(3.1, right=1.15)
        band(ax, curve.times, k * curve.low, k * curve.high, far, GREEN)
        ax.plot(curve.times, k * curve.median, color=GREEN, linewidth=1.8)
        labels = [(k * float(curve.median[-1]), f"left, {percent(fit.level)}", GREEN)]
        ends = [0.0, float(k * curve.low.min()), float(k * curve.high.max())]
        if not answer.hypothetical and read > 0.0:
            _read_after(ax, findings, unit)
        if bounds is not None:
            ax.axhline(way * k * bounds.high, color=VERMILION, linewidth=1.1, linestyle=(0, (4, 2)))
            labels.append((way * k * bounds.high, f"stays: {most}", VERMILION))
            ends.append(way * k * bounds.high)
        log_time(ax, curve.times[0] * 0.7, curve.times[-1] * 1.02)
        ax.set_ylim(1.1 * min(ends), 1.15 * max(ends))
        ax.set_xlabel("time since unloading")
        title(ax, f"{fit.quantity} left [{unit.name}]")
        end_labels(ax, labels, gap=18.0)
        if not answer.hypothetical and read > 0.0:
            mark_times(ax, ((read, "last reading"),))
    row = answer.residuals[-1]
    left = "" if row.left is None else unit.sentence(row.left, fit.level)
    unloading = "an unloading at the last reading" if answer.hypothetical else "unloading"
    when = f"{show_time(row.after)} after {unloading}"
    stays = "The permanent set cannot be told"
    if bounds is not None:
        stays = f"At most {unit.number(max(bounds.high, 0.0), bounds.high - bounds.low)} {unit.name} stays"
    alt = f"Of {unit.number(answer.before.median)} {unit.name} before unloading, {left} is left {when}. {stays}."
    caption = "Recovery, if it were unloaded at the last reading" if answer.hypothetical else "Recovery and permanent set"
    return Drawing("recovery", caption, alt, figure)


def _read_after(ax: Axes, findings: Findings, unit: Unit) -> None:
    """Readings after the last unloading, by time since then."""
    observed, off = findings.fit.observed, findings.recovery.unloading
    after = observed.times > off
    ax.plot(observed.times[after] - off, unit.factor * observed.moved[after], "o", color=INK, markersize=4.0, zorder=4)


def shares_figure(findings: Findings) -> Drawing:
    """What the interval is made of, at the times asked for."""
    rows = findings.forecast.rows
    with look():
        figure, (ax,) = sheet(0.95 + 0.42 * len(rows), left=0.85)
        ax.grid(visible=False)
        for i, row in enumerate(rows):
            start = 0.0
            for name, _, colour in SHARES:
                share = 100.0 * float(getattr(row.share, name))
                ax.barh(i, share, left=start, height=0.62, color=colour, edgecolor="none", alpha=0.85)
                if share >= 8.0:
                    words = f"{share:.0f} %"
                    ax.text(start + share / 2.0, i, words, ha="center", va="center", fontsize=8.0, color="#000000")
                start += share
        _legend(ax, len(rows))
        ax.set_yticks(range(len(rows)), [show_time(row.time) for row in rows])
        ax.invert_yaxis()
        ax.set_xlim(0.0, 100.0)
        ax.set_xticks([0, 50, 100], ["0", "50", "100 %"])
        ax.spines["left"].set_visible(False)
        ax.set_xlabel("share of the variance")
    last = rows[-1]
    parts = sorted(((100.0 * float(getattr(last.share, n)), words) for n, words, _ in SHARES), reverse=True)
    listed = ", ".join(f"{words} {share:.0f} %" for share, words in parts)
    alt = f"What the width of the interval after {show_time(last.time)} is made of: {listed}."
    return Drawing("shares", "What the interval is made of", alt, figure)


def _legend(ax: Axes, count: int) -> None:
    """Names above the first bar, each after a patch of its colour."""
    x = 0.0
    for _, words, colour in SHARES:
        ax.plot(x + 1.0, -0.62, "s", color=colour, alpha=0.85, markersize=6.0, markeredgewidth=0.0, clip_on=False)
        ax.text(x + 3.0, -0.62, words, color=MUTED, fontsize=8.5, ha="left", va="center")
        x += 8.0 + 1.75 * len(words)
    ax.set_ylim(-1.0, count - 0.5)
