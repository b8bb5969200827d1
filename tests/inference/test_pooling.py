"""Pooled runs: against statsmodels' mixed model, simulations with known scatter, and every claim both ways."""

from __future__ import annotations

import json
import warnings
from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr
from scipy.stats import lognorm

from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.modulus import creep_modulus
from creepfit.answers.specimen.recovery import recovery
from creepfit.errors import FitError, InputError
from creepfit.inference import scatter, stress_law
from creepfit.inference.columns import observations
from creepfit.inference.components import UnitCreep, members_of, nodes_of
from creepfit.inference.fitting import fit
from creepfit.inference.mixture import mixture
from creepfit.inference.noise import UNSTEADY
from creepfit.inference.pooling import PooledFit, fit_pooled
from creepfit.inference.posterior import posterior
from creepfit.inference.priors import Priors
from creepfit.inference.scatter import (
    BEHIND,
    SCATTER,
    Scatters,
    log_scatter_prior,
    mean_curve,
    pool_mixture,
    scatter_quantiles,
    specimen_factors,
)
from creepfit.inference.specimen_amplitudes import SpecimenProjections, SpecimensLikelihood
from creepfit.inference.stacking import StackedObservations, specimen_names, stack
from creepfit.mechanics.loading import Array, LoadHistory, superpose
from creepfit.mechanics.specimen import Cantilever, Direct, Specimen, Tension
from creepfit.models.power_family import PowerFamily
from creepfit.records.run import Event, Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, HOUR, Measure

LOGGED = (60.0, 600.0, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY)
TIMED = (1.0, 3.0, 10.0, 30.0, 60.0)
STRAIN = Direct("strain")
ALONE = Priors(weights={"power-family": 1.0})
"""Enough where a test is not about members; whether a run fits with the others is judged by this model alone anyway."""


def compliance(history: LoadHistory, times: Array, n: float) -> Array:
    """Power family with 1/2000 MPa at once and half as much again after 5 d, in 1/MPa times the load."""
    creep = superpose(PowerFamily(), history, times, np.array([n]))[0]
    return np.asarray((history.at(times) + 0.5 * creep / (((1.0 + 5 * DAY) ** n - 1.0) / n)) / 2000.0)


def run_of(
    name: str,
    factor: float = 1.0,
    *,
    seed: int = 0,
    n: float = 0.15,
    load: float = 10.0,
    noise: float = 2e-5,
    times: Sequence[float] = LOGGED,
    specimen: Specimen = STRAIN,
    initial: bool = True,
    unload: bool = False,
    **fields: Any,
) -> Run:
    end = times[-1]
    after = (end + 60.0, end + HOUR, end + DAY) if unload else ()
    at = np.array([*((-60.0,) if initial else ()), *times, *after])
    steps = (LoadStep(0.0, load), *((LoadStep(end, 0.0),) if unload else ()))
    history = LoadHistory.from_steps([(s.at, s.over, s.value) for s in steps])
    shown = factor * specimen.geometry.reading_per_compliance * compliance(history, at, n)
    shown = shown + noise * np.random.default_rng(seed).standard_normal(at.size)
    readings = tuple(Reading(float(t), float(y)) for t, y in zip(at, shown, strict=True))
    gauge = Gauge(noise / 20.0, noise, "as given", drift=0.0)
    return Run("PETG", specimen, gauge, steps, readings, name=name, **fields)


def runs_with(factors: Sequence[float], seed: int = 0) -> list[Run]:
    return [run_of(f"bar {i}", float(f), seed=1000 * seed + i) for i, f in enumerate(factors)]


def drawn(factors: Sequence[float], seed: int = 0, average: bool = False) -> Array:
    """Draws of ln compliance after a day, by the power family alone: quick enough to repeat."""
    runs = runs_with(factors, seed)
    stacked = stack([observations(r) for r in runs], specimen_names(runs), [None] * len(runs))
    mix = replace(pool_mixture(stacked, ALONE).mixture, average=average)
    return np.asarray(np.log(mix.draws(4000, seed).compliance(np.array([DAY]))[:, 0]))


@pytest.fixture(scope="module")
def pool() -> PooledFit:
    """Five bars with 6 % scatter."""
    return fit_pooled(runs_with(np.exp(0.06 * np.array([-1.2, 0.7, -0.3, 1.3, -0.5]))))


# --- against statsmodels ---------------------------------------------------------------------------------------------


def test_factors_and_scatter_agree_with_the_mixed_model_on_logarithms() -> None:
    """Twelve bars of known shape; MixedLM fits ln(reading) - ln(shape) = mean + bar + noise by REML."""
    from statsmodels.regression.mixed_linear_model import MixedLM  # all of statsmodels takes a second to import

    true = np.exp(0.07 * np.random.default_rng(3).standard_normal(12))
    # a gauge so good that the zero, which the mixed model takes for known, is of no account
    runs = [run_of(f"bar {i}", float(f), seed=i, noise=2e-6) for i, f in enumerate(true)]
    times = np.array(LOGGED)
    shape = compliance(LoadHistory.held(10.0), times, 0.15)
    logs = np.array([[r.value for r in run.readings if r.time > 0.0] for run in runs])
    logs = np.log(logs) - np.log(shape)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of a boundary it only passes by
        bars = np.repeat(np.arange(12), times.size)
        mixed = MixedLM(logs.ravel(), np.ones((logs.size, 1)), groups=bars).fit(reml=True)
    scatter = float(np.sqrt(np.asarray(mixed.cov_re)[0, 0]))
    blups = np.exp([float(np.asarray(mixed.random_effects[i])[0]) for i in range(12)])
    mean = float(np.exp(np.asarray(mixed.fe_params)[0]))

    pooled = fit_pooled(runs, priors=ALONE)
    factors = np.array([f.median for f in pooled.factors])
    np.testing.assert_allclose(factors / factors.mean(), blups / blups.mean(), rtol=0.001)
    average = pooled.average_draws.compliance(np.array([DAY]))[:, 0]
    true_average = compliance(LoadHistory.held(1.0), np.array([DAY]), 0.15)[0]
    assert np.median(average) / true_average == pytest.approx(mean, rel=0.01)
    # of the average both know as much: MixedLM's standard error, and the spread of the draws
    assert np.std(np.log(average)) == pytest.approx(float(np.asarray(mixed.bse_fe)[0]), rel=0.25)
    assert pooled.scatter.median == pytest.approx(scatter, rel=0.12)  # with twelve bars the prior says little
    assert pooled.scatter.low < scatter < pooled.scatter.high


# --- any ratio of scatter to gauge noise ---


@settings(max_examples=10, derandomize=True, deadline=None)
@given(decades=st.floats(-6.0, 0.0), load=st.floats(0.5, 50.0))
def test_any_ratio_of_scatter_to_noise_is_resolved(decades: float, load: float) -> None:
    """Four cantilevers with a scatter of 18 %; the gauge noise goes over six decades from that scatter down.

    Once a curve on a grid of shapes could not follow a good gauge, so that the scatter, laid on a curve of its own, took up
    all deformation and the average came out a thousandth of the truth, or the covariance had no root.
    """
    strip = Cantilever(length=Measure(80.0), width=Measure(12.0), thickness=Measure(3.0))
    noise = 0.18 * 10.0**decades * strip.geometry.reading_per_compliance * load / 2000.0
    factors = (0.8, 0.95, 1.05, 1.2)
    runs = [run_of(f"b{i}", f, seed=i, specimen=strip, load=load, noise=noise) for i, f in enumerate(factors)]
    stacked = stack([observations(r) for r in runs], specimen_names(runs), [None] * 4)
    mix = replace(pool_mixture(stacked, ALONE).mixture, average=True)
    draws = mix.draws(2000, 0)
    reached = np.median(draws.compliance(np.array([5 * DAY]))[:, 0])
    # a gauge as bad as the scatter leaves the average to a tenth, a good one leaves the spread of four bars over 2
    assert reached == pytest.approx(1.5 / 2000.0, rel=0.25 if decades > -1.0 else 0.04)
    if decades < -2.0:
        assert 0.1 < np.median(draws.scatter) < 0.35
        assert np.median(draws.creep_scatter) < 0.05
        found = np.median(specimen_factors(draws, stacked, ALONE, 1), axis=0)
        np.testing.assert_allclose(found / found.mean(), factors, rtol=0.01)
        # a gauge far finer than 0.2 % of the deformation is believed only in part: that much is expected of bar and room
        assert 0.7 * noise < np.median(draws.noise) < max(1.3 * noise, 0.5 * UNSTEADY * stacked.scale)


def test_the_creep_of_specimens_scatters_on_its_own() -> None:
    """Six bars alike in stiffness whose creep differs by a tenth: that is said, and a new bar's interval has it."""
    own = np.exp(0.12 * np.array([-1.3, 0.8, -0.4, 1.2, -0.7, 0.4]))
    runs = []
    for i, creep in enumerate(own):
        run = run_of(f"bar {i}", seed=i)
        extra = (creep - 1.0) * (compliance(run.history, np.array([r.time for r in run.readings]), 0.15) * 2000.0 - 10.0)
        shown = [
            replace(r, value=r.value + (float(e) / 2000.0 if r.time > 0.0 else 0.0))
            for r, e in zip(run.readings, extra, strict=True)
        ]
        runs.append(replace(run, readings=tuple(shown)))
    pooled = fit_pooled(runs, priors=ALONE)
    assert pooled.scatter.high < 0.05
    assert pooled.creep_scatter.low < np.log(own).std(ddof=1) < pooled.creep_scatter.high
    assert pooled.creep_scatter.low > 0.05
    ends = np.array([60.0, 5 * DAY])
    new, average = (np.diff(d.compliance(ends), axis=1)[:, 0] for d in (pooled.draws, pooled.average_draws))
    assert np.std(np.log(new)) > 2.0 * np.std(np.log(average))
    assert not pooled.misfits


# --- a new specimen --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("count", "classical", "expected"),
    [
        # t (k - 1 degrees of freedom) times sqrt(1 + 1/k): 95 %, two-sided
        (10, 2.37, pytest.approx(2.37, rel=0.15)),
        (5, 3.04, pytest.approx(3.04, rel=0.15)),
        # from few bars the prior of the scatter (8 % is usual) keeps the interval from growing without bounds
        (3, 4.97, pytest.approx(4.2, abs=0.77)),
        (2, 15.6, pytest.approx(6.5, abs=2.5)),
    ],
)
def test_interval_of_a_new_specimen_as_a_multiple_of_the_spread(count: int, classical: float, expected: object) -> None:
    factors = np.linspace(-1.0, 1.0, count)
    factors = np.exp(0.08 * factors / factors.std(ddof=1))  # their spread is 8 %, exactly
    low, high = np.quantile(drawn(factors), [0.025, 0.975])
    multiple = (high - low) / 2.0 / 0.08
    assert multiple == expected
    assert multiple < 1.15 * classical


@pytest.mark.parametrize(("count", "scatter"), [(2, 0.06), (6, 0.1)])
def test_coverage_of_new_specimens(count: int, scatter: float) -> None:
    """The probability that a 90 % interval holds a new bar, whose scatter is known here, is 0.9 on the average.

    It is more with two bars that scatter by less than the 10 % that the prior expects.
    """
    truth = float(np.log(compliance(LoadHistory.held(1.0), np.array([DAY]), 0.15)[0]))
    held = []
    for seed in range(1000, 1014):
        logs = scatter * np.random.default_rng(seed).standard_normal(count)
        ends = np.quantile(drawn(np.exp(logs), seed), [0.05, 0.95])
        held.append(float(np.diff(ndtr((ends - truth) / scatter))[0]))
    error = np.std(held) / np.sqrt(len(held))
    assert np.mean(held) > 0.9 - 2.5 * error
    assert np.mean(held) < (0.9 if count > 2 else 0.96) + 2.5 * error
    assert error < 0.04  # else the lines above say little


def test_scatter_is_added_once_to_the_average(pool: PooledFit) -> None:
    at = np.array([DAY])
    new, average = (np.log(d.compliance(at)[:, 0]) for d in (pool.draws, pool.average_draws))
    scatter = pool.average_draws.scatter
    assert np.var(new) == pytest.approx(np.var(average) + np.mean(scatter**2), rel=0.1)
    assert np.median(new) == pytest.approx(np.median(average), abs=0.005)
    # of any part of the mixture as of the whole: draws of one model hold the scatter too
    one = replace(pool.mixture, posteriors=pool.mixture.posteriors[:1], weights=np.ones(1))
    assert np.std(np.log(one.draws(2000).compliance(at)[:, 0])) > np.std(average)
    assert not fit(pool.runs[0]).draws.scatter.any()


def test_one_specimen_leaves_the_scatter_at_its_prior() -> None:
    alone = fit_pooled([run_of("bar", seed=1), run_of("bar", seed=2, times=LOGGED[:5])])
    assert alone.stacked.count == 1
    assert alone.scatter.median == pytest.approx(SCATTER, rel=0.2)
    assert "one specimen" in alone.scatter.source


def test_a_small_scatter_is_seen_to_be_small() -> None:
    same = fit_pooled(runs_with(np.ones(5)), priors=ALONE)
    assert same.scatter.high < 0.02
    assert not same.misfits


# --- the stacked problem ---------------------------------------------------------------------------------------------


def test_one_run_stacked_is_the_run() -> None:
    run = run_of("bar", unload=True)
    observed = observations(run)
    alone, stacked = mixture(observed, Priors()), mixture(stack([observed], ["bar"], [None]), Priors())
    np.testing.assert_allclose(alone.weights, stacked.weights, rtol=1e-9)
    np.testing.assert_allclose(alone.draws(50).instant, stacked.draws(50).instant, rtol=1e-9)


def test_runs_of_different_tests_share_one_compliance() -> None:
    """Strain, a tension bar and a cantilever of one material, in % and in mm, give its parameters in 1/MPa."""
    bar = Tension(length=Measure(50.0), width=Measure(10.0), thickness=Measure(4.0))
    strip = Cantilever(length=Measure(80.0), width=Measure(12.0), thickness=Measure(5.0))
    runs = [
        run_of("a"),
        run_of("b", specimen=bar, load=400.0, noise=0.001, seed=1),
        run_of("c", specimen=strip, load=3.0, noise=0.005, seed=2),
    ]
    for order in (runs, runs[::-1]):
        pooled = fit_pooled(order, priors=ALONE)
        found = {p.name: p.value for p in pooled.models["power-family"].parameters}
        assert found["D0"] == pytest.approx(1 / 2000.0, rel=0.02)
        assert found["n"] == pytest.approx(0.15, abs=0.02)
        reached = np.median(pooled.draws.compliance(np.array([5 * DAY]))[:, 0])
        assert reached == pytest.approx(1.5 / 2000.0, rel=0.01)


def test_the_reference_is_a_long_run_with_an_initial_reading() -> None:
    runs = [run_of("short", times=TIMED), run_of("blind", initial=False), run_of("whole", seed=3)]
    pooled = fit_pooled(runs, priors=ALONE)
    assert pooled.run.name == "whole"
    assert [r.name for r in pooled.runs] == ["whole", "short", "blind"]
    assert (pooled.observed.span.first, pooled.observed.span.last) == (1.0, 5 * DAY)


def test_all_answers_take_a_pooled_fit() -> None:
    pooled = fit_pooled([run_of("a", unload=True), run_of("b", 1.05, seed=1, unload=True), run_of("c", 0.97, seed=2)])
    single = fit(pooled.runs[0])
    for answer in (forecast(pooled, at=["1 year"]), recovery(pooled, after=["1 d"]), creep_modulus(pooled)):
        json.dumps(answer.to_dict(), allow_nan=False)
    wide, narrow = (forecast(f, at=["5 d"]).rows[0].interval for f in (pooled, pooled.average))
    assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)
    assert single.draws.scatter.size == single.draws.count
    assert scatter_quantiles(pooled.mixture, 0.05) < scatter_quantiles(pooled.mixture, 0.95)


# --- what belongs together -------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("fields", "named"),
    [
        ({"temperature": 40.0}, "temperature 23 °C of a and 40 °C of b"),
        ({"conditioning": "dried"}, "conditioning 'as printed' of a and 'dried' of b"),
        ({"print_data": (("infill", "20 %"),)}, "infill '100 %' of a and '20 %' of b"),
        ({"humidity": 0.8}, "humidity 50 % of a and 80 % of b"),
    ],
)
def test_runs_that_differ_are_named_and_pooled_only_anyway(fields: dict[str, Any], named: str) -> None:
    alike: dict[str, Any] = {
        "temperature": 23.0, "conditioning": "as printed", "humidity": 0.5, "print_data": (("infill", "100 %"),),
    }  # fmt: skip
    runs = [run_of("a", **alike), run_of("b", seed=1, **{**alike, **fields})]
    with pytest.raises(InputError) as caught:
        fit_pooled(runs)
    assert named in str(caught.value)
    assert "--anyway" in str(caught.value)
    assert fit_pooled(runs, anyway=True, priors=ALONE).differences == (named,)


def test_alike_or_unknown_is_no_difference() -> None:
    runs = [run_of("a", temperature=23.0), run_of("b", seed=1, temperature=24.0, conditioning="dried"), run_of("c", seed=2)]
    assert fit_pooled(runs, priors=ALONE).differences == ()


def test_materials_are_not_mixed_unasked() -> None:
    runs = [run_of("a"), replace(run_of("a", 1.3, seed=1), material="PLA")]
    with pytest.raises(InputError, match="material 'PETG'"):
        fit_pooled(runs)
    both = fit_pooled(runs, anyway=True, priors=ALONE)
    assert [f.specimen for f in both.factors] == ["PETG a", "PLA a"]  # one name, but two specimens


@pytest.mark.parametrize("anyway", [False, True])
def test_millimetres_without_sizes_do_not_mix_with_strain(anyway: bool) -> None:
    runs = [run_of("a"), run_of("b", specimen=Direct(), noise=0.01)]
    with pytest.raises(InputError, match=r"no common measure.*sizes unknown"):
        fit_pooled(runs, anyway=anyway)
    assert (
        fit_pooled([run_of("a", specimen=Direct()), run_of("b", specimen=Direct(), seed=1)], priors=ALONE).run.name == "a"
    )


def test_what_cannot_be_pooled_is_told_in_one_line() -> None:
    with pytest.raises(InputError, match="no run to pool"):
        fit_pooled([])
    with pytest.raises(FitError, match="b: one reading under load"):
        fit_pooled([run_of("a"), run_of("b", times=(60.0,))])


def test_a_run_of_another_shape_is_named(pool: PooledFit) -> None:
    assert not pool.misfits
    odd = [*pool.runs[:4], run_of("odd", n=0.35, seed=9)]
    found = fit_pooled(odd, priors=ALONE).misfits
    assert [m.run for m in found] == ["odd"]
    assert found[0].probability < 0.01
    assert found[0].free == len(LOGGED)


def test_a_run_far_softer_than_the_others_is_named() -> None:
    factors = np.exp(0.03 * np.array([-1.0, 0.5, 1.2, -0.2, 0.3]))
    pooled = fit_pooled([*runs_with(factors), run_of("soft", 1.8, seed=9)], priors=ALONE)
    assert [m.run for m in pooled.misfits] == ["soft"]


def test_of_two_that_disagree_both_are_named() -> None:
    found = fit_pooled([run_of("a"), run_of("b", n=0.4, seed=1)], priors=ALONE).misfits
    assert {m.run for m in found} == {"a", "b"}
    assert fit_pooled([run_of("a"), run_of("b", 1.05, seed=1)], priors=ALONE).misfits == ()


def test_whether_seconds_and_days_share_a_curve_is_tested() -> None:
    days = [run_of("a"), run_of("b", 1.05, seed=1)]
    alike = fit_pooled([*days, run_of("c", 0.98, times=TIMED, noise=2e-6, seed=2)]).shared_shape
    other = fit_pooled([*days, run_of("c", 0.98, times=TIMED, noise=2e-6, n=0.6, seed=2)]).shared_shape
    assert alike is not None
    assert other is not None
    assert alike.groups == (("c",), ("a", "b"))
    # five readings within a minute leave it open; they must not be told apart where they are alike
    assert alike.probability > 0.05
    assert alike.log_ratio > other.log_ratio + 5.0
    assert "do not decide" in alike.text
    assert other.probability < 0.05
    assert "does not serve" in other.text
    assert fit_pooled(days, priors=ALONE).shared_shape is None


def test_columns_alike_leave_no_evidence_of_rounding() -> None:
    """A retardation time of seconds is over before the readings of days: its column is the instantaneous one there."""
    runs = [run_of("a"), run_of("b", 1.05, seed=1), run_of("c", 0.98, times=TIMED, noise=2e-6, n=0.6, seed=2)]
    found = fit_pooled(runs)
    assert found.shared_shape is not None
    assert -40.0 < found.shared_shape.log_ratio < 0.0
    evidence = [p.log_evidence for p in found.mixture.posteriors]
    assert max(evidence) < 500.0


def test_specimens_as_different_as_can_be_have_a_determinant() -> None:
    """A bar a kilometre thick beside a strip: the determinant of the sum of their precisions, where it has digits left."""
    times = (-60.0, 0.0864, 0.864, 8.64, 25.92, 146.4, 172.8, 3686.4)
    shown = (10.0, 10.289, 9.899, 10.02, 10.012, 9.667, 9.836, 9.891)
    thick = run_of("a", specimen=Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(1e6)))
    wild = replace(
        thick,
        gauge=Gauge(1e-6, 1e-6, "given", force=0.8),
        steps=(LoadStep(0.0, 1e-5), LoadStep(86.4, 0.0)),
        readings=tuple(Reading(t, v) for t, v in zip(times, shown, strict=True)),
        events=(Event(34.56, "bumped"),),
    )
    strip = Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(10.0))
    runs = [wild, run_of("b", specimen=strip, load=2.0, noise=0.01)]
    stacked = stack([observations(r) for r in runs], specimen_names(runs), [None] * 2)
    shared = SpecimensLikelihood(stacked, ALONE, 0.05, 0.02)
    member = members_of(stacked, ALONE, None)[0]
    projected = shared.projected(UnitCreep(member, stacked.span), nodes_of(member))
    per_noise = np.full(projected.rest.shape[1], stacked.noise.stated**-2.0)
    p00, p01, p11, determinant, *_ = projected._sums(shared, projected.mean, 0.05, 0.02, per_noise)
    assert (determinant > 0.0).all()
    left = p00 * p11 - p01 * p01
    seen = left > 1e-6 * p00 * p11  # where the difference has digits left
    np.testing.assert_allclose(determinant[seen], left[seen], rtol=1e-8)


def test_an_amplitude_that_cannot_scatter_is_drawn_as_it_is() -> None:
    """A node whose own curve has no instantaneous part leaves it no scatter; its spread of nought overflowed."""
    one = np.ones((1, 1))
    projected = SpecimenProjections(one, one, one, one, one, one, np.array([[0.0], [0.02]]), np.array([True]))
    scatters = np.array([0.3]), np.array([0.3])
    with np.errstate(all="raise", under="ignore"):
        own = projected.own(0, np.array([15.2]), np.array([0.02]), scatters, np.array([1.0]))
        instant, creep = own.draw(np.array([0.3]), np.array([0.3]))
    assert instant == pytest.approx(15.2, rel=1e-8)
    assert 0.0 < creep[0] < 0.04


def test_a_pool_that_tells_nothing_is_worked_out_on_some_of_its_nodes(monkeypatch: pytest.MonkeyPatch) -> None:
    """A chain of two units with a set has tens of thousands, times all pairs of scatters; laws of stress take less."""
    runs = [run_of("deaf", seed=s, noise=3e-2, unload=True) for s in (1, 2)]
    observed = stack([observations(r) for r in runs], specimen_names(runs), [None] * 2)
    priors = Priors(weights={"kelvin-chain": 1.0})
    for name, few in (("COARSE", 8), ("FINE", 3)):  # pairs of scatters, of which each takes as long as the next
        monkeypatch.setattr(scatter, name, few)
    some = pool_mixture(observed, priors, most_nodes=stress_law.MOST_NODES)
    every = pool_mixture(observed, priors, most_nodes=10**9)
    most = [max(np.unique(p.scatter, return_counts=True)[1].max() for p in of.mixture.posteriors) for of in (some, every)]
    assert most[1] > 5 * most[0]
    assert some.log_evidence == pytest.approx(every.log_evidence, abs=2e-3)
    np.testing.assert_allclose(some.mixture.weights, every.mixture.weights, atol=2e-3)
    for a, b in zip(some.mixture.posteriors, every.mixture.posteriors, strict=True):
        mine, theirs = (np.average(np.log(p.noise), weights=np.exp(p.log_weight)) for p in (a, b))
        assert mine == pytest.approx(theirs, abs=5e-3)
        mine, theirs = (np.average(p.nodes.shapes[:, 0], weights=np.exp(p.log_weight)) for p in (a, b))
        assert mine == pytest.approx(theirs, rel=0.02)


def test_the_mean_curve_is_the_mean_of_what_comes_at_once_and_of_creep(pool: PooledFit) -> None:
    whole, creep = mean_curve(pool.draws, pool.observed)
    at_once = pool.draws.instant.mean() * pool.observed.instant_column()
    np.testing.assert_allclose(whole, at_once + creep, rtol=1e-12)
    held = pool.observed.times > 0.0
    assert (creep[held] > 0.0).all()
    assert (whole[held] > at_once[held]).all()
    # a draw's creep is counted from the first reading to the last
    assert np.ptp(creep[held]) == pytest.approx(pool.draws.creep.mean(), rel=1e-3)


def test_cells_of_scatters_have_their_prior_and_a_box_holds_the_likely_ones() -> None:
    found = Scatters.grid((1e-3, 1.0), (0.02, 0.2), 300, 3)
    both = lognorm(1.5, scale=0.1)
    mass = np.prod([both.cdf(high) - both.cdf(low) for low, high in ((1e-3, 1.0), (0.02, 0.2))])
    assert np.exp(found.log_prior).sum() == pytest.approx(mass, rel=1e-4)
    # the middle of a cell, on the logarithm
    assert found.whole.min() == pytest.approx(1e-3 * 1000.0 ** (0.5 / 300))
    assert found.creep.max() == pytest.approx(0.2 * 10.0 ** (-0.5 / 300))
    rough = Scatters.grid((1e-3, 1.0), (1e-3, 1.0), 6, 3)
    cell = 1000.0 ** (1 / 6)
    likely = (np.abs(np.log(rough.whole / 0.1)) < 1.0) & (rough.creep < 0.05)
    (low, high), (lowest, last) = rough.box(likely)
    assert (low, high) == (pytest.approx(rough.whole[likely].min() / cell), pytest.approx(rough.whole[likely].max() * cell))
    assert (lowest, last) == (1e-3, pytest.approx(rough.creep[likely].max() * cell))


@pytest.mark.parametrize(("specimens", "spread"), [(1, 0.5), (2, 1.5)])
def test_the_prior_of_a_scatter_is_log_normal(specimens: int, spread: float) -> None:
    values = np.geomspace(1e-3, 1.0, 7)
    np.testing.assert_allclose(log_scatter_prior(values, specimens), lognorm(spread, scale=0.1).logpdf(values))


def test_quantiles_of_scatter_are_of_the_whole_mixture() -> None:
    """Two members with weights 0.7 and 0.3; steps of the cumulated probability, by hand."""
    one, other = (SimpleNamespace(log_weight=np.log(w), noise=np.ones(len(w))) for w in ([0.5, 0.5], [0.2, 0.8]))
    one.scatter, one.creep_scatter = np.array([0.2, 0.1]), 0.3
    other.scatter, other.creep_scatter = np.array([0.05, 0.4]), np.array([0.1, 0.5])
    mixed: Any = SimpleNamespace(posteriors=(one, other), weights=np.array([0.7, 0.3]))
    # of all 0.05 with 0.06, 0.1 and 0.2 with 0.35, 0.4 with 0.24; of creep 0.1 with 0.06, 0.3 with 0.7, 0.5 with 0.24
    by_hand = {0.05: (0.05, 0.1), 0.4: (0.1, 0.3), 0.5: (0.2, 0.3), 0.77: (0.4, 0.5), 1.0: (0.4, 0.5)}
    for probability, expected in by_hand.items():
        assert scatter_quantiles(mixed, probability) == expected
    assert scatter_quantiles(mixed) == (0.2, 0.3)


@pytest.fixture(scope="module")
def unloaded() -> StackedObservations:
    """Three bars with 5 % scatter, read after unloading too."""
    runs = [run_of(f"bar {i}", f, seed=i, unload=True, age=7 * DAY) for i, f in enumerate((0.95, 1.02, 1.05))]
    return stack([observations(r) for r in runs], specimen_names(runs), [7 * DAY] * 3)


def test_evidence_under_other_scatters_is_that_of_a_posterior_made_anew(unloaded: StackedObservations) -> None:
    """On the nodes of one pair of scatters; under that pair itself nothing is new."""
    member = members_of(unloaded, ALONE, None)[0]
    shared = SpecimensLikelihood(unloaded, ALONE).under(0.06, 0.04)
    found = posterior(member, shared)
    at = np.array([[0.06, 0.12, 0.06, 0.03], [0.04, 0.04, 0.08, 0.08]])
    pairs = Scatters(*at, np.array([-1.0, -2.0, 0.0, 0.5]))
    evidence = scatter._evidence_of(found, shared, pairs) - pairs.log_prior
    assert evidence[0] == pytest.approx(found.log_evidence, abs=1e-3)
    for one, creep, value in zip(*at[:, 1:], evidence[1:], strict=True):
        assert value == pytest.approx(posterior(member, shared.under(one, creep)).log_evidence, abs=0.02)
    assert np.ptp(evidence) > 0.5


def test_each_member_is_followed_over_scatters_unless_it_is_far_behind(unloaded: StackedObservations) -> None:
    priors = Priors(weights={"power-family": 0.9, "zener": 0.1})
    found = pool_mixture(unloaded, priors).mixture.posteriors
    assert [p.member for p in found] == list(members_of(unloaded, priors, 7 * DAY))
    assert any(p.member.rate is not None for p in found)
    behind = [found[0].log_evidence - p.log_evidence for p in found]
    assert min(behind) < 0.5 * BEHIND < 2.0 * BEHIND < max(behind)
    for p, far in zip(found, behind, strict=True):
        assert abs(far - BEHIND) < 0.5 or (np.unique(p.scatter).size == 1) == (far > BEHIND)


def test_a_pool_of_one_specimen_ages_where_its_age_is_known() -> None:
    one = observations(run_of("one", unload=True, age=7 * DAY))
    for age in (7 * DAY, None):
        found = pool_mixture(stack([one], ["one"], [age]), ALONE).mixture
        assert any(p.member.rate is not None for p in found.posteriors) == (age is not None)


def test_a_specimen_is_known_as_well_as_its_own_readings_tell() -> None:
    """The standard error of least squares by its own zero and its own two amplitudes, which the scatter hardly narrows."""
    runs = [run_of(f"bar {i}", f, seed=i, noise=1e-4) for i, f in enumerate((0.9, 1.0, 1.15))]
    observed = stack([observations(r) for r in runs], specimen_names(runs), [None] * 3)
    draws = replace(pool_mixture(observed, ALONE).mixture, average=True).draws(4000, 1)
    own = specimen_factors(draws, observed, ALONE, seed=2) * (draws.instant + draws.creep)[:, None]
    times = observed.blocks[0].times
    creep = superpose(PowerFamily(), LoadHistory.held(1.0), times, np.array([0.15]))[0]
    columns = np.column_stack([np.ones(times.size), times > 0.0, creep / (creep[-1] - creep[1])])
    covariance = np.linalg.inv(columns.T @ columns)
    error = draws.noise.mean() * np.sqrt(covariance[1:, 1:].sum())
    exponent = np.concatenate([group.nodes.shapes[:, 0] for group in draws.groups])
    by_shape = np.vander(exponent - 0.15, 3)
    given_shape = own - by_shape @ np.linalg.lstsq(by_shape, own, rcond=None)[0]
    np.testing.assert_allclose(given_shape.std(axis=0), error, rtol=0.1)
