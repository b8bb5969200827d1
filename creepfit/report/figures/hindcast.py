"""The forecast tried on the run itself, as a picture: what was known, what was foretold, what was read."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from creepfit.inference.hindcast import Hindcast
from creepfit.mechanics.loading import Array
from creepfit.report.figures.style import (
    BAND,
    BLUE,
    INK,
    MUTED,
    PAPER,
    VERMILION,
    Drawing,
    end_labels,
    log_time,
    look,
    mark_times,
    sheet,
    title,
)
from creepfit.report.page.findings import Findings
from creepfit.report.text.pieces import percent, several, shown_unit
from creepfit.units import show_time


def hindcast_figure(findings: Findings) -> Drawing | None:
    """Readings that were fitted, and later ones against the interval that was foretold for them; None without any."""
    past = findings.forecast.hindcast
    if not isinstance(past, Hindcast) or not past.foretold:
        return None
    observed, unit = findings.fit.observed, shown_unit(findings.fit.unit)
    k, zero = unit.factor, float(observed.values[0])
    known = (observed.times > 0.0) & (observed.times <= past.fitted_to)
    times = np.array([f.time for f in past.foretold])
    ends = k * (np.array([[f.low, f.median, f.high] for f in past.foretold]).T - zero)
    read = k * (np.array([f.reading for f in past.foretold]) - zero)
    inside = np.array([f.inside for f in past.foretold])
    load = findings.fit.run.history.at(np.append(past.fitted_to, times))
    same = load[1:] == load[0]
    with look():
        # what was read after an unloading would leave creep no height: it stands beneath, less what was foretold
        figure, axes = sheet(3.1 if same.all() else 4.2, (1.0,) if same.all() else (2.4, 1.0), right=1.1)
        ax = axes[0]
        early = float(observed.times[known][0]) if known.any() else past.fitted_to
        log_time(ax, early / 1.6, float(times[-1]) * 1.35)
        if same.any():
            ax.fill_between(times[same], ends[0][same], ends[2][same], color=BLUE, alpha=BAND, linewidth=0.0)
            ax.vlines(times[same], ends[0][same], ends[2][same], color=BLUE, linewidth=1.0)
            ax.plot(times[same], ends[1][same], color=BLUE, linewidth=1.2)
        ax.plot(observed.times[known], k * (observed.values[known] - zero), "o", color=INK, markersize=4.0)
        _points(ax, times[same], read[same], inside[same])
        ax.margins(y=0.12)
        if same.any():
            end_labels(ax, [(float(ends[1][same][-1]), f"foretold,\n{percent(past.level)}", BLUE)])
        title(ax, f"{'change' if not observed.has_initial else findings.fit.quantity} [{unit.name}]")
        mark_times(ax, ((past.fitted_to, "fitted up to here"),))
        ax.axvspan(ax.get_xlim()[0], past.fitted_to, color=MUTED, alpha=0.08, linewidth=0.0)
        if not same.all():
            ax.set_xlabel("")
            rest = axes[1]
            rest.vlines(times, ends[0] - ends[1], ends[2] - ends[1], color=BLUE, linewidth=4.0, alpha=0.35)
            rest.axhline(0.0, color=MUTED, linewidth=0.7)
            _points(rest, times, read - ends[1], inside)
            title(rest, f"read less foretold, after unloading too [{unit.name}]")
            rest.margins(y=0.15)
            rest.set_xlabel("time since loading")
    alt = (
        f"Fitted to the readings of the first {show_time(past.fitted_to)}; of {several(past.readings, 'later reading')} "
        f"{past.inside} fell inside the {percent(past.level)} intervals foretold for them. Largest miss: "
        f"{past.largest_miss.text}."
    )
    return Drawing("hindcast", "Tried on this run itself: foretold and read", alt, figure)


def _points(ax: Axes, times: Array, sizes: Array, inside: NDArray[np.bool_]) -> None:
    """Readings inside their interval hollow, those outside as squares of another colour."""
    ax.plot(times[inside], sizes[inside], "o", color=INK, markersize=4.5, markerfacecolor=PAPER, zorder=3)
    ax.plot(times[~inside], sizes[~inside], "s", color=VERMILION, markersize=5.5, zorder=3)
