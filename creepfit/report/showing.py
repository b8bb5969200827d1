"""`text(result)` and `plot(result)`: every result in words and as a figure, as the commands print and draw it."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.answers.materials.comparison import Comparison
from creepfit.answers.materials.pool import PoolSummary, summarise_pool
from creepfit.answers.materials.shelf import Shelf
from creepfit.answers.part.relaxation import Relaxation
from creepfit.answers.part.sag import Sag
from creepfit.answers.plan.proposal import PlannedTest
from creepfit.answers.plan.running import RunningPlan
from creepfit.answers.specimen.check import Check
from creepfit.answers.specimen.creep_stop import CreepStop
from creepfit.answers.specimen.forecast import Forecast
from creepfit.answers.specimen.increments import Increments
from creepfit.answers.specimen.modulus import CreepModulus
from creepfit.answers.specimen.recovery import Recovery
from creepfit.answers.specimen.schedule import Schedule
from creepfit.answers.specimen.summary import Summary, summarise
from creepfit.answers.stress.dependence import StressDependence
from creepfit.answers.stress.isochronous import Isochronous
from creepfit.answers.stress.linearity import Linearity
from creepfit.answers.temperature.dependence import TemperatureDependence
from creepfit.answers.temperature.softening import Softening
from creepfit.errors import InputError
from creepfit.inference.pooling import PooledFit
from creepfit.inference.run_fit import Fit
from creepfit.records.outputs import check_figure, write_bytes
from creepfit.records.run import Run
from creepfit.report.text.answers import cautions, check_text, fit_text, forecast_text, recovery_text
from creepfit.report.text.compare import compare_text
from creepfit.report.text.part import render_sag
from creepfit.report.text.pieces import Unit, paragraph, percent, shown_unit
from creepfit.report.text.plan import planned_text, running_text
from creepfit.report.text.pool import pool_text
from creepfit.report.text.relaxation import relax_text
from creepfit.report.text.shelf import shelf_text
from creepfit.report.text.softening import softening_text
from creepfit.report.text.stress import stress_text
from creepfit.report.text.temperature import temperature_text
from creepfit.shown import Shown
from creepfit.units import show_number, show_time

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from creepfit.report.figures.style import Drawing

_TEXTS: tuple[tuple[type, Callable[[Any], str]], ...] = (
    (Summary, fit_text),
    (PoolSummary, pool_text),
    (Forecast, forecast_text),
    (Recovery, recovery_text),
    (Check, check_text),
    (Sag, render_sag),
    (Relaxation, relax_text),
    (Comparison, compare_text),
    (Shelf, shelf_text),
    (StressDependence, stress_text),
    (TemperatureDependence, temperature_text),
    (Softening, lambda one: softening_text([one])),
    (RunningPlan, running_text),
    (PlannedTest, planned_text),
)


def text(result: Any) -> str:
    """Return a result in words, as the command of the same name prints it; a fit as `creepfit fit` does.

    Raises
    ------
    InputError
        For what is no result of creepfit.
    """
    if isinstance(result, PooledFit):
        return pool_text(summarise_pool(result))
    if isinstance(result, Fit):
        return fit_text(summarise(result))
    for kind, words in _TEXTS:
        if isinstance(result, kind):
            return words(result)
    if not isinstance(result, Shown):
        raise InputError(f"a {type(result).__name__} has no text", expected="what cf.fit, cf.forecast and the like return")
    lines = paragraph(result.headline)
    table = getattr(result, "table", None)
    if table is not None:
        lines += ["", *str(table().to_string(index=False, na_rep="")).splitlines()]
    return "\n".join([*lines, *cautions(getattr(result, "cautions", ()))])


def plot(result: Any) -> Figure:
    """Return a result as a matplotlib figure, as the report draws it; of a fit its readings with models and forecast.

    Raises
    ------
    InputError
        For what is no result of creepfit, or one that has nothing to draw.
    """
    return _drawing(result).figure


def save_figure(result: Any, path: str | os.PathLike[str], force: bool = False) -> None:
    """Draw a result into an SVG or PNG file, whole or not at all.

    Raises
    ------
    OutputExistsError, InputError
        As `records.outputs.write_bytes`; also for another kind of file, and where there is nothing to draw.
    """
    from creepfit.report.figures.style import png, svg

    check_figure(path, force)
    drawing = _drawing(result)
    content = png(drawing) if Path(path).suffix.casefold() == ".png" else svg(drawing).encode("utf-8")
    write_bytes(path, content, force)


def _drawing(result: Any) -> Drawing:
    drawn = _of_one(result)
    if drawn is None:
        raise InputError("nothing to draw", found=type(result).__name__, expected="a result with numbers in it")
    return drawn


def _of_one(result: Any) -> Drawing | None:
    from creepfit.report.figures.part import sag_figure
    from creepfit.report.figures.plan import timeline_figure
    from creepfit.report.figures.relaxation import force_figure
    from creepfit.report.figures.shelf import shelf_figure
    from creepfit.report.figures.softening import softening_figure
    from creepfit.report.figures.temperature import temperature_figure
    from creepfit.report.figures.together import isochronous_figure, ratios_figure, values_figure

    if isinstance(result, PlannedTest):
        return timeline_figure(result)
    if isinstance(result, Sag):
        return sag_figure(result)
    if isinstance(result, Relaxation):
        return force_figure(result)
    if isinstance(result, Shelf):
        return shelf_figure(result)
    if isinstance(result, Comparison):
        return ratios_figure(result) or values_figure(result)
    if isinstance(result, Isochronous):
        return isochronous_figure(result, result.fit.run.material)
    if isinstance(result, StressDependence):
        return _of_one(result.curves or result.linearity)
    if isinstance(result, Linearity):
        return _proportion(result)
    if isinstance(result, TemperatureDependence):
        return temperature_figure(result)
    if isinstance(result, Softening):
        return softening_figure([result])
    if isinstance(result, list) and result and all(isinstance(one, Softening) for one in result):
        return softening_figure(result)
    if isinstance(result, Run):
        return _readings(result)
    return _of_a_fit(result)


def _of_a_fit(result: Any) -> Drawing | None:
    from creepfit.report.figures.answers import recovery_figure
    from creepfit.report.figures.rate import rate_figure
    from creepfit.report.figures.run import readings_figure
    from creepfit.report.page.findings import find

    if isinstance(result, CreepModulus):
        rows = [(row.time, row.modulus) for row in result.rows if row.modulus is not None]
        return _over_time(rows, Unit("MPa"), "creep modulus", result.fit.run.test_length, result.level)
    if isinstance(result, Forecast):
        held = result.case.is_held and result.case.peak == result.fit.run.working_load and result.kind == "curve"
        if not held:
            sizes = [(row.time, row.interval) for row in result.rows]
            return _over_time(sizes, shown_unit(result.unit), result.quantity, result.fit.run.test_length, result.level)
        limit = result.limit
        life = "1 year" if limit is None or limit.life is None else limit.life.asked
        times = [row.time for row in result.rows]
        fit = result.fit.at_level(result.level)
        return readings_figure(find(fit, times, None if limit is None else limit.value, life))
    if isinstance(result, Recovery):
        return recovery_figure(replace(find(result.fit.at_level(result.level)), recovery=result))
    if isinstance(result, Increments):
        return rate_figure(find(result.fit.at_level(result.level)))
    if isinstance(result, Summary | Check | PoolSummary | CreepStop | RunningPlan | Schedule):
        return readings_figure(find(result.fit))
    if isinstance(result, Fit):
        return readings_figure(find(result))
    raise InputError(f"a {type(result).__name__} cannot be drawn", expected="what cf.fit, cf.forecast and the like return")


def _over_time(rows: Sequence[tuple[float, Interval]], unit: Unit, name: str, test: float, level: float) -> Drawing | None:
    """Intervals at the times asked for, against log time; hollow beyond the test."""
    from creepfit.report.figures.style import BLUE, PAPER, Drawing, decade_marks, log_time, look, sheet, title

    if not rows:
        return None
    k, times = unit.factor, [time for time, _ in rows]
    with look():
        figure, (ax,) = sheet(3.1)
        for time, size in rows:
            ax.plot([time, time], [k * size.low, k * size.high], color=BLUE, linewidth=2.4, alpha=0.4)
            face = PAPER if time > test else BLUE
            ax.plot(time, k * size.median, "o", color=BLUE, markersize=5.0, markerfacecolor=face)
        log_time(ax, min(times) / 2.0, max(times) * 2.0)
        ax.margins(y=0.2)
        title(ax, f"{name} [{unit.name}], {percent(level)} intervals")
        decade_marks(ax, test)
    ends = [f"{unit.sentence(size, level)} at {show_time(time)}" for time, size in (rows[0], rows[-1])]
    return Drawing("over-time", f"{name.capitalize()} at the times asked for", f"{name}: {' and '.join(ends)}.", figure)


def _proportion(result: Linearity) -> Drawing | None:
    """Ratios of compliances against 1."""
    from creepfit.report.figures.style import Drawing
    from creepfit.report.figures.together import sizes_figure

    rows = [
        (
            f"{show_number(r.high_stress)} / {show_number(r.low_stress)} MPa"
            + ("" if r.time is None else f", {show_time(r.time)}"),
            r.ratio,
            False,
        )
        for r in result.ratios
    ]
    if not rows:
        return None
    axis = f"compliance over that at the lower stress, {percent(result.level)} intervals"
    return Drawing("proportion", "Ratios of compliances", f"{result.text}.", sizes_figure(rows, Unit(""), axis))


def _readings(run: Run) -> Drawing:
    """What the gauge showed against plain time, with the load above."""
    from creepfit.report.figures.style import INK, MUTED, Drawing, look, sheet, title

    unit = shown_unit(run.unit)
    times = np.array([r.time for r in run.used])
    along = np.linspace(times.min(), times.max(), 600)
    with look():
        figure, (load, main) = sheet(3.4, (0.7, 3.0))
        load.plot(along / 3600.0, run.history.at(along), color=MUTED, linewidth=0.9)
        title(load, f"load [{run.specimen.load_unit}]")
        load.margins(y=0.15)
        main.plot(times / 3600.0, [unit.factor * r.value for r in run.used], "o", color=INK, markersize=4.0)
        main.margins(y=0.1)
        title(main, f"reading [{unit.name}]")
        main.set_xlabel("time since loading [h]")
    return Drawing("readings", "What the gauge showed", f"{run.headline}, as the gauge showed them.", figure)
