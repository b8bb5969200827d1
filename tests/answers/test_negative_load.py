"""A load below zero: a bar pushed the other way answers with the mirror image, never with nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from creepfit.answers.materials.comparison import compare
from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.creep_stop import creep_stop
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.recovery import recovery
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.mechanics.loading import LoadHistory
from creepfit.records.files import read_run
from creepfit.records.part_files import read_part
from creepfit.units import DAY

pytestmark = pytest.mark.few_draws


@pytest.fixture(scope="module")
def mirrored(creep_run: Callable[..., Any], truth: Any) -> tuple[Fit, Fit]:
    """One run, and the same with load and readings turned about the zero."""
    run = creep_run(truth(flow=1e-4), seed=3)
    turned = replace(
        run,
        steps=tuple(replace(s, value=-s.value) for s in run.steps),
        readings=tuple(replace(r, value=-r.value) for r in run.readings),
    )
    return fit(run, models=["findley"]), fit(turned, models=["findley"])


def test_forecast_is_the_mirror_image(mirrored: tuple[Fit, Fit]) -> None:
    """Once the mixture divided by the signed load: a deflection of -2.4 mm was forecast as 0.002 mm."""
    plus, minus = (forecast(f, ["5 d", "1 year"]) for f in mirrored)
    for one, other in zip(plus.rows, minus.rows, strict=True):
        assert other.interval.median == pytest.approx(-one.interval.median, rel=1e-6)
        assert other.interval.low == pytest.approx(-one.interval.high, rel=1e-6)
    assert minus.rows[0].interval.median == pytest.approx(-mirrored[0].models["findley"].deformation(
        LoadHistory.held(mirrored[0].run.working_load), np.array([5 * DAY])
    )[0], rel=0.02)  # fmt: skip


def test_a_load_to_the_other_side_is_refused(mirrored: tuple[Fit, Fit]) -> None:
    for f, side in zip(mirrored, ("above", "below"), strict=True):
        with pytest.raises(InputError, match=f"load: found .*; expected a load {side} zero, as the run's"):
            forecast(f, ["5 d"], load=-f.run.working_load)


def test_limit_is_reached_at_the_same_time_on_the_other_side(mirrored: tuple[Fit, Fit]) -> None:
    reached = 1.02 * forecast(mirrored[0], ["5 d"]).rows[0].interval.median
    plus, minus = (forecast(f, ["1 year"], limit=reached).to_dict()["limit"] for f in mirrored)
    assert plus["life_h"] is not None
    for end in ("low", "median"):
        assert plus["life_h"][end] is not None
        assert minus["life_h"][end] == pytest.approx(plus["life_h"][end], rel=1e-6)
    assert minus["load"]["value"] == pytest.approx(-plus["load"]["value"], rel=1e-6)


def test_recovery_and_creep_stop_are_too(mirrored: tuple[Fit, Fit]) -> None:
    plus, minus = (recovery(f, ["1 d"]).to_dict() for f in mirrored)
    assert minus["recovery"][0]["median"] == pytest.approx(-plus["recovery"][0]["median"], rel=1e-6)
    assert minus["recovery"][0]["recovered_percent"]["median"] == pytest.approx(
        plus["recovery"][0]["recovered_percent"]["median"], rel=1e-6
    )
    assert creep_stop(mirrored[1]).stopped == creep_stop(mirrored[0]).stopped


def test_peak_of_a_load_below_zero_is_its_lowest() -> None:
    history = LoadHistory.from_steps([(0.0, 0.0, -1.0), (10.0, 0.0, -3.0), (20.0, 0.0, 0.0)])
    assert history.peak(np.array([0.0, 5.0, 15.0, 30.0])).tolist() == [0.0, -1.0, -3.0, -3.0]


def test_parts_and_comparison_take_a_mirrored_run_for_the_same_material() -> None:
    """Compliance has no sign: which way the bar was pushed says nothing of the plastic."""
    demo = Path(__file__).parents[2] / "demo"
    plus = read_run(demo / "petg-strip.toml")
    minus = replace(
        plus,
        steps=tuple(replace(s, value=-s.value) for s in plus.steps),
        readings=tuple(replace(r, value=-r.value) for r in plus.readings),
    )
    fits, other = [fit(run, models=["findley"]) for run in (plus, minus)], fit(read_run(demo / "pla-strip.toml"))
    sags = [sag(read_part(demo / "bracket.toml"), f, ["1 year"]).to_dict()["sag"][0] for f in fits]
    ratios = [compare([f, other], ["5 d"]).to_dict()["at"][0]["ratios"][0] for f in fits]
    for key in ("low", "median", "high"):
        assert sags[1][key] == pytest.approx(sags[0][key], rel=1e-9)
        assert sags[0][key] > 0.0
        assert ratios[1][key] == pytest.approx(ratios[0][key], rel=1e-9)
