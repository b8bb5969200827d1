"""The search for the best fit: exact cases, bounds, what is unknown, standard errors, narrow and slanting valleys."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from creepfit.inference.best_fit import BestFit, best_fit
from creepfit.inference.projection import ProjectedData, ProjectedProblem
from creepfit.models.model import Axis

Array = NDArray[np.float64]

X = np.geomspace(0.1, 20.0, 12)
RATE = Axis("rate", 0.01, 100.0, 60, log=True)
TWO_RATES = (RATE, Axis("rate2", 0.01, 100.0, 60, log=True))


def rises(shapes: Array) -> Array:
    """One rising exponential for each shape value."""
    return -np.expm1(-X[None, :, None] * shapes[:, None, :])


def with_constant(shapes: Array) -> Array:
    return np.concatenate([np.ones((shapes.shape[0], X.size, 1)), rises(shapes)], axis=2)


def errors(fit: BestFit, sd: float) -> Array:
    assert fit.covariance is not None
    return sd * np.sqrt(np.diag(fit.covariance))


# --- exact cases --------------------------------------------------------------------------------------------------------


def test_noise_free_data_give_back_their_parameters() -> None:
    values = 2.0 + 3.0 * rises(np.array([[0.7]]))[0, :, 0] - 5.0
    fit = best_fit(with_constant, (RATE,), values, nonnegative=False)
    assert fit.shape == pytest.approx([0.7], rel=1e-7)
    assert fit.amplitudes == pytest.approx([-3.0, 3.0], rel=1e-7)
    assert fit.residual_sum < 1e-20
    assert (fit.converged, fit.determined, fit.at_bound, fit.free) == (True, True, (), 9)


def test_two_units_of_one_kind_come_out_in_ascending_order() -> None:
    shapes = np.array([[8.0, 0.2]])
    values = with_constant(shapes)[0] @ np.array([1.0, 2.0, 4.0])
    fit = best_fit(with_constant, TWO_RATES, values)
    assert fit.shape == pytest.approx([0.2, 8.0], rel=1e-6)
    assert fit.amplitudes == pytest.approx([1.0, 4.0, 2.0], rel=1e-6)


def test_without_shapes_it_is_linear_least_squares() -> None:
    rng = np.random.default_rng(2)
    columns, values = rng.normal(size=(12, 3)), rng.normal(size=12)
    fit = best_fit(lambda shapes: columns[None], (), values, nonnegative=False)
    wanted, rest, _, _ = np.linalg.lstsq(columns, values, rcond=None)
    assert fit.amplitudes == pytest.approx(wanted)
    assert fit.residual_sum == pytest.approx(float(rest[0]))
    assert fit.covariance == pytest.approx(np.linalg.inv(columns.T @ columns))
    assert fit.free == 9


def test_fixed_columns_are_fitted_with_any_sign() -> None:
    rng = np.random.default_rng(3)
    fixed = np.column_stack([np.ones(12), np.arange(12.0)])
    values = 4.0 * rises(np.array([[1.5]]))[0, :, 0] - 7.0 - 0.3 * np.arange(12.0) + 0.01 * rng.normal(size=12)
    fit = best_fit(rises, (RATE,), values, fixed)
    assert fit.fixed == pytest.approx([-7.0, -0.3], abs=0.1)
    assert fixed.T @ fit.residuals == pytest.approx([0.0, 0.0], abs=1e-9)
    assert fit.residuals == pytest.approx(values - rises(fit.shape[None])[0] @ fit.amplitudes - fixed @ fit.fixed)
    assert fit.covariance is not None
    assert fit.covariance.shape == (4, 4)


@settings(deadline=None, max_examples=25)
@given(unit=st.floats(1e-9, 1e9), seed=st.integers(0, 1000))
def test_units_make_no_difference(unit: float, seed: float) -> None:
    rng = np.random.default_rng(seed)
    values = 1.0 + rises(np.array([[0.5]]))[0, :, 0] + 0.02 * rng.normal(size=X.size)
    plain, scaled = (best_fit(with_constant, (RATE,), factor * values) for factor in (1.0, unit))
    assert scaled.shape == pytest.approx(plain.shape, rel=1e-6)
    assert scaled.amplitudes == pytest.approx(unit * plain.amplitudes, rel=1e-6, abs=1e-9 * unit)
    assert scaled.at_bound == plain.at_bound


def test_same_data_same_answer_to_the_last_bit() -> None:
    values = 1.0 + rises(np.array([[0.5]]))[0, :, 0] + 0.02 * np.sin(40.0 * X)
    first, second = (best_fit(with_constant, TWO_RATES, values) for _ in range(2))
    assert first.shape.tolist() == second.shape.tolist()
    assert first.residual_sum == second.residual_sum


# --- bounds and unknowns --------------------------------------------------------------------------------------------------


def test_a_shape_beyond_its_range_ends_exactly_at_its_end() -> None:
    for rate, end in ((300.0, 100.0), (0.002, 0.01)):
        values = 5.0 * -np.expm1(-X * rate)
        fit = best_fit(rises, (RATE,), values)
        assert fit.shape[0] == pytest.approx(end, rel=1e-12)
        assert fit.at_bound == ("shape 0",)
        assert fit.converged


def test_a_shape_just_inside_its_range_is_not_at_the_end() -> None:
    values = 5.0 * -np.expm1(-X * 0.0105) + 1e-6 * np.cos(30.0 * X)
    fit = best_fit(rises, (RATE,), values)
    assert fit.at_bound == ()
    assert fit.shape[0] == pytest.approx(0.0105, rel=1e-3)


def test_amplitudes_stay_at_or_above_zero_and_say_so() -> None:
    values = 5.0 - 2.0 * rises(np.array([[0.5]]))[0, :, 0]
    fit = best_fit(with_constant, (RATE,), values)
    assert fit.amplitudes[0] > 0.0
    assert fit.amplitudes[1] == 0.0
    assert "amplitude 1" in fit.at_bound
    # the constant alone is in play: neither the amplitude at zero nor its shape has an error
    assert fit.free == X.size - 1
    assert np.isnan(errors(fit, 1.0)[[0, 2]]).all()
    assert np.isfinite(errors(fit, 1.0)[1])


def test_a_second_unit_that_is_not_there_has_no_error() -> None:
    rng = np.random.default_rng(0)
    values = 1.0 + 2.0 * rises(np.array([[0.5]]))[0, :, 0] + 1e-3 * rng.normal(size=X.size)
    fit = best_fit(with_constant, TWO_RATES, values)
    one = best_fit(with_constant, (RATE,), values)
    assert fit.residual_sum <= one.residual_sum * (1.0 + 1e-12)
    gone = [k for k in (1, 2) if fit.amplitudes[k] == 0.0]
    if gone:
        assert f"amplitude {gone[0]}" in fit.at_bound
        assert np.isnan(errors(fit, 1.0)[gone[0] - 1])
        assert fit.free == one.free


def test_a_column_that_the_fixed_ones_imitate_is_unknown_not_noise() -> None:
    """What projection leaves of it is rounding; scaled up it would fit a share of the noise."""
    rng = np.random.default_rng(4)
    values = 3.0 + 2.0 * rises(np.array([[0.5]]))[0, :, 0] + 0.01 * rng.normal(size=X.size)
    zero = np.ones((X.size, 1))
    fit = best_fit(with_constant, (RATE,), values, zero)
    alone = best_fit(rises, (RATE,), values, zero)
    assert fit.hidden == (0,)
    assert fit.amplitudes[0] == 0.0
    assert "amplitude 0" not in fit.at_bound
    assert fit.residual_sum == pytest.approx(alone.residual_sum, rel=1e-12)
    assert fit.free == alone.free
    assert fit.determined
    assert errors(fit, 1.0)[[0, 2, 3]] == pytest.approx(errors(alone, 1.0))


def test_as_many_parameters_as_readings_leaves_none_free() -> None:
    few = slice(0, 12, 5)
    values = (1.0 + rises(np.array([[0.5]]))[0, :, 0])[few]
    fit = best_fit(lambda shapes: with_constant(shapes)[:, few], (RATE,), values)
    assert fit.free == 0
    assert fit.residual_sum < 1e-18


def test_fewer_readings_than_parameters_are_undetermined() -> None:
    few = slice(0, 12, 8)
    values = (1.0 + rises(np.array([[0.5]]))[0, :, 0])[few]
    fit = best_fit(lambda shapes: with_constant(shapes)[:, few], (RATE,), values)
    assert fit.free < 0
    assert not fit.determined
    assert fit.covariance is None


def test_columns_that_coincide_are_undetermined() -> None:
    values = np.ones(X.size) + 0.01 * np.cos(X)
    fit = best_fit(lambda shapes: np.ones((1, X.size, 2)), (), values, nonnegative=False)
    assert not fit.determined
    assert fit.covariance is None


def test_values_of_zero_have_a_fit() -> None:
    fit = best_fit(with_constant, (RATE,), np.zeros(X.size))
    assert fit.residual_sum == 0.0
    assert fit.amplitudes.tolist() == [0.0, 0.0]


# --- standard errors ------------------------------------------------------------------------------------------------------


def test_standard_errors_are_the_scatter_of_the_estimates() -> None:
    rng = np.random.default_rng(11)
    truth = np.array([0.5, 2.0, 3.0])
    clean = with_constant(truth[None, :1])[0] @ truth[1:]
    estimates, stated = [], []
    for _ in range(150):
        fit = best_fit(with_constant, (RATE,), clean + 0.02 * rng.normal(size=X.size))
        estimates.append(np.concatenate([fit.shape, fit.amplitudes]))
        stated.append(errors(fit, 0.02))
    scatter = np.std(estimates, axis=0)
    # so many draws give a standard deviation to 5.8 %
    assert np.median(stated, axis=0) == pytest.approx(scatter, rel=0.15)
    assert np.mean(estimates, axis=0) == pytest.approx(truth, abs=0.02)


def test_errors_are_of_the_shape_itself_also_where_it_is_searched_by_its_logarithm() -> None:
    values = 1.0 + rises(np.array([[0.5]]))[0, :, 0] + 0.01 * np.cos(30.0 * X)
    straight = Axis("rate", 0.01, 5.0, 120)
    by_log, by_itself = (best_fit(with_constant, (axis,), values) for axis in (RATE, straight))
    assert errors(by_log, 1.0) == pytest.approx(errors(by_itself, 1.0), rel=1e-6)


# --- the search -----------------------------------------------------------------------------------------------------------


def test_of_two_valleys_the_lower_is_found() -> None:
    """A wave whose frequency has many local minima."""
    t = np.linspace(0.0, 10.0, 40)
    values = np.cos(3.3 * t) + 0.6 * np.cos(7.1 * t)
    wave = Axis("frequency", 0.5, 10.0, 120)
    fit = best_fit(lambda s: np.cos(s[:, None, :] * t[None, :, None]), (wave,), values, nonnegative=False)
    assert fit.shape[0] == pytest.approx(3.3, abs=0.05)


def test_a_valley_narrower_than_the_grid_is_found() -> None:
    """Nodes lie 0.16 apart, the minimum is 1e-4 wide: on the grid the residual sum is a thousand times the least."""
    values = 1.0 + 2.0 * rises(np.array([[0.5517]]))[0, :, 0] + 1e-6 * np.cos(30.0 * X)
    fit = best_fit(with_constant, (RATE,), values)
    assert fit.shape[0] == pytest.approx(0.5517, rel=1e-5)


def test_a_weak_unit_beside_a_strong_one_is_found() -> None:
    """The strong unit is known to one part in a thousand, and the valley of the weak one slants through the grid."""
    rng = np.random.default_rng(8)
    values = with_constant(np.array([[1.37, 0.05]]))[0] @ np.array([1.0, 2.0, 0.05]) + 1e-5 * rng.normal(size=X.size)
    fit = best_fit(with_constant, TWO_RATES, values)
    assert fit.shape == pytest.approx([0.05, 1.37], rel=0.05)
    assert fit.residual_sum < 2.0 * X.size * 1e-10


def test_a_search_cut_short_says_that_it_did_not_converge(monkeypatch: pytest.MonkeyPatch) -> None:
    values = with_constant(np.array([[1.37, 0.05]]))[0] @ np.array([1.0, 2.0, 0.3]) + 0.01 * np.cos(30.0 * X)
    full = best_fit(with_constant, TWO_RATES, values)
    monkeypatch.setattr("creepfit.inference.best_fit.EVALUATIONS", 2)
    monkeypatch.setattr("creepfit.inference.best_fit.RESTARTS", 1)
    short = best_fit(with_constant, TWO_RATES, values)
    assert full.converged
    assert not short.converged
    # and it still gives the best place it has seen, never a worse one than it started from
    assert full.residual_sum <= short.residual_sum < 1.5 * full.residual_sum


# --- non-negative least squares -------------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=100)
@given(seed=st.integers(0, 10**6), columns=st.integers(1, 4), close=st.sampled_from([1.0, 1e-3, 1e-7]))
def test_nonnegative_amplitudes_satisfy_the_optimality_conditions(seed: int, columns: int, close: float) -> None:
    """Kuhn and Tucker: no slope along amplitudes above zero, and none that pays to raise along those at zero."""
    rng = np.random.default_rng(seed)
    x = rng.normal(size=(9, 1)) + close * rng.normal(size=(9, columns))
    y = rng.normal(size=9)
    problem = ProjectedProblem(lambda shapes: x[None], ProjectedData(y), True)
    amplitudes = problem.solve(x)
    slope = x.T @ (y - x @ amplitudes)
    size = np.linalg.norm(x) * np.linalg.norm(y)
    assert (amplitudes >= 0.0).all()
    assert (slope <= 1e-8 * size).all()
    assert (np.abs(slope[amplitudes > 0.0]) <= 1e-8 * size).all()
    total = float(np.sum(problem.residuals(np.empty(0)) ** 2))
    assert problem.residual_sums(np.empty((1, 0)))[0] == pytest.approx(total, rel=1e-7)
