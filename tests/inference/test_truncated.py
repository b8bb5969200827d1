"""Two amplitudes that may not be negative: the quadrant's probability and draws from it.

Against scipy.stats for the bulk, forty-digit quadrature far out in the tails, and brute-force sampling for draws.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.stats import kstest, multivariate_normal, norm, truncnorm

from creepfit.inference.truncated import Quadrant

Array = NDArray[np.float64]


def standard(h: float, k: float, correlation: float, sd0: float = 1.0, sd1: float = 1.0) -> Quadrant:
    """Means h and k standard deviations inside, shape (1,)."""
    spread0 = sd0 * np.sqrt(1.0 - correlation**2)
    return Quadrant(*(np.array([v]) for v in (h * sd0, k * sd1, sd1, correlation * sd0 / sd1, spread0)))


FAR = [
    # h, k, correlation, logarithm of the probability: one-dimensional quadrature in mpmath 1.3 with 40 digits (computed)
    (-10.0, -10.0, 0.0, -106.462570301025098),
    (-10.0, -3.0, 0.5, -53.2404010083003181),
    (-30.0, -20.0, 0.9, -454.321243956343161),
    (-6.0, -5.0, -0.9, -311.65875044124365),
    (-8.0, 2.0, -0.99, -923.851334656772905),
    (-40.0, -38.0, 0.3, -1180.0215033291879),
    (-12.0, 5.0, -0.5, -77.5743247436887777),
    (-7.0, -7.0, 0.999, -27.5199382103372475),
    (-3.0, -25.0, -0.2, -353.071319409174161),
    (-37.5, 0.0, 0.7, -707.668989317507154),
]


@pytest.mark.parametrize(("h", "k", "correlation", "wanted"), FAR)
def test_probability_far_out_in_the_tails(h: float, k: float, correlation: float, wanted: float) -> None:
    # next to a correlation of one the edge is sharper than the rule resolves: half a thousandth there
    allowed = 1e-3 if abs(correlation) > 0.995 else 1e-6
    assert standard(h, k, correlation).log_probability()[0] == pytest.approx(wanted, abs=allowed)


@settings(deadline=None, max_examples=150)
@given(h=st.floats(-4.0, 9.0), k=st.floats(-4.0, 9.0), correlation=st.floats(-0.995, 0.995))
def test_probability_against_scipy(h: float, k: float, correlation: float) -> None:
    found = np.exp(standard(h, k, correlation).log_probability()[0])
    wanted = multivariate_normal.cdf([h, k], cov=[[1.0, correlation], [correlation, 1.0]])
    assert found == pytest.approx(float(wanted), abs=3e-7, rel=1e-4)


@settings(deadline=None, max_examples=100)
@given(
    h=st.floats(-30.0, 9.0),
    k=st.floats(-30.0, 9.0),
    correlation=st.floats(-0.99, 0.99),
    units=st.tuples(st.floats(1e-6, 1e6), st.floats(1e-6, 1e6)),
)
def test_probability_does_not_depend_on_units_or_on_which_is_first(
    h: float, k: float, correlation: float, units: tuple[float, float]
) -> None:
    plain = standard(h, k, correlation).log_probability()[0]
    assert standard(h, k, correlation, *units).log_probability()[0] == pytest.approx(plain, rel=1e-6, abs=3e-6)
    assert standard(k, h, correlation).log_probability()[0] == pytest.approx(plain, rel=1e-6, abs=3e-6)


@settings(deadline=None, max_examples=60)
@given(h=st.floats(-35.0, 9.0), k=st.floats(-35.0, 9.0))
def test_independent_amplitudes_multiply(h: float, k: float) -> None:
    wanted = float(norm.logcdf(h) + norm.logcdf(k))
    assert standard(h, k, 0.0).log_probability()[0] == pytest.approx(wanted, rel=1e-7, abs=3e-6)


def test_probability_is_continuous_where_the_method_changes() -> None:
    """Between closed form and integral (1e-7), and where the quadrant is sure."""
    for correlation in (-0.6, 0.0, 0.8):
        h = np.linspace(-8.0, 8.0, 4001)
        many = Quadrant(h, np.full_like(h, 1.0), np.ones_like(h), np.full_like(h, correlation),
                        np.full_like(h, np.sqrt(1 - correlation**2)))  # fmt: skip
        log_p = many.log_probability()
        assert (np.diff(log_p) > -1e-6).all()
        assert (np.abs(np.diff(log_p, 2)) < 4e-5).all()


def test_from_precision_is_the_usual_inverse() -> None:
    precision = np.array([[4.0, 1.5], [1.5, 2.0]])
    mean = np.array([0.3, -0.7])
    h = precision @ mean
    one = np.ones(1)
    q00, q01, q11 = precision[0, 0] * one, precision[0, 1] * one, precision[1, 1] * one
    found = Quadrant.from_precision(q00, q01, q11, h[0] * one, h[1] * one)
    covariance = np.linalg.inv(precision)
    assert (found.mean0[0], found.mean1[0]) == pytest.approx(tuple(mean))
    assert found.sd1[0] ** 2 == pytest.approx(covariance[1, 1])
    assert found.slope[0] == pytest.approx(covariance[0, 1] / covariance[1, 1])
    assert found.spread0[0] ** 2 == pytest.approx(covariance[0, 0] - covariance[0, 1] ** 2 / covariance[1, 1])


def test_take_selects() -> None:
    many = Quadrant(*(np.arange(5.0) + i for i in range(5)))
    chosen = many.take(np.array([3, 1]))
    assert chosen.mean0.tolist() == [3.0, 1.0]
    assert chosen.spread0.tolist() == [7.0, 5.0]


# --- draws ------------------------------------------------------------------------------------------------------------


def drawn(one: Quadrant, count: int, seed: int = 0) -> tuple[Array, Array]:
    rng = np.random.default_rng(seed)
    return one.take(np.zeros(count, dtype=int)).draw(rng.random(count), rng.random(count))


@pytest.mark.parametrize(
    ("h", "k", "correlation"), [(0.5, 0.3, -0.8), (2.0, 1.0, 0.6), (-0.5, 0.5, -0.5), (-1.0, -1.0, 0.9), (9.0, 8.0, -0.9)]
)
def test_draws_against_throwing_away_what_is_negative(h: float, k: float, correlation: float) -> None:
    x0, x1 = drawn(standard(h, k, correlation), 20000)
    rng = np.random.default_rng(1)
    z = rng.multivariate_normal([h, k], [[1.0, correlation], [correlation, 1.0]], size=2_000_000)
    kept = z[(z > 0.0).all(axis=1)]
    assert kept.shape[0] > 4000
    assert (x0 >= 0.0).all()
    assert (x1 >= 0.0).all()
    # two samples of n and m draw the same when they are apart by less than about 1.95 sqrt(1/n + 1/m) (p = 0.001)
    for a, b in ((1.0, 0.0), (0.0, 1.0), (1.0, 2.0), (1.0, -1.0)):
        assert kstest(a * x0 + b * x1, (kept @ [a, b])[:20000]).pvalue > 1e-3


@pytest.mark.parametrize("k", [-20.0, -3.0, 0.0, 4.0])
def test_draws_of_one_alone_follow_the_cut_normal(k: float) -> None:
    """Without correlation each is a normal cut at zero, however far out."""
    x0, x1 = drawn(standard(k, 1.0, 0.0), 20000)
    assert kstest(x0, truncnorm(-k, np.inf, loc=k).cdf).pvalue > 1e-3
    assert kstest(x1, truncnorm(-1.0, np.inf, loc=1.0).cdf).pvalue > 1e-3
    _, other = drawn(standard(1.0, k, 0.0), 20000)
    assert kstest(other, truncnorm(-k, np.inf, loc=k).cdf).pvalue > 1e-3


@settings(deadline=None, max_examples=60)
@given(h=st.floats(-30.0, 9.0), k=st.floats(-30.0, 9.0), correlation=st.floats(-0.99, 0.99), u=st.floats(1e-9, 1 - 1e-9))
def test_draws_are_finite_never_negative_and_follow_their_uniforms_one_way(
    h: float, k: float, correlation: float, u: float
) -> None:
    # where nothing is left of the quadrant to double precision there is nothing to draw
    assume(standard(h, k, correlation).log_probability()[0] > -2000.0)
    one = standard(h, k, correlation).take(np.zeros(40, dtype=int))
    x0, x1 = one.draw(np.full(40, u), np.linspace(1e-9, 1 - 1e-9, 40))
    assert np.isfinite(x0).all()
    assert np.isfinite(x1).all()
    assert (x0 >= 0.0).all()
    assert (np.diff(x1) >= -1e-12).all()
    up, same = one.draw(np.linspace(1e-9, 1 - 1e-9, 40), np.full(40, u))
    assert (np.diff(up) <= 1e-12).all()
    assert np.ptp(same) == 0.0


def test_a_quadrant_hundreds_of_thousands_of_deviations_away_has_its_mode() -> None:
    """Readings that no curve follows by far; there both parts of the density are parabolas, and the mode is theirs."""
    numbers = (-9530.92349874199, 91606.26747864926, 0.04486742220109056, -1.0217349049894908, 0.08925099060972758)
    mean0, mean1, spread0, slope, sd1 = numbers
    far = Quadrant(*(np.array([x]) for x in (mean0, mean1, sd1, slope, spread0)))
    steep = slope / spread0
    mode = mean1 - steep * (mean0 / spread0) / (steep**2 + 1.0 / sd1**2)
    assert far._mode() == pytest.approx(mode, rel=1e-9)
    peak = -0.5 * ((mode - mean1) / sd1) ** 2 - 0.5 * ((mean0 + slope * (mode - mean1)) / spread0) ** 2
    assert far.log_probability() == pytest.approx(peak, rel=1e-8)


def test_an_edge_far_sharper_than_the_range_is_hopeless_and_no_logarithm_of_nothing() -> None:
    """Of readings of kilometres: no node of the quadrature lay within the edge, and a warning ended the command."""
    sizes = (-11835.0, -1431.6, 73666.0, -0.21, 0.144)
    found = Quadrant(*(np.array([size]) for size in sizes)).log_probability()
    assert found[0] == pytest.approx(-0.5 * ((11835.0 + 0.21 * 1431.6) / 0.144) ** 2, rel=1e-2)


def test_the_slope_far_beyond_an_edge_is_the_edges_own() -> None:
    """Of readings of 18 km the ratio was made of two numbers of 1e20, whose difference overflowed."""
    mean0 = -np.geomspace(1e3, 1e12, 300)
    far = Quadrant(mean0, *(np.full(mean0.size, size) for size in (-1.0, 1.0, -0.5, 0.1)))
    with np.errstate(over="raise"):
        slope, curvature = far._derivatives(np.zeros(mean0.size), far.slope / far.spread0)
    edge = (far.mean0 - far.slope * far.mean1) / far.spread0
    np.testing.assert_allclose(slope, -1.0 - far.slope / far.spread0 * edge, rtol=1e-6)
    assert (curvature < 0.0).all()
