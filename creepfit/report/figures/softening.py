"""The figure of bars in a warming oven: deflection against temperature, and where they leave their line."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.answers.temperature.softening import Softening, compared
from creepfit.report.figures.style import (
    COLOURS,
    MARKERS,
    MUTED,
    Drawing,
    look,
    sheet,
    title,
)
from creepfit.report.text.pieces import percent
from creepfit.report.text.softening import first_sentence
from creepfit.units import show_number


def softening_figure(bars: Sequence[Softening]) -> Drawing:
    """Readings of each bar with its curve and line; the temperature at the deflection as a bar on its height."""
    sizes = {f.reached.deflection for f in bars}
    with look():
        figure, (ax,) = sheet(3.6)
        for k, one in enumerate(bars):
            colour, marker = COLOURS[k % len(COLOURS)], MARKERS[k % len(MARKERS)]
            course = one.course
            ax.fill_between(course.grid, course.low, course.high, color=colour, alpha=0.2, linewidth=0)
            ax.plot(course.grid, course.median, color=colour, linewidth=1.2)
            ax.plot(course.grid, course.line, color=colour, linewidth=0.8, linestyle=(0, (4, 3)))
            ax.plot(
                course.degrees, course.moved, marker, color=colour, markersize=3.5, linestyle="none", label=one.run.label
            )
            reached = one.reached.temperature
            if reached is not None:
                height = one.reached.deflection
                ax.plot([reached.low, reached.high], [height, height], color=colour, linewidth=4.0, solid_capstyle="butt")
                ax.plot(reached.median, height, marker, color="white", markeredgecolor=colour, markersize=6.0)
        for height in sizes:
            ax.axhline(height, color=MUTED, linewidth=0.7, zorder=0)
        ax.margins(x=0.03)
        ax.set_ylim(-0.25 * max(sizes), 4.0 * max(sizes))
        ax.set_xlabel("by the thermometer [°C]; thick: where it is reached, lag taken off")
        if len(bars) > 1:
            ax.legend(loc="upper left", frameon=False)
        title(ax, f"further deflection [mm], {percent(bars[0].level)}; dashed: the line of expansion and stiffness")
    words = " ".join(f"{f.run.label}: {first_sentence(f)}" for f in bars)
    beside = compared(bars)
    heights = ", ".join(f"{show_number(h, digits=3)} mm" for h in sorted(sizes))
    return Drawing(
        "softening", f"Where it has bent by a further {heights}", " ".join(filter(None, (words, beside))), figure
    )
