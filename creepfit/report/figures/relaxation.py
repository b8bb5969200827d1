"""The force of a part that is held bent, over time."""

from __future__ import annotations

from creepfit.answers.interval import Interval
from creepfit.answers.part.relaxation import Relaxation
from creepfit.inference.run_fit import FAR
from creepfit.report.figures.style import (
    BLUE,
    MUTED,
    Drawing,
    band,
    decade_marks,
    end_labels,
    log_time,
    look,
    sheet,
    title,
)
from creepfit.report.text.pieces import N, percent
from creepfit.units import show_time


def force_figure(result: Relaxation) -> Drawing | None:
    """Force over log time with its band, and the first force; None where no number is given."""
    if result.undrawn:
        return None
    curve, test = result.curve, result.fit.run.test_length
    with look():
        figure, (ax,) = sheet(3.0, right=1.15)
        band(ax, curve.times, curve.low, curve.high, FAR * test)
        ax.plot(curve.times, curve.median, color=BLUE, linewidth=1.8)
        ax.axhline(result.first.median, color=MUTED, linewidth=1.0, linestyle=(0, (5, 2)))
        last = Interval(curve.low[-1], curve.median[-1], curve.high[-1])
        end_labels(
            ax,
            [
                (float(curve.low[-1]), f"{percent(result.level)} band", BLUE),
                (float(curve.median[-1]), f"force {N.number(curve.median[-1], curve.high[-1] - curve.low[-1])}", BLUE),
                (result.first.median, f"first {N.number(result.first.median)}", MUTED),
            ],
        )
        log_time(ax, curve.times[0] * 0.8, curve.times[-1] * 1.02)
        ax.set_ylim(0.0, 1.12 * max(float(curve.high.max()), result.first.median))
        ax.set_xlabel("time since it was bent")
        title(ax, "force [N]")
        decade_marks(ax, test, "length of test")
    alt = f"Force over time: {N.sentence(last, result.level)} after {show_time(float(curve.times[-1]))}."
    return Drawing("force", "Force of the deflection that is kept", alt, figure)
