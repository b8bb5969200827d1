"""Pools: one curve, a stiffness for each specimen, scatter in the answer once, and who does not fit."""

from __future__ import annotations

import json
import warnings
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.special import stdtrit

from creepfit.answers.specimen.forecast import forecast
from creepfit.cli.commands import main
from creepfit.errors import InputError
from creepfit.inference.fitting import fit
from creepfit.inference.pooling import PooledFit, fit_pooled
from creepfit.mechanics.loading import LoadHistory
from creepfit.units import DAY

DEMO = Path(__file__).parents[2] / "demo"


@pytest.fixture(scope="module")
def specimens(creep_run: Callable[..., Any], truth: Any) -> Callable[[int, float, int], list[Any]]:
    """Runs of one material whose specimens scatter in stiffness by a log sd."""

    def make(count: int, scatter: float, seed: int) -> list[Any]:
        moduli = 2000.0 * np.exp(scatter * np.random.default_rng(seed).standard_normal(count))
        return [creep_run(truth(modulus=m), seed=100 * seed + i, name=f"S{i}") for i, m in enumerate(moduli)]

    return make


def test_one_run_twice_shows_hardly_any_scatter(creep_run: Callable[..., Any]) -> None:
    """Once a badly fitting member led the search for the scatter and took its misfit for it: 30 %."""
    run = creep_run(truth=None, age=2 * DAY)
    found = fit_pooled([run, replace(run, name="T-2")]).scatter
    assert found.median < 0.05
    assert found.high < 0.2


def test_scatter_and_factors_are_those_of_the_specimens(specimens: Callable[..., list[Any]]) -> None:
    runs = specimens(5, 0.1, 3)
    found = fit_pooled(runs)
    logs = np.log(2000.0) - np.log(2000.0 * np.exp(0.1 * np.random.default_rng(3).standard_normal(5)))
    assert found.scatter.low < np.std(logs, ddof=1) < found.scatter.high
    assert found.scatter.source == "as seen between 5 specimens"
    medians = np.array([f.median for f in found.factors])
    np.testing.assert_allclose(np.log(medians) - np.log(medians).mean(), logs - logs.mean(), atol=0.012)


def test_factors_agree_with_a_mixed_model_of_logarithms(specimens: Callable[..., list[Any]]) -> None:
    """statsmodels' MixedLM with a random intercept for each specimen, on ln(deformation) under load with time as a factor.

    The shape is fixed by having all specimens read at the same times. Its shrinkage uses an estimated scatter, ours a
    posterior over it, so agreement is to a tenth of the scatter.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM

    runs = specimens(6, 0.08, 5)
    rows, group, design = [], [], []
    for number, run in enumerate(runs):
        zero = np.mean([r.value for r in run.initial])
        loaded = [r for r in run.used if 0.0 < r.time <= 5 * DAY]
        for k, reading in enumerate(loaded):
            rows.append(np.log(reading.value - zero))
            group.append(number)
            design.append(np.eye(len(loaded))[k])
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it takes a variance below 0.01 for one at its boundary
        result = MixedLM(np.array(rows), np.array(design), groups=np.array(group)).fit()
    theirs = np.array([float(np.ravel(result.random_effects[k])[0]) for k in range(6)])
    found = fit_pooled(runs)
    ours = np.log([f.median for f in found.factors])
    np.testing.assert_allclose(ours - ours.mean(), theirs - theirs.mean(), atol=0.008)
    assert found.scatter.low < float(np.sqrt(result.cov_re[0, 0])) < found.scatter.high


@pytest.mark.parametrize(("count", "classical"), [(3, 4.97), (5, 3.04)])
def test_width_for_a_new_specimen_lies_below_the_classical_one(
    specimens: Callable[..., list[Any]], count: int, classical: float
) -> None:
    """Classical 95 % multipliers t sqrt(1 + 1/k) on the specimens' own sd: 4.97 for three, 3.04 for five (own arithmetic).

    They take the scatter from the specimens alone; the prior (median 8 %) makes intervals of few specimens narrower, and
    from five on the two are close.
    """
    assert stdtrit(count - 1, 0.975) * np.sqrt(1.0 + 1.0 / count) == pytest.approx(classical, abs=0.005)
    runs = specimens(count, 0.08, 11)
    found = fit_pooled(runs, level=0.95)
    logs = 0.08 * np.random.default_rng(11).standard_normal(count)
    held = LoadHistory.held(found.run.working_load)
    low, high = np.quantile(found.draws.deformation(held, np.array([DAY]))[:, 0], [0.025, 0.975])
    ours = 0.5 * np.log(high / low) / np.std(logs, ddof=1)
    assert 1.96 < ours < 1.1 * classical


def test_interval_holds_a_new_specimen(specimens: Callable[..., list[Any]], truth: Any) -> None:
    """90 % for a fourth specimen from three: 10 pools, 8 % scatter; 6 or fewer has a probability of 1.3 %."""
    held_count = 0
    for seed in range(20, 30):
        found = fit_pooled(specimens(3, 0.08, seed))
        new = 2000.0 * np.exp(0.08 * np.random.default_rng(1000 + seed).standard_normal())
        held = LoadHistory.held(found.run.working_load)
        true = found.observed.factor * truth(modulus=new).deformation(held, np.array([5 * DAY]))[0]
        low, high = np.quantile(found.draws.deformation(held, np.array([5 * DAY]))[:, 0], [0.05, 0.95])
        held_count += low < true < high
    assert held_count >= 7


def test_average_is_narrower_than_a_new_specimen(specimens: Callable[..., list[Any]]) -> None:
    found = fit_pooled(specimens(4, 0.1, 2))
    held = LoadHistory.held(found.run.working_load)
    new, average = (d.deformation(held, np.array([DAY]))[:, 0] for d in (found.draws, found.average_draws))
    sd_new, sd_average = np.std(np.log(new)), np.std(np.log(average))
    # scatter once: new^2 = average^2 + scatter^2
    assert sd_new == pytest.approx(np.sqrt(sd_average**2 + np.mean(found.average_draws.scatter**2)), rel=0.1)


def test_a_run_that_does_not_fit_is_named_and_good_ones_are_not(
    specimens: Callable[..., list[Any]], creep_run: Callable[..., Any], truth: Any
) -> None:
    good = specimens(3, 0.05, 4)
    assert fit_pooled(good).misfits == ()
    odd = creep_run(truth(share=0.12, n=0.25), seed=9, name="odd")
    assert [m.run for m in fit_pooled([*good, odd]).misfits][:1] == ["odd"]


def test_short_and_long_tests_of_one_curve_and_of_two(creep_run: Callable[..., Any], truth: Any) -> None:
    short_times = (10.0, 20.0, 40.0, 60.0, 120.0, 300.0)
    long = [creep_run(truth(share=0.05, n=0.15), seed=k, name=f"L{k}", noise=0.002, resolution=0.001) for k in range(2)]

    def short(one: Any) -> list[Any]:
        return [
            creep_run(one, seed=10 + k, name=f"K{k}", times=short_times, unload=None, noise=0.002, resolution=0.001)
            for k in range(2)
        ]

    same = fit_pooled([*long, *short(truth(share=0.05, n=0.15))]).shared_shape
    other = fit_pooled([*long, *short(truth(share=0.4, n=0.3))]).shared_shape
    assert same is not None
    assert other is not None
    assert same.probability > 0.5 > other.probability
    assert fit_pooled(long).shared_shape is None


def test_what_differs_must_be_waived(creep_run: Callable[..., Any]) -> None:
    runs = [creep_run(seed=k, name=str(k), temperature=23.0 + 8.0 * k) for k in range(2)]
    with pytest.raises(InputError, match="temperature"):
        fit_pooled(runs)
    assert "temperature" in fit_pooled(runs, anyway=True).differences[0]


def test_fit_takes_runs_with_pool_only(creep_run: Callable[..., Any]) -> None:
    runs = [creep_run(seed=k, name=str(k)) for k in range(2)]
    assert isinstance(fit(runs, pool=True), PooledFit)
    with pytest.raises(InputError, match="pool=True"):
        fit(runs)  # type: ignore[call-overload]


def test_a_forecast_from_a_pool_is_for_a_new_specimen(specimens: Callable[..., list[Any]]) -> None:
    runs = specimens(3, 0.1, 6)
    alone, pooled = fit(runs[0]), fit_pooled(runs)
    widths = [row.interval.high / row.interval.low for row in (forecast(f, at=[5 * DAY]).rows[0] for f in (alone, pooled))]
    assert widths[1] > 1.1 * widths[0]


class TestCommand:
    def run(self, *arguments: object) -> Any:
        return CliRunner().invoke(main, [str(a) for a in arguments])

    def test_text_and_json(self) -> None:
        pair = (DEMO / "petg-strip.toml", DEMO / "petg-steps.toml")
        text = self.run("fit", *pair, "--pool")
        assert text.exit_code == 0
        assert "Scatter between specimens" in text.stdout
        assert max(map(len, text.stdout.splitlines())) <= 100
        found = json.loads(self.run("fit", *pair, "--pool", "--json").stdout)
        assert found["pool"]["specimens"] == 2
        assert {f["specimen"] for f in found["pool"]["factors"]} == {"strip 1", "bar 2"}

    def test_different_materials_are_one_line_and_exit_code_2(self) -> None:
        done = self.run("fit", DEMO / "petg-strip.toml", DEMO / "pla-strip.toml", "--pool")
        assert done.exit_code == 2
        assert done.stdout == ""
        assert len(done.stderr.splitlines()) == 1
        assert "PLA" in done.stderr
