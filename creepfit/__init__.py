"""Judge how far a plastic part will sag, from a few creep readings, with honest intervals.

>>> import creepfit as cf
>>> run = cf.read_run("demo/petg-strip.toml")  # doctest: +SKIP
>>> fit = cf.fit(run)  # doctest: +SKIP
>>> cf.forecast(fit, at=["30 d", "1 year"]).table()  # doctest: +SKIP

Names are fetched from their rooms when first used, so that importing the package costs next to nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from creepfit.answers.materials.batch import Batch, fit_all
    from creepfit.answers.materials.comparison import Comparison, compare
    from creepfit.answers.materials.shelf import Shelf, shelf
    from creepfit.answers.part.relaxation import Relaxation, relax
    from creepfit.answers.part.sag import Sag, sag
    from creepfit.answers.plan.plan import plan
    from creepfit.answers.plan.proposal import PlannedTest
    from creepfit.answers.plan.running import RunningPlan
    from creepfit.answers.specimen.check import Check, check
    from creepfit.answers.specimen.creep_stop import CreepStop, creep_stop
    from creepfit.answers.specimen.forecast import Forecast, forecast
    from creepfit.answers.specimen.increments import Increments, increments
    from creepfit.answers.specimen.modulus import CreepModulus, creep_modulus
    from creepfit.answers.specimen.recovery import Recovery, recovery
    from creepfit.answers.specimen.schedule import Schedule, next_reading
    from creepfit.answers.specimen.summary import Summary, summarise
    from creepfit.answers.stress.dependence import StressDependence, stress_dependence
    from creepfit.answers.stress.isochronous import Isochronous, isochronous
    from creepfit.answers.stress.linearity import Linearity, linearity
    from creepfit.answers.temperature.dependence import TemperatureDependence, temperature_dependence
    from creepfit.answers.temperature.softening import Softening, softening
    from creepfit.answers.temperature.warming import at_temperature
    from creepfit.errors import CreepfitError, FitError, InputError, OutputExistsError
    from creepfit.inference.fitting import Fit, fit
    from creepfit.inference.pooling import PooledFit, fit_pooled
    from creepfit.inference.priors import Priors
    from creepfit.inference.refit_scatter import RefitScatter, simulate_refits
    from creepfit.inference.saved import Saved, load_saved, save_fit
    from creepfit.mechanics.load_plan import LoadPlan
    from creepfit.mechanics.loading import LoadHistory
    from creepfit.mechanics.temperature import Climate
    from creepfit.records.climate_table import read_climate
    from creepfit.records.files import read_run
    from creepfit.records.history_file import read_history
    from creepfit.records.part import Part
    from creepfit.records.part_files import read_part
    from creepfit.records.run import Run
    from creepfit.report.showing import plot, text

_HOMES = {
    "CreepfitError": "errors",
    "FitError": "errors",
    "InputError": "errors",
    "OutputExistsError": "errors",
    "LoadHistory": "mechanics.loading",
    "read_run": "records.files",
    "LoadPlan": "mechanics.load_plan",
    "read_history": "records.history_file",
    "Part": "records.part",
    "read_part": "records.part_files",
    "Run": "records.run",
    "Fit": "inference.fitting",
    "fit": "inference.fitting",
    "PooledFit": "inference.pooling",
    "fit_pooled": "inference.pooling",
    "Priors": "inference.priors",
    "Saved": "inference.saved",
    "load_saved": "inference.saved",
    "save_fit": "inference.saved",
    "Check": "answers.specimen.check",
    "check": "answers.specimen.check",
    "CreepStop": "answers.specimen.creep_stop",
    "creep_stop": "answers.specimen.creep_stop",
    "Forecast": "answers.specimen.forecast",
    "forecast": "answers.specimen.forecast",
    "Comparison": "answers.materials.comparison",
    "compare": "answers.materials.comparison",
    "Increments": "answers.specimen.increments",
    "increments": "answers.specimen.increments",
    "Isochronous": "answers.stress.isochronous",
    "isochronous": "answers.stress.isochronous",
    "Linearity": "answers.stress.linearity",
    "linearity": "answers.stress.linearity",
    "CreepModulus": "answers.specimen.modulus",
    "creep_modulus": "answers.specimen.modulus",
    "Recovery": "answers.specimen.recovery",
    "recovery": "answers.specimen.recovery",
    "Relaxation": "answers.part.relaxation",
    "relax": "answers.part.relaxation",
    "Sag": "answers.part.sag",
    "sag": "answers.part.sag",
    "PlannedTest": "answers.plan.proposal",
    "RunningPlan": "answers.plan.running",
    "plan": "answers.plan.plan",
    "Schedule": "answers.specimen.schedule",
    "next_reading": "answers.specimen.schedule",
    "StressDependence": "answers.stress.dependence",
    "Softening": "answers.temperature.softening",
    "softening": "answers.temperature.softening",
    "TemperatureDependence": "answers.temperature.dependence",
    "temperature_dependence": "answers.temperature.dependence",
    "at_temperature": "answers.temperature.warming",
    "Climate": "mechanics.temperature",
    "read_climate": "records.climate_table",
    "stress_dependence": "answers.stress.dependence",
    "Summary": "answers.specimen.summary",
    "summarise": "answers.specimen.summary",
    "Shelf": "answers.materials.shelf",
    "shelf": "answers.materials.shelf",
    "Batch": "answers.materials.batch",
    "fit_all": "answers.materials.batch",
    "plot": "report.showing",
    "text": "report.showing",
    "RefitScatter": "inference.refit_scatter",
    "simulate_refits": "inference.refit_scatter",
}

__all__ = [
    "Batch",
    "Check",
    "Climate",
    "Comparison",
    "CreepModulus",
    "CreepStop",
    "CreepfitError",
    "Fit",
    "FitError",
    "Forecast",
    "Increments",
    "InputError",
    "Isochronous",
    "Linearity",
    "LoadHistory",
    "LoadPlan",
    "OutputExistsError",
    "Part",
    "PlannedTest",
    "PooledFit",
    "Priors",
    "Recovery",
    "RefitScatter",
    "Relaxation",
    "Run",
    "RunningPlan",
    "Sag",
    "Saved",
    "Schedule",
    "Shelf",
    "Softening",
    "StressDependence",
    "Summary",
    "TemperatureDependence",
    "at_temperature",
    "check",
    "compare",
    "creep_modulus",
    "creep_stop",
    "fit",
    "fit_all",
    "fit_pooled",
    "forecast",
    "increments",
    "isochronous",
    "linearity",
    "load_saved",
    "next_reading",
    "plan",
    "plot",
    "read_climate",
    "read_history",
    "read_part",
    "read_run",
    "recovery",
    "relax",
    "sag",
    "save_fit",
    "shelf",
    "simulate_refits",
    "softening",
    "stress_dependence",
    "summarise",
    "temperature_dependence",
    "text",
]


def __getattr__(name: str) -> Any:
    if name == "__version__":
        from importlib.metadata import version

        return version("creepfit")
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted([*globals(), *__all__])
