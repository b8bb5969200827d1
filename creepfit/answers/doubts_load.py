"""Doubts about a forecast under another load than was tested."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.units import STANDARD_GRAVITY, show_number

BELOW = 3.0
"""Times below the lowest load tested from which on the difference counts, as for a part."""


def load_doubts(fit: Fit, load: float) -> Iterator[Caution]:
    """Doubts about the response under `load`, N (MPa for a run in strain), the largest that is asked about.

    Runs of a pool may have specimens of different size, so it is stresses that are set side by side where sizes are known.
    """
    per_load = fit.run.specimen.geometry.stress_per_load
    known = per_load is not None
    runs = fit.runs if isinstance(fit, PooledFit) else (fit.run,)
    tested = [
        abs(step.value * ((run.specimen.geometry.stress_per_load or 1.0) if known else 1.0))
        for run in runs
        for step in run.steps
        if step.value != 0.0
    ]
    asked = abs(load) * ((per_load or 1.0) if known else 1.0)
    unit, what = ("MPa", "stress") if known else ("N", "load")
    if asked > max(tested) * (1.0 + 1e-9):
        yield Caution(
            "stress-not-tested",
            f"OUTSIDE THE TEST: the load asked about comes to {show_number(asked)} {unit}, the specimen only bore "
            f"{show_number(max(tested))} {unit}. That the compliance is the same at the higher {what} "
            "is unproven; plastics mostly give more than in proportion, so the answer is rather too small.",
            f"a run of the specimen under at least {_needed(fit, load)}",
        )
    elif asked < min(tested) / BELOW:
        yield Caution(
            "stress-well-below-test",
            f"The load asked about comes to {show_number(asked)} {unit}, less than a third of the lowest tested, "
            f"{show_number(min(tested))} {unit}: if the compliance grows with the stress, the answer is rather too large.",
            f"a run of the specimen under about {_needed(fit, load)}",
        )


def _needed(fit: Fit, load: float) -> str:
    if fit.run.specimen.load_quantity == "stress":
        return f"{show_number(abs(load))} MPa"
    mass = abs(load) / STANDARD_GRAVITY / fit.run.rig.lever
    return f"{show_number(abs(load))} N ({show_number(mass)} kg)"
