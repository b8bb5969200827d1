"""Settings for all tests: generated examples are the same in every run; fits are remembered; and a small run file.

A run that was fitted in this process is not fitted again by another test: `Remembered` keeps what a `Fit` is made of, from
its observations to its draws, under all that they depend on: the run, priors, seed, models at hand. Nothing outlives
the session. Arrays that are handed out cannot be written to. Tests that change the program (those with `monkeypatch`) have
none of it, nor have those marked `fits_anew`, which are about fitting itself: that it gives the same twice, its warnings,
its time.
"""

from __future__ import annotations

import compileall
import os
import shutil
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import replace
from functools import cached_property, wraps
from pathlib import Path
from typing import Any

import joblib
import numpy as np
import pytest
from hypothesis import settings

from creepfit.answers.specimen import forecast
from creepfit.answers.temperature import dependence
from creepfit.inference import departing, hindcast, known, pool_checks, pooling, run_fit, scatter, stress_law, temperature
from creepfit.inference.hindcast import Hindcast, NoHindcast
from creepfit.inference.run_fit import Fit
from creepfit.models.registry import MODELS
from creepfit.records.run import Run

ROOT = Path(__file__).parents[1]

settings.register_profile("fixed", derandomize=True, deadline=None)
settings.load_profile("fixed")


class Remembered:
    """What was worked out already, the latest of it, each under its key."""

    MOST = 300

    def __init__(self) -> None:
        self.on = False
        self.results: OrderedDict[Hashable, Any] = OrderedDict()

    def __call__(self, key: Hashable, work: Callable[[], Any]) -> Any:
        if not self.on:
            return work()
        if key not in self.results:
            self.results[key] = sealed(work(), set())
            if len(self.results) > self.MOST:
                self.results.popitem(last=False)
        self.results.move_to_end(key)
        return self.results[key]


def sealed(value: Any, seen: set[int]) -> Any:
    """The same object, in which no array can be written to."""
    if id(value) in seen:
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


def remember_fits() -> None:
    """Put the memory between a fit and what it is made of."""
    read, best, pooled = run_fit.observations, run_fit.fit_models, scatter.pool_mixture
    warmed, foretell = temperature.temperature_posterior, hindcast.hindcast

    def observations(run: Run) -> Any:
        return REMEMBERED(("observations", of(run)), lambda: read(run))

    def fit_models(models: Any, observed: Any, run: Run) -> Any:
        key = "best fits", tuple(map(id, models)), of(run)
        return dict(REMEMBERED(key, lambda: best(models, observed, run)))

    def pool_mixture(*given: Any, **options: Any) -> Any:
        key = "pool", joblib.hash((given, options)) if REMEMBERED.on else None, tuple(map(id, MODELS))
        return REMEMBERED(key, lambda: pooled(*given, **options))

    def temperature_posterior(data: Any) -> Any:
        key = "warmth", tuple(map(of, data.runs)), joblib.hash((data.degrees, data.priors, data.reference, data.law))
        return REMEMBERED(key, lambda: warmed(data))

    def remembered(name: str, work: Callable[[Fit], Any], seeded: bool) -> Callable[[Fit], Any]:
        @wraps(work)
        def found(fit: Fit) -> Any:
            key = _key(fit) if REMEMBERED.on else None
            if key is None:
                return work(fit)
            return REMEMBERED((name, key, fit.seed if seeded else None), lambda: work(fit))

        return found

    def hindcast_of(fit: Fit, refit: Any = None) -> Hindcast | NoHindcast:
        key = _key(fit) if REMEMBERED.on and refit is None else None
        if key is None:
            return foretell(fit, refit)
        found: Hindcast | NoHindcast = REMEMBERED(("hindcast", key, fit.seed, fit.level), lambda: foretell(fit))
        return found

    run_fit.observations, run_fit.fit_models = observations, fit_models
    for room in (scatter, pooling, known, departing, pool_checks, stress_law):
        room.pool_mixture = pool_mixture
    temperature.temperature_posterior = dependence.temperature_posterior = temperature_posterior
    hindcast.hindcast = known.hindcast = forecast.hindcast = hindcast_of
    for name in ("freest", "with_steps", "mixture", "draws", "unaged_draws"):
        made: cached_property[Any] = vars(Fit)[name]
        made.func = remembered(name, made.func, "draws" in name)


remember_fits()


def pytest_configure(config: pytest.Config) -> None:
    """Compile the package once: in a fresh clone every process that a test starts would do it for itself."""
    if not hasattr(config, "workerinput"):
        compileall.compile_dir(ROOT / "creepfit", quiet=1)


def pytest_sessionfinish() -> None:
    """Forget it all: mutants are tried in sessions of one process (`benchmarks/mutants.py`)."""
    REMEMBERED.on = False
    REMEMBERED.results.clear()


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Each worker has a stretch of the tests, so what a file shares is made once; who is done takes from the others."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


NO_BROWSER = "no Chromium with chromedriver is installed"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Tests of the page need a browser: without one they are left out, and in CI that is a failure."""
    REMEMBERED.on = "monkeypatch" not in getattr(item, "fixturenames", ()) and not item.get_closest_marker("fits_anew")
    if item.get_closest_marker("browser") and not (shutil.which("chromium") and shutil.which("chromedriver")):
        if os.environ.get("CI"):
            pytest.fail(f"{NO_BROWSER}, and in CI the page has to be tried in one", pytrace=False)
        pytest.skip(NO_BROWSER)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say so in red where tests of the page were left out: a skip among hundreds of dots is easily overlooked."""
    left_out = [r for r in terminalreporter.stats.get("skipped", []) if "browser/" in r.nodeid]
    if left_out:
        terminalreporter.section(f"{len(left_out)} TESTS OF THE PAGE WERE LEFT OUT", red=True, bold=True)
        for reason in sorted({str(r.longrepr[-1]) for r in left_out}):
            terminalreporter.line(reason, red=True)


@pytest.fixture
def undrawn(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages whose figures are empty: where a page's words are tested and nothing else."""
    from creepfit.report.figures.style import Drawing

    monkeypatch.setattr(Drawing, "written", '<svg viewBox="0 0 1 1"></svg>')


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """A small run that fits fast."""
    path = tmp_path / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path


SHORT = """\
format = 1
[run]
material = "PP"
[specimen]
test = "tension"
length = "50 mm"
width = "10 mm"
thickness = "4 mm"
[gauge]
resolution = "0.001 mm"
[[load]]
at = "0 s"
mass = "10 kg"
[readings]
time = ["-1 min", "1 min", "10 min", "100 min", "1 d"]
reading = ["0.000 mm", "0.110 mm", "0.121 mm", "0.134 mm", "0.153 mm"]
"""
