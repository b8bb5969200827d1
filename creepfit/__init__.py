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
    from creepfit.errors import CreepfitError, FitError, InputError, OutputExistsError
    from creepfit.inference.fitting import Fit, fit
    from creepfit.inference.priors import Priors
    from creepfit.mechanics.loading import LoadHistory
    from creepfit.records.files import read_run
    from creepfit.records.part import Part
    from creepfit.records.part_files import read_part
    from creepfit.records.run import Run

_HOMES = {
    "CreepfitError": "errors",
    "FitError": "errors",
    "InputError": "errors",
    "OutputExistsError": "errors",
    "LoadHistory": "mechanics.loading",
    "Run": "records.run",
    "read_run": "records.files",
    "Part": "records.part",
    "read_part": "records.part_files",
    "Fit": "inference.fitting",
    "fit": "inference.fitting",
    "Priors": "inference.priors",
}

__all__ = [
    "CreepfitError",
    "Fit",
    "FitError",
    "InputError",
    "LoadHistory",
    "OutputExistsError",
    "Part",
    "Priors",
    "Run",
    "fit",
    "read_part",
    "read_run",
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
