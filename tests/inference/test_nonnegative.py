"""Least squares that keep signs beside scipy's, which take one problem at a time."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import nnls

from creepfit.inference.nonnegative import exact_amplitudes, nonnegative_amplitudes

Array = NDArray[np.float64]
RNG = np.random.default_rng(5)


def creeping(count: int, readings: int, units: int) -> Array:
    """Rising exponentials, more of them than readings could tell apart."""
    t, tau = np.geomspace(0.01, 100.0, readings), np.geomspace(0.02, 300.0, units)
    return np.broadcast_to(-np.expm1(-t[:, None] / tau), (count, readings, units))


def sums(columns: Array, targets: Array, amplitudes: Array) -> Array:
    return np.asarray(((targets - (columns @ amplitudes[..., None])[..., 0]) ** 2).sum(axis=1))


@pytest.mark.parametrize(
    "columns",
    [RNG.normal(size=(60, 8, 3)), RNG.normal(size=(60, 13, 30)), RNG.normal(size=(60, 1, 2)), creeping(60, 12, 20)],
    ids=["few columns", "more columns than readings", "one reading", "creep"],
)
def test_many_problems_at_once_come_to_what_scipy_finds_for_each(columns: Array) -> None:
    rng = np.random.default_rng(1)
    targets = columns[:, :, :2].sum(axis=2) + 0.3 * rng.normal(size=columns.shape[:2])
    expected = np.array([nnls(x, y)[0] for x, y in zip(columns, targets, strict=True)])
    begin = rng.random((columns.shape[0], columns.shape[2])) < 0.2
    for start in (None, expected > 0.0, begin):
        found = nonnegative_amplitudes(columns, targets, start)
        assert (found >= 0.0).all()
        left = sums(columns, targets, expected)
        np.testing.assert_allclose(sums(columns, targets, found), left, rtol=1e-12, atol=1e-18)
        one_answer = left > 1e-18  # where columns meet all readings, others do so too
        np.testing.assert_allclose(found[one_answer], expected[one_answer], rtol=1e-8, atol=1e-9)


def test_one_problem_to_the_last_digit_whatever_is_thought_likely() -> None:
    """What is likely is taken without a search where it is right, and no further than it is."""
    rng = np.random.default_rng(6)
    for x in rng.normal(size=(40, 9, 4)):
        x /= np.linalg.norm(x, axis=0)
        y = x[:, :2].sum(axis=1) + 0.5 * rng.normal(size=9)
        expected = nnls(x, y)[0]
        used = expected > 0.0
        exact = np.linalg.lstsq(x[:, used], y, rcond=None)[0]
        for likely in (used, ~used, np.ones(4, dtype=bool), np.zeros(4, dtype=bool)):
            found = exact_amplitudes(x, y, likely)
            np.testing.assert_array_equal(found > 0.0, used)
            np.testing.assert_allclose(found[used], exact, rtol=1e-14)


def test_units_of_columns_and_readings_do_not_matter() -> None:
    columns = creeping(5, 10, 6)
    targets = columns[:, :, 1:4].sum(axis=2) + 0.1 * np.random.default_rng(2).normal(size=(5, 10))
    plain = nonnegative_amplitudes(columns, targets)
    unit = np.geomspace(1e-90, 1e90, 6)
    np.testing.assert_allclose(nonnegative_amplitudes(columns * unit, 1e-60 * targets) * unit, 1e-60 * plain, rtol=1e-9)


@pytest.mark.parametrize("times", [1, 2], ids=["few columns", "many"])
def test_columns_that_are_alike_or_nothing_share_what_one_would_have(times: int) -> None:
    x = np.array([[1.0, 2.0, 4.0, 1.0], [0.0, 1.0, 1.0, 3.0]]).T
    y = np.array([1.0, 2.5, 4.5, 2.0])
    alone = nonnegative_amplitudes(x[None], y[None])[0]
    twice = np.tile(np.column_stack([x, x[:, 0], np.zeros(4), x @ (0.3, 0.7), x[:, 0] * (1.0 + 1e-12)]), times)
    for begin in (None, np.ones((1, 6 * times), dtype=bool)):
        found = nonnegative_amplitudes(twice[None], y[None], begin)[0]
        assert (found >= 0.0).all()
        assert found[3] == 0.0
        assert twice @ found == pytest.approx(x @ alone, abs=1e-12)


def test_what_no_column_explains_is_left() -> None:
    x = np.array([[1.0, 2.0, 3.0]]).T
    assert nonnegative_amplitudes(x[None], -x[None, :, 0]).tolist() == [[0.0]]
    assert nonnegative_amplitudes(x[None], np.zeros((1, 3))).tolist() == [[0.0]]
    assert nonnegative_amplitudes(np.empty((1, 3, 0)), x[None, :, 0]).shape == (1, 0)
    assert nonnegative_amplitudes(np.empty((0, 3, 2)), np.empty((0, 3))).shape == (0, 2)
