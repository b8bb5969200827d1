"""Pools of all models together, and their command; what they are made of is held by inference/test_pooling.py."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from creepfit.answers.doubts.pool import same_names
from creepfit.answers.specimen.forecast import forecast
from creepfit.cli.commands import main
from creepfit.errors import InputError
from creepfit.inference.fitting import fit
from creepfit.inference.pooling import PooledFit, fit_pooled
from creepfit.report.text.fit import circumstances
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


def test_copied_files_that_name_one_specimen_are_said_to_count_as_one_bar(creep_run: Callable[..., Any]) -> None:
    runs = [creep_run(seed=k, name="P-1") for k in range(2)]
    files = [replace(run, file=f"runs/{name}.toml") for run, name in zip(runs, ("first", "second"), strict=True)]
    (found,) = same_names(files)
    assert found.text.startswith(
        f"first.toml and second.toml all name the specimen {runs[0].label}, so they count as one bar"
    )
    assert list(same_names([files[0], replace(files[1], name="P-2")])) == []
    assert (
        list(same_names([files[0], replace(files[1], name="P-1", file=files[0].file)])) == []
    )  # two sheets or loads of one
    # what tells two runs apart in an answer is no bar of its own
    apart = [replace(run, apart=Path(run.file).stem) for run in files]
    assert [run.label for run in apart] == [f"{runs[0].label} (first)", f"{runs[0].label} (second)"]
    assert fit_pooled(apart).specimens == fit_pooled(files).specimens == 1


def test_readings_of_all_runs_are_counted_in_the_heading(specimens: Callable[[int, float, int], list[Any]]) -> None:
    runs = specimens(3, 0.1, 3)
    pooled, alone = fit_pooled(runs), fit(runs[0])
    every = sum(len(run.used) for run in runs)
    assert f"{every} readings of 3 runs: " in " ".join(circumstances(pooled))
    assert f"{len(runs[0].used)} readings: " in " ".join(circumstances(alone))
