"""The figure of a dependence on temperature: curves against log time, and shifted where the readings show a clock."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from creepfit.answers.temperature.dependence import TemperatureDependence
from creepfit.inference.fitting import Fit
from creepfit.inference.run_fit import FAR
from creepfit.inference.tested_temperature import tested_temperature
from creepfit.mechanics.loading import Array
from creepfit.report.figures.style import (
    BLUE,
    GREEN,
    MARKERS,
    ORANGE,
    PURPLE,
    VERMILION,
    Drawing,
    band,
    decade_marks,
    end_labels,
    log_size,
    log_time,
    look,
    sheet,
    title,
)
from creepfit.report.text.pieces import percent, shown_unit
from creepfit.report.text.temperature import headline
from creepfit.units import MINUTE, YEAR, show_number

CURVES = (BLUE, GREEN, ORANGE, VERMILION, PURPLE)
POINTS = 60


def temperature_figure(dependence: TemperatureDependence) -> Drawing:
    """Compliance of each bar with its interval, coolest first; beneath, all shifted where the readings show a clock."""
    unit = shown_unit(dependence.compliance_unit)
    shifted = dependence.strength
    fits = [f for f in dependence.fits if f.observed.has_initial]
    longest = max(f.run.test_length for f in dependence.fits)
    times = np.geomspace(MINUTE, max(YEAR, 2.0 * longest), POINTS)
    with look():
        figure, axes = sheet(3.4 if shifted is None else 6.0, (1.0,) if shifted is None else (1.0, 1.0), right=0.75)
        drawn = [(f, dependence.band_at(f, tested_temperature(f.run), times)) for f in fits]
        sizes = np.concatenate([unit.factor * np.array(b) for _, b in drawn], axis=None)
        low, high = 0.95 * float(sizes.min()), 1.05 * float(sizes.max())
        log_time(axes[0], 0.8 * float(times[0]), float(times[-1]))
        log_size(axes[0], low, high)
        title(axes[0], f"compliance [{unit.name}], {percent(dependence.level)}")
        labels = []
        for k, (fit, (below, middle, above)) in enumerate(drawn):
            colour = CURVES[k % len(CURVES)]
            band(axes[0], times, unit.factor * below, unit.factor * above, FAR * fit.run.test_length, colour)
            axes[0].plot(times, unit.factor * middle, color=colour, linewidth=1.4)
            _readings(axes[0], fit, unit.factor, colour, MARKERS[k % len(MARKERS)])
            labels.append((unit.factor * float(middle[-1]), f"{show_number(tested_temperature(fit.run))} °C", colour))
        end_labels(axes[0], labels)
        decade_marks(axes[0], longest)
        if shifted is not None:
            axes[0].set_xlabel("")
            _master(axes[1], dependence, fits, unit.factor, low, high)
            title(
                axes[1],
                f"the same, shifted in time to {show_number(dependence.reference)} °C; a factor is left between them",
            )
    return Drawing("temperature", "What warmth does", headline(dependence), figure)


def _readings(ax: Axes, fit: Fit, factor: float, colour: str, marker: str, speed: float = 1.0) -> None:
    """Readings under the first load as compliances, their times multiplied by a speed."""
    observed, run = fit.observed, fit.run
    load = run.history.at(observed.times)
    end = np.inf if run.unloading is None else run.unloading
    held = (load != 0.0) & (observed.times > 0.0) & (observed.times <= end)
    compliance = observed.moved[held] / (load[held] * observed.factor)
    ax.plot(speed * observed.times[held], factor * compliance, marker, color=colour, markersize=4.0, linestyle="none")


def _master(ax: Axes, dependence: TemperatureDependence, fits: list[Fit], factor: float, low: float, high: float) -> None:
    """All readings on the clock of the coolest temperature; what is not its own is shifted, not tested.

    Along time only: beside its clock warmth makes all of it grow by one factor, and bars differ.
    """
    assert dependence.strength is not None
    log_size(ax, low, high)
    for k, fit in enumerate(fits):
        at: Array = np.array(tested_temperature(fit.run))
        speed = float(dependence.law.speed(at, dependence.reference, dependence.strength.median))
        _readings(ax, fit, factor, CURVES[k % len(CURVES)], MARKERS[k % len(MARKERS)], speed)
    ax.set_xlabel("time since loading; of warmer bars shifted, not tested")
