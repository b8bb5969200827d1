"""Hindcast and the prediction of the next reading: against Gaussian conditioning, simulations and hand counts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.columns import Observations
from creepfit.inference.components import Member
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.groups import Group
from creepfit.inference.hindcast import Foretold, Hindcast, Miss, NoHindcast, hindcast, score
from creepfit.inference.mixture import Draws
from creepfit.inference.next_reading import joint_correlation, next_readings
from creepfit.inference.nodes import Nodes
from creepfit.inference.noise import Noise
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.findley import PurePower
from creepfit.models.model import Span
from creepfit.models.power_family import PowerFamilyModel
from creepfit.records.run import Event, Gauge, LoadStep, Reading, Run

HOUR, DAY = 3600.0, 86400.0
LOGGED = (60.0, 600.0, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY)


def truth(history: LoadHistory, times: np.ndarray, n: float = 0.15) -> np.ndarray:
    creep = superpose(PurePower(), history, times, np.array([n]))[0]
    return history.at(times) + 0.5 * creep / 120.0**n


def run_of(seed: int, loaded: tuple[float, ...] = LOGGED, initial: bool = True, unloaded: bool = True) -> Run:
    after = (5 * DAY + 60.0, 5 * DAY + HOUR, 6 * DAY, 7 * DAY) if unloaded else ()
    times = np.array([*((-60.0,) if initial else ()), *loaded, *after])
    steps = (LoadStep(0.0, 1.0), *((LoadStep(5 * DAY, 0.0),) if unloaded else ()))
    history = LoadHistory.from_steps([(s.at, s.over, s.value) for s in steps])
    shown = truth(history, times) + 0.01 * np.random.default_rng(seed).standard_normal(times.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True))
    return Run("ABS", Direct(), Gauge(0.001, 0.01, "as given", drift=0.0), steps, readings)


def fitted(run: Run) -> Fit:
    return fit(run, models=["findley"])


def test_the_next_reading_is_the_gaussian_conditional() -> None:
    """One draw without creep: readings are zero + load * instant + correlated noise, the zero quite unknown before."""
    times, ahead = np.array([-60.0, DAY, 2 * DAY]), np.array([3 * DAY, 5 * DAY])
    values = np.array([3.0, 4.05, 4.02])
    drift = 0.4
    since = (times - times[0]) / DAY
    own = np.eye(3) + drift**2 * np.minimum(since[:, None], since)
    noise = Noise(0.01, 5.0, own, drift * 0.01, "given")
    history = LoadHistory.held(1.0)
    observed = Observations(times, values, np.ones((3, 1)), history, 1.0, 1.0, noise, Span(DAY, 2 * DAY), True, False)
    nodes = Nodes(np.array([[0.1]]), np.ones((1, 1)), np.zeros(1), np.zeros(1))
    group = Group(Member("", PowerFamilyModel(), (), 1.0), np.array([0]), nodes)
    one = np.ones(1)
    draws = Draws((group,), one, 0.0 * one, 0.0 * one, 0.02 * one, observed)
    joint = joint_correlation(noise, times, ahead)
    found = next_readings(draws, history, ahead, joint)

    # the same by brute force: the joint normal with a zero of standard deviation 1000 noises, conditioned
    whole = np.concatenate([times, ahead])
    gap = (whole - times[0]) / DAY
    covariance = np.eye(5) + drift**2 * np.minimum(gap[:, None], gap) + 1e6
    mean = (whole > 0.0).astype(float)
    gain = covariance[3:, :3] @ np.linalg.inv(covariance[:3, :3])
    assert found.mean[0] == pytest.approx(mean[3:] + gain @ (values - mean[:3]), abs=1e-4)
    assert found.unit_covariance == pytest.approx(covariance[3:, 3:] - gain @ covariance[:3, 3:], abs=1e-4)
    many = replace(found, mean=np.repeat(found.mean, 20000, axis=0), noise=np.full(20000, 0.02)).sample(1)
    assert np.cov(many.T) == pytest.approx(0.02**2 * found.unit_covariance, rel=0.05)


def test_intervals_for_the_next_reading_hold_their_level() -> None:
    """Sixteen simulated runs of a Findley truth, ten readings forecast in each."""
    inside, count = 0, 0
    for seed in range(16):
        found = hindcast(fitted(run_of(seed)))
        assert isinstance(found, Hindcast)
        # a third of the log-time from 1 min to 5 d is 19 min, so three readings under load decide: to 1 h
        assert found.fitted_to == HOUR
        assert found.readings == 10
        assert found.expected == pytest.approx(9.0)
        inside += found.inside
        count += found.readings
    assert inside / count > 0.8  # readings of one run miss together, so far fewer than 160 independent ones


def test_a_jump_after_the_first_part_is_told_as_a_failure() -> None:
    run = run_of(1)
    moved = tuple(replace(r, value=r.value + (0.6 if r.time > 3 * DAY else 0.0)) for r in run.readings)
    found = hindcast(fitted(replace(run, readings=moved)))
    assert isinstance(found, Hindcast)
    assert found.inside < found.readings
    assert found.largest_miss.outside
    assert found.largest_miss.value == pytest.approx(0.6, abs=0.2)
    assert found.largest_miss.time > 3 * DAY
    assert "above the forecast at" in found.text
    assert "outside the interval" in found.text
    assert "\n" not in found.text


def test_a_reading_is_off_by_what_its_interval_reaches_on_that_side() -> None:
    band = {"time": 1.0, "low": 1.8, "median": 2.0, "high": 2.4}
    assert Foretold(**band, reading=2.6).off == pytest.approx(1.5)
    assert Foretold(**band, reading=1.7).off == pytest.approx(1.5)
    nothing_open = band | {"low": 2.0}
    assert Foretold(**nothing_open, reading=1.99).off == np.inf
    assert Foretold(**nothing_open, reading=2.0).off == 0.0


def test_what_json_gets() -> None:
    answer = forecast(fitted(run_of(2)), "1 year")
    content = answer.to_dict()["hindcast"]
    assert {"fitted_to_h", "readings", "inside", "expected", "largest_miss"} <= set(content)
    assert content["fitted_to_h"] == 1.0
    assert content["largest_miss"]["time_h"] == answer.hindcast.largest_miss.time / HOUR
    assert content["text"] == answer.hindcast.text
    short = forecast(fitted(run_of(2, loaded=(60.0, DAY), unloaded=False)), "30 d")
    assert short.to_dict()["hindcast"] is None
    assert "readings under load" in short.to_dict()["hindcast_why"]


def test_too_little_to_hold_a_forecast_against() -> None:
    three = hindcast(fitted(run_of(3, loaded=(60.0, DAY, 5 * DAY), unloaded=False)))
    assert isinstance(three, NoHindcast)
    assert "fewer than 2 readings are left" in three.why
    near = hindcast(fitted(run_of(3, loaded=(60.0, DAY, 3 * DAY, 4 * DAY, 5 * DAY), unloaded=False)))
    assert isinstance(near, NoHindcast)
    assert "only 1.7 times as far" in near.why
    assert near.text.startswith("no hindcast: ")
    # daily readings to day 6 are just enough, with the readings to day 2
    daily = hindcast(fitted(run_of(3, loaded=(60.0, *(DAY * k for k in range(1, 7))), unloaded=False)))
    assert isinstance(daily, Hindcast)
    assert daily.fitted_to == 2 * DAY
    assert daily.readings == 4


def test_a_moment_read_three_times_is_one_moment() -> None:
    """Three readings at 1 min were the first part, whose curve has no length: forecasts ended in a fault of ours."""
    found = hindcast(fitted(run_of(3, loaded=(60.0, 60.0, 60.0, DAY, 2 * DAY, 3 * DAY, 5 * DAY, 6 * DAY), unloaded=False)))
    assert isinstance(found, Hindcast)
    assert found.fitted_to == 2 * DAY
    assert found.readings == 3


def test_without_an_initial_reading_it_takes_one_more() -> None:
    found = hindcast(fitted(run_of(4, initial=False, unloaded=False)))
    assert isinstance(found, Hindcast)
    assert found.fitted_to == 6 * HOUR
    assert found.inside >= 3
    assert found.readings == 5


def test_readings_after_a_new_zero_cannot_be_forecast() -> None:
    run = replace(run_of(5), events=(Event(3.5 * DAY, "rezeroed"),))
    found = hindcast(fitted(run))
    assert isinstance(found, Hindcast)
    assert found.readings == 4  # 6 h, 1, 2 and 3 d


def rows_of(times: list[float], half: float) -> list[dict[str, float]]:
    middle = truth(LoadHistory.held(1.0), np.array(times))
    return [
        {"time_h": t / HOUR, "low": m - half, "median": m, "high": m + half}
        for t, m in zip(times, middle.tolist(), strict=True)
    ]


def test_scoring_a_saved_forecast_against_new_readings() -> None:
    run = run_of(6, loaded=(60.0, DAY, 2 * DAY, 10 * DAY, 20 * DAY, 40 * DAY), unloaded=False)
    saved = rows_of(np.geomspace(2 * DAY, 30 * DAY, 25).tolist(), 0.05)
    found = score(list(reversed(saved)), run, level=0.9, after=2 * DAY)
    assert isinstance(found, Hindcast)
    assert (found.readings, found.inside) == (2, 2)  # 40 d lies beyond the saved times
    # 20 d is now far off, and 10 d within the gauge's own scatter, 1.645 * 0.01 * sqrt 2 = 0.023 mm
    values = {10 * DAY: 0.02, 20 * DAY: 0.3}
    moved = tuple(
        replace(r, value=run.readings[0].value + truth(LoadHistory.held(1.0), np.array([r.time]))[0] + values[r.time])
        if r.time in values
        else r
        for r in run.readings
    )
    sure = rows_of(np.geomspace(2 * DAY, 30 * DAY, 25).tolist(), 0.0)
    exact = score(sure, replace(run, readings=moved), level=0.9, after=2 * DAY)
    assert isinstance(exact, Hindcast)
    assert (exact.readings, exact.inside) == (2, 1)
    assert exact.largest_miss.time == 20 * DAY
    assert exact.largest_miss.value == pytest.approx(0.3, abs=0.002)
    assert exact.largest_miss.outside


def test_a_reading_below_a_saved_interval_is_off_by_its_lower_end() -> None:
    run = run_of(6, loaded=(60.0, DAY, 2 * DAY, 10 * DAY, 20 * DAY), unloaded=False)
    saved = rows_of(np.geomspace(2 * DAY, 30 * DAY, 25).tolist(), 0.05)
    values = {10 * DAY: -0.03, 20 * DAY: -0.2}
    held = LoadHistory.held(1.0)
    moved = tuple(
        replace(r, value=run.readings[0].value + truth(held, np.array([r.time]))[0] + values.get(r.time, 0.0))
        for r in run.readings
    )
    found = score(saved, replace(run, readings=(run.readings[0], *moved[1:])), level=0.9, after=2 * DAY)
    assert isinstance(found, Hindcast)
    assert (found.readings, found.inside) == (2, 1)
    assert found.largest_miss.time == 20 * DAY
    assert found.largest_miss.value == pytest.approx(-0.2, abs=0.002)


def test_nothing_to_score() -> None:
    run = run_of(6)
    saved = rows_of([5 * DAY, 50 * DAY], 0.05)
    found = score(saved, run, level=0.9, after=5 * DAY)
    assert isinstance(found, NoHindcast)  # later readings there are, but unloaded
    assert "no reading under load after 5 d" in found.why
    assert isinstance(score([], run, level=0.9, after=5 * DAY), NoHindcast)


@pytest.mark.parametrize(
    ("readings", "said"), [((2.0, 2.0, 2.0), "all 3 others lie above"), ((2.0, 0.0, 2.0), ""), ((2.0,) * 2, "")]
)
def test_readings_that_miss_together_are_said_to(readings: tuple[float, ...], said: str) -> None:
    """None of ten inside where nine were expected looks like a fault of the program, and is one thing that goes on."""
    foretold = tuple(Foretold(DAY * i, 0.9, 1.0, 1.1, value) for i, value in enumerate(readings))
    past = Hindcast(HOUR, len(readings), 0, 0.9, Miss(DAY, 1.0, None, True, "mm"), foretold)
    assert past.together.startswith(said)
    assert bool(past.together) == bool(said)
    assert past.together in past.text
