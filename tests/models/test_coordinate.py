"""Priors on a model's coordinates against scipy's distributions, their grids, and what is no prior."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats
from scipy.integrate import fixed_quad

from creepfit.errors import InputError
from creepfit.inference.priors import Priors
from creepfit.models import coordinate
from creepfit.models.coordinate import Coordinate, ExponentPrior

Array = NDArray[np.float64]
PRIORS = Priors()
N = coordinate.exponent(PRIORS, -1.0, 0.9, 71)
FLOW = coordinate.flow_share(PRIORS, 8, 12)
FLOW_OR_FAINT = coordinate.flow_share_or_faint(PRIORS, 14, 20)
SHARE = coordinate.even_share(5, 8)
SET = coordinate.half_normal_share(0.3, 6, 11)
TAU = coordinate.even(20.0, 2e6, 16, 20, log=True)


def rare(n: Array) -> Array:
    """Student's t, from 0.3 on times a normal of 0.2 about that."""
    prior = PRIORS.exponent
    beyond = np.exp(-0.5 * (np.maximum(n - max(0.3, prior.location), 0.0) / 0.2) ** 2)
    return np.asarray(stats.t(prior.degrees, prior.location, prior.scale).pdf(n) * beyond)


def beta(first: float, mean: float) -> stats.rv_continuous:
    return stats.beta(first, first / mean - first)


def faint_or_plain(share: Array) -> Array:
    plain, faint = beta(1.5, PRIORS.flow_mean), beta(4.0, PRIORS.faint_flow_mean)
    return np.asarray((1.0 - PRIORS.faint_flow) * plain.pdf(share) + PRIORS.faint_flow * faint.pdf(share))


def test_a_set_is_looked_for_up_to_four_times_its_scale() -> None:
    assert (coordinate.half_normal_share(0.2, 6, 11).low, coordinate.half_normal_share(0.2, 6, 11).high) == (0.0, 0.8)


@pytest.mark.parametrize(
    ("axis", "density", "values", "within"),
    [
        (N, rare, [-0.9, -0.2, 0.1, 0.29, 0.5, 0.85], 1e-4),
        (FLOW, beta(1.5, PRIORS.flow_mean).pdf, [0.01, 0.1, 0.2, 0.6, 0.95], 2e-3),  # its root at zero is on 400 cells
        (FLOW_OR_FAINT, faint_or_plain, [0.004, 0.01, 0.025, 0.05, 0.2, 0.7], 1e-3),
        (SHARE, stats.uniform().pdf, [0.1, 0.9], 1e-12),
        (SET, stats.halfnorm(scale=0.3).pdf, [0.01, 0.2, 0.5, 1.1], 1e-4),
        (TAU, lambda x: 1.0 / x, [20.0, 300.0, 1.9e6], 1e-12),
    ],
    ids=["n", "flow", "flow or faint", "share", "set", "tau"],
)
def test_densities_are_those_of_the_distributions(
    axis: Coordinate, density: object, values: list[float], within: float
) -> None:
    """Cut to the axis, per unit of the coordinate itself, also where the axis is a logarithm."""
    assert callable(density)
    low, high = axis.low, axis.high
    cuts = np.geomspace(max(low, 1e-6 * high), high, 40) if low >= 0.0 else np.linspace(low, high, 40)
    pieces = [low, *cuts[1:]]
    total = sum(fixed_quad(density, a, b, n=30)[0] for a, b in pairwise(pieces))
    at = np.array(values)
    np.testing.assert_allclose(np.exp(axis.log_prior(at)), density(at) / total, rtol=within)


@pytest.mark.parametrize("axis", [N, FLOW, FLOW_OR_FAINT, SHARE, SET, TAU])
def test_grids_are_middles_of_even_cells(axis: Coordinate) -> None:
    low, high = (0.2, 0.8) if axis.role != "shape" or not axis.log else (20.0, 2e6)
    grid = axis.grid(low, high, 3)
    if axis.log:
        np.testing.assert_allclose(grid, low * (high / low) ** (np.array([1.0, 3.0, 5.0]) / 6.0))
        assert axis.length(low, high) == pytest.approx(np.log(high) - np.log(low))
    else:
        np.testing.assert_allclose(grid, [0.3, 0.5, 0.7])
        assert axis.length(low, high) == pytest.approx(0.6)
    assert axis.low < axis.high
    assert axis.coarse > 3
    assert axis.fine > axis.coarse


def test_a_set_reaches_to_four_times_its_scale_and_a_faint_flow_from_a_thousandth_on() -> None:
    assert (SET.low, SET.high, SET.role) == (0.0, pytest.approx(1.2), "set")
    assert (FLOW_OR_FAINT.low, FLOW_OR_FAINT.high, FLOW_OR_FAINT.role) == (0.003, 1.0, "share")
    assert (FLOW.low, FLOW.high, SHARE.low, SHARE.high) == (0.0, 1.0, 0.0, 1.0)


@pytest.mark.parametrize("value", [0.0, -1.0, float("nan"), float("inf"), True, "1"])
def test_a_scale_that_is_none_is_refused_by_name(value: object) -> None:
    with pytest.raises(InputError, match=r"scale.*above zero"):
        ExponentPrior(0.1, value)  # type: ignore[arg-type]
    with pytest.raises(InputError, match=r"degrees.*above zero"):
        ExponentPrior(0.1, 0.1, value)  # type: ignore[arg-type]


def test_an_exponent_may_be_believed_to_be_zero_or_below() -> None:
    for location in (0.0, -0.3):
        assert ExponentPrior(location, 0.1).location == location
    with pytest.raises(InputError, match=r"location.*a number"):
        ExponentPrior(float("nan"), 0.1)
