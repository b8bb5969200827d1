"""`text(result)` and `plot(result)`: every result in words and as a figure, as the commands print and draw it."""

from __future__ import annotations

import os
from functools import singledispatch
from pathlib import Path
from typing import TYPE_CHECKING, Any

from creepfit.answers.materials.comparison import Comparison
from creepfit.answers.materials.pool import PoolSummary, summarise_pool
from creepfit.answers.materials.shelf import Shelf
from creepfit.answers.part.relaxation import Relaxation
from creepfit.answers.part.sag import Sag
from creepfit.answers.plan.proposal import PlannedTest
from creepfit.answers.plan.running import RunningPlan
from creepfit.answers.specimen.check import Check
from creepfit.answers.specimen.forecast import Forecast
from creepfit.answers.specimen.recovery import Recovery
from creepfit.answers.specimen.summary import Summary, summarise
from creepfit.answers.stress.dependence import StressDependence
from creepfit.answers.temperature.dependence import TemperatureDependence
from creepfit.answers.temperature.softening import Softening
from creepfit.errors import InputError
from creepfit.inference.pooling import PooledFit
from creepfit.inference.run_fit import Fit
from creepfit.records.outputs import check_figure, write_bytes
from creepfit.report.text.answers import cautions, check_text, fit_text, forecast_text, recovery_text
from creepfit.report.text.compare import compare_text
from creepfit.report.text.part import render_sag
from creepfit.report.text.pieces import paragraph
from creepfit.report.text.plan import planned_text, running_text
from creepfit.report.text.pool import pool_text
from creepfit.report.text.relaxation import relax_text
from creepfit.report.text.shelf import shelf_text
from creepfit.report.text.softening import softening_text
from creepfit.report.text.stress import stress_text
from creepfit.report.text.temperature import temperature_text
from creepfit.shown import Shown

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from creepfit.report.figures.style import Drawing


@singledispatch
def text(result: Any, /) -> str:
    """Return a result in words, as the command of the same name prints it; a fit as `creepfit fit` does.

    Raises
    ------
    InputError
        For what is no result of creepfit.
    """
    if not isinstance(result, Shown):
        raise InputError(f"a {type(result).__name__} has no text", expected="what cf.fit, cf.forecast and the like return")
    lines = paragraph(result.headline)
    table = getattr(result, "table", None)
    if table is not None:
        lines += ["", *str(table().to_string(index=False, na_rep="")).splitlines()]
    return "\n".join([*lines, *cautions(getattr(result, "cautions", ()))])


text.register(Summary, fit_text)
text.register(PoolSummary, pool_text)
text.register(Forecast, forecast_text)
text.register(Recovery, recovery_text)
text.register(Check, check_text)
text.register(Sag, render_sag)
text.register(Relaxation, relax_text)
text.register(Comparison, compare_text)
text.register(Shelf, shelf_text)
text.register(StressDependence, stress_text)
text.register(TemperatureDependence, temperature_text)
text.register(RunningPlan, running_text)
text.register(PlannedTest, planned_text)


@text.register(Fit)
def _of_fit(result: Fit) -> str:
    return fit_text(summarise(result))


@text.register(PooledFit)
def _of_pool(result: PooledFit) -> str:
    return pool_text(summarise_pool(result))


@text.register(Softening)
def _of_bar(result: Softening) -> str:
    return softening_text([result])


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
    from creepfit.report.figures.of_result import drawing_of

    return drawn(result, drawing_of(result))


def drawn(result: Any, drawing: Drawing | None) -> Drawing:
    """The drawing of a result; where there is none, raise InputError with the reason."""
    if drawing is not None:
        return drawing
    why = getattr(result, "withheld", None)
    if why is not None:
        raise InputError(f"nothing to draw, as no number is given: {why[:1].lower()}{why[1:]}")
    raise InputError("nothing to draw", found=type(result).__name__, expected="a result with numbers in it")
