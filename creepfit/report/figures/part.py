"""Figures of a part: its bent shape to scale, and its sag over time."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from creepfit.answers.interval import Interval
from creepfit.answers.part.sag import Sag
from creepfit.inference.fitting import FARTHEST
from creepfit.inference.run_fit import FAR
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.loading import Array
from creepfit.report.figures.sketch import brace_outlines, draw_loads, draw_supports, outline, sketch_of
from creepfit.report.figures.style import (
    BLUE,
    GREEN,
    INK,
    MUTED,
    ORANGE,
    PURPLE,
    RULE,
    VERMILION,
    WIDTH,
    Drawing,
    band,
    decade_marks,
    end_labels,
    log_time,
    look,
    sheet,
    title,
)
from creepfit.report.text.pieces import MM, percent
from creepfit.units import DAY, MINUTE, YEAR, show_number, show_time

SHOWN = (MINUTE, 30.0 * DAY, YEAR)
"""Times of the bent shapes, beside the last one asked for; none lies beyond 100 times the data."""

POINTS = 121
TALLEST, NEAR = 4.2, 1.7
"""Heights of the two drawings, inches; a tall part is drawn smaller, not cut."""


def shape_figure(result: Sag) -> Drawing | None:
    """The bent shape at 1 min, 30 d and a year, to scale, with the limit; beneath, the end enlarged.

    None where no number is given, as of the sag.
    """
    if result.undrawn:
        return None
    last = min(max(row.time for row in result.rows), FARTHEST * result.fit.run.test_length)
    times = sorted({t for t in SHOWN if t <= last} | {last})
    rest, moved = result.shape(times, POINTS)
    sketch = sketch_of(result.part)
    as_made = outline(sketch.beam, POINTS)
    bent = as_made[None] + np.concatenate([moved, moved[:, :, ::-1]], axis=2)
    colours = [GREEN, ORANGE, PURPLE, BLUE][-len(times) :]
    spot = _read_at(result)
    limit = None if result.design is None else result.design.limit
    sags = [float(-s[1, spot]) for s in moved]
    names = [f"{show_time(t)}: {MM.number(sag)}" for t, sag in zip(times, sags, strict=True)]
    with look():
        figure, whole, near = _frame(np.concatenate([as_made[None], bent]), rest[:, spot], sags, limit)
        for ax in (whole, near):
            ax.fill(*bent[-1], facecolor=colours[-1], alpha=0.14, edgecolor="none")
            for colour, shape in zip(colours, bent, strict=True):
                ax.fill(*shape, facecolor="none", edgecolor=colour, linewidth=1.0 if ax is whole else 1.5)
            ax.fill(*as_made, facecolor="none", edgecolor=MUTED, linewidth=0.7, linestyle=(0, (2, 2)))
            for k, strip in enumerate(brace_outlines(sketch.beam)):
                for colour, move in zip([MUTED, *colours], [np.zeros_like(moved[0]), *moved], strict=True):
                    there = strip + _brace_move(sketch.beam, k, move)
                    ax.fill(*there, facecolor="none", edgecolor=colour, linewidth=0.8)
            ax.plot(*rest[:, spot], "o", markersize=3.5, color=INK, zorder=5)
            for (x, y), colour in zip((rest[:, None, spot] + moved[:, :, spot].T).T, colours, strict=True):
                ax.plot(x, y, "o", markersize=3.0 if ax is whole else 4.5, color=colour, zorder=4)
        draw_supports(whole, sketch.beam)
        draw_loads(whole, sketch)
        height = float(rest[1, spot])
        labels = [(height - sag, n, c) for sag, n, c in zip(sags, names, colours, strict=True)]
        labels.append((height, "as made", MUTED))
        if limit is not None:
            for ax in (whole, near):
                ax.axhline(height - limit, color=VERMILION, linewidth=1.0, linestyle=(0, (4, 2)))
            labels.append((height - limit, f"limit {MM.number(limit)}", VERMILION))
        end_labels(near, labels)
    alt = f"The part drawn to scale, as made (dotted) and bent. Its sag where it is read: {'; '.join(names)} mm." + (
        "" if limit is None else f" The limit is {MM.number(limit)} mm."
    )
    return Drawing("shape", "Bent shape, to scale", alt, figure)


def _brace_move(beam: Beam, number: int, move: Array) -> Array:
    """By what the corners of a brace move: its ends with the axis, or not at all on the wall."""
    assert isinstance(beam, Frame)
    points = np.linspace(beam.axis.start, beam.axis.end, move.shape[1])
    ends = [
        np.zeros(2) if at is None else np.array([np.interp(at, points, move[0]), np.interp(at, points, move[1])])
        for at in beam.brace_ends(number)
    ]
    return np.stack([ends[0], ends[1], ends[1], ends[0]], axis=1)


def _frame(shapes: Array, spot: Array, sags: Sequence[float], limit: float | None) -> tuple[Figure, Axes, Axes]:
    """Two axes of equal scale: one that holds every shape, and one beneath that enlarges where the sag is read."""
    low, high = shapes.min(axis=(0, 2)), shapes.max(axis=(0, 2))
    pad = 0.14 * float((high - low).max())  # room for the arrows of the loads
    low, high = low - pad, high + pad
    left, right, top, bottom, gap = 0.62, 1.25, 0.34, 0.48, 0.62
    room = WIDTH - left - right
    per_mm = min(room / float(high[0] - low[0]), TALLEST / float(high[1] - low[1]))
    tall = per_mm * float(high[1] - low[1])
    reach = max(1.3 * max(abs(s) for s in [*sags, limit or 0.0]), 1e-3)
    height = top + tall + gap + NEAR + bottom
    figure = Figure(figsize=(WIDTH, height))
    figure.patch.set_alpha(0.0)
    wide = per_mm * float(high[0] - low[0])
    whole = figure.add_axes((left / WIDTH, 1.0 - (top + tall) / height, wide / WIDTH, tall / height))
    near = figure.add_axes((left / WIDTH, bottom / height, room / WIDTH, NEAR / height))
    whole.set_xlim(low[0], high[0])
    whole.set_ylim(low[1], high[1])
    around = 2.0 * reach  # mm of height in the enlarged view
    across = around * room / NEAR
    signs = np.sign(sum(sags)) or 1.0
    centre = float(spot[1]) - signs * 0.5 * reach
    near.set_ylim(centre - around / 2.0, centre + around / 2.0)
    near.set_xlim(float(spot[0]) - 0.8 * across, float(spot[0]) + 0.2 * across)
    for ax in (whole, near):
        ax.patch.set_alpha(0.0)
        ax.tick_params(length=3, width=0.8, color=RULE)
        ax.xaxis.set_major_locator(MaxNLocator(6))
        ax.yaxis.set_major_locator(MaxNLocator(4 if ax is near else max(1, min(6, int(tall / 0.3)))))
    title(whole, "to scale [mm]")
    times = around and (NEAR / around) / per_mm
    title(near, f"where the sag is read, {show_number(times, digits=2)} times larger [mm]")
    return figure, whole, near


def _read_at(result: Sag) -> int:
    axis = result.part.beam.axis
    along = np.linspace(axis.start, axis.end, POINTS)
    return int(np.argmin(np.abs(along - axis.locate(result.part.read_at))))


def sag_figure(result: Sag) -> Drawing | None:
    """Sag of the part over log time with the limit; where loads come and go, peaks, troughs and always on.

    None where no number is given: a band there would be read as a forecast.
    """
    if result.undrawn:
        return None
    curve, test = result.curve, result.fit.run.test_length
    with look():
        figure, (ax,) = sheet(3.2, right=1.15)
        band(ax, curve.times, curve.low, curve.high, FAR * test)
        ax.plot(curve.times, curve.median, color=BLUE, linewidth=1.8)
        end = MM.number(curve.median[-1], curve.high[-1] - curve.low[-1])
        name = "peak of cycle" if curve.troughs is not None else "sag"
        labels = [
            (float(curve.high[-1]), f"{percent(result.level)} band", BLUE),
            (float(curve.median[-1]), f"{name} {end}" if result.instead is None else "models only", BLUE),
        ]
        top, bottom = float(curve.high.max()), float(curve.low.min())
        for other, words, dash in (
            (curve.troughs, "trough", (0, (1.5, 1.5))), (curve.always_on, "if always on", (0, (5, 2)))
        ):  # fmt: skip
            if other is not None and other.times.size > 1:
                ax.plot(other.times, other.median, color=MUTED, linewidth=1.0, linestyle=dash)
                labels.append((float(other.median[-1]), words, MUTED))
                top, bottom = max(top, float(other.median.max())), min(bottom, float(other.median.min()))
        if result.design is not None:
            ax.axhline(result.design.limit, color=VERMILION, linewidth=1.1)
            labels.append((result.design.limit, f"limit {MM.number(result.design.limit)}", VERMILION))
            top = max(top, result.design.limit)
        log_time(ax, curve.times[0] * 0.8, curve.times[-1] * 1.02)
        ax.set_ylim(min(0.0, 1.1 * bottom), 1.12 * top)
        ax.set_xlabel("time since it was put up")
        title(ax, "sag [mm]")
        end_labels(ax, labels)
        decade_marks(ax, test, "length of test")
    last = Interval(curve.low[-1], curve.median[-1], curve.high[-1])
    said = "" if result.instead is None else "by the models, which is no forecast, "
    alt = f"Sag over time: {said}{MM.sentence(last, result.level)} after {show_time(float(curve.times[-1]))}"
    if result.design is not None:
        side = "below" if curve.high[-1] <= result.design.limit else "not all below"
        alt += f", {side} the limit of {show_number(result.design.limit)} mm"
    return Drawing("sag", "Sag over time", f"{alt}.", figure)
