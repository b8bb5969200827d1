"""Ticks and grid of an axis in few pieces while a figure is written.

matplotlib makes five artists for every tick, which is half of what a figure takes. Here marks are one line, the grid is
another, and only names are artists of their own; they stand where matplotlib has them. The figure itself keeps its axes for
whoever goes on with it.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from matplotlib import rcParams
from matplotlib.artist import Artist
from matplotlib.axis import Axis, XAxis, YAxis
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.markers import TICKDOWN, TICKLEFT, MarkerStyle
from matplotlib.text import Text

from creepfit.mechanics.loading import Array

GAP = 3.5
"""Between a mark and its name, points."""

LABEL_GAP = 4.0
"""Between the names of ticks and what the axis is of."""


@contextmanager
def few_pieces(figure: Figure) -> Iterator[None]:
    """Context in which ticks are drawn that way, but for axes that ask for more."""
    axes = [axis for ax in figure.axes if ax.axison for axis in (ax.xaxis, ax.yaxis) if axis.get_visible() and _plain(axis)]
    pieces = [piece for axis in axes for piece in _pieces(axis)]
    for axis in axes:
        axis.set_visible(False)
    try:
        yield
    finally:
        for piece in pieces:
            piece.remove()
        for axis in axes:
            axis.set_visible(True)


_ELSEWHERE = ("top", "labeltop", "right", "labelright")
_STYLE = {"length", "width", "color"}
_MORE = {"bottom", "left", "labelbottom", "labelleft", "labelsize", "gridOn", "grid_color", "grid_linewidth"}


def _plain(axis: Axis) -> bool:
    """Whether no more is asked of it than `_pieces` draws: of a figure that somebody went on with it may be."""
    style = axis.get_tick_params()
    if not _STYLE <= style.keys() <= {*_STYLE, *_MORE, *_ELSEWHERE} or any(style.get(place) for place in _ELSEWHERE):
        return False
    axis.get_major_formatter().format_ticks(list(axis.get_majorticklocs()))
    shared = axis.get_major_formatter().get_offset()
    return not (len(axis.get_minorticklocs()) or shared or (isinstance(axis, YAxis) and axis.get_label_text()))


def _pieces(axis: Axis) -> list[Artist]:
    """Grid, marks, names, and what the axis is of."""
    ax, style, flat = axis.axes, axis.get_tick_params(), isinstance(axis, XAxis)
    places, names = _ticks(axis)
    pieces: list[Artist] = []
    if style["gridOn"]:
        pieces.append(ax.add_artist(_grid(axis, places)))
    length = float(style["length"])
    edge = np.zeros_like(places)
    marks = Line2D(
        *((places, edge) if flat else (edge, places)), linestyle="none", clip_on=False, zorder=axis.get_zorder(),
        marker=MarkerStyle(TICKDOWN if flat else TICKLEFT), markersize=length, markeredgewidth=style["width"],
        markeredgecolor=style["color"], transform=ax.get_xaxis_transform() if flat else ax.get_yaxis_transform(),
    )  # fmt: skip
    pieces.append(ax.add_artist(marks))
    where, *aligned = (ax.get_xaxis_text1_transform if flat else ax.get_yaxis_text1_transform)(GAP + length)
    named: list[Text] = []
    if style.get("labelbottom", style.get("labelleft")):  # matplotlib 3.9 says "left" of a horizontal axis, too
        look = {"fontsize": style.get("labelsize", rcParams["xtick.labelsize"]), "color": rcParams["xtick.color"]}
        look |= {"va": aligned[0], "ha": aligned[1], "transform": where, "zorder": axis.get_zorder()}
        points = zip(places, edge, strict=True) if flat else zip(edge, places, strict=True)
        named = [ax.text(x, y, name, **look) for (x, y), name in zip(points, names, strict=True)]
    return [*pieces, *named, *([_label(axis, named)] if axis.get_label_text() else [])]


def _ticks(axis: Axis) -> tuple[Array, list[str]]:
    """Places within the axis, and their names."""
    places = np.asarray(axis.get_majorticklocs(), dtype=float)
    names = axis.get_major_formatter().format_ticks(list(places))
    along = axis.get_transform().transform
    low, high = np.sort(along(np.array(axis.get_view_interval())))
    edge = 1e-3 * (high - low)
    seen = [low - edge <= along(place) <= high + edge for place in places]
    return places[seen], [name for name, inside in zip(names, seen, strict=True) if inside]


def _grid(axis: Axis, places: Array) -> Line2D:
    """All lines as one, with gaps."""
    ax, style = axis.axes, axis.get_tick_params()
    along, across = np.repeat(places, 3), np.tile([0.0, 1.0, np.nan], places.size)
    flat = isinstance(axis, XAxis)
    return Line2D(
        *((along, across) if flat else (across, along)), zorder=axis.get_zorder(),
        transform=ax.get_xaxis_transform("grid") if flat else ax.get_yaxis_transform("grid"),
        color=style.get("grid_color", rcParams["grid.color"]),
        linewidth=style.get("grid_linewidth", rcParams["grid.linewidth"]),
    )  # fmt: skip


def _label(axis: Axis, named: list[Text]) -> Artist:
    """What a horizontal axis is of, beneath the names of its ticks."""
    ax, label = axis.axes, axis.label
    below = ("axes fraction", named[0]) if named else "axes fraction"
    return ax.annotate(
        label.get_text(), (0.5, 0.0), xycoords=below, xytext=(0.0, -LABEL_GAP), textcoords="offset points", ha="center",
        va="top", color=label.get_color(), fontsize=label.get_fontsize(), zorder=axis.get_zorder(), annotation_clip=False,
    )  # fmt: skip
