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
    return heading_without_fit(fit.label, fit.level if level is None else level, fit.seed)


def heading_without_fit(run: str | list[str], level: float | None = None, seed: int | None = None) -> dict[str, Any]:
    """The same keys for an answer that is not of one fit; what it has none of is None."""
    return {"format": FORMAT, "version": program_version(), "seed": seed, "level": level, "run": run}
