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
    from creepfit.answers.check import Check, check
    from creepfit.answers.comparison import Comparison, compare
    from creepfit.answers.creep_stop import CreepStop, creep_stop
    from creepfit.answers.forecast import Forecast, forecast
    from creepfit.answers.increments import Increments, increments
    from creepfit.answers.isochronous import Isochronous, isochronous
    from creepfit.answers.linearity import Linearity, linearity
    from creepfit.answers.modulus import CreepModulus, creep_modulus
    from creepfit.answers.recovery import Recovery, recovery
    from creepfit.answers.sag import Sag, sag
    from creepfit.answers.schedule import Schedule, next_reading
    from creepfit.answers.shelf import Shelf, shelf
    from creepfit.answers.stress import StressDependence, stress_dependence
    from creepfit.answers.summary import Summary, summarise
    from creepfit.errors import CreepfitError, FitError, InputError, OutputExistsError
    from creepfit.inference.batch import Batch, fit_all
    from creepfit.inference.fitting import Fit, fit
    from creepfit.inference.pooling import PooledFit, fit_pooled
    from creepfit.inference.priors import Priors
    from creepfit.inference.refit_scatter import RefitScatter, simulate_refits
    from creepfit.inference.saved import Saved, load_saved, save_fit
    from creepfit.mechanics.loading import LoadHistory
    from creepfit.records.files import read_run
    from creepfit.records.history_file import LoadPlan, read_history
    from creepfit.records.part import Part
    from creepfit.records.part_files import read_part
    from creepfit.records.run import Run

_HOMES = {
    "CreepfitError": "errors",
    "FitError": "errors",
    "InputError": "errors",
    "OutputExistsError": "errors",
    "LoadHistory": "mechanics.loading",
    "read_run": "records.files",
    "LoadPlan": "records.history_file",
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
    "Check": "answers.check",
    "check": "answers.check",
    "CreepStop": "answers.creep_stop",
    "creep_stop": "answers.creep_stop",
    "Forecast": "answers.forecast",
    "forecast": "answers.forecast",
    "Comparison": "answers.comparison",
    "compare": "answers.comparison",
    "Increments": "answers.increments",
    "increments": "answers.increments",
    "Isochronous": "answers.isochronous",
    "isochronous": "answers.isochronous",
    "Linearity": "answers.linearity",
    "linearity": "answers.linearity",
    "CreepModulus": "answers.modulus",
    "creep_modulus": "answers.modulus",
    "Recovery": "answers.recovery",
    "recovery": "answers.recovery",
    "Sag": "answers.sag",
    "sag": "answers.sag",
    "Schedule": "answers.schedule",
    "next_reading": "answers.schedule",
    "StressDependence": "answers.stress",
    "stress_dependence": "answers.stress",
    "Summary": "answers.summary",
    "summarise": "answers.summary",
    "Shelf": "answers.shelf",
    "shelf": "answers.shelf",
    "Batch": "inference.batch",
    "fit_all": "inference.batch",
    "RefitScatter": "inference.refit_scatter",
    "simulate_refits": "inference.refit_scatter",
}

__all__ = [
    "Batch",
    "Check",
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
    "PooledFit",
    "Priors",
    "Recovery",
    "RefitScatter",
    "Run",
    "Sag",
    "Saved",
    "Schedule",
    "Shelf",
    "StressDependence",
    "Summary",
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
    "read_history",
    "read_part",
    "read_run",
    "recovery",
    "sag",
    "save_fit",
    "shelf",
    "simulate_refits",
    "stress_dependence",
    "summarise",
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
