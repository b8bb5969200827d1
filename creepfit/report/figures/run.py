"""Figures of what was read: readings with forecast over log time, loading and recovery over days, increments."""

from __future__ import annotations

import textwrap
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.interval import Interval
from creepfit.answers.wording import as_read
from creepfit.inference.run_fit import FAR
from creepfit.mechanics.loading import Array
from creepfit.report.figures.style import (
    BAND,
    BLUE,
    INK,
    MUTED,
    ORANGE,
    PAPER,
    PURPLE,
    VERMILION,
    Drawing,
    band,
    decade_marks,
    end_labels,
    log_time,
    look,
    sheet,
    title,
)
from creepfit.report.page.findings import Creep, Findings
from creepfit.report.text.pieces import Unit, percent, several, show_load, shown_unit, weight_words
from creepfit.units import DAY, HOUR, show_time

MOST_MODELS = 4
"""Lines of models in one figure; the lightest are left out."""


def readings_figure(findings: Findings, brief: bool = False) -> Drawing:
    """Raw readings with models and forecast; beneath creep alone (not where brief), residuals, temperature."""
    fit, unit = findings.fit, shown_unit(findings.fit.unit)
    warm = np.array([np.nan if r.temperature is None else r.temperature for r in fit.run.used])
    with_warmth = int(np.isfinite(warm).sum()) > 1
    with look():
        creep = None if brief else findings.creep
        shares = [2.6, *([] if creep is None else [2.6]), 0.9, *([0.8] if with_warmth else [])]
        figure, axes = sheet(0.82 + 1.02 * sum(shares), shares, right=1.4)
        main, rest = axes[0], axes[1 if creep is None else 2]
        left = findings.curve.times[0] / 4.0
        log_time(axes[-1], left, findings.along.rows[-1].time * 1.02)
        _forecast(main, findings, unit)
        _readings(main, findings, unit, left)
        missing = findings.along.unpromised
        title(main, f"{_quantity(findings)} [{unit.name}]")
        if missing is not None:
            _no_forecast(main, missing.short)
        if creep is not None:
            _creep(axes[1], findings, creep, unit)
        _residuals(rest, findings, unit, left)
        if with_warmth:
            times = np.maximum(fit.observed.times, left * 1.3)
            axes[-1].plot(times, warm, marker="o", markersize=2.5, linewidth=0.8, color=PURPLE)
            title(axes[-1], "temperature [°C]")
            axes[-1].margins(y=0.25)
        for ax in axes[:-1]:
            ax.set_xlabel("")
    caption = "Readings, models and forecast" if missing is None else "Readings and models"
    if len({step.value for step in fit.run.steps if step.value}) > 1:  # else the forecast passes through the readings
        caption += f" under {show_load(findings.forecast.case.peak, findings.forecast.outlook.load_unit)} from the start"
    return Drawing("readings", caption, _readings_alt(findings, unit), figure)


def _no_forecast(ax: Axes, why: str) -> None:
    """Said where the forecast would stand."""
    ax.text(
        0.985, 0.97, "\n".join(["no forecast:", *textwrap.wrap(why, 18)]), transform=ax.transAxes, ha="right", va="top",
        fontsize=8.0, color=VERMILION, bbox={"facecolor": PAPER, "edgecolor": "none", "pad": 1.5}, zorder=5,
    )  # fmt: skip


def _quantity(findings: Findings) -> str:
    quantity = findings.fit.quantity
    return "creep since first reading" if quantity == "creep increment" else quantity


def _forecast(ax: Axes, findings: Findings, unit: Unit) -> None:
    """Band, median and each model's line, with the end of the test and ten times it marked."""
    curve, test, k = findings.curve, findings.test, unit.factor
    far = FAR * test
    band(ax, curve.times, k * curve.low, k * curve.high, far)
    ax.plot(curve.times, k * curve.median, color=BLUE, linewidth=1.8, zorder=3)
    alone = findings.alone
    if alone is not None:
        ax.fill_between(alone.times, k * alone.low, k * alone.high, color=ORANGE, alpha=0.16, linewidth=0.0, zorder=0.5)
        for edge in (alone.low, alone.high):
            ax.plot(alone.times, k * edge, color=ORANGE, linewidth=1.0, zorder=2.2)
    lines = findings.model_lines[:MOST_MODELS]
    dashes = ((0, (5, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (3, 1.5)))
    for (_, _, heights), dash in zip(lines, dashes, strict=False):
        ax.plot(curve.times, k * heights, color=MUTED, linewidth=0.9, linestyle=dash, zorder=2)
    labels = [(k * float(curve.high[-1]), f"{percent(findings.fit.level)} band", BLUE)]
    name = "models" if _beyond_reach(findings) else f"forecast{_at_end(findings, unit)}"
    labels.append((k * float(curve.median[-1]), name, BLUE))
    labels += [(k * float(h[-1]), f"{_line_name(name)} {weight_words(weight)}", MUTED) for name, weight, h in lines]
    if alone is not None:
        labels.append((k * float(alone.low[-1]), "by its own readings", ORANGE))
    limit = None if findings.forecast.limit is None else findings.fit.observed.direction * findings.forecast.limit.value
    if limit is not None:
        ax.axhline(k * limit, color=VERMILION, linewidth=1.1, zorder=2.5)
        labels.append((k * limit, f"limit {unit.number(limit)}", VERMILION))
    low, high = _heights(findings, limit)
    ax.set_ylim(k * low, k * high)
    end_labels(ax, [label for label in labels if k * low <= label[0] <= k * high])
    decade_marks(ax, test)


def _creep(ax: Axes, findings: Findings, creep: Creep, unit: Unit) -> None:
    """Creep alone, at a scale of its own: the deformation since that of the first reading under load."""
    k, curve, way = unit.factor, creep.curve, findings.fit.observed.direction
    band(ax, curve.times, k * curve.low, k * curve.high, FAR * findings.test)
    ax.plot(curve.times, k * curve.median, color=BLUE, linewidth=1.8, zorder=3)
    ax.plot(creep.times, k * creep.readings, "o", color=INK, markersize=4.0, zorder=4)
    ax.axhline(0.0, color=MUTED, linewidth=0.7, zorder=1.0)
    ends = way * k * np.concatenate([curve.low, curve.high, creep.readings, [0.0]])
    low, high = float(ends.min()), float(ends.max())
    low, high = low - 0.06 * (high - low), high + 0.08 * (high - low)
    ax.set_ylim(*((low, high) if way > 0.0 else (-high, -low)))
    last = Interval(curve.low[-1], curve.median[-1], curve.high[-1])
    end = "models" if _beyond_reach(findings) else f"creep {unit.interval(last)[1]}"
    end_labels(ax, [(k * float(curve.median[-1]), end, BLUE)])
    title(ax, f"of that creep, since {show_time(creep.since)} [{unit.name}]")


def _beyond_reach(findings: Findings) -> bool:
    """Whether what stands at the end of the curve is the models', and no number is given for it."""
    return findings.along.unpromised is not None or withheld_at(findings.fit, float(findings.curve.times[-1])) is not None


def _at_end(findings: Findings, unit: Unit) -> str:
    """The number at the end of the line where that is the time asked for; the figure may run on beyond it."""
    row = findings.forecast.rows[-1]
    if row.time != findings.curve.times[-1]:
        return ""
    return f" {unit.number(row.interval.median, row.interval.high - row.interval.low)}"


def _heights(findings: Findings, limit: float | None) -> tuple[float, float]:
    """Ends of the vertical axis: everything read and forecast, the limit unless it is far off, and room for labels."""
    curve, way = findings.curve, findings.fit.observed.direction
    beside = [] if findings.alone is None else [findings.alone.low, findings.alone.high]
    values = way * np.concatenate([curve.low, curve.high, *beside, _since_reference(findings), [0.0]])
    low, high = float(values.min()), float(values.max())
    high = max(high, min(way * limit, 1.6 * high)) if limit is not None else high
    # where the first readings under load lie next to the initial one, its label goes beyond it
    low -= (0.17 if _crowded(findings) else 0.03) * (high - low)
    high += 0.12 * (high - low)
    return (low, high) if way > 0.0 else (-high, -low)


def _crowded(findings: Findings) -> bool:
    """Whether a label above the initial reading would cover readings under load or the curve."""
    curve, values = findings.curve, np.abs(_since_reference(findings))
    early = findings.fit.observed.times < 30.0 * curve.times[0]
    first = max(float(np.abs(curve.low[0])), 0.0)
    most = float(max(np.abs(curve.high).max(), np.abs(curve.low).max(), values.max()))
    under = values[early & (findings.fit.observed.times > 0.0)]
    return min(first, float(under.min()) if under.size else first) < 0.2 * most


def _line_name(name: str) -> str:
    """A model's name, short enough for the margin."""
    name = name.replace("stretched-exponential", "stretched exp.")
    return name.replace("power-family, ageing clock", "power, ageing")


def _readings(ax: Axes, findings: Findings, unit: Unit, left: float) -> None:
    """Points under load solid, without load hollow; the gauge's own first and last number beside theirs."""
    fit, k = findings.fit, unit.factor
    observed = fit.observed
    times, values = observed.times, k * _since_reference(findings)
    under = (fit.run.history.at(times) != 0.0) & (times > 0.0)
    x = np.maximum(times, left * 1.35)
    ax.plot(x[under], values[under], "o", color=INK, markersize=4.0, zorder=4)
    idle = ~under
    ax.plot(x[idle], values[idle], "o", color=INK, markersize=4.0, markerfacecolor="none", zorder=4)
    _gauge_labels(ax, findings, unit, x, values)
    after = np.flatnonzero(idle & (times > 0.0))
    if after.size:
        ax.annotate(
            "unloaded", (x[after[-1]], values[after[-1]]), xytext=(7, 0), textcoords="offset points", fontsize=8.0,
            color=INK, va="center",
        )  # fmt: skip


def _gauge_labels(ax: Axes, findings: Findings, unit: Unit, x: Array, values: Array) -> None:
    """The gauge's own number before loading and at the last reading under load, clear of points and band."""
    fit, curve, k = findings.fit, findings.curve, unit.factor
    observed, way = fit.observed, fit.observed.direction
    used, before = fit.run.used, _first(observed.times <= 0.0)
    last = int(np.flatnonzero((fit.run.history.at(observed.times) != 0.0) & (observed.times > 0.0))[-1])
    style: dict[str, Any] = {"textcoords": "offset points", "fontsize": 8.0, "color": INK}
    if before is not None:
        beyond = way * (-1.0 if _crowded(findings) else 1.0)
        ax.annotate(
            f"before loading\ngauge {_gauge(findings, used[before].value)}", (x[before], values[before]),
            xytext=(7, beyond), ha="left", va="bottom" if beyond > 0.0 else "top", **style,
        )  # fmt: skip
    near = (x <= x[last]) & (x > x[last] / 15.0)  # as far as the label reaches
    band = curve.high if way > 0.0 else curve.low
    edge = way * np.concatenate([values[near], k * band[(curve.times <= x[last]) & (curve.times > x[last] / 15.0)]])
    ax.annotate(
        f"gauge {_gauge(findings, used[last].value)}", (x[last], way * float(edge.max())), xytext=(-3, 6.0 * way),
        ha="right", va="bottom" if way > 0.0 else "top", **style,
    )  # fmt: skip


def _gauge(findings: Findings, value: float) -> str:
    """What the gauge showed, to its own last digit."""
    return as_read(value, findings.fit.run.gauge, findings.fit.unit)


def _first(mask: NDArray[np.bool_]) -> int | None:
    places = np.flatnonzero(mask)
    return int(places[0]) if places.size else None


def _since_reference(findings: Findings) -> Array:
    """Readings as change since the initial ones; without those since the first under load."""
    observed = findings.fit.observed
    values = observed.deformation
    reference = observed.times <= 0.0
    if observed.has_initial:
        return np.asarray(values - values[reference].mean())
    under = (findings.fit.run.history.at(observed.times) != 0.0) & (observed.times > 0.0)
    return np.asarray(values - values[np.flatnonzero(under)[0]])


def _residuals(ax: Axes, findings: Findings, unit: Unit, left: float) -> None:
    fit, k = findings.fit, unit.factor
    best = findings.leading
    x = np.maximum(fit.observed.times, left * 1.35)
    noise = k * fit.observed.noise.stated
    ax.axhspan(-2.0 * noise, 2.0 * noise, color=MUTED, alpha=0.13, linewidth=0.0)
    ax.axhline(0.0, color=MUTED, linewidth=0.7)
    ax.vlines(x, 0.0, k * best.residuals, color=INK, linewidth=0.8)
    ax.plot(x, k * best.residuals, "o", color=INK, markersize=3.0)
    most = 1.25 * max(2.0 * noise, float(np.abs(k * best.residuals).max()))
    ax.set_ylim(-most, most)
    title(ax, f"reading less {best.name} [{unit.name}]")
    end_labels(ax, [(0.0, "± 2 gauge noise", MUTED)])


def _readings_alt(findings: Findings, unit: Unit) -> str:
    curve, test, fit = findings.curve, findings.test, findings.fit
    last = Interval(curve.low[-1], curve.median[-1], curve.high[-1])
    ahead, missing, far = "forecast runs on", findings.along.unpromised, ""
    if missing is None and _beyond_reach(findings):
        ahead = "models, which is no forecast, run on"
    if missing is not None:
        ahead, far = "models run on", f" No forecast is drawn: {missing.text}"
    if curve.times[-1] > FAR * test:
        far = f" Beyond ten times the test ({show_time(FAR * test)}) the band is hatched."
    return (
        f"{several(len(fit.run.used), 'reading')} over {show_time(test)} under load against logarithmic time. The "
        f"{ahead} to {unit.sentence(last, fit.level)} after {show_time(float(curve.times[-1]))}.{far} "
        f"Beneath, the readings less the model that leads the forecast, {findings.leading.name}: the largest residual is "
        f"{unit.number(float(np.abs(findings.leading.residuals).max()))} {unit.name}."
    )


def history_figure(findings: Findings) -> Drawing:
    """The same against plain days: loading and recovery, with the load above."""
    fit, unit = findings.fit, shown_unit(findings.fit.unit)
    curve, k, run = findings.history, unit.factor, findings.fit.run
    end = float(curve.times[-1])
    size, name = (DAY, "d") if end > 2.0 * DAY else (HOUR, "h") if end > 2.0 * HOUR else (60.0, "min")
    with look():
        figure, (load, main) = sheet(3.5, (0.7, 3.0))
        steps = np.unique(np.concatenate([curve.times, [1e-6 * end]]))
        load.fill_between(steps / size, run.history.at(steps), color=MUTED, alpha=0.3, linewidth=0.0, step=None)
        load.plot(steps / size, run.history.at(steps), color=MUTED, linewidth=0.9)
        title(load, f"load [{run.specimen.load_unit}]")
        load.margins(y=0.15)
        main.fill_between(curve.times / size, k * curve.low, k * curve.high, color=BLUE, alpha=BAND, linewidth=0.0)
        main.plot(curve.times / size, k * curve.median, color=BLUE, linewidth=1.5)
        times = fit.observed.times
        main.plot(times / size, k * _since_reference(findings), "o", color=INK, markersize=3.5)
        main.axhline(0.0, color=MUTED, linewidth=0.7)
        title(main, f"{_quantity(findings)} [{unit.name}]")
        main.set_xlim(min(float(times[0]), -0.01 * end) / size, end / size)
        main.set_xlabel(f"time since loading [{name}]")
        end_labels(main, [(k * float(curve.median[-1]), f"models,\n{percent(fit.level)} band", BLUE)])
        load.grid(visible=False)
    left = ""
    if run.unloading is not None and fit.observed.has_recovery:
        value = float(_since_reference(findings)[-1])
        left = (
            f" {show_time(float(times[-1]) - run.unloading)} after unloading "
            f"{unit.number(value, fit.observed.noise.stated)} {unit.name} is left."
        )
    alt = f"Readings against plain time under the run's own loads; the models follow loading and recovery.{left}"
    return Drawing("history", "Loading and recovery in plain time", alt, figure)
