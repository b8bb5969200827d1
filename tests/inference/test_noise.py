"""Covariance of the readings, against its formulas written out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.stats import chi2, multivariate_normal

from creepfit.errors import FitError
from creepfit.inference.noise import (
    DEFAULT_DRIFT,
    GAUGE_DEGREES,
    MODULUS_PER_KELVIN,
    REPEATS_WORTH_AT_MOST,
    Noise,
    noise_of,
    temperature_swing,
)
from creepfit.mechanics.specimen import Direct
from creepfit.records.run import Gauge, LoadStep, Reading, Run

Array = NDArray[np.float64]
DAY = 86400.0
TIMES = (0.0, 60.0, DAY, 4 * DAY)
DEFORMATION = np.array([0.0, 1.0, 1.2, 1.3])


def a_run(gauge: Gauge | None = None, **of_readings: tuple[object, ...]) -> Run:
    readings = [Reading(t, 1.0) for t in TIMES]
    for name, values in of_readings.items():
        readings = [replace(r, **{name: v}) for r, v in zip(readings, values, strict=True)]  # type: ignore[arg-type]
    return Run("PETG", Direct(), gauge or Gauge(0.01, 0.008, "given", drift=0.0), (LoadStep(0.0, 1.0),), tuple(readings))


def covariance(noise: Noise) -> Array:
    return noise.stated**2 * noise.correlation


def test_errors_too_far_apart_for_numbers_are_said_to_be() -> None:
    """Ten metres that swell with 400 K beside a gauge of a nanometre: such a covariance has no root."""
    run = a_run(Gauge(1e-6, 1e-6, "given", drift=0.0), temperature=(-100.0, 300.0, 300.0, 300.0))
    noise = noise_of(run, 1e4 * DEFORMATION)
    with pytest.raises(FitError, match="look at the units of readings, sizes, drift and temperatures"):
        noise.whiten(DEFORMATION)


def test_one_reading_has_repeatability_and_rounding() -> None:
    """s^2 = repeatability^2 + resolution^2/12."""
    noise = noise_of(a_run(), DEFORMATION)
    assert noise.stated**2 == pytest.approx(0.008**2 + 0.01**2 / 12.0)
    assert noise.correlation == pytest.approx(np.eye(4))
    assert noise.degrees == GAUGE_DEGREES == 5.0


def test_repeats_average_the_repeatability_but_not_the_rounding() -> None:
    noise = noise_of(a_run(repeats=(1, 1, 4, 1), spread=(None, None, 0.008, None)), DEFORMATION)
    # the scatter of the four agrees with the gauge's, so it changes the stated noise little
    variance = (5.0 * (0.008**2 + 0.01**2 / 12.0) + 3.0 * (0.008**2 + 0.01**2 / 12.0)) / 8.0
    assert noise.stated**2 == pytest.approx(variance)
    assert noise.degrees == 8.0
    assert np.diag(covariance(noise))[2] == pytest.approx(0.008**2 / 4.0 + 0.01**2 / 12.0)


def test_scatter_between_repeats_counts_up_to_ten_degrees() -> None:
    noise = noise_of(a_run(repeats=(1, 30, 30, 1), spread=(None, 0.02, 0.02, None)), DEFORMATION)
    assert noise.degrees == GAUGE_DEGREES + REPEATS_WORTH_AT_MOST == 15.0
    rounding = 0.01**2 / 12.0
    assert noise.stated**2 == pytest.approx((5.0 * (0.008**2 + rounding) + 10.0 * (0.02**2 + rounding)) / 15.0)


def test_scatter_within_bins_is_the_scale_where_readings_err_alone() -> None:
    """A mixture of two scaled inverse chi-squares, of nine and one in ten; within bins 0.02 with 400 degrees of freedom."""
    noise = replace(noise_of(a_run(), DEFORMATION), within=(0.02, 400.0))
    centre, degrees = noise.prior_of(1.5)
    both = np.sqrt((degrees * centre**2 + 400.0 * 0.02**2) / (degrees + 400.0))
    logs = np.linspace(np.log(1e-4), np.log(20.0), 100_000)
    density = np.exp(noise.log_prior(np.exp(logs), 1.5))
    below = np.cumsum(density) * (logs[1] - logs[0])
    for scale in (0.003, 0.018, 0.02, 0.022, 0.1):
        wide, narrow = (chi2(d).sf(d * (c / scale) ** 2) for c, d in ((centre, degrees), (both, degrees + 400.0)))
        assert np.interp(np.log(scale), logs, below) == pytest.approx(0.9 * narrow + 0.1 * wide, abs=2e-3)


def test_drift_is_a_random_walk_from_the_first_reading() -> None:
    """q^2 min(t_i, t_j), t in days."""
    noise = noise_of(a_run(Gauge(0.01, 0.008, "given", drift=0.006)), DEFORMATION)
    days = np.array(TIMES) / DAY
    walk = 0.006**2 * np.minimum(days[:, None], days[None, :])
    assert covariance(noise) == pytest.approx(noise.stated**2 * np.eye(4) + walk)
    assert (noise.drift, noise.drift_source) == (0.006, "given")


def test_where_no_drift_is_given_half_the_gauge_noise_is_assumed_and_said() -> None:
    noise = noise_of(a_run(Gauge(0.01, 0.008, "given")), DEFORMATION)
    assert noise.drift == pytest.approx(DEFAULT_DRIFT * noise.stated)
    assert noise.drift_source == "default, 0.5 of the gauge noise"


def test_a_temperature_swing_moves_readings_together_in_proportion_to_the_deformation() -> None:
    noise = noise_of(a_run(temperature=(22.0, 22.0, 25.0, 23.0)), DEFORMATION)
    column = MODULUS_PER_KELVIN * np.array([-1.0, -1.0, 2.0, 0.0]) * DEFORMATION
    assert covariance(noise) == pytest.approx(noise.stated**2 * np.eye(4) + np.outer(column, column))


def test_unknown_temperatures_swing_with_none() -> None:
    assert temperature_swing(a_run()) is None
    assert temperature_swing(a_run(temperature=(None, 22.0, None, None))) is None
    swing = temperature_swing(a_run(temperature=(22.0, None, 24.0, None)))
    assert swing is not None
    assert swing.tolist() == [-1.0, 0.0, 1.0, 0.0]


def test_whitened_readings_are_independent_and_of_unit_size() -> None:
    run = a_run(Gauge(0.01, 0.008, "given", drift=0.01), temperature=(22.0, 22.5, 25.0, 23.0))
    noise = noise_of(run, DEFORMATION)
    root = noise.whiten(np.eye(4))
    assert root @ noise.correlation @ root.T == pytest.approx(np.eye(4), abs=1e-12)
    # columns of one shape value, of many, and a single vector alike
    many = np.random.default_rng(0).normal(size=(3, 4, 2))
    assert noise.whiten(many)[1] == pytest.approx(noise.whiten(many[1]))
    assert noise.whiten(many[1])[:, 0] == pytest.approx(noise.whiten(many[1][:, 0]))


def test_draws_with_the_covariance_scatter_as_it_says() -> None:
    noise = noise_of(a_run(Gauge(0.01, 0.008, "given", drift=0.01)), DEFORMATION)
    root = np.linalg.cholesky(covariance(noise))
    draws = np.random.default_rng(1).normal(size=(20000, 4)) @ root.T
    assert np.cov(draws.T) == pytest.approx(covariance(noise), abs=0.05 * noise.stated**2)
    assert np.cov(noise.whiten(draws.T) / noise.stated) == pytest.approx(np.eye(4), abs=0.05)


def test_evidence_under_two_covariances_is_that_of_the_whole_density() -> None:
    """A random column more or less: whitened readings and the volume against the normal density with a zero nearly free."""
    noise = noise_of(a_run(Gauge(0.01, 0.008, "given", drift=0.01)), DEFORMATION)
    zeros, values = np.ones((4, 1)), DEFORMATION - DEFORMATION.mean()
    found, expected = [], []
    for random in (None, 3.0 * DEFORMATION[:, None] / noise.stated):
        one = replace(noise, random=random)
        white, q = one.whiten(values) / one.stated, np.linalg.qr(one.whiten(zeros))[0]
        found.append(one.log_volume(zeros) - 0.5 * float(white @ white - (q.T @ white) @ (q.T @ white)))
        whole = one.correlation + (0.0 if random is None else random @ random.T) + 1e8
        expected.append(multivariate_normal(cov=one.stated**2 * whole).logpdf(values))
    assert found[1] - found[0] == pytest.approx(expected[1] - expected[0], rel=1e-4)
    assert abs(found[1] - found[0]) > 1.0
