"""Refits: the same minimum as one fit at a time and as scipy finds, and scatter that is what theory says it is."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from scipy.optimize import curve_fit

from creepfit.errors import InputError
from creepfit.inference import refit as module
from creepfit.inference.columns import observations
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.model_fit import ModelFit, fit_model
from creepfit.inference.refit import refit
from creepfit.inference.refit_scatter import simulate_refits
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.specimen import Cantilever
from creepfit.models.findley import Findley
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, Measure

BAR = Cantilever(length=Measure(80.0), width=Measure(12.0), thickness=Measure(5.0))
TIMES = (60.0, 600.0, 3600.0, 21600.0, *(k * DAY for k in range(1, 6)))
RECOVERY = (5 * DAY + 60.0, 5 * DAY + 3600.0, 6 * DAY, 7 * DAY)


def creeping(initial: int = 2, recovery: bool = True, noise: float = 0.01, seed: int = 3) -> Run:
    """Invented readings: 1 mm at once and 0.2 mm t^0.2 (t in h) of creep."""
    times = np.array([-60.0 * k for k in range(initial, 0, -1)] + list(TIMES) + (list(RECOVERY) if recovery else []))
    since, off = np.maximum(times, 0.0) / 3600.0, np.maximum(times - 5 * DAY, 0.0) / 3600.0
    shown = np.where((times > 0.0) & (off == 0.0), 1.0, 0.0) + 0.2 * since**0.2 - 0.2 * off**0.2
    shown = shown + np.random.default_rng(seed).normal(0.0, noise, times.size)
    readings = tuple(Reading(float(t), float(v), row=i) for i, (t, v) in enumerate(zip(times, shown, strict=True), 1))
    steps = (LoadStep(0.0, 2.0), LoadStep(5 * DAY, 0.0)) if recovery else (LoadStep(0.0, 2.0),)
    return Run("PETG", BAR, Gauge(0.001, noise, "as given"), steps, readings)


def simulated(found: ModelFit, sets: int, seed: int = 1) -> Array:
    observed = found.observed
    root = np.linalg.cholesky(observed.noise.correlation)
    noise = np.random.default_rng(seed).standard_normal((sets, observed.times.size)) @ root.T
    return np.asarray(observed.values - found.residuals + found.noise_sd * noise)


@pytest.fixture(scope="module", params=["recovery", "held", "no initial reading"])
def case(request: pytest.FixtureRequest) -> Fit:
    return fit(creeping(initial=0 if "no" in request.param else 2, recovery=request.param == "recovery"))


def test_every_model_finds_the_minimum_that_one_fit_at_a_time_finds(case: Fit) -> None:
    for found in case.models.values():
        values = simulated(found, 6)
        many = refit(found.model, found.observed, values)
        for i, row in enumerate(values):
            one = fit_model(found.model, found.observed.with_values(row))
            assert many.residual_sums[i] == pytest.approx(one.residual_sum, rel=1e-6), found.name


def test_a_shape_beside_the_one_found_fits_worse(case: Fit) -> None:
    found = case.models["findley"]
    values = simulated(found, 20)
    many = refit(found.model, found.observed, values)
    design = module.SearchColumns(found.model, found.observed)
    for factor in (0.98, 1.02):
        places = (many.shapes * factor - design.low) / design.width
        inside = ((places > 0.0) & (places < 1.0))[:, 0]
        _, rest = module.solve(design.columns(places[inside]), values[inside] @ design.transform.T)
        assert ((rest * rest).sum(axis=1) > many.residual_sums[inside]).all()
        assert inside.any()


def test_scipy_comes_to_the_same_residual_sums() -> None:
    run = creeping(recovery=False)
    observed = observations(run)
    found = fit_model(Findley(), observed, run)
    values = simulated(found, 100)
    many = refit(found.model, observed, values)
    elapsed = np.maximum(observed.times, 0.0) / 3600.0
    loaded = (observed.times > 0.0).astype(float)
    white = np.linalg.inv(np.linalg.cholesky(observed.noise.correlation))

    def whitened(_: Array, zero: float, instant: float, creep: float, n: float) -> Array:
        return np.asarray(white @ (zero + loaded * (instant + creep * elapsed**n)))

    for row, own in zip(values, many.residual_sums, strict=True):
        target = white @ row
        best, _ = curve_fit(
            whitened, observed.times, target, (0.0, 1.0, 0.2, 0.2),
            bounds=([-1.0, 0.0, 0.0, 0.005], [1.0, 9.0, 9.0, 0.95]), xtol=1e-14, ftol=1e-14, gtol=1e-14,
        )  # fmt: skip
        rest = target - whitened(observed.times, *best)
        assert own == pytest.approx(float(rest @ rest), rel=1e-6)


def test_amplitudes_are_never_negative_and_the_curve_they_make_leaves_the_residuals() -> None:
    run = creeping(noise=0.2)  # so noisy that amplitudes end at zero
    found = fit(run).models["burgers"]
    values = simulated(found, 200)
    many = refit(found.model, found.observed, values)
    assert (many.amplitudes >= 0.0).all()
    assert (many.amplitudes == 0.0).any()
    columns = found.observed.response(found.model, many.shapes)
    rest = values - np.einsum("rtk,rk->rt", columns, many.amplitudes)
    white = found.observed.noise.whiten(np.eye(found.observed.times.size))
    zeros = np.linalg.qr(white @ found.observed.zeros)[0]
    rest = rest @ white.T
    rest = rest - (rest @ zeros) @ zeros.T
    assert (rest * rest).sum(axis=1) == pytest.approx(many.residual_sums, rel=1e-6)


def test_blocks_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    found = fit(creeping()).models["zener"]
    values = simulated(found, 9)
    whole = refit(found.model, found.observed, values)
    monkeypatch.setattr(module, "AT_ONCE", 4)
    parts = refit(found.model, found.observed, values)
    assert parts.residual_sums == pytest.approx(whole.residual_sums, rel=1e-9)
    assert parts.shapes.shape == (9, 1)


@pytest.mark.parametrize("wrong", [np.zeros((3, 4)), np.zeros(15), np.full((2, 15), np.nan)])
def test_readings_of_another_shape_are_refused(wrong: Array) -> None:
    observed = observations(creeping())
    assert observed.times.size == 15
    expected = r"values: found 'shape .*'; expected finite readings in an array of shape \(sets, 15\)"
    with pytest.raises(InputError, match=expected):
        refit(Findley(), observed, wrong)


class TestScatter:
    def test_a_linear_model_scatters_as_its_standard_errors_say(self) -> None:
        found = fit(creeping()).models["logarithmic"]
        scatter = simulate_refits(found, 4000, seed=5)
        for parameter in scatter.parameters[:2]:  # D0 and the slope; the set's amplitude is cut off at zero
            assert parameter.covered is not None
            assert parameter.covered == pytest.approx(0.9, abs=0.02)  # 4 binomial standard deviations
        free = [p for p in scatter.parameters if p.std_error is not None and p.name != "set"]
        assert [p.sd / p.std_error for p in free if p.sd and p.std_error] == pytest.approx([1.0, 1.0], rel=0.1)

    def test_a_fit_uses_up_as_many_readings_as_it_has_parameters(self) -> None:
        found = fit(creeping(recovery=False)).models["logarithmic"]
        scatter = simulate_refits(found, 4000)
        # zero, D0, slope; the mean of 4000 chi-squares with 9 degrees of freedom has a standard error of 0.07
        assert scatter.used == pytest.approx(3.0, abs=0.3)

    def test_a_model_that_is_hardly_determined_is_found_out(self) -> None:
        sharp = simulate_refits(fit(creeping(noise=0.002)).models["findley"], 400)
        blunt = simulate_refits(fit(creeping(noise=0.4, seed=8)).models["findley"], 400)
        n = {"sharp": sharp.parameters[-2], "blunt": blunt.parameters[-2]}
        assert n["sharp"].name == n["blunt"].name == "n"
        assert sharp.at_bound == 0.0
        assert blunt.at_bound > 0.02
        assert (n["blunt"].sd or 0.0) > 5.0 * (n["sharp"].sd or 1.0)
        assert n["sharp"].low is not None
        assert n["sharp"].high is not None
        assert n["sharp"].low < 0.2 < n["sharp"].high

    def test_the_same_seed_gives_the_same_scatter_and_another_one_another(self) -> None:
        found = fit(creeping()).models["power"]
        assert simulate_refits(found, 50, seed=1).parameters == simulate_refits(found, 50, seed=1).parameters
        assert simulate_refits(found, 50, seed=1).parameters != simulate_refits(found, 50, seed=2).parameters

    @pytest.mark.parametrize(("wrong", "said"), [({"count": 1}, "count"), ({"level": 1.0}, "level")])
    def test_nonsense_is_refused(self, wrong: dict[str, float], said: str) -> None:
        found = fit(creeping()).models["power"]
        simulate: Callable[..., object] = simulate_refits
        with pytest.raises(InputError, match=said):
            simulate(found, **wrong)


def test_a_run_under_a_load_history_of_steps_refits_too() -> None:
    run = creeping()
    assert isinstance(run.history, LoadHistory)
    found = fit(run).models["kelvin-chain"]
    many = refit(found.model, found.observed, simulated(found, 5))
    assert (np.diff(many.shapes, axis=1) >= 0.0).all()
    assert many.set_compliance is not None
    assert many.set_compliance.shape == (5,)
