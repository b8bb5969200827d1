"""Weights of the mixture, its discrepancy and its clock for a part of another age, against hand computation."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import stdtrit

from creepfit.inference.columns import observations
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.mixture import mixture
from creepfit.inference.priors import Priors
from creepfit.inference.weights import flow_counts
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.specimen import Direct
from creepfit.models.kelvin_chain import KelvinChain
from creepfit.models.model import Kelvin
from creepfit.models.power_family import PowerFamily
from creepfit.records.run import Gauge, LoadStep, Reading, Run

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
TEN_DAYS_OLD = 10 * DAY


def strain_run(times: list[float], strain: np.ndarray, noise: float, age: float | None = None) -> Run:
    """A run in strain under 1 MPa with an initial reading of zero."""
    readings = (Reading(-MINUTE, 0.0), *(Reading(t, float(e)) for t, e in zip(times, strain, strict=True)))
    return Run("PC", Direct("strain"), Gauge(1e-9, noise, "as given"), (LoadStep(0.0, 1.0),), readings, name="W", age=age)


def of_models(found: Fit) -> dict[str, float]:
    """Weight of each member by its label."""
    return {p.member.label: float(w) for p, w in zip(found.mixture.posteriors, found.mixture.weights, strict=True)}


@pytest.fixture(scope="module")
def aged() -> Fit:
    """A specimen ten days old whose creep nearly surely ages with a shift rate of 0.8."""
    times = [MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 5 * DAY]
    priors = Priors(weights={"power-family": 1.0}, ageing_weight=0.9, ageing_low=0.8, ageing_high=0.8)
    strain = 5e-4 * (1.0 + 0.03 * PowerFamily().value(np.array(times), np.array(0.2)))
    return fit(strain_run(times, strain, 2e-5, TEN_DAYS_OLD), priors=priors)


@pytest.mark.parametrize("age", [DAY, TEN_DAYS_OLD, 400 * DAY])
def test_a_part_of_another_age_creeps_as_the_specimen_did_at_the_same_effective_time(aged: Fit, age: float) -> None:
    """Struik: d(lambda)/dt = (te0/(te + t))^mu, te0 the specimen's age; integrated here, without its closed form."""
    rate, late = 0.8, 30 * DAY

    def effective(begin: float, t: float) -> float:
        whole = quad(lambda u: np.exp(u) ** (1.0 - rate), np.log(begin), np.log(begin + t))[0]
        return float(TEN_DAYS_OLD**rate * whole)

    as_far = brentq(lambda t: effective(TEN_DAYS_OLD, t) - effective(age, late), HOUR, 1e5 * DAY)
    held = LoadHistory.held(1.0)
    elsewhere = aged.draws.deformation(held, np.array([late]), age=age, discrepancy=False)[:, 0]
    on_the_bench = aged.draws.deformation(held, np.array([as_far]), discrepancy=False)[:, 0]
    ages = np.concatenate([g.rows for g in aged.draws.groups if g.member.rate is not None])
    assert ages.size > 0.5 * aged.draws.count
    np.testing.assert_allclose(elsewhere[ages], on_the_bench[ages], rtol=1e-6)


def test_discrepancy_has_its_stated_size_a_decade_beyond_the_data_and_next_to_none_within() -> None:
    """Student t of 4 % with four degrees of freedom, of the deformation at the end of the test, at ten times its length.

    The column is log10(1 + x) - (1 - exp(-x))/ln 10 with x = 2 t/t_last: 0.8879 at ten times the data and 0.1016 at the
    end of it, so there 0.1144 of it (own arithmetic).
    """
    times = [MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 5 * DAY]
    strain = 5e-4 * (1.0 + 0.03 * PowerFamily().value(np.array(times), np.array(0.2)))
    found = fit(strain_run(times, strain, 1e-6), priors=Priors(discrepancy=0.04, discrepancy_degrees=4.0))
    held, at = LoadHistory.held(1.0), np.array([5 * DAY, 50 * DAY, 1e-9, MINUTE])
    whole, smooth = (found.draws.deformation(held, at, discrepancy=d) for d in (True, False))
    # what came at once, and the creep between the first and the last reading
    share = (whole - smooth)[:, :2] / (smooth[:, 2] + smooth[:, 0] - smooth[:, 3])[:, None]
    for probability in (0.75, 0.9, 0.95):
        wanted = 0.04 * stdtrit(4.0, probability)
        assert np.quantile(share[:, 1], probability) == pytest.approx(wanted, rel=0.03)
    np.testing.assert_allclose(share[:, 0], 0.1144 * share[:, 1], rtol=2e-3, atol=1e-12)


@pytest.mark.parametrize(("loaded", "trust"), [(3, 0.0), (4, 0.5), (5, 2.0 / 3.0), (8, 5.0 / 6.0)])
def test_evidence_counts_as_far_as_readings_are_left_over(loaded: int, trust: float) -> None:
    """Two amplitudes and a shape use up three readings: spare/(spare + 1) of the evidence between two models counts."""
    times = np.geomspace(MINUTE, 5 * DAY, loaded)
    strain = 5e-4 * (1.0 + 0.5 * Kelvin().value(times, np.array(6 * HOUR)))
    even = Priors(weights={"power-family": 0.6, "zener": 0.4}, floor=0.0)
    found = fit(strain_run(times.tolist(), strain, 5e-6), priors=even).mixture
    (power, p), (solid, s) = ((q, w) for q, w in zip(found.posteriors, found.weights, strict=True))
    between = power.log_evidence - solid.log_evidence
    assert abs(between) > 0.1  # else there is nothing to be trusted
    assert np.log(p / s) == pytest.approx(np.log(0.6 / 0.4) + trust * between, abs=1e-6)


def test_a_model_keeps_its_floor_unless_the_readings_contradict_it() -> None:
    """Believed one in a million, the solid gets the floor of 5 % where readings say nothing against it, else nothing."""
    times = np.geomspace(MINUTE, 5 * DAY, 12)
    creeping = 5e-4 * (1.0 + 0.02 * PowerFamily().value(times, np.array(0.2)))
    doubted = Priors(weights={"power-family": 1.0 - 1e-6, "zener": 1e-6}, floor=0.05)
    rough = np.random.default_rng(1).normal(0.0, 1e-4, times.size)
    allowed = of_models(fit(strain_run(times.tolist(), creeping + rough, 1e-4), priors=doubted))
    refuted = of_models(fit(strain_run(times.tolist(), creeping, 1e-7), priors=doubted))
    assert 0.04 < allowed["standard linear solid"] < 0.051
    assert refuted["standard linear solid"] < 1e-4
    no_floor = of_models(fit(strain_run(times.tolist(), creeping + rough, 1e-4), priors=replace(doubted, floor=0.0)))
    assert no_floor["standard linear solid"] < 1e-4


def test_flow_is_rare_only_where_as_much_was_read_as_in_a_table_and_nothing_to_spare() -> None:
    """Three readings over two decades: 0.05 of its weight. What else is left out of a run never lowers it."""

    def counts(loaded: int, first: float = HOUR, last: float = 100 * HOUR) -> float:
        times = np.geomspace(first, last, loaded)
        strain = 5e-4 * (1.0 + 0.02 * PowerFamily().value(times, np.array(0.2)))
        return flow_counts(observations(strain_run(times.tolist(), strain, 5e-6)), Priors())

    assert counts(3) == pytest.approx(0.05)
    assert counts(3, MINUTE) == pytest.approx(0.05)
    assert counts(4) == pytest.approx(0.05**0.25)
    assert counts(3, 10 * HOUR) == pytest.approx(0.05**0.25)
    fewer_to_spare = [counts(n) for n in (12, 8, 6, 5, 4, 3)]
    assert fewer_to_spare == sorted(fewer_to_spare, reverse=True)
    assert fewer_to_spare[0] > 0.95
    shorter = [counts(3, first * HOUR) for first in (1, 3, 10, 30, 90)]
    assert shorter == sorted(shorter)


@pytest.mark.parametrize("beside", [0.0, 0.2])
def test_a_third_unit_too_late_to_be_seen_does_not_pass_for_rest(beside: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Units of 5, 60 and 1500 h read to 0.0005 mm: a chain of two fits them, at rest unless it has a flow beside it."""
    monkeypatch.setattr(KelvinChain, "flow_beside", beside)

    def creep(t: Array) -> Array:
        sizes, hours = np.array([0.128, 0.148, 0.83]), np.array([5.0, 60.0, 1500.0])
        return np.where(t > 0.0, 2.0 - np.expm1(-np.maximum(t, 0.0)[:, None] / (hours * HOUR)) @ sizes, 0.0)

    off = 5 * DAY
    after = off + np.array([MINUTE, HOUR, DAY, 2 * DAY])
    times = np.array([-MINUTE, MINUTE, 10 * MINUTE, HOUR, *(k * DAY for k in range(1, 6)), *after])
    later = np.array([30 * DAY, 365 * DAY])
    above = 0
    for seed in range(3):
        read = creep(times) - creep(times - off) + np.random.default_rng(seed).normal(0.0, 0.0005, times.size)
        readings = tuple(Reading(float(t), float(v)) for t, v in zip(times, np.round(read, 4), strict=True))
        run = Run("PC", Direct(), Gauge(0.0005, 0.0005, "given"), (LoadStep(0.0, 1.0), LoadStep(off, 0.0)), readings)
        held = mixture(observations(run), Priors()).draws(2000).deformation(LoadHistory.held(1.0), later)
        above += int((creep(later) > np.quantile(held, 0.95, axis=0)).any())
    assert above == 0 if beside > 0.0 else above > 1


def test_more_readings_of_the_zero_or_of_one_moment_do_not_speak_for_a_model():
    """Nine zeros before three readings of strain gave flow its full weight, and an upper end of 4 to 16 times the truth."""
    hours = 3600.0 * np.array([1.0, 10.0, 100.0])
    strain = 0.01 * (hours / 3600.0) ** 0.08

    def run_of(zeros: int, repeats: int) -> Run:
        at = [(-60.0 * (k + 1), 0.0) for k in range(zeros)]
        at += [(t + k, s) for t, s in zip(hours, strain, strict=True) for k in range(repeats)]
        readings = tuple(Reading(float(t), float(s)) for t, s in sorted(at))
        return Run("X", Direct("strain"), Gauge(1e-6, 2e-5, "given"), (LoadStep(0.0, 10.0),), readings)

    few, many, again = (observations(run_of(*counts)) for counts in ((1, 1), (9, 1), (1, 3)))
    assert few.telling == many.telling == again.telling == 3
    weights = [mixture(o, Priors()).weight_of("power-flow") for o in (few, many)]
    assert weights[1] == pytest.approx(weights[0], rel=0.2)
    assert weights[0] < 0.04
