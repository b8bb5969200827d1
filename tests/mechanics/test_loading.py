"""Load histories and direct superposition, against hand formulas, fine steps and numerical integration."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.loading import DIRECT_LIMIT, LoadHistory, superpose
from creepfit.models.findley import PurePower
from creepfit.models.model import HOUR, Dashpot, Instant, Kelvin
from creepfit.models.power_family import PowerFamily

Array = NDArray[np.float64]
DAY = 86400.0

TIMED_BENDING = LoadHistory.from_steps([(0.0, 0.0, 1.0), (60.0, 5.0, 2.0), (120.0, 0.0, 3.0), (300.0, 2.0, 0.0)])


@st.composite
def histories(draw: st.DrawFn) -> LoadHistory:
    """Up to eight changes in order of time, some of them ramps that end before the next begins."""
    count = draw(st.integers(1, 8))
    gaps = draw(st.lists(st.floats(0.5, 1e5), min_size=count, max_size=count))
    ramps = draw(st.lists(st.sampled_from([0.0, 0.1, 0.9]), min_size=count, max_size=count))
    loads = draw(st.lists(st.sampled_from([0.0]) | st.floats(1e-3, 50.0), min_size=count, max_size=count))
    starts = np.cumsum([0.0, *gaps[:-1]])
    return LoadHistory.from_steps(zip(starts, np.array(ramps) * gaps, loads, strict=True))


# --- the load itself ----------------------------------------------------------------------------------------------------


def test_load_at_a_time() -> None:
    times = np.array([-5.0, 0.0, 1e-9, 60.0, 62.5, 65.0, 120.0, 120.1, 300.0, 301.0, 302.0, 1e9])
    loads = [0.0, 0.0, 1.0, 1.0, 1.5, 2.0, 2.0, 3.0, 3.0, 1.5, 0.0, 0.0]
    assert TIMED_BENDING.at(times) == pytest.approx(loads)


def test_a_load_put_on_again_unchanged_is_no_change() -> None:
    assert LoadHistory.from_steps([(0.0, 0.0, 2.0), (10.0, 0.0, 2.0)]).change.tolist() == [2.0]


def test_held_scaled_joined_and_until() -> None:
    times = np.array([5.0, 50.0, 61.0, 130.0, 400.0])
    held = LoadHistory.held(0.5, start=10.0)
    assert held.at(times).tolist() == [0.0, 0.5, 0.5, 0.5, 0.5]
    assert TIMED_BENDING.scaled(-2.0).at(times) == pytest.approx(-2.0 * TIMED_BENDING.at(times))
    both = LoadHistory.joined([TIMED_BENDING, held])
    assert both.at(times) == pytest.approx(TIMED_BENDING.at(times) + held.at(times))
    assert (np.diff(both.start) >= 0.0).all()
    assert TIMED_BENDING.until(120.0).change.tolist() == [1.0, 1.0]
    assert TIMED_BENDING.until(120.1).change.tolist() == [1.0, 1.0, 1.0]


def test_loads_that_come_off_leave_nothing_and_one_stage_is_one_load() -> None:
    """Sums of the changes left 1e-15 N behind one in five stepped tests, and another last digit from reading to reading."""
    rng = np.random.default_rng(1)
    for count in range(2, 30):
        loads = [*(9.80665e-3 * rng.integers(1, 4000, count)), 0.0]
        history = LoadHistory.from_steps([(100.0 * i, 0.0, load) for i, load in enumerate(loads)])
        pressed = LoadHistory.joined([LoadHistory.held(-0.8, -60.0), history])
        behind = 100.0 * count + np.linspace(1.0, 1e5, 40)
        assert (history.at(behind) == 0.0).all()
        assert (pressed.added(behind) == 0.0).all()
        assert pressed.added(np.array([-30.0, 0.0, 50.0])) == pytest.approx([0.0, 0.0, loads[0]])
        for stage in range(count):
            assert len(set(history.at(100.0 * stage + np.linspace(1.0, 99.0, 23)).tolist())) == 1


def test_a_law_of_the_load_maps_the_totals() -> None:
    times = np.array([-5.0, 30.0, 65.0, 130.0, 400.0])
    squared = TIMED_BENDING.with_loads_mapped(np.square)
    assert squared.at(times).tolist() == [0.0, 1.0, 4.0, 9.0, 0.0]


def test_many_changes_are_the_sum_of_their_parts() -> None:
    count = 2 * DIRECT_LIMIT
    rng = np.random.default_rng(1)
    steps = list(zip(10.0 * np.arange(count), rng.choice([0.0, 3.0], count), rng.uniform(0.0, 5.0, count), strict=True))
    history = LoadHistory.from_steps(steps)
    parts = [LoadHistory(history.start[k::4], history.end[k::4], history.change[k::4]) for k in range(4)]
    times = np.concatenate([rng.uniform(-10.0, 10.0 * count, 500), history.start[::50], history.end[::50]])
    assert history.at(times) == pytest.approx(sum(part.at(times) for part in parts), abs=1e-9)


def test_peak_is_the_highest_load_so_far() -> None:
    times = np.array([-1.0, 30.0, 62.5, 100.0, 130.0, 301.0, 500.0])
    assert TIMED_BENDING.peak(times) == pytest.approx([0.0, 1.0, 1.5, 2.0, 3.0, 3.0, 3.0])
    # also where the highest load came and went between two readings
    spike = LoadHistory.from_steps([(0.0, 0.0, 1.0), (50.0, 0.0, 4.0), (51.0, 0.0, 1.0)])
    assert spike.peak(np.array([40.0, 60.0])).tolist() == [1.0, 4.0]


# --- growth of a set with time under load ---------------------------------------------------------------------------------


@pytest.mark.parametrize("exponent", [0.2, 0.5, 1.0])
def test_growth_under_a_constant_load_is_load_times_a_power_of_time(exponent: float) -> None:
    times = np.array([0.0, HOUR, 4 * HOUR, 100 * HOUR])
    found = LoadHistory.held(3.0).growth(times, exponent)
    assert found == pytest.approx(3.0 * (times / HOUR) ** exponent)


@pytest.mark.parametrize("exponent", [0.2, 0.5, 1.0])
def test_growth_rests_while_unloaded_and_counts_time_under_load_alone(exponent: float) -> None:
    """k loads of length T leave what one of length k T leaves (Zapas and Crissman's functional, from memory)."""
    on_and_off = LoadHistory.from_steps([(i * 3 * HOUR + d, 0.0, x) for i in range(4) for d, x in ((0, 2.0), (HOUR, 0.0))])
    found = on_and_off.growth(np.array([HOUR, 2 * HOUR, 3 * HOUR, 50 * HOUR]), exponent)
    assert found == pytest.approx([2.0, 2.0, 2.0, 2.0 * 4.0**exponent])


@settings(deadline=None, max_examples=50)
@given(history=histories(), exponent=st.sampled_from([0.3, 0.5, 1.0]))
def test_growth_against_a_fine_sum(history: LoadHistory, exponent: float) -> None:
    end = float(history.end.max(initial=0.0)) + 1000.0
    edges = np.unique(np.concatenate([np.linspace(0.0, end, 60001), history.start, history.end]))
    middle = 0.5 * (edges[1:] + edges[:-1])
    total = np.sum(history.at(middle) ** (1.0 / exponent) * np.diff(edges)) / HOUR
    assert history.growth(np.array([end]), exponent)[0] == pytest.approx(total**exponent, rel=1e-2, abs=1e-9)


def test_growth_with_exponent_one_is_the_dashpot() -> None:
    times = np.array([10.0, 61.0, 64.0, 200.0, 301.0, 1000.0])
    assert TIMED_BENDING.growth(times, 1.0) == pytest.approx(superpose(Dashpot(), TIMED_BENDING, times), rel=1e-12)


# --- superposition --------------------------------------------------------------------------------------------------------


def test_three_steps_by_hand() -> None:
    """eps(t) = sum of load changes times D(t - t_j), written out."""
    history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (60.0, 0.0, 3.0), (600.0, 0.0, 0.5)])
    t = np.array([30.0, 60.0, 61.0, 600.0, 900.0])
    n = 0.2

    def phi(x: float) -> float:
        return (x / HOUR) ** n if x > 0 else 0.0

    wanted = [phi(x) + 2.0 * phi(x - 60.0) - 2.5 * phi(x - 600.0) for x in t]
    assert superpose(PurePower(), history, t, np.array([n]))[0] == pytest.approx(wanted, rel=1e-13)


def test_a_reading_at_a_loads_own_time_was_taken_before_it() -> None:
    history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (HOUR, 0.0, 0.0)])
    times = np.array([0.0, HOUR])
    assert superpose(Instant(), history, times).tolist() == [0.0, 1.0]
    assert superpose(PowerFamily(), history, times, np.array([0.2]))[0][0] == 0.0


def test_the_instantaneous_part_is_the_load() -> None:
    times = np.linspace(-10.0, 400.0, 300)
    assert superpose(Instant(), TIMED_BENDING, times) == pytest.approx(TIMED_BENDING.at(times))


@settings(deadline=None, max_examples=60)
@given(history=histories(), n=st.floats(-1.0, 0.9), late=st.floats(1e-3, 1e6))
def test_superposition_against_integration_of_the_load(history: LoadHistory, n: float, late: float) -> None:
    """Ramps as the integral of D(t - s) dload/ds, steps as they are."""
    t = float(history.end.max(initial=0.0)) + late
    term, p = PowerFamily(), np.array(n)
    wanted = 0.0
    for start, end, change in zip(history.start, history.end, history.change, strict=True):
        if end <= start:
            wanted += change * float(term.value(np.array(t - start), p))
            continue
        # in the logarithm of the time since, so that a ramp just over is resolved
        low, high = np.log1p(t - end), np.log1p(t - start)
        mean = quad(lambda u: float(term.value(np.expm1(np.array(u)), p)) * np.exp(u), low, high, limit=200)[0]
        wanted += change * mean / (end - start)
    found = superpose(term, history, np.array([t]), np.array([n]))[0, 0]
    scale = float(np.sum(np.abs(history.change)) * term.value(np.array(t), p))
    # the quadrature itself keeps no more digits where a short ramp is seen from far
    assert found == pytest.approx(wanted, rel=1e-6, abs=1e-8 * scale)


@settings(deadline=None, max_examples=40)
@given(first=histories(), second=histories(), factor=st.floats(0.01, 100.0))
def test_responses_add_up(first: LoadHistory, second: LoadHistory, factor: float) -> None:
    times = np.geomspace(1.0, 1e6, 15)
    together = superpose(Kelvin(), LoadHistory.joined([first, second.scaled(factor)]), times, np.array([5 * HOUR]))
    alone = [superpose(Kelvin(), h, times, np.array([5 * HOUR])) for h in (first, second)]
    assert together == pytest.approx(alone[0] + factor * alone[1], rel=1e-9, abs=1e-12 * 100.0 * (1.0 + factor))


def test_a_ramp_is_the_limit_of_many_small_steps() -> None:
    ramp = LoadHistory.from_steps([(0.0, 60.0, 2.0)])
    # each small step stands in the middle of its share of the ramp
    steps = LoadHistory.from_steps([((i + 0.5) * 0.06, 0.0, 2.0 * (i + 1) / 1000) for i in range(1000)])
    times = np.array([75.0, 600.0, DAY])
    p = np.array([0.2])
    assert superpose(PurePower(), ramp, times, p) == pytest.approx(superpose(PurePower(), steps, times, p), rel=1e-6)


@pytest.mark.parametrize("length", [1e-6, 1e-3, 1.0])
def test_a_short_ramp_long_ago_is_a_step_at_its_middle(length: float) -> None:
    """Of two integrals that are nearly the same no digits would be left after ten years."""
    late, n = np.array([10 * 365.25 * DAY]), np.array([0.2])
    ramp = superpose(PurePower(), LoadHistory.from_steps([(0.0, length, 3.0)]), late, n)
    assert ramp == pytest.approx(superpose(PurePower(), LoadHistory.held(3.0, length / 2), late, n), rel=1e-12)


def test_many_shapes_at_once_are_each_alone() -> None:
    times = np.array([30.0, 61.0, 250.0, 305.0, DAY])
    shapes = np.array([0.05, 0.2, 0.6])
    together = superpose(PurePower(), TIMED_BENDING, times, shapes)
    assert together.shape == (3, 5)
    for row, n in zip(together, shapes, strict=True):
        assert row == pytest.approx(superpose(PurePower(), TIMED_BENDING, times, np.array([n]))[0], rel=1e-15)


def test_a_flowing_element_keeps_what_it_has_flowed() -> None:
    """After unloading the dashpot's strain is load times time under load, for good."""
    history = LoadHistory.from_steps([(0.0, 0.0, 10.0), (6 * DAY, 0.0, 0.0)])
    found = superpose(Dashpot(), history, np.array([6 * DAY + 1e-3, 7 * DAY, 4000 * DAY]))
    assert found == pytest.approx(10.0 * 144.0, rel=1e-8)


def test_a_warped_history_is_the_loads_at_warped_times() -> None:
    clock = AgeingClock(DAY, 0.9)
    warped = TIMED_BENDING.warped(clock)
    assert warped.start == pytest.approx(clock(TIMED_BENDING.start))
    assert warped.end == pytest.approx(clock(TIMED_BENDING.end))
    assert warped.change.tolist() == TIMED_BENDING.change.tolist()


def test_no_load_no_response() -> None:
    nothing = LoadHistory.from_steps([])
    times = np.array([0.0, 5.0])
    assert nothing.at(times).tolist() == [0.0, 0.0]
    assert superpose(Instant(), nothing, times).tolist() == [0.0, 0.0]
    assert nothing.growth(times, 0.5).tolist() == [0.0, 0.0]
    assert nothing.peak(times).tolist() == [0.0, 0.0]


def test_unloading_takes_off_all_that_hangs_or_what_is_said() -> None:
    history = LoadHistory.from_steps([(0.0, 0.0, 2.0), (10.0, 0.0, 5.0), (30.0, 0.0, 1.0)])
    times = np.array([5.0, 15.0, 25.0, 40.0])
    np.testing.assert_allclose(history.unloaded(20.0).at(times), [2.0, 5.0, 0.0, 0.0])
    np.testing.assert_allclose(history.unloaded(20.0, 4.0).at(times), [2.0, 5.0, 1.0, 1.0])
