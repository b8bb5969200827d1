"""Invented runs with a known truth, for the tests of answers."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pytest
from remembered import FEW

from creepfit.inference.fitting import Fit
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import Array, LoadHistory, superpose
from creepfit.mechanics.specimen import Cantilever, Direct, Specimen
from creepfit.models.model import Dashpot, Kelvin
from creepfit.models.power_family import PowerFamily
from creepfit.records.run import Gauge, LoadStep, Reading, Rig, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure

LOADED = (MINUTE, 10 * MINUTE, HOUR, 6 * HOUR, *(k * DAY for k in range(1, 6)))
UNLOADED = (MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY)
BAR = Cantilever(length=Measure(80.0), width=Measure(12.0), thickness=Measure(5.0))


@dataclass(frozen=True)
class Truth:
    """Creep of a plastic: 1/modulus times (1 + share * power family + kelvin unit + flow per hour)."""

    modulus: float = 2000.0
    share: float = 0.03
    n: float = 0.1
    kelvin: float = 0.0
    tau: float = DAY
    flow: float = 0.0

    def deformation(self, history: LoadHistory, times: Array) -> Array:
        total = history.at(times)
        total = total + self.share * superpose(PowerFamily(), history, times, np.array([self.n]))[0]
        total = total + self.kelvin * superpose(Kelvin(), history, times, np.array([self.tau]))[0]
        total = total + self.flow * superpose(Dashpot(), history, times)
        return np.asarray(total / self.modulus)


def make_run(
    truth: Truth | None = None,
    *,
    seed: int = 0,
    noise: float = 0.005,
    resolution: float = 0.01,
    times: Sequence[float] | None = None,
    unload: float | None = 5 * DAY,
    initial: int = 3,
    specimen: Specimen = BAR,
    load: float = 1.96,
    extra: Callable[[Array], Array] | None = None,
    steps: tuple[LoadStep, ...] | None = None,
    gauge: dict[str, Any] | None = None,
    preload: float = 0.0,
    **fields: Any,
) -> Run:
    """A run of five days and two of recovery, read by a dial gauge that starts at 12.4 mm."""
    if steps is None:
        steps = (LoadStep(0.0, load), *((LoadStep(unload, 0.0),) if unload is not None else ()))
    if times is None:
        after = [] if unload is None else [unload + t for t in UNLOADED]
        times = [*LOADED, *after]
    all_times = np.array([-MINUTE * (initial - k) for k in range(initial)] + list(times))
    history = LoadHistory.from_steps([(s.at, s.over, s.value) for s in steps])
    if preload:  # hung on a minute before the first reading
        hanger = LoadHistory.held(preload, min(float(all_times[0]), 0.0) - MINUTE)
        history = LoadHistory.joined([hanger, history])
    shown = specimen.geometry.reading_per_compliance * (truth or Truth()).deformation(history, all_times)
    if extra is not None:
        shown = shown + extra(all_times)
    zero = 0.0 if isinstance(specimen, Direct) and specimen.quantity == "strain" else 12.4
    noisy = shown + zero + np.random.default_rng(seed).normal(0.0, noise, all_times.size)
    values = np.round(noisy / resolution) * resolution
    readings = tuple(
        Reading(float(t), float(v), row=i) for i, (t, v) in enumerate(zip(all_times, values, strict=True), start=1)
    )
    own_gauge = replace(Gauge(resolution, max(noise, 1e-9), "as given"), **(gauge or {}))
    known: dict[str, Any] = {"name": "T-1", "age": 60 * DAY, "kind": "glassy", "temperature": 23.0}
    known |= {"rig": Rig(preload=preload), **fields}
    return Run("PETG", specimen, own_gauge, steps, readings, **known)


@pytest.fixture(scope="session")
def creep_run() -> Callable[..., Run]:
    """Factory of runs, see `make_run`."""
    return make_run


@pytest.fixture(scope="session")
def truth() -> type[Truth]:
    """What such a run is made from."""
    return Truth


@pytest.fixture(scope="session")
def alone() -> Priors:
    """The leading model alone, for pools whose answer does not hang on members: the others take most of a pool's time."""
    return Priors().with_one_model()


@pytest.fixture(scope="session")
def lean() -> Callable[[Fit], Fit]:
    """A fit with a quarter of the draws: for what takes each of them through long sums, where their number does not matter.

    It has a seed of its own, so that no answer of it is remembered as one of the whole fit.
    """

    def lean_fit(whole: Fit) -> Fit:
        few = replace(whole, seed=FEW)
        plain = few.mixture.without_ageing()
        unaged = None if plain is None else plain.draws(FEW, FEW)
        vars(few).update(draws=few.mixture.draws(FEW, FEW), unaged_draws=unaged)
        return few

    return lean_fit
