"""What is no plane beam, drawn to scale: a bar bent out of its plane from two sides, a panel from above."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from creepfit.mechanics.loading import Array
from creepfit.mechanics.panel import Panel
from creepfit.mechanics.space_bar import Pull, SpaceBar
from creepfit.report.figures.sketch import ARROW, LINE, TALLEST, point_label, wall
from creepfit.report.figures.sketch_words import segment_words
from creepfit.report.figures.style import BLUE, INK, MUTED, RULE, VERMILION, WIDTH, Drawing, look, title

POINTS = 181

VIEWS = (("from the side", (0, 1), 1.0), ("from above", (0, 2), -1.0))
"""Name, the two coordinates, and the sign of the second: from above what comes toward you is at the bottom."""


def bar_figure(name: str, bar: SpaceBar, pulls: Sequence[tuple[Pull, str]], read: Pull) -> Drawing:
    """The bar from the side and from above, with the wall, its loads and where its sag is read; its sizes beneath."""
    axis = np.array([bar.position(float(s)) for s in np.linspace(0.0, bar.length, POINTS)]).T
    thickest = max(segment.depth for segment in bar.segments)
    lines = [f"{k}  {segment_words(segment)}" for k, segment in enumerate(bar.segments, start=1)]
    spans = [_limits(axis[list(plane)] * np.array([[1.0], [sign]]), thickest) for _, plane, sign in VIEWS]
    wide = float(max(high[0] - low[0] for low, high in spans))
    tall = [float(high[1] - low[1]) for low, high in spans]
    per_mm = min((WIDTH - 0.7) / wide, TALLEST / sum(tall))
    gap, foot = 0.75, LINE * (len(lines) + 1)
    height = sum(tall) * per_mm + 2.0 * gap + foot
    with look():
        figure = Figure(figsize=(WIDTH, height))
        figure.patch.set_alpha(0.0)
        top = height - 0.34
        for (words, plane, sign), (low, high) in zip(VIEWS, spans, strict=True):
            box = (per_mm * (high[0] - low[0]), per_mm * (high[1] - low[1]))
            ax = figure.add_axes((0.55 / WIDTH, (top - box[1]) / height, box[0] / WIDTH, box[1] / height))
            top -= box[1] + gap
            _prepare(ax, low, high)
            title(ax, f"{name} {words}, to scale [mm]")
            flat = np.array([[1.0], [sign]])
            _bar(ax, bar, flat, plane, per_mm * 72.0)
            ahead = axis[list(plane), 1] * flat[:, 0] - axis[list(plane), 0] * flat[:, 0]
            ahead = ahead / max(float(np.hypot(*ahead)), 1e-12)
            wall(ax, axis[list(plane), 0] * flat[:, 0], np.array([-ahead[1], ahead[0]]), thickest, -1.0)
            for pull, label in pulls:
                place = bar.position(bar.locate(pull.at))[list(plane)] * flat[:, 0]
                _push(ax, place, np.array(pull.direction)[list(plane)] * flat[:, 0], label)
            spot = bar.position(bar.locate(read.at))[list(plane)] * flat[:, 0]
            ax.plot(*spot, "D", markersize=6, color=BLUE, markeredgecolor="white", zorder=9)
            if words == VIEWS[0][0]:
                point_label(ax, spot, np.array([0.0, -1.0]), "sag read here", colour=BLUE)
        _list(figure, lines, height)
    acting = "; ".join(label for _, label in pulls)
    alt = f"{name} drawn from the side and from above: {'; '.join(lines)}. Clamped at its beginning. Loads: {acting}."
    return Drawing("drawing", f"{name}, as described", alt, figure)


def panel_figure(name: str, panel: Panel, labels: Sequence[str]) -> Drawing:
    """The panel from above: thick where it rests, its middle, its sizes and loads in words."""
    corners = np.array([[0.0, panel.span, panel.span, 0.0, 0.0], [0.0, 0.0, panel.width, panel.width, 0.0]])
    low, high = _limits(corners, 0.15 * max(panel.span, panel.width))
    per_mm = min((WIDTH - 0.7) / float(high[0] - low[0]), TALLEST / float(high[1] - low[1]))
    box = per_mm * (high - low)
    rests = "all four sides" if panel.sides == "four sides" else "the two sides drawn thick, the other two are free"
    lines = [
        f"span {panel.span:g} mm, {panel.width:g} mm wide, {panel.thickness:g} mm thick",
        f"rests on {rests}",
        *labels,
    ]
    height = 0.34 + box[1] + 0.45 + LINE * (len(lines) + 1)
    with look():
        figure = Figure(figsize=(WIDTH, height))
        figure.patch.set_alpha(0.0)
        ax = figure.add_axes((0.55 / WIDTH, (height - 0.34 - box[1]) / height, box[0] / WIDTH, box[1] / height))
        _prepare(ax, low, high)
        ax.fill(*corners, facecolor=RULE, edgecolor=INK, linewidth=0.9)
        for side in (0, 2) if panel.sides == "four sides" else ():
            ax.plot(*corners[:, side : side + 2], color=INK, linewidth=3.5, solid_capstyle="butt")
        for side in (1, 3):
            ax.plot(*corners[:, side : side + 2], color=INK, linewidth=3.5, solid_capstyle="butt")
        middle = np.array([panel.span, panel.width]) / 2.0
        ax.plot(*middle, "D", markersize=6, color=BLUE, markeredgecolor="white", zorder=9)
        point_label(ax, middle, np.array([0.0, -1.0]), "sag read here", colour=BLUE)
        title(ax, f"{name} from above, to scale [mm]")
        _list(figure, lines, height)
    return Drawing("drawing", f"{name}, as described", f"{name} drawn from above: {'; '.join(lines)}.", figure)


def _limits(points: Array, margin: float) -> tuple[Array, Array]:
    low, high = points.min(axis=1), points.max(axis=1)
    pad = 0.18 * float((high - low).max()) + margin
    return low - pad, high + pad


def _prepare(ax: Axes, low: Array, high: Array) -> None:
    ax.patch.set_alpha(0.0)
    ax.set_xlim(low[0], high[0])
    ax.set_ylim(low[1], high[1])
    ax.set_aspect("equal")
    ax.tick_params(length=3, width=0.8, color=RULE, labelsize=8.0)


def _bar(ax: Axes, bar: SpaceBar, flat: Array, plane: tuple[int, int], points_a_mm: float) -> None:
    start = 0.0
    for segment in bar.segments:
        along = np.linspace(start, start + segment.axis_length, 61)
        line = np.array([bar.position(float(s)) for s in along]).T[list(plane)] * flat
        width = max(segment.depth * points_a_mm, 2.0)
        ax.plot(*line, color=INK, linewidth=width + 1.8, solid_capstyle="round", zorder=2)
        ax.plot(*line, color=RULE, linewidth=width, solid_capstyle="round", zorder=3)
        ax.plot(*line, color=MUTED, linewidth=0.7, linestyle="--", zorder=4)
        start += segment.axis_length


def _push(ax: Axes, place: Array, way: Array, label: str) -> None:
    """An arrow onto a point; a circle with a cross where it points into the sheet."""
    if np.hypot(*way) < 1e-6:
        ax.plot(*place, "o", markersize=12, markerfacecolor="white", markeredgecolor=VERMILION, zorder=8)
        ax.plot(*place, "x", markersize=7, color=VERMILION, zorder=8)
        point_label(ax, place, np.array([0.0, -1.0]), label)
        return
    style = {"arrowstyle": "-|>", "color": VERMILION, "linewidth": 1.6, "shrinkA": 0, "shrinkB": 4}
    tail = (float(-ARROW * way[0]), float(-ARROW * way[1]))
    spot = (float(place[0]), float(place[1]))
    ax.annotate("", xy=spot, xytext=tail, textcoords="offset points", arrowprops=style, zorder=8)
    point_label(ax, place, -way, label, ARROW)


def _list(figure: Figure, lines: Sequence[str], height: float) -> None:
    for k, line in enumerate(lines):
        figure.text(0.55 / WIDTH, (LINE * (len(lines) - k) - 0.08) / height, line, fontsize=8.0, color=INK)
