"""A planned test tried out: specimens that could be, read at the times planned, and fitted as a run would be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from creepfit.answers.plan.beliefs import Beliefs, Specimens
from creepfit.answers.plan.load import PlannedLoad
from creepfit.answers.plan.schedules import Times
from creepfit.asked import tails
from creepfit.inference.columns import Observations, observations
from creepfit.inference.mixture import mixture
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.records.planned import Tables, with_readings

SPECIMENS = 40
"""Specimens that the proposal is tried on. The middle of their widths has an error of about a tenth."""

EVERY, FEWER = 2, 5
"""Other schedules are tried on every second of the same specimens, other lengths on every fifth."""

DRAWS = 1500

INITIAL = 3
"""Readings before the load, the gauge put on anew for each: the zero is in every answer."""

LEAN = ("power-family", "power-flow")
"""Models that trials are fitted with: four fifths of the weight before any reading; the others rarely change a width."""


@dataclass(frozen=True)
class Promise:
    """What a schedule is expected to give for the deformation at the time asked about.

    Half widths of the interval over its median: `typical` (half of the specimens get a narrower one), `poor` (nine in ten);
    `kept` of `tried` specimens end within what was wanted.
    """

    times: Times
    typical: float
    poor: float
    kept: int
    tried: int

    @property
    def chance(self) -> float:
        """Share of specimens whose interval ends within what was wanted."""
        return self.kept / self.tried

    def to_dict(self) -> dict[str, Any]:
        return {
            "schedule": self.times.name,
            "readings": len(self.times.since_loading),
            "length_h": self.times.length / 3600.0,
            "typical_half_width_percent": 100.0 * self.typical,
            "nine_in_ten_half_width_percent": 100.0 * self.poor,
            "within_wanted": self.kept,
            "tried": self.tried,
        }


def trial_observations(tables: Tables, load: PlannedLoad, times: Times) -> Observations:
    """The linear problem of a run read at these times; its values are only of the right order."""
    at = np.array([-60.0, *times.since_loading])
    moved = float(np.sqrt(load.at_once[0] * load.at_once[1]))
    later = np.arange(at.size) > len(times.under_load)
    rough = np.where(later, 0.3, 1.0) * moved * (1.0 + 0.1 * np.log10(np.maximum(at, 1.0)))
    rough[0] = 0.0
    steps = [{"at": "0 s", load.key: load.text}]
    if times.after:
        steps.append({"at": f"{times.length:.6f} s", load.key: f"0 {load.text.split()[-1]}"})
    gauge = {key: value for key, value in tables.get("gauge", {}).items() if key != "range"}
    repeats = [INITIAL, *[1] * (at.size - 1)]
    run = with_readings({**tables, "gauge": gauge, "load": steps}, at.tolist(), rough.tolist(), repeats)
    return observations(run)


def half_widths(
    observed: Observations,
    specimens: Specimens,
    priors: Priors,
    by: float,
    level: float,
    seed: int,
    every: int = 1,
) -> Array:
    """Half width of the interval at `by` [s] under the load held, over its median, for every so many specimens; (J,)."""
    root = np.linalg.cholesky(observed.noise.correlation)
    scatter = _errors(observed.times, specimens.noise.size, seed) @ root.T
    shown = specimens.deformation(observed.history, observed.times) + specimens.noise[:, None] * scatter
    held, at = LoadHistory.held(observed.load * observed.direction), np.array([by])
    found = []
    for values in shown[::every]:
        draws = mixture(observed.with_values(values), priors).draws(DRAWS, seed)
        low, middle, high = np.quantile(draws.deformation(held, at)[:, 0], tails(level))
        found.append((high - low) / (2.0 * abs(middle)))
    return np.array(found)


def promise(
    tables: Tables,
    load: PlannedLoad,
    times: Times,
    belief: Beliefs,
    *,
    by: float,
    wanted: float,
    level: float,
    seed: int,
    count: int = SPECIMENS,
    every: int = 1,
    models: Sequence[str] = LEAN,
) -> Promise:
    """Try a schedule out on specimens that could be, every so many of `count`."""
    observed = trial_observations(tables, load, times)
    reference = trial_observations(tables, load, Times("reference", (60.0, times.length), ()))
    weights = belief.priors.weights_by_name()
    priors = replace(belief.priors, weights={name: weights[name] for name in models if weights.get(name)} or None)
    specimens = belief.specimens(replace(reference, has_recovery=True), count, seed)
    widths = half_widths(observed, specimens, priors, by, level, seed, every)
    kept = int((widths <= wanted).sum())
    return Promise(times, float(np.median(widths)), float(np.quantile(widths, 0.9)), kept, widths.size)


def _errors(times: Array, count: int, seed: int) -> Array:
    """Standard normal errors of readings at times (T,), shape (count, T): at one time the same in every schedule."""
    return np.array([np.random.default_rng([seed, 100 + round(t)]).standard_normal(count) for t in times]).T
