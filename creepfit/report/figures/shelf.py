"""The figure of a whole shelf: creep modulus of every result, early and late, the stiffest on top."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from creepfit.answers.interval import Interval
from creepfit.answers.materials.shelf import Shelf
from creepfit.answers.materials.shelf_row import CREEP_AT, MODULUS_AT, ShelfRow
from creepfit.errors import InputError
from creepfit.inference.run_fit import FAR
from creepfit.report.figures.style import BLUE, MUTED, PAPER, VERMILION, Drawing, look, sheet, shortened
from creepfit.report.text.pieces import percent, several, shown_unit
from creepfit.units import show_time

LONGEST = 26
EARLY, LATE = BLUE, VERMILION


def shelf_figure(shelf: Shelf) -> Drawing:
    """Modulus at 1 h and at the latest time that all results reach, with intervals, sorted by the latter.

    The late modulus is stress over the creep of the table. Where a time lies beyond ten times the test the mark is
    hollow. Results without a modulus stand beneath with "unknown".

    Raises
    ------
    InputError
        No result has a modulus.
    """
    known = [row for row in shelf.rows if row.modulus is not None and row.stress is not None]
    if not known:
        expected = "runs with the specimen's sizes and a reading before loading"
        raise InputError("no result on this shelf has a creep modulus to draw", expected=expected)
    late = max((i for i in range(len(CREEP_AT)) if all(r.creep[i] is not None for r in known)), default=None)
    order = sorted(known, key=lambda row: _middle(_late(row, late) or row.modulus))
    unknown = [row for row in shelf.rows if row not in known]
    with look():
        figure, (ax,) = sheet(1.0 + 0.27 * len(shelf.rows), left=2.0, right=0.35)
        ax.grid(visible=False)
        ax.grid(visible=True, axis="x")
        for place, row in enumerate(order, start=len(unknown)):
            _mark(ax, place + 0.13, row.modulus, MODULUS_AT, row, EARLY)
            if late is not None:
                _mark(ax, place - 0.13, _late(row, late), CREEP_AT[late], row, LATE)
        ax.set_xscale("log")
        _plain_marks(ax)
        for place, _ in enumerate(unknown):
            ax.text(0.01, place, "unknown", transform=ax.get_yaxis_transform(), va="center", fontsize=8.5, color=MUTED)
        ax.set_yticks(range(len(shelf.rows)), [shortened(row.label, LONGEST) for row in (*unknown, *order)])
        ax.set_ylim(-0.7, len(shelf.rows) - 0.3)
        when = "" if late is None else f" (round) and {show_time(CREEP_AT[late])} (square)"
        ax.set_xlabel(f"creep modulus [MPa] at 1 h{when}, {percent(shelf.level)} intervals")
    caption = "Creep modulus of all results; hollow marks lie beyond ten times the test"
    return Drawing("shelf", caption, _alt(order, unknown, late), figure)


def _late(row: ShelfRow, late: int | None) -> Interval | None:
    """Modulus at one of the table's times: stress over strain."""
    if late is None or row.stress is None:
        return None
    creep = row.creep[late]
    if creep is None or creep.low <= 0.0:
        return None
    return Interval(row.stress / creep.high, row.stress / creep.median, row.stress / creep.low)


def _middle(interval: Interval | None) -> float:
    return np.inf if interval is None else interval.median


def _mark(ax: Axes, place: float, interval: Interval | None, time: float, row: ShelfRow, colour: str) -> None:
    if interval is None:
        return
    hollow = time > FAR * row.length
    ax.plot([interval.low, interval.high], [place, place], color=colour, linewidth=2.4, alpha=0.4, solid_capstyle="butt")
    ax.plot(
        interval.median, place, "o" if colour == EARLY else "s", color=colour, markersize=4.5,
        markerfacecolor=PAPER if hollow else colour,
    )  # fmt: skip


def _plain_marks(ax: Axes) -> None:
    """Plain numbers at 1, 2 and 5 on the logarithmic axis."""
    from matplotlib.ticker import FixedLocator, FuncFormatter, NullLocator

    low, high = ax.get_xlim()
    steps = (1.0, 2.0, 5.0) if high / low > 4.0 else (1.0, 1.2, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0)
    decades = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    marks = [m * 10.0**d for d in decades for m in steps if low <= m * 10.0**d <= high]
    ax.xaxis.set_major_locator(FixedLocator(marks))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda x, _: f"{x:g}"))
    ax.xaxis.set_minor_locator(NullLocator())


def _alt(order: list[ShelfRow], unknown: list[ShelfRow], late: int | None) -> str:
    unit = shown_unit("MPa")
    when = "1 h" if late is None else show_time(CREEP_AT[late])
    first, last = order[0], order[-1]
    sizes = [unit.number(_middle(_late(row, late) or row.modulus)) for row in (first, last)]
    rest = f" Of {several(len(unknown), 'result')} it is unknown." if unknown else ""
    return (
        f"Creep modulus of {several(len(order), 'result')} after {when}: from {sizes[0]} MPa for {first.label} to "
        f"{sizes[1]} MPa for {last.label}.{rest}"
    )
