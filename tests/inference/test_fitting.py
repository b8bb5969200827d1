"""`fit`: what a run's best fits say, and that what cannot be known is said to be unknown, with its reason."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from creepfit.errors import FitError, InputError
from creepfit.inference.columns import observations
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.joint_fit import lowest_shapes
from creepfit.inference.model_fit import FLOW_NOT_SEEN, NO_ZERO, FittedParameter, ModelFit, fit_model
from creepfit.inference.run_fit import begin, fit_run
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Cantilever, Direct
from creepfit.models.burgers import Burgers
from creepfit.models.findley import Findley
from creepfit.models.model import CreepModel
from creepfit.models.registry import MODELS
from creepfit.models.zener import Zener
from creepfit.records.run import Event, Gauge, LoadStep, Reading, Rig, Run
from creepfit.units import Measure

Array = NDArray[np.float64]
MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0

LOADED = (MINUTE, 10 * MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY)
RESTING = tuple(5 * DAY + s for s in (MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY))
FULL = (-MINUTE, *LOADED, *RESTING)

BURGERS = (Burgers(), (10 * HOUR,), (5e-4, 4e-5, 4e-7))
FINDLEY = (Findley(), (0.18,), (5e-4, 3e-5))
ZENER = (Zener(), (10 * HOUR,), (5e-4, 5e-5))
BAR = Cantilever(length=Measure(80.0), width=Measure(12.0), thickness=Measure(5.0))


def a_run(
    truth: tuple[CreepModel, tuple[float, ...], tuple[float, ...]] = BURGERS,
    times: tuple[float, ...] = FULL,
    noise: float = 0.0,
    seed: int = 0,
    load: float = 2.0,
    **fields: object,
) -> Run:
    """A cantilever bar under a load for five days, read by a gauge that stands at 12.4 mm to begin with."""
    steps = (LoadStep(0.0, load), LoadStep(5 * DAY, 0.0))
    run = Run("PETG", BAR, Gauge(0.001, 0.005, "given", drift=0.0), steps, tuple(Reading(t, 0.0) for t in times))
    run = replace(run, **fields)  # type: ignore[arg-type]
    seen = observations(run)
    creep, shape, amplitudes = truth
    clean = seen.response(creep, np.array([shape]))[0] @ np.array(amplitudes)
    noisy = 12.4 + clean + noise * np.random.default_rng(seed).normal(size=len(times))
    return replace(run, readings=tuple(replace(r, value=float(v)) for r, v in zip(run.readings, noisy, strict=True)))


def one(run: Run, name: str) -> ModelFit:
    return fit(run, models=[name]).models[name]


def named(model: ModelFit) -> dict[str, FittedParameter]:
    return {p.name: p for p in model.parameters}


# --- what is known ----------------------------------------------------------------------------------------------------


def test_burgers_constants_come_back_in_the_trades_units() -> None:
    found = named(one(a_run(), "burgers"))
    wanted = {"E1": 2000.0, "eta1": 2.5e6, "E2": 25000.0, "eta2": 250000.0}
    assert {name: p.value for name, p in found.items()} == pytest.approx(wanted, rel=1e-5)
    assert {name: p.unit for name, p in found.items()} == {"E1": "MPa", "eta1": "MPa·h", "E2": "MPa", "eta2": "MPa·h"}
    assert all(p.std_error is not None and p.why is None for p in found.values())


def test_of_curves_through_all_readings_one_within_its_ranges_is_shown() -> None:
    """No search goes on after the least rounding; it would end anywhere, retardation times of seconds among the rest."""
    run = a_run(FINDLEY, (-MINUTE, MINUTE, DAY), noise=0.005)
    shapes = lowest_shapes(MODELS, [observations(run)])[0]
    assert all(of_model is not None for of_model in shapes)
    for model in fit(run).models.values():
        assert model.residual_sum < 1e-20 or model.name in ("power", "logarithmic")
        assert model.status.converged
        assert not {"n", "tau", "tau1", "tau2"} & set(model.status.at_bound)


def test_findley_constants_and_a_set_of_none() -> None:
    found = named(one(a_run(FINDLEY), "findley"))
    assert [found[k].value for k in ("D0", "m", "n")] == pytest.approx([5e-4, 3e-5, 0.18], rel=1e-5)
    assert [found[k].unit for k in ("D0", "m", "n", "set")] == ["1/MPa", "1/MPa", "1", "1/MPa"]
    assert found["set"].value == pytest.approx(0.0, abs=1e-9)


def test_a_set_that_comes_with_the_load_is_found() -> None:
    run = a_run(FINDLEY)
    seen = observations(run)
    moved = [r.value + 2e-5 * p for r, p in zip(run.readings, seen.peak_column(), strict=True)]
    with_set = replace(run, readings=tuple(replace(r, value=float(v)) for r, v in zip(run.readings, moved, strict=True)))
    model = one(with_set, "findley")
    assert model.set_compliance == pytest.approx(2e-5, rel=1e-4)
    assert named(model)["set"].value == pytest.approx(2e-5, rel=1e-4)
    # a model that flows has no set besides its flow
    assert one(with_set, "burgers").set_compliance is None


def test_without_geometry_the_constants_are_those_of_the_specimen() -> None:
    run = a_run(BURGERS, specimen=Direct())
    found = named(one(run, "burgers"))
    assert [p.unit for p in found.values()] == ["N/mm", "N·h/mm", "N/mm", "N·h/mm"]
    assert found["E1"].value == pytest.approx(2000.0, rel=1e-5)
    assert named(one(a_run(FINDLEY, specimen=Direct()), "findley"))["D0"].unit == "mm/N"


def test_fitted_curve_and_residuals_are_the_readings() -> None:
    run = a_run(noise=0.005)
    for model in fit(run).models.values():
        curve = model.deformation(run.history, np.array(FULL))
        zero = np.array([r.value for r in run.readings]) - curve - model.residuals
        assert zero == pytest.approx(np.full(len(FULL), zero[0]), abs=1e-9)
        assert model.readings == len(FULL)


def test_response_to_another_history_is_superposed() -> None:
    model = one(a_run(FINDLEY), "findley")
    twice = LoadHistory.from_steps([(0.0, 0.0, 1.0), (DAY, 60.0, 3.0)])
    times = np.array([HOUR, DAY + 30.0, 10 * DAY])
    d0, m = model.amplitudes
    power = superpose(Findley().terms[1], twice, times, np.array(model.shape))[0]
    wanted = BAR.geometry.reading_per_compliance * (d0 * twice.at(times) + m * power)
    assert model.deformation(twice, times) == pytest.approx(wanted)


def test_rig_plunger_and_zeros_are_in_the_fit_not_only_in_the_record() -> None:
    """The same material read with another rig, gauge and zero gives the same constants."""
    plain = named(one(a_run(), "burgers"))["E1"].value
    variants: list[dict[str, object]] = [
        {"gauge": Gauge(0.001, 0.005, "given", drift=0.0, force=0.3)},
        {"rig": Rig(preload=0.4)},
        {"events": (Event(1.5 * DAY, "rezeroed"),)},
    ]
    for fields in variants:
        run = a_run(**fields)  # type: ignore[arg-type]
        assert named(one(run, "burgers"))["E1"].value == pytest.approx(plain, rel=1e-4)
    # a jump at an event is taken up by its own zero, and ruins the fit without it
    run = a_run()
    moved = tuple(replace(r, value=r.value + (1.0 if r.time > 1.5 * DAY else 0.0)) for r in run.readings)
    jumped = replace(run, readings=moved)
    noticed = replace(jumped, events=(Event(1.5 * DAY, "bumped"),))
    assert named(one(noticed, "burgers"))["E1"].value == pytest.approx(plain, rel=1e-4)
    assert one(jumped, "burgers").residual_sum > 1e3 * (one(noticed, "burgers").residual_sum + 1e-6)


# --- standard errors --------------------------------------------------------------------------------------------------


def test_standard_errors_hold_what_they_say_over_many_runs() -> None:
    """Named parameters against their truth: two standard errors hold about 95 %."""
    truth = {"E1": 2000.0, "E2": 20000.0, "tau": 10.0}
    scores = []
    runs = [a_run(ZENER, noise=0.005, seed=seed) for seed in range(100)]
    for run, begun in zip(runs, begin(runs, ["zener"]), strict=True):
        found = named(fit_run(run, ["zener"], begun=begun).models["zener"])
        errors = [found[k].std_error for k in truth]
        if None in errors:
            continue
        scores.append([(found[k].value - v) / found[k].std_error for k, v in truth.items()])  # type: ignore[operator]
    assert len(scores) > 90
    inside = np.mean(np.abs(scores) < 2.0, axis=0)
    assert (inside > 0.88).all()  # 0.95 less three standard deviations
    assert (inside < 0.99).all()


def test_noise_is_the_residuals_where_they_are_many_or_larger_and_else_the_gauges() -> None:
    quiet = one(a_run(noise=0.0001), "zener")
    assert quiet.free >= 8
    assert quiet.noise_from == "residuals"
    few = (-MINUTE, MINUTE, HOUR, DAY, 3 * DAY, 5 * DAY)
    calm = one(a_run(ZENER, times=few, noise=0.0001), "zener")
    assert calm.free < 8
    assert calm.noise_from == "gauge"
    assert calm.noise_sd == pytest.approx(np.hypot(0.005, 0.001 / np.sqrt(12.0)))
    rough = one(a_run(ZENER, times=few, noise=0.1), "zener")
    assert rough.noise_from == "residuals"
    assert rough.noise_sd == pytest.approx(np.sqrt(rough.residual_sum / rough.free))


def test_aicc_by_hand_and_only_where_it_is_defined() -> None:
    """N ln(RSS/N) + 2k + 2k(k+1)/(N-k-1), the noise counted as a parameter."""
    model = one(a_run(noise=0.005), "burgers")
    count, k = len(FULL), 5 + 1  # E1, eta1, E2, tau, zero; noise
    assert model.free == count - 5
    wanted = count * np.log(model.residual_sum / count) + 2 * k + 2 * k * (k + 1) / (count - k - 1)
    assert model.aicc == pytest.approx(wanted)
    # six readings and five parameters with their noise: N - k - 1 is not above zero
    six = one(a_run(ZENER, times=FULL[:6], noise=0.005), "burgers")
    assert six.aicc is None


# --- what is unknown --------------------------------------------------------------------------------------------------


def unknown(model: ModelFit) -> dict[str, str | None]:
    assert all(p.std_error is None for p in model.parameters)
    return {p.name: p.why for p in model.parameters}


def test_as_many_parameters_as_readings() -> None:
    model = one(a_run(ZENER, times=FULL[:4]), "zener")
    assert model.free == 0
    assert all(why is not None and "as many parameters as readings" in why for why in unknown(model).values())


def test_a_shape_at_the_end_of_its_range_takes_all_errors_with_it() -> None:
    slow = a_run((Zener(), (500 * DAY,), (5e-4, 2e-3)), noise=0.002)
    model = one(slow, "zener")
    assert model.status.at_bound[0] == "tau"
    assert model.status.converged
    assert "tau ended at the end of its range" in str(unknown(model)["E1"])


def test_flow_that_was_not_seen_is_unknown_not_infinite_or_zero() -> None:
    run = a_run(ZENER)
    falling = tuple(replace(r, value=r.value - 0.02 * max(r.time, 0.0) / DAY) for r in run.readings)
    model = one(replace(run, readings=falling), "burgers")
    eta = named(model)["eta1"]
    assert (eta.value, eta.std_error, eta.why) == (None, None, FLOW_NOT_SEEN)
    assert "dashpot" in model.status.at_bound


def test_without_an_initial_reading_what_came_at_once_is_unknown() -> None:
    found = fit(a_run(times=LOADED, noise=0.005))
    assert found.quantity == "creep increment"
    instant = {"findley": "D0", "burgers": "E1", "zener": "E1", "kelvin-chain": "E0", "logarithmic": "D0"}
    for name, parameter in instant.items():
        model = found.models[name]
        known = named(model)
        assert (known[parameter].value, known[parameter].std_error, known[parameter].why) == (None, None, NO_ZERO)
        assert "instant" not in model.status.at_bound
        # what does not hang on it is known as before
        assert any(p.value is not None for p in model.parameters)
    n = named(found.models["findley"])["n"]
    assert n.std_error is not None
    assert "set" not in named(found.models["findley"])


def test_two_retardation_times_from_the_readings_of_one_are_not_both_determined() -> None:
    model = one(a_run(ZENER, noise=0.002), "kelvin-chain")
    lone = one(a_run(ZENER, noise=0.002), "zener")
    assert model.residual_sum <= lone.residual_sum * (1.0 + 1e-9)
    assert model.status.converged
    for p in model.parameters:
        assert (p.std_error is None) == (p.why is not None)


def test_every_parameter_has_its_error_or_the_reason_for_having_none() -> None:
    for times in (FULL, FULL[:10], LOADED, FULL[:3], FULL[:5], FULL[::3]):
        for noise in (0.0, 0.005, 0.5):
            for model in fit(a_run(times=times, noise=noise)).models.values():
                for p in model.parameters:
                    assert (p.std_error is None) == (p.why is not None), (model.name, p)
                    assert p.value is None or np.isfinite(p.value)
                    assert p.std_error is None or (np.isfinite(p.std_error) and p.std_error >= 0.0)


# --- refusals, names and repeatability --------------------------------------------------------------------------------


def test_one_reading_under_load_shows_no_creep() -> None:
    with pytest.raises(FitError, match="take a second one"):
        fit(a_run(times=(-MINUTE, MINUTE, 5 * DAY + HOUR)))
    with pytest.raises(FitError, match="no reading was taken under load"):
        fit(replace(a_run(), readings=(Reading(-MINUTE, 12.4), Reading(6 * DAY, 12.5))))


def test_unknown_model_names_get_the_nearest_right_one() -> None:
    with pytest.raises(InputError, match="'burgers'"):
        fit(a_run(), models=["burger"])


def test_models_asked_for_come_in_that_order() -> None:
    assert list(fit(a_run(), models=["zener", "findley"]).models) == ["zener", "findley"]


def test_quantity_and_unit() -> None:
    bending, plain = fit(a_run(), models=["zener"]), fit(a_run(specimen=Direct()), models=["zener"])
    strain = fit(a_run(specimen=Direct(quantity="strain")), models=["zener"])
    assert (bending.quantity, bending.unit) == ("deflection", "mm")
    assert (plain.quantity, plain.unit) == ("deformation", "mm")
    assert (strain.quantity, strain.unit) == ("strain", "1")


def test_the_best_model_is_the_one_that_made_the_readings() -> None:
    burgers: Fit = fit(a_run(noise=0.002), models=["zener", "burgers", "logarithmic"])
    assert burgers.best.name == "burgers"
    findley = fit(a_run(FINDLEY, noise=0.002), models=["zener", "burgers", "findley"])
    assert findley.best.name == "findley"


@pytest.mark.fits_anew
def test_the_same_run_gives_the_same_fit() -> None:
    run = a_run(noise=0.005)
    first, second = fit(run), fit(run)
    for name, model in first.models.items():
        assert model.parameters == second.models[name].parameters
    assert np.array_equal(first.draws.instant, second.draws.instant)


def test_a_model_can_be_fitted_alone() -> None:
    run = a_run()
    seen = observations(run)
    alone, among = fit_model(Burgers(), seen, run), fit(run).models["burgers"]
    for one, other in zip(alone.parameters, among.parameters, strict=True):  # sums over more columns round otherwise
        assert (one.name, one.unit, one.why) == (other.name, other.unit, other.why)
        assert one.value == pytest.approx(other.value, rel=1e-12)
        # readings without noise leave rounding, and an error of it
        assert one.std_error == pytest.approx(other.std_error, rel=1e-9, abs=1e-9 * abs(other.value or 0.0))


# --- finer than any gauge --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("times", [FULL, FULL[:-5], FULL[:4]], ids=["unloaded", "held", "few"])
def test_a_bar_at_rest_under_a_very_fine_gauge_is_weighed(times: tuple[float, ...]) -> None:
    """Where nothing moves, the evidence of 9e6 divisions is what is left of two numbers of 1e15."""
    still = a_run((Findley(), (0.18,), (5e-4, 0.0)), times)
    noise = observations(still).scale / 9e6
    found = fit(replace(still, gauge=Gauge(noise, noise, "given", drift=0.0)))
    assert np.isfinite(found.mixture.weights).all()
    rest = [p.quadrant.mean0[np.argmax(p.log_weight)] for p in found.mixture.posteriors]
    assert rest == pytest.approx([found.observed.scale] * len(rest), rel=1e-3)


def test_what_no_gauge_can_show_is_refused_by_name() -> None:
    run = a_run()
    noise = observations(run).scale / 1.2e7
    with pytest.raises(FitError, match=r"the readings move by 1\.2e\+07 times the scatter of the gauge as stated"):
        fit(replace(run, gauge=Gauge(noise, noise, "given", drift=0.0)))
