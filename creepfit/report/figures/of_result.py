"""Which figure a result is drawn as, by its type."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import singledispatch
from typing import Any

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.answers.materials.comparison import Comparison
from creepfit.answers.materials.pool import PoolSummary
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
from creepfit.answers.specimen.summary import Summary
from creepfit.answers.stress.dependence import StressDependence
from creepfit.answers.stress.isochronous import Isochronous
from creepfit.answers.stress.linearity import Linearity
from creepfit.answers.temperature.dependence import TemperatureDependence
from creepfit.answers.temperature.softening import Softening
from creepfit.errors import InputError
from creepfit.inference.run_fit import Fit
from creepfit.records.run import Run
from creepfit.report.figures.answers import recovery_figure
from creepfit.report.figures.part import sag_figure
from creepfit.report.figures.plan import timeline_figure
from creepfit.report.figures.rate import rate_figure
from creepfit.report.figures.relaxation import force_figure
from creepfit.report.figures.run import readings_figure
from creepfit.report.figures.shelf import shelf_figure
from creepfit.report.figures.softening import softening_figure
from creepfit.report.figures.style import (
    BLUE,
    INK,
    MUTED,
    PAPER,
    Drawing,
    decade_marks,
    log_time,
    look,
    sheet,
    title,
)
from creepfit.report.figures.temperature import temperature_figure
from creepfit.report.figures.together import isochronous_figure, ratios_figure, sizes_figure, values_figure
from creepfit.report.page.findings import find
from creepfit.report.text.pieces import Unit, percent, shown_unit
from creepfit.units import HOUR, show_number, show_time


@singledispatch
def drawing_of(result: Any) -> Drawing | None:
    """Return the figure of a result, None where it has nothing to draw; of a list, that of all bars of an oven.

    Raises
    ------
    InputError
        For what is no result of creepfit.
    """
    raise InputError(f"a {type(result).__name__} cannot be drawn", expected="what cf.fit, cf.forecast and the like return")


drawing_of.register(PlannedTest, timeline_figure)
drawing_of.register(Sag, sag_figure)
drawing_of.register(Relaxation, force_figure)
drawing_of.register(Shelf, shelf_figure)
drawing_of.register(TemperatureDependence, temperature_figure)


@drawing_of.register(list)
def _of_bars(result: list[Any]) -> Drawing | None:
    if result and all(isinstance(one, Softening) for one in result):
        return softening_figure(result)
    return drawing_of.dispatch(object)(result)


@drawing_of.register(Softening)
def _of_bar(result: Softening) -> Drawing:
    return softening_figure([result])


@drawing_of.register(Comparison)
def _of_comparison(result: Comparison) -> Drawing:
    return ratios_figure(result) or values_figure(result)


@drawing_of.register(Isochronous)
def _of_isochronous(result: Isochronous) -> Drawing:
    return isochronous_figure(result, result.fit.run.material)


@drawing_of.register(StressDependence)
def _of_stress(result: StressDependence) -> Drawing | None:
    return drawing_of(result.curves or result.linearity)


@drawing_of.register(CreepModulus)
def _of_modulus(result: CreepModulus) -> Drawing | None:
    rows = [(row.time, row.modulus) for row in result.rows if row.modulus is not None]
    return _over_time(rows, Unit("MPa"), "creep modulus", result.fit.run.test_length, result.level)


@drawing_of.register(Forecast)
def _of_forecast(result: Forecast) -> Drawing | None:
    held = result.case.is_held and result.case.peak == result.fit.run.working_load and result.kind == "curve"
    if not held:
        if result.undrawn:
            return None
        sizes = [(row.time, row.interval) for row in result.rows]
        return _over_time(sizes, shown_unit(result.unit), result.quantity, result.fit.run.test_length, result.level)
    times = [row.time for row in result.rows]
    limit = None if result.limit is None else result.limit.value
    return readings_figure(find(result.fit.at_level(result.level), times, limit, result.service))


@drawing_of.register(Recovery)
def _of_recovery(result: Recovery) -> Drawing | None:
    return recovery_figure(replace(find(result.fit.at_level(result.level)), recovery=result))


@drawing_of.register(Increments)
def _of_increments(result: Increments) -> Drawing | None:
    return rate_figure(find(result.fit.at_level(result.level)))


@drawing_of.register(Fit)
def _of_fit(result: Fit) -> Drawing:
    return readings_figure(find(result))


@drawing_of.register(Summary | Check | PoolSummary | CreepStop | RunningPlan | Schedule)
def _of_its_fit(result: Summary | Check | PoolSummary | CreepStop | RunningPlan | Schedule) -> Drawing:
    return readings_figure(find(result.fit))


def _over_time(rows: Sequence[tuple[float, Interval]], unit: Unit, name: str, test: float, level: float) -> Drawing | None:
    """Intervals at the times asked for, against log time; hollow beyond the test."""
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


@drawing_of.register(Linearity)
def _proportion(result: Linearity) -> Drawing | None:
    """Ratios of compliances against 1."""
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


@drawing_of.register(Run)
def _readings(run: Run) -> Drawing:
    """What the gauge showed against plain time, with the load above."""
    unit = shown_unit(run.unit)
    times = np.array([r.time for r in run.used])
    along = np.linspace(times.min(), times.max(), 600)
    with look():
        figure, (load, main) = sheet(3.4, (0.7, 3.0))
        load.plot(along / HOUR, run.history.at(along), color=MUTED, linewidth=0.9)
        title(load, f"load [{run.specimen.load_unit}]")
        load.margins(y=0.15)
        main.plot(times / HOUR, [unit.factor * r.value for r in run.used], "o", color=INK, markersize=4.0)
        main.margins(y=0.1)
        title(main, f"reading [{unit.name}]")
        main.set_xlabel("time since loading [h]")
    return Drawing("readings", "What the gauge showed", f"{run.headline}, as the gauge showed them.", figure)
