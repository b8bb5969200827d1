"""What every answer's JSON begins with."""

from __future__ import annotations

from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from creepfit.inference.fitting import Fit

FORMAT = 1


@lru_cache(maxsize=1)
def program_version() -> str:
    """Version of creepfit as installed; "unknown" where it runs without having been installed."""
    try:
        return version("creepfit")
    except PackageNotFoundError:
        return "unknown"


def heading(fit: Fit, level: float | None = None) -> dict[str, Any]:
    """Return the keys that every JSON object begins with.

    Parameters
    ----------
    fit : Fit
        Where seed, level and run come from.
    level : float, optional
        Probability of the answer's intervals where it is not the fit's own.
    """
    return {
        "format": FORMAT,
        "version": program_version(),
        "seed": fit.seed,
        "level": fit.level if level is None else level,
        "run": fit.label,
    }
