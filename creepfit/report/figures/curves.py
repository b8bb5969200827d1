"""Creep curves of several runs over one another, in one property that they share."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.materials.grouping import material_of
from creepfit.answers.outlook import outlook
from creepfit.inference.run_fit import FAR, Fit
from creepfit.report.figures.style import (
    COLOURS,
    MARKERS,
    Drawing,
    band,
    end_labels,
    log_time,
    look,
    sheet,
    shortened,
    title,
)
from creepfit.report.text.pieces import Unit, percent, several, shown_unit
from creepfit.units import MINUTE, show_number, show_time

DASHES = ("-", (0, (6, 2)), (0, (2, 1.5)), (0, (6, 2, 1.5, 2)))
MOST_BANDS, MOST_NAMES, POINTS = 4, 10, 40
LONGEST = 20


def curves_figure(fits: Sequence[Fit], until: float) -> Drawing | None:
    """Readings and forecasts of runs, each material in a colour of its own; None where they share no property.

    Parameters
    ----------
    fits : sequence of Fit
    until : float
        Time that the curves run to, s.
    """
    by = _shared(fits)
    if by is None:
        return None
    unit = shown_unit("1/MPa" if by == "compliance" else fits[0].unit)
    materials = list(dict.fromkeys(material_of(f.run) for f in fits))
    seen: dict[object, int] = {}
    labels: list[tuple[float, str, str]] = []
    with look():
        figure, (ax,) = sheet(3.6, right=1.45)
        start = min(MINUTE, *(float(f.observed.span.first) for f in fits))
        log_time(ax, start / 1.4, until * 1.02)
        for fit in fits:
            group = material_of(fit.run)
            place, number = materials.index(group), seen.get(group, 0)
            seen[group] = number + 1
            colour = COLOURS[place % len(COLOURS)]
            # where no number is given a curve beyond the test would be read as a forecast
            end = until if withheld_at(fit, until) is None else min(until, fit.run.test_length)
            times = np.geomspace(max(start, float(fit.observed.span.first)), end, POINTS)
            ahead = outlook(fit)
            low, median, high = (ahead.compliance(times) if by == "compliance" else ahead.response(times)).ends(fit.level)
            if len(fits) <= MOST_BANDS:
                band(ax, times, unit.factor * low, unit.factor * high, FAR * fit.run.test_length, colour)
            ax.plot(
                times, unit.factor * median, color=colour, linewidth=1.3, linestyle=DASHES[number % len(DASHES)], zorder=3
            )
            _read(ax, fit, by, unit, colour, MARKERS[number % len(MARKERS)])
            labels.append((unit.factor * float(median[-1]), shortened(fit.run.label, LONGEST), colour))
        if len(labels) <= MOST_NAMES:
            end_labels(ax, labels)
        else:
            end_labels(ax, _ends(labels, fits))
        title(ax, f"{by} [{unit.name}]" + (f", {percent(fits[0].level)} bands" if len(fits) <= MOST_BANDS else ""))
    heights = [height for height, _, _ in labels]
    least, most = labels[int(np.argmin(heights))], labels[int(np.argmax(heights))]
    alt = (
        f"{by.capitalize()} of {several(len(fits), 'run')} over logarithmic time, readings and forecasts over one another. "
        f"After {show_time(until)} the medians go from {show_number(least[0])} {unit.name} for {least[1]} to "
        f"{show_number(most[0])} {unit.name} for {most[1]}."
    )
    return Drawing("curves", "Creep curves over one another", alt, figure)


def _shared(fits: Sequence[Fit]) -> str | None:
    """What the runs can be drawn in: their deformation where shape and load are the same, else their compliance."""
    if not all(f.observed.has_initial for f in fits):
        return None
    first = fits[0]
    alike = all(
        f.unit == first.unit
        and f.quantity == first.quantity
        and abs(f.observed.factor * f.run.working_load - first.observed.factor * first.run.working_load)
        < 0.01 * abs(first.observed.factor * first.run.working_load)
        for f in fits
    )
    if alike:
        return first.quantity
    known = all(f.run.specimen.geometry.stress_per_load is not None for f in fits)
    return "compliance" if known else None


def _read(ax: Axes, fit: Fit, by: str, unit: Unit, colour: str, marker: str) -> None:
    """Readings under the load that the curve is for."""
    observed, run = fit.observed, fit.run
    load = run.history.at(observed.times)
    end = run.steps[1].at if len(run.steps) > 1 else np.inf
    held = (observed.times > 0.0) & (observed.times <= end) & (load == run.working_load)
    sizes = observed.moved[held]
    if by == "compliance":
        sizes = sizes / (run.working_load * observed.factor)
    ax.plot(observed.times[held], unit.factor * sizes, marker, color=colour, markersize=3.5, linestyle="none", zorder=4)


def _ends(labels: Sequence[tuple[float, str, str]], fits: Sequence[Fit]) -> list[tuple[float, str, str]]:
    """One name a colour, in the middle of its curves."""
    ends: dict[str, list[float]] = {}
    names: dict[str, set[str]] = {}
    for (height, _, colour), fit in zip(labels, fits, strict=True):
        ends.setdefault(colour, []).append(height)
        names.setdefault(colour, set()).add(fit.run.material)
    return [
        (float(np.median(heights)), shortened(", ".join(sorted(names[colour])), LONGEST), colour)
        for colour, heights in ends.items()
    ]
