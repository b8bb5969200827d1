"""What a run's own trial missed, and what that does to the forecast that is made now."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.doubts.collected import about_forecast
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.hindcast import PLAIN_MISS, Hindcast
from creepfit.mechanics.specimen import Direct
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.report.text.short import short_forecast

HOUR, DAY, YEAR = 3600.0, 86400.0, 365.25 * 86400.0
TIMES = np.array([60.0, HOUR, 8 * HOUR, *(DAY * d for d in range(1, 8))])


def softened(t: np.ndarray, by: float = 0.8) -> np.ndarray:
    """A power of time, times what water does to it: the bar ends `by` softer, with a time of 100 h."""
    hours = np.asarray(t) / HOUR
    return 2.2 * (1.0 + 0.06 * hours**0.2) * (1.0 + by * -np.expm1(-hours / 100.0))


def fitted(by: float, seed: int = 4, level: float = 0.9, steps: tuple[LoadStep, ...] = (LoadStep(0.0, 1.0),)) -> Fit:
    shown = np.round(softened(TIMES, by) + 0.006 * np.random.default_rng(seed).standard_normal(TIMES.size), 2)
    shown *= np.array([next(s.value for s in reversed(steps) if s.at < t) for t in TIMES])
    readings = (Reading(-60.0, 0.0), *(Reading(float(t), float(y)) for t, y in zip(TIMES, shown, strict=True)))
    gauge = Gauge(0.01, 0.005, "as given")
    return fit(Run("X", Direct(), gauge, steps, readings, kind="semicrystalline"), models=["kelvin-chain"], level=level)


@pytest.fixture(scope="module", params=[3, 4])
def surprised(request: pytest.FixtureRequest) -> Fit:
    return fitted(0.8, request.param)


def test_a_forecast_is_no_surer_than_its_trial_was_right(surprised: Fit) -> None:
    past = surprised.trial
    assert isinstance(past, Hindcast)
    assert past.inside == 0
    assert past.shortfall == max(f.reading - f.median for f in past.foretold)
    assert past.shortfall > 0.2 * softened(TIMES[-1:])[0]
    # what it missed in 1.3 decades, for each decade
    assert surprised.mixture.missed == pytest.approx(past.shortfall / np.log10(7 * 24 / 8))
    interval = forecast(surprised, "1 year").rows[0].interval
    assert interval.low <= softened(np.array([YEAR]))[0] <= interval.high
    assert interval.high - interval.median > surprised.mixture.missed


def test_without_it_the_forecast_was_sure_and_wrong() -> None:
    run = fitted(0.8)
    held = replace(run.mixture, missed=0.0).draws(2000, 1).compliance(np.array([YEAR]))
    assert np.quantile(held, 0.95) < softened(np.array([YEAR]))[0]
    assert "trial-failed" in [c.code for c in about_forecast(run, ["1 year"])]


def test_it_stands_right_behind_the_first_sentence() -> None:
    said = " ".join(short_forecast(forecast(fitted(0.8), "1 year")).split())
    doubt = said.split(" ! ")[1]
    assert doubt.startswith("Tried on this run itself the forecast failed: by its first 8 h 0 of the 7 readings")


def test_the_mixture_does_not_hang_on_which_intervals_are_asked_for() -> None:
    assert fitted(0.8, level=0.5).mixture.missed == fitted(0.8).mixture.missed


@pytest.mark.parametrize(("by", "seed"), [(0.0, 0), (0.0, 1), (0.1, 0)])
def test_an_ordinary_run_is_not_widened(by: float, seed: int) -> None:
    plain = fitted(by, seed)
    assert plain.mixture.missed == 0.0
    assert "trial-failed" not in [c.code for c in about_forecast(plain, ["1 year"])]


@pytest.mark.parametrize("exponent", [0.1, 0.2, 0.3])
def test_creep_by_a_power_of_time_is_not_tried_for_it(exponent: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """A trial takes as long as the mixture itself, and a run of a batch would pay for it each time."""
    moved = 2.2 * (1.0 + 0.2 * (TIMES / HOUR) ** exponent)
    readings = (Reading(-60.0, 0.0), *(Reading(float(t), float(y)) for t, y in zip(TIMES, moved.round(2), strict=True)))
    run = Run("X", Direct(), Gauge(0.01, 0.005, "as given"), (LoadStep(0.0, 1.0),), readings)
    assert (moved[-1] - moved[2]) / moved[-1] > PLAIN_MISS or exponent < 0.2
    monkeypatch.setattr(Fit, "_usual_trial", lambda _: pytest.fail("tried"))
    assert fit(run).mixture.missed == 0.0


def test_within_the_test_nothing_is_doubted(surprised: Fit) -> None:
    assert "trial-failed" not in [c.code for c in about_forecast(surprised, ["5 d"])]


def test_a_second_load_is_no_trial() -> None:
    """Under a higher load plastics give more than in proportion: what the trial misses then is that."""
    stepped = fitted(0.8, steps=(LoadStep(0.0, 1.0), LoadStep(1.5 * DAY, 2.0)))
    assert isinstance(stepped.trial, Hindcast)
    assert stepped.mixture.missed == 0.0


def test_what_the_readings_jump_by_is_not_missed() -> None:
    run = fitted(0.0).run
    moved = (replace(r, value=r.value + (0.9 if r.time > 2.5 * DAY else 0.0)) for r in run.readings)
    slipped = replace(run, readings=tuple(moved))
    jumped = fit(slipped, models=["kelvin-chain"])
    assert isinstance(jumped.trial, Hindcast)
    assert jumped.trial.shortfall > 0.15 * slipped.readings[-1].value
    assert jumped.mixture.missed == 0.0
