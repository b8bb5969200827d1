"""Growth with temperature and a shift of the clock, from runs made with known ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import creepfit as cf
from creepfit.errors import InputError
from creepfit.inference.other_temperatures import _by_two
from creepfit.inference.priors import priors_for
from creepfit.inference.temperature import TemperatureData, shift_law, temperature_posterior
from creepfit.inference.tested_temperature import reading_temperatures
from creepfit.inference.warmth import APART, HIGH, LOW, MIDDLE, Growth, UsualGrowth, Warming, Warmth
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Cantilever
from creepfit.mechanics.temperature import ARRHENIUS, Climate, ShiftLaw, WarmClock, arrhenius_shift
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import Measure

HOUR, DAY = 3600.0, 86400.0
TIMES = np.array([-60.0, 60.0, 600.0, 3600.0, *(DAY * np.arange(1, 6)), 5 * DAY + 60.0, 5 * DAY + 3600.0, 6 * DAY, 7 * DAY])
REFERENCE = 23.0


def bar(
    degrees: float,
    instant: float,
    creep: float,
    activation: float = 0.0,
    noise: float = 0.004,
    seed: int = 0,
    law: ShiftLaw = ARRHENIUS,
) -> Run:
    """A bar under 4 N for five days at one temperature: 1 mm at once, 0.15 mm (t/h)^0.15 of creep at 23 degC."""
    above = degrees - REFERENCE
    speed = float(law.speed(np.array(degrees), REFERENCE, activation))

    def moved(t: np.ndarray) -> np.ndarray:
        felt = np.maximum(t, 0.0) * speed / HOUR
        return np.where(t > 0.0, np.exp(instant * above) + 0.15 * np.exp(creep * above) * felt**0.15, 0.0)

    rng = np.random.default_rng(seed)
    values = 5.0 + moved(TIMES) - moved(TIMES - 5 * DAY) + noise * rng.standard_normal(TIMES.size)
    sizes = {"length": Measure(75.0, 0.0), "width": Measure(14.0, 0.0), "thickness": Measure(5.0, 0.0)}
    return Run(
        "PETG",
        Cantilever(**sizes),
        Gauge(0.001, noise, "given"),
        (LoadStep(0.0, 4.0), LoadStep(5 * DAY, 0.0)),
        tuple(
            Reading(float(t), float(v), where=f"row {k}", row=k) for k, (t, v) in enumerate(zip(TIMES, values, strict=True))
        ),
        name=f"bar at {degrees:g}",
        temperature=degrees,
    )


def data(*bars: Run, reference: float = REFERENCE) -> TemperatureData:
    return TemperatureData.of(bars, priors_for(None), reference)


@pytest.fixture(scope="module")
def rising() -> TemperatureData:
    return data(*(bar(d, 0.008, 0.020, seed=k) for k, d in enumerate((23.0, 35.0, 45.0))))


def test_growth_of_both_parts_comes_out(rising: TemperatureData) -> None:
    found = rising.rise().growths(1000, 1)
    both, apart = found.mean(axis=0)
    assert both == pytest.approx(0.008, abs=2.0 * found[:, 0].std())
    assert apart == pytest.approx(0.012, abs=2.5 * found[:, 1].std())
    # one bar each: what bars differ by, some per cent over 22 K, is in the growth; the creep part is told by its own bar
    assert 0.001 < found[:, 0].std() < 0.006
    assert found[:, 1].std() < 0.004


def test_the_reference_temperature_does_not_matter(rising: TemperatureData) -> None:
    here = rising.rise().mean()
    elsewhere = TemperatureData.of(rising.runs, rising.priors, 45.0).rise().mean()
    assert elsewhere == pytest.approx(here, abs=1.5e-3)


def test_an_activation_energy_comes_out_where_the_clock_is_shifted() -> None:
    found = data(*(bar(d, 0.003, 0.003, 120.0, seed=k) for k, d in enumerate((23.0, 35.0, 45.0))))
    evidence = {e: found.under(np.array([0.003, 0.0]), e).log_evidence for e in (60.0, 120.0, 240.0)}
    assert evidence[120.0] > max(evidence[60.0], evidence[240.0]) + 5.0


def test_above_a_glass_transition_the_clock_is_that_of_williams_landel_and_ferry() -> None:
    """Bars of a rubbery plastic, made by the law with 0.4 times the universal c1: 2.6 decades over 30 K."""
    law, degrees = ShiftLaw(0.0), (15.0, 30.0, 45.0)
    runs = []
    for k, at in enumerate(degrees):
        runs.append(replace(bar(at, 0.0, 0.0, 0.4, seed=k, law=law), glass_transition=0.0))
    found = TemperatureData.of(runs, data(*runs).priors, 30.0)
    assert found.law == law
    evidence = {s: found.under(np.array([0.0, 0.0]), s).log_evidence for s in (0.2, 0.4, 0.8)}
    assert evidence[0.4] > max(evidence[0.2], evidence[0.8]) + 5.0
    assert shift_law(runs, np.array([15.0, 55.0])).transition is None
    assert shift_law(runs, np.array([-1.0, 30.0])).transition is None


def test_a_step_of_temperature_begins_a_new_zero_and_a_warmer_clock() -> None:
    run = bar(23.0, 0.0, 0.0)
    warm = tuple(replace(r, temperature=23.0 if r.time < 2.5 * DAY else 40.0) for r in run.readings)
    stepped = data(replace(run, readings=warm))
    (observed,) = stepped.observed
    assert observed.zeros.shape[1] == 2
    assert observed.zeros.sum(axis=1).tolist() == [1.0] * TIMES.size
    climate = stepped.climates[0]
    assert climate.at(np.array([DAY, 1.99 * DAY, 2.01 * DAY, 4 * DAY])).tolist() == [23.0, 23.0, 40.0, 40.0]


def test_a_swing_taken_down_is_not_noise_twice() -> None:
    run = bar(23.0, 0.0, 0.0)
    swung = replace(run, readings=tuple(replace(r, temperature=22.0 + (k % 2)) for k, r in enumerate(run.readings)))
    (observed,) = data(swung).observed
    (plain,) = data(run).observed
    assert np.array_equal(observed.noise.correlation, plain.noise.correlation)
    assert observed.zeros.shape[1] == 1
    assert reading_temperatures(swung)[:3].tolist() == [22.0, 23.0, 22.0]


def test_warmed_draws_are_the_plain_ones_times_the_factors_of_the_moment(rising: TemperatureData) -> None:
    from creepfit.inference.fitting import fit

    draws = fit(rising.runs[0]).draws
    count, history, times = draws.count, LoadHistory.held(4.0), np.array([60.0, DAY, 50 * DAY])
    plain = draws.deformation(history, times)
    alike = Growth(np.full(count, 0.01), np.full(count, 0.01), np.zeros(count))
    for degrees, factor in ((33.0, np.exp(0.1)), (23.0, 1.0)):
        warmed = draws.warmed(Climate.constant(degrees), 23.0, alike).deformation(history, times)
        np.testing.assert_allclose(warmed, plain * factor, rtol=1e-6)
    # each part by its own growth: what came at once grows by the same at all times
    one, none = np.full(count, 0.01), np.zeros(count)
    at_once, creep = (
        draws.warmed(Climate.constant(33.0), 23.0, growth).deformation(history, times) - plain
        for growth in (Growth(one, none, none), Growth(none, one, none))
    )
    np.testing.assert_allclose(at_once, np.repeat(at_once[:, :1], 3, axis=1), rtol=1e-6)
    np.testing.assert_allclose(at_once + creep, plain * np.expm1(0.1), rtol=1e-6)
    # a clock alone: what is reached in a time, the warm one reaches sooner
    clock = Growth(np.zeros(count), np.zeros(count), np.full(count, 100.0))
    speed = float(arrhenius_shift(np.array(33.0), 23.0, 100.0))
    warm = draws.warmed(Climate.constant(33.0), 23.0, clock).deformation(history, times / speed)
    np.testing.assert_allclose(warm, plain, rtol=1e-6)
    daily = draws.warmed(Climate.daily(13.0, 33.0), 23.0, alike)
    noon = daily.deformation(history, np.array([10.5 * DAY]))
    np.testing.assert_allclose(noon, draws.deformation(history, np.array([10.5 * DAY])) * np.exp(0.1), rtol=1e-6)


def test_usual_growth_has_the_quantiles_that_it_states() -> None:
    drawn = UsualGrowth().growth(40_000, 1)
    factor = np.quantile(np.exp(10.0 * drawn.instant), [0.05, 0.5, 0.95])
    assert factor == pytest.approx([LOW, MIDDLE, HIGH], rel=0.006)
    assert np.std(drawn.creep - drawn.instant) == pytest.approx(APART, rel=0.02)
    assert abs(np.corrcoef(drawn.creep - drawn.instant, drawn.instant)[0, 1]) < 0.02
    assert not drawn.strength.any()
    wider = UsualGrowth(widened=2.0).growth(40_000, 1)
    assert np.ptp(wider.instant) == pytest.approx(2.0 * np.ptp(drawn.instant))


def test_the_hottest_hours_are_named() -> None:
    def words(climate: Climate) -> str:
        return Warming(climate, 22.0, UsualGrowth()).text

    year = Climate.of_hours([(35.0, 200.0), (20.0, 5000.0), (10.0, 2000.0)])
    assert words(year) == "between 10 and 35 °C, at its hottest (200 h a year above 32 °C; tested at 22 °C)"
    # a straight line over 20 K in 12 h each way: 3 K of it take 1.8 h, twice a day
    assert "3.6 h a day above 33 °C" in words(Climate.daily(16.0, 36.0))
    assert words(Climate.constant(30.0)) == "at 30 °C (tested at 22 °C)"


def test_what_two_random_columns_explain() -> None:
    """By a general solution, and where that finds a singular matrix: two columns alike and 1e12 times the noise."""
    rng = np.random.default_rng(1)
    columns, left = rng.normal(size=(5, 2, 8)), rng.normal(size=(5, 8))
    inner = np.eye(2) + columns @ columns.swapaxes(1, 2)
    on = columns @ left[:, :, None]
    explained, determinant = _by_two(columns, left)
    np.testing.assert_allclose(explained, (on.swapaxes(1, 2) @ np.linalg.solve(inner, on))[:, 0, 0], rtol=1e-12)
    np.testing.assert_allclose(determinant, np.linalg.det(inner), rtol=1e-12)
    alike = 1e12 * np.repeat(columns[:, :1], 2, axis=1)
    explained, determinant = _by_two(alike, left)
    np.testing.assert_allclose(determinant, 2e24 * (columns[:, 0] ** 2).sum(axis=1), rtol=1e-9)
    assert (explained >= 0.0).all()
    assert (explained < (left**2).sum(axis=1)).all()


def test_draws_that_no_plastic_grows_by_are_cut_off() -> None:
    """Of runs that contradict each other some grew by 20 per K: 35 K on they overflowed."""
    growth = Growth(np.array([20.0, -20.0, 0.01]), np.array([30.0, -30.0, 0.02]), np.zeros(3))
    with np.errstate(all="raise"):
        at_once, later = Warmth(Climate.constant(58.0), 23.0, growth).factors(np.array([1.0]))
    np.testing.assert_allclose(at_once[:, 0], np.exp([100.0, -100.0, 0.35]))
    np.testing.assert_allclose(later[:, 0], np.exp([100.0, -100.0, 0.7]))


def test_draws_of_several_clocks_are_each_on_their_own() -> None:
    activation = np.array([0.0, 100.0, 0.0, 150.0, 100.0])
    warmth = Warmth(Climate.constant(30.0), 23.0, Growth(np.zeros(5), np.zeros(5), activation))
    seen = np.zeros(5)
    for clock, chosen in warmth.clocks():
        assert (clock is None) == bool((activation[chosen] == 0.0).all())
        seen += chosen
    assert seen.tolist() == [1.0] * 5


def through_steps(activation: float, instant: float, creep: float) -> Run:
    """One bar under one load, 10 h each at 23, 30, 37 and 44 degC; each step moves the zero by 0.013 mm."""
    hours = (1 / 60, 1 / 6, 1.0, 3.0, 6.0, 9.9)
    times = np.array([-60.0, *(HOUR * (10.0 * k + h) for k in range(4) for h in hours)])
    degrees = np.array([23.0, *(d for d in (23.0, 30.0, 37.0, 44.0) for _ in hours)])
    edges = 10.0 * HOUR * np.array([0, 1, 1, 2, 2, 3, 3, 4])
    climate = Climate(edges, np.repeat([23.0, 30.0, 37.0, 44.0], 2))
    felt = WarmClock(climate, REFERENCE, activation)(times) if activation else times
    above = degrees - REFERENCE
    grown = 0.15 * np.exp(creep * above) * (np.maximum(felt, 0.0) / HOUR) ** 0.15
    moved = np.where(times > 0.0, np.exp(instant * above) + grown, 0.0) + 0.013 * (degrees - REFERENCE) / 7.0
    values = 5.0 + moved + 0.001 * np.random.default_rng(0).standard_normal(times.size)
    readings = [
        Reading(float(t), float(v), temperature=float(d), where=f"row {k}", row=k)
        for k, (t, v, d) in enumerate(zip(times, values, degrees, strict=True))
    ]
    return replace(bar(23.0, 0.0, 0.0), readings=tuple(readings), steps=(LoadStep(0.0, 4.0),))


def test_a_bar_through_steps_of_temperature_shows_its_clock() -> None:
    """Virtual starts of the steps are what superposition on the warped clock makes of them: nothing is drawn by hand."""
    found = temperature_posterior(data(through_steps(120.0, 0.0, 0.0)))
    assert found.probability_shift > 0.99
    low, high = (float(np.exp(found.shift.strength.quantile(p))) for p in (0.02, 0.98))
    assert low < 120.0 < high < 2.0 * low


def test_a_bar_through_steps_whose_curve_only_rises_shows_no_clock() -> None:
    found = temperature_posterior(data(through_steps(0.0, 0.008, 0.020)))
    assert found.probability_shift < 0.05
    rates = found.rise.growths(800, 1)
    instant, creep = rates[:, 0], rates.sum(axis=1)
    for found_rate, true in ((instant, 0.008), (creep, 0.020)):
        assert abs(found_rate.mean() - true) < 2.0 * found_rate.std()
    assert creep.mean() > 0.010
    # the jumps of the zero hide the growth of what is there at once: 0.001 mm of 1 mm over 21 K would leave a twentieth
    assert instant.std() > 0.001


def test_a_run_through_steps_is_no_test_at_one_temperature() -> None:
    fitted = cf.fit(through_steps(120.0, 0.0, 0.0))
    with pytest.raises(InputError, match="no test at one temperature"):
        cf.at_temperature(fitted, 30.0)
