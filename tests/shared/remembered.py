"""What tests have fitted already is not fitted again.

A run that was fitted in this process is not fitted again by another test: `Remembered` keeps what a `Fit` is made of, from
its observations to its draws, under all that they depend on: the run, priors, seed, models at hand; likewise pools, what
keeps a part's limit, how creep depends on stress and temperature, and whole answers of a run (`ANSWERS`). Nothing outlives
the session. Arrays handed out cannot be written to. A test that changes the program has none of it from then on
(`monkeypatch.setattr` and its like), nor have those marked `fits_anew`; those marked `few_draws` share draws and answers
with each other alone. A plugin of pytest that `conftest.py` registers.
"""

from __future__ import annotations

import gc
import pickle
import sys
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import replace
from functools import cached_property, wraps
from hashlib import blake2b
from typing import Any

import numpy as np
import pytest

from creepfit.answers.materials import comparison
from creepfit.answers.part import sag
from creepfit.answers.part.response import PartResponse
from creepfit.answers.plan import running
from creepfit.answers.specimen import creep_stop, forecast, permanent_set, recovery, schedule
from creepfit.answers.stress import isochronous, linearity
from creepfit.answers.temperature import dependence
from creepfit.inference import departing, hindcast, known, pool_checks, pooling, run_fit, scatter, stress_law, temperature
from creepfit.inference.hindcast import Hindcast, NoHindcast
from creepfit.inference.mixture import DEFAULT_DRAWS
from creepfit.inference.run_fit import Fit
from creepfit.inference.stress_law import StressData
from creepfit.models.registry import MODELS
from creepfit.records.run import Run

ANSWERS = (
    forecast.forecast, creep_stop.creep_stop, recovery.recovery, schedule.next_reading, running.plan_running,
    comparison.compare, linearity.linearity, isochronous.isochronous, dependence.temperature_dependence,
)  # fmt: skip
"""Answers that are remembered whole: each a function of one fit or several and of what is asked."""


FEW = 1000
"""Draws of a fit in tests marked `few_draws`, and of a lean one."""


class Remembered:
    """What was worked out already, the latest of it, each under its key."""

    MOST = 400

    def __init__(self) -> None:
        self.on = False
        self.results: OrderedDict[Hashable, Any] = OrderedDict()

    def __call__(self, key: Hashable, work: Callable[[], Any]) -> Any:
        if not self.on:
            return work()
        if key not in self.results:
            result = work()
            self.results[key] = sealed(result, set(map(id, self.results.values())))  # what it is made of is so already
            if len(self.results) > self.MOST:
                self.results.popitem(last=False)
        self.results.move_to_end(key)
        return self.results[key]


def sealed(value: Any, seen: set[int]) -> Any:
    """The same object, in which no array can be written to."""
    if type(value) in (float, int, bool, str, type(None)) or id(value) in seen:
        return value
    seen.add(id(value))
    if isinstance(value, np.ndarray):
        value.flags.writeable = False
    elif isinstance(value, dict):
        for part in value.values():
            sealed(part, seen)
    elif isinstance(value, tuple | list):
        for part in value:
            sealed(part, seen)
    elif type(value).__module__.startswith("creepfit."):
        sealed(getattr(value, "__dict__", {}), seen)
    return value


REMEMBERED = Remembered()


def content(value: Any) -> bytes:
    """All that is in a value, as a key; values that are equal and differ in it are only worked out twice."""
    return blake2b(pickle.dumps(value)).digest()


def of(run: Run) -> Hashable:
    """What a fit depends on besides priors and seed: the run without where it was read, and the models at hand."""
    return replace(run, file=None, source="", note=None), tuple(map(id, MODELS))


def _key(fit: Fit) -> Hashable:
    """The key of a fit's mixture; None where it is not just of the readings of its run."""
    run = of(fit.run)
    if type(fit) is not Fit or fit.warming is not None or REMEMBERED.results.get(("observations", run)) is not fit.observed:
        return None
    try:
        hash(fit.priors)  # those with weights of their own have none
    except TypeError:
        return None
    return run, fit.priors


def _drawn(fit: Fit) -> Hashable:
    """What its draws depend on besides its mixture."""
    return fit.seed, run_fit.DEFAULT_DRAWS


def remember_fits() -> None:
    """Put the memory between a fit and what it is made of."""
    read, best, pooled = run_fit.observations, run_fit.fit_models, scatter.pool_mixture
    warmed, foretell, design = temperature.temperature_posterior, hindcast.hindcast, sag.design

    def observations(run: Run) -> Any:
        return REMEMBERED(("observations", of(run)), lambda: read(run))

    def fit_models(models: Any, observed: Any, run: Run, lowest: Any = None) -> Any:
        key = "best fits", tuple(map(id, models)), of(run)
        return dict(REMEMBERED(key, lambda: best(models, observed, run, lowest)))

    def pool_mixture(*given: Any, **options: Any) -> Any:
        key = "pool", content((given, options)) if REMEMBERED.on else None, tuple(map(id, MODELS))
        return REMEMBERED(key, lambda: pooled(*given, **options))

    def temperature_posterior(data: Any) -> Any:
        key = "warmth", tuple(map(of, data.runs)), content((data.degrees, data.priors, data.reference, data.law))
        return REMEMBERED(key, lambda: warmed(data))

    def remembered(name: str, work: Callable[[Fit], Any], seeded: bool) -> Callable[[Fit], Any]:
        @wraps(work)
        def found(fit: Fit) -> Any:
            key = _key(fit) if REMEMBERED.on else None
            if key is None:
                return work(fit)
            return REMEMBERED((name, key, _drawn(fit) if seeded else None), lambda: work(fit))

        return found

    def hindcast_of(fit: Fit, refit: Any = None) -> Hindcast | NoHindcast:
        key = _key(fit) if REMEMBERED.on and refit is None else None
        if key is None:
            return foretell(fit, refit)
        found: Hindcast | NoHindcast = REMEMBERED(("hindcast", key, _drawn(fit), fit.level), lambda: foretell(fit))
        return found

    def designed(response: PartResponse, *asked: float) -> Any:
        fit = response.fit
        key = _key(fit) if REMEMBERED.on else None
        if key is None:
            return design(response, *asked)
        part = replace(response.part, file=None)
        return REMEMBERED(("design", key, _drawn(fit), part, response.allowances, asked), lambda: design(response, *asked))

    def by_stress(name: str, work: Callable[..., Any]) -> Callable[..., Any]:
        def found(data: StressData, *stresses: float) -> Any:
            key = name, tuple(map(of, data.runs)), content(data.priors), stresses
            return REMEMBERED(key, lambda: work(data, *stresses))

        return found

    run_fit.observations, run_fit.fit_models = observations, fit_models
    sag.design = designed
    for name in ("steepness", "ratio"):
        setattr(StressData, name, by_stress(name, vars(StressData)[name]))
    for room in (scatter, pooling, known, departing, pool_checks, stress_law):
        room.pool_mixture = pool_mixture
    temperature.temperature_posterior = dependence.temperature_posterior = temperature_posterior
    hindcast.hindcast = known.hindcast = run_fit.hindcast = hindcast_of
    permanent_set._by_law = remembered("by law", permanent_set._by_law, seeded=True)
    for name in ("freest", "steps", "with_steps", "mixture", "draws", "unaged_draws"):
        made: cached_property[Any] = vars(Fit)[name]
        made.func = remembered(name, made.func, "draws" in name)


def plain(asked: Any) -> Hashable:
    """What is asked as a key, lists as tuples; None where it cannot be one."""
    try:
        hash(asked)
    except TypeError:
        if not isinstance(asked, tuple | list):
            return None
        parts = tuple(map(plain, asked))
        return None if any(p is None and a is not None for p, a in zip(parts, asked, strict=True)) else parts
    return asked


def remember_answers() -> None:
    """The same for whole answers, which name the file of their run, and for the fit of a pool."""

    def put(work: Callable[..., Any], found: Callable[..., Any]) -> None:
        for name, module in list(sys.modules.items()):
            if name.startswith("creepfit.") and vars(module).get(work.__name__) is work:
                setattr(module, work.__name__, found)

    def of_fits(work: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(work)
        def found(fits: Any, *asked: Any, **options: Any) -> Any:
            one = REMEMBERED.on and not isinstance(fits, list | tuple)
            keys = tuple(map(_whole, [fits] if one else fits)) if REMEMBERED.on else (None,)
            put_so = plain((asked, sorted(options.items())))
            if None in keys or put_so is None:
                return work(fits, *asked, **options)
            return REMEMBERED((work.__name__, one, keys, put_so), lambda: work(fits, *asked, **options))

        return found

    def of_runs(work: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(work)
        def found(*given: Any, **options: Any) -> Any:
            key = plain((given, sorted(options.items())))
            if key is None:
                return work(*given, **options)
            made_of = run_fit.DEFAULT_DRAWS, tuple(map(id, MODELS))
            return REMEMBERED((work.__name__, key, made_of), lambda: work(*given, **options))

        return found

    for work in (pooling.fit_pooled, known.fit_known):
        put(work, of_runs(work))
    for work in ANSWERS:
        put(work, of_fits(work))


def _whole(fit: Any) -> Hashable:
    """A fit as a key of an answer, which names the file of its run; those of several runs are remembered themselves."""
    if type(fit) is not Fit:
        return fit if isinstance(fit, Fit) else None
    key = _key(fit)
    return None if key is None else (key, fit.run, _drawn(fit), fit.level, tuple(fit.models))


def off_where_changed() -> None:
    """Let a changed program work everything out itself."""

    def changing(change: Callable[..., None]) -> Callable[..., None]:
        @wraps(change)
        def changed(*given: Any, **options: Any) -> None:
            REMEMBERED.on = False
            change(*given, **options)

        return changed

    for name in ("setattr", "delattr", "setitem", "delitem"):
        setattr(pytest.MonkeyPatch, name, changing(vars(pytest.MonkeyPatch)[name]))


remember_fits()
remember_answers()
off_where_changed()


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Remember for tests that leave the program as it is; and draw as often as a test needs."""
    REMEMBERED.on = not item.get_closest_marker("fits_anew")
    run_fit.DEFAULT_DRAWS = hindcast.DEFAULT_DRAWS = FEW if item.get_closest_marker("few_draws") else DEFAULT_DRAWS


def pytest_collection_finish() -> None:
    """What is there before the first test stays to the end: it need not be looked through for garbage again and again."""
    gc.collect()
    gc.freeze()
