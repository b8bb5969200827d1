"""The look of all figures: colours, axes of time, bands, labels, and how a figure becomes SVG for a page or a file.

Colours are those of Okabe & Ito (Color Universal Design, 2008), which people with any kind of colour vision can tell
apart. Nothing is told by colour alone: lines differ in dashes and carry their names, what is far beyond the data is
hatched.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, NullLocator

from creepfit.inference.run_fit import FAR
from creepfit.mechanics.loading import Array
from creepfit.report.figures.ticks import few_pieces
from creepfit.units import DAY, HOUR, MINUTE, YEAR

INK, MUTED, RULE, PAPER = "#1c2329", "#59636c", "#d5d3cc", "#ffffff"
BLUE, VERMILION, GREEN, PURPLE, ORANGE, SKY = "#0072b2", "#d55e00", "#009e73", "#cc79a7", "#e69f00", "#56b4e9"
COLOURS, MARKERS = (BLUE, VERMILION, GREEN, PURPLE, ORANGE), ("o", "s", "^", "D", "v")
"""Of several runs or bars in one figure."""

TEXT = {BLUE: "#005f95", VERMILION: "#a84a00", GREEN: "#00714f", PURPLE: "#94426e", ORANGE: "#8a5f00", SKY: "#005f95"}
"""The same as letters: darker, so that they stand out from white by 4.5 to 1 or more (WCAG 2.2, 1.4.3)."""

NAMES = {
    INK: "ink", MUTED: "muted", RULE: "rule", PAPER: "paper", BLUE: "blue", VERMILION: "vermilion", GREEN: "green",
    PURPLE: "purple", ORANGE: "orange", SKY: "sky",
}  # fmt: skip
NAMES |= {letters: NAMES[colour] for colour, letters in TEXT.items() if colour != SKY}

WIDTH = 5.6
"""Of a figure, inches; fonts are in points of this width. So narrow that a phone shows it whole and legible."""

BAND, HATCH = 0.20, "////"
"""Of intervals; hatched from `FAR` times the data on."""

_RC = {
    "svg.fonttype": "none",
    "svg.hashsalt": "creepfit",
    "font.family": "sans-serif",
    "font.size": 9.0,
    "axes.edgecolor": RULE,
    "axes.labelcolor": MUTED,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.linewidth": 0.8,
    "xtick.color": MUTED,
    "ytick.color": MUTED,
    "text.color": INK,
    "hatch.linewidth": 0.7,
    "axes.unicode_minus": True,
    "text.parse_math": False,  # a dollar sign in a name is a dollar sign
    "grid.color": RULE,
    "grid.linewidth": 0.5,
    "path.simplify_threshold": 0.3,
}
TIME_MARKS = (
    (1.0, "1 s"), (10.0, "10 s"), (MINUTE, "1 min"), (10 * MINUTE, "10 min"), (HOUR, "1 h"), (6 * HOUR, "6 h"),
    (DAY, "1 d"), (5 * DAY, "5 d"), (30 * DAY, "30 d"), (120 * DAY, "120 d"), (YEAR, "1 year"), (10 * YEAR, "10 years"),
    (100 * YEAR, "100 years"),
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Drawing:
    """A figure with its name (letters, digits and hyphens), its title, and its message for those who cannot see it."""

    name: str
    title: str
    alt: str
    figure: Figure

    @cached_property
    def written(self) -> str:
        """The figure as SVG: a page and a file of its own are made from the same text."""
        out = io.StringIO()
        with look(), few_pieces(self.figure):
            # without a date the same numbers give the same file
            self.figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Title": self.title})
        return out.getvalue()


@contextmanager
def look() -> Iterator[None]:
    """Context in which figures are drawn and written."""
    with mpl.rc_context(_RC):  # type: ignore[arg-type]
        yield


class Sheet(Figure):
    """A figure that a notebook shows as it is, without pyplot."""

    def _repr_svg_(self) -> str:
        return svg(Drawing("figure", "", "", self))


def sheet(
    height: float, rows: Sequence[float] = (1.0,), left: float = 0.62, right: float = 0.95
) -> tuple[Figure, list[Axes]]:
    """An empty figure with axes under one another that share their time.

    Parameters
    ----------
    height : float
        Inches.
    rows : sequence of float
        Relative heights.
    left, right : float
        Margins in inches; the right one is for labels at the ends of lines.
    """
    figure = Sheet(figsize=(WIDTH, height))
    figure.patch.set_alpha(0.0)
    top, bottom, gap = 0.34, 0.48, 0.28
    room = height - top - bottom - gap * (len(rows) - 1)
    axes: list[Axes] = []
    edge = height - top
    for share in rows:
        tall = room * share / sum(rows)
        edge -= tall
        box = (left / WIDTH, edge / height, (WIDTH - left - right) / WIDTH, tall / height)
        axes.append(figure.add_axes(box, sharex=axes[0] if axes else None))
        edge -= gap
    for ax in axes:
        ax.patch.set_alpha(0.0)
        ax.tick_params(length=3, width=0.8, color=RULE)
        ax.grid(visible=True, axis="y", color=RULE, linewidth=0.5)
        ax.set_axisbelow(True)
    for ax in axes[:-1]:
        ax.tick_params(labelbottom=False)
    return figure, axes


def shortened(label: str, most: int) -> str:
    """A label in at most so many letters, with an ellipsis where some are left out."""
    return label if len(label) <= most else f"{label[: most - 1]}…"


def title(ax: Axes, text: str) -> None:
    """What the vertical axis shows, set level above it, where nobody has to turn the head."""
    ax.text(0.0, 1.0, text, transform=ax.transAxes, ha="left", va="bottom", color=MUTED, fontsize=9.0)


def log_time(ax: Axes, low: float, high: float) -> None:
    """Logarithmic time from `low` to `high` [s], marked at times a person would say."""
    ax.set_xscale("log")
    ax.set_xlim(low, high)
    room = 0.1 * np.log10(high / low)  # no mark's name runs into the next one's
    chosen: list[tuple[float, str]] = []
    # from the far end, so that the year that was asked for keeps its mark
    for time, name in reversed(TIME_MARKS):
        if low <= time <= high and (not chosen or np.log10(chosen[-1][0] / time) >= room):
            chosen.append((time, name))
    ax.xaxis.set_major_locator(FixedLocator([t for t, _ in chosen]))
    ax.xaxis.set_major_formatter(FixedFormatter([n for _, n in chosen]))
    ax.xaxis.set_minor_locator(NullLocator())
    ax.set_xlabel("time since loading")


def log_size(ax: Axes, low: float, high: float) -> None:
    """Logarithmic size with plain numbers at 1, 2 and 5; beyond three decades at 1 alone."""
    ax.set_yscale("log")
    ax.set_ylim(low, high)
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    far = np.log10(high / low)
    step = (1.0,) if far > 3.0 else (1.0, 2.0, 5.0) if far > 0.6 else (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
    marks = [m * 10.0**d for d in decades for m in step if low <= m * 10.0**d <= high]
    ax.yaxis.set_major_locator(FixedLocator(marks))
    ax.yaxis.set_major_formatter(FixedFormatter([f"{m:g}" for m in marks]))
    ax.yaxis.set_minor_locator(NullLocator())


def band(ax: Axes, times: Array, low: Array, high: Array, far: float, colour: str = BLUE) -> None:
    """An interval over time; from `far` [s] on it is hatched, so that doubt never looks lighter than knowledge."""
    ax.fill_between(times, low, high, color=colour, alpha=BAND, linewidth=0.0, zorder=1.2)
    if times[-1] > far:
        beyond = np.append(max(far, times[0]), times[times > max(far, times[0])])
        ends = (np.interp(np.log(beyond), np.log(times), end) for end in (low, high))
        ax.fill_between(beyond, *ends, facecolor="none", edgecolor=colour, hatch=HATCH, linewidth=0.0, zorder=1.3)
    for end in (low, high):
        ax.plot(times, end, color=colour, linewidth=0.6, zorder=1.4)


def mark_times(ax: Axes, marks: Sequence[tuple[float, str]]) -> None:
    """Thin upright lines at times inside the axes, each with its meaning above them."""
    low, high = ax.get_xlim()
    shown = [(time, text, np.log(time / low) / np.log(high / low)) for time, text in marks if low < time < high]
    # two close together get their names on either side; the margin at the right is free above the axes
    across = ax.get_position().width * ax.figure.bbox.width * 72.0 / ax.figure.dpi
    room = 4.2 * sum(len(text) for _, text, _ in shown) / 2.0 + 12.0  # half of either text (8 points high) and a gap
    close = len(shown) == 2 and (shown[1][2] - shown[0][2]) * across < room
    for i, (time, text, place) in enumerate(shown):
        ax.axvline(time, color=MUTED, linewidth=0.7, linestyle=(0, (1, 2)), zorder=1.0)
        side = ("right", "left")[i] if close else "right" if place > 0.93 else "left" if place < 0.4 else "center"
        ax.annotate(
            text, (time, 1.0), xycoords=("data", "axes fraction"), xytext=((-2, 2)[i] if close else 0, 2),
            textcoords="offset points", ha=side, va="bottom", color=MUTED, fontsize=8.0,
        )  # fmt: skip


def decade_marks(ax: Axes, test: float, words: str = "end of test") -> None:
    """Marks at the end of the test and at ten times it."""
    mark_times(ax, ((test, words), (FAR * test, "10 × test")))


def end_labels(ax: Axes, labels: Sequence[tuple[float, str, str]], gap: float = 10.5) -> None:
    """Names at the right end of lines: (height, text, colour), moved apart where they would touch."""
    if not labels:
        return
    low, high = ax.get_ylim()
    scale = ax.transData
    points = ax.figure.dpi / 72.0
    x = ax.get_xlim()[1]
    heights = np.array([scale.transform((x, min(max(y, low), high)))[1] / points for y, _, _ in labels])
    order = np.argsort(heights)
    placed = heights[order].copy()
    for _ in range(60):
        for i in range(1, placed.size):
            short = gap - (placed[i] - placed[i - 1])
            if short > 0.0:
                placed[i] += short / 2.0
                placed[i - 1] -= short / 2.0
    for at, index in zip(placed, order, strict=True):
        _, text, colour = labels[index]
        ax.annotate(
            text, (1.0, labels[index][0]), xycoords=("axes fraction", "data"), xytext=(5, at - heights[index]),
            textcoords="offset points", ha="left", va="center", color=TEXT.get(colour, colour), fontsize=8.5,
            annotation_clip=False,
        )  # fmt: skip


def svg(drawing: Drawing) -> str:
    """The figure as an SVG file of its own, in the light colours."""
    return drawing.written


def png(drawing: Drawing, dpi: int = 160) -> bytes:
    """The figure as a PNG file on white."""
    out = io.BytesIO()
    paper = drawing.figure.patch
    with look(), few_pieces(drawing.figure):
        paper.set_alpha(1.0)
        drawing.figure.savefig(out, format="png", dpi=dpi, facecolor=PAPER, metadata={"Title": drawing.title})
        paper.set_alpha(0.0)
    return out.getvalue()


_ID = re.compile(r'\sid="([^"]*)"')
_USED = re.compile(r'(?:url\(#|href="#)([^)"]+)')
_STYLE = re.compile(r'\sstyle="([^"]*)"')
_PLACE = re.compile(r'\s(?:d|x|y|x1|x2|y1|y2|width|height|transform|points)="[^"]*"')
_NUMBER = re.compile(r"-?\d+\.\d{2,}")
_TAGS = re.compile(r"<\?xml.*?\?>|<!DOCTYPE.*?>|<!--.*?-->|<metadata>.*?</metadata>|<title>.*?</title>", re.DOTALL)


def inline(drawing: Drawing, prefix: str, text: str) -> str:
    """The figure as SVG to stand inside a page.

    Parameters
    ----------
    drawing : Drawing
    prefix : str
        Put before every id, so that ids are unique in the page: letters, digits, hyphens.
    text : str
        Escaped alternative text.

    Notes
    -----
    Colours become classes, which the page's style sheet fills in for light, dark and print; other styling becomes
    attributes. Letters stay letters, in the page's own font.
    """
    body = _TAGS.sub("", drawing.written)
    used = set(_USED.findall(body))
    body = _ID.sub(lambda m: f' id="{prefix}-{m[1]}"' if m[1] in used else "", body)
    body = re.sub(r"url\(#", f"url(#{prefix}-", body)
    body = re.sub(r'xlink:href="#', f'href="#{prefix}-', body)
    body = _STYLE.sub(lambda m: _attributes(m[1]), body)
    body = _PLACE.sub(lambda m: _NUMBER.sub(_tenth, m[0]), body)
    body = re.sub(r"<g>\s*</g>|<defs>\s*<style.*?</style>\s*</defs>", "", body, flags=re.DOTALL)
    box = re.search(r'viewBox="[^"]*"', body)
    inner = body[body.index(">", body.index("<svg")) + 1 :]
    inner = re.sub(r">\s+<", "><", inner).strip()
    frame = box[0] if box else ""
    return f'<svg class="plot" {frame} role="img" aria-label="{text}">{inner}'


def _tenth(number: re.Match[str]) -> str:
    """A place to a tenth of a point: nobody sees more, and it is half of the page's weight."""
    return f"{float(number[0]):.1f}".removesuffix(".0")


def _attributes(style: str) -> str:
    """Inline styling as classes for colours and attributes for the rest."""
    classes, out = [], []
    for item in filter(None, (part.strip() for part in style.split(";"))):
        key, _, value = (part.strip() for part in item.partition(":"))
        if key in ("fill", "stroke") and value in NAMES:
            classes.append(f"{key[0]}-{NAMES[value]}")
        elif key == "font":
            size = re.search(r"([\d.]+)px", value)
            out.append(f'font-size="{size[1]}"' if size else "")
        elif key not in ("stroke-linecap", "stroke-miterlimit", "font-family"):
            out.append(f'{key}="{value}"')
    lead = f' class="{" ".join(classes)}"' if classes else ""
    return lead + "".join(f" {item}" for item in out if item)
