"""How lmfit (1.3.4, and likely others) goes wrong without a word, and that the fit here is not caught by it.

Each test first shows the failure with lmfit alone, so that a version which mends it is noticed, and then what a run fitted
here says in the same place.
"""

from __future__ import annotations

import warnings
from dataclasses import replace

import lmfit
import numpy as np
import pytest
from numpy.typing import NDArray

from creepfit.answers.specimen.forecast import forecast
from creepfit.errors import FitError
from creepfit.inference.best_fit import BestFit, best_fit
from creepfit.inference.fitting import fit
from creepfit.inference.model_fit import ModelFit, fit_model
from creepfit.mechanics.specimen import Direct
from creepfit.models.model import Axis
from creepfit.models.zener import Zener
from creepfit.records.run import Gauge, LoadStep, Reading, Run

Array = NDArray[np.float64]

MINUTE, HOUR, DAY = 60.0, 3600.0, 86400.0
X = np.array([1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0])
NOISE = np.array([0.3, -1.1, 0.8, -0.2, 1.2, -0.7, -0.4, 0.1])


def rise(x: Array, offset: float, size: float, tau: float) -> Array:
    return offset - size * np.expm1(-x / tau)


def lmfit_rise(
    x: Array, y: Array, tau: float = 20.0, weights: Array | None = None, **bounds: float
) -> lmfit.model.ModelResult:
    model = lmfit.Model(rise)
    parameters = model.make_params(offset=1.0, size=1.0, tau=tau)
    parameters["tau"].set(**bounds)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return model.fit(y, parameters, x=x, weights=weights)


def ours(x: Array, y: Array, low: float = 0.1, high: float = 1000.0, count: int = 120) -> BestFit:
    def basis(shapes: Array) -> Array:
        rising = -np.expm1(-x[None, :, None] / shapes[:, None, :])
        return np.concatenate([np.ones((shapes.shape[0], x.size, 1)), rising], axis=2)

    return best_fit(basis, [Axis("tau", low, high, count, log=True)], y)


def run_of(times: list[float], readings: Array, noise: float = 0.002) -> Run:
    """Direct readings in mm under 1 N from t = 0 on."""
    return Run(
        "PETG",
        Direct(),
        Gauge(0.001, noise, "given"),
        (LoadStep(0.0, 1.0),),
        tuple(Reading(t, float(r)) for t, r in zip(times, readings, strict=True)),
    )


def five_days(tau: float = 10 * HOUR) -> Run:
    times = [-MINUTE, MINUTE, 10 * MINUTE, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY]
    clean = np.array([0.0 if t < 0 else rise(np.array(t), 1.0, 0.3, tau) for t in times])
    return run_of(times, clean + 0.002 * np.resize(NOISE, len(times)))


def zener(run: Run) -> ModelFit:
    return fit(run, models=["zener"]).models["zener"]


# --- at a bound -------------------------------------------------------------------------------------------------------


def test_a_parameter_at_its_bound_gets_a_band_of_no_width() -> None:
    y = rise(X, 1.0, 2.0, 50.0) + 0.01 * NOISE
    result = lmfit_rise(X, y, tau=20.0, max=30.0)
    assert result.success
    assert result.params["tau"].value == pytest.approx(30.0, rel=1e-3)
    if result.params["tau"].stderr is None:
        assert result.eval_uncertainty(x=np.array([1e4])) == pytest.approx([0.0])
    else:  # or an error bar far too small, which is no better
        assert result.params["tau"].stderr < 0.01

    found = ours(X, y, high=30.0)
    assert found.shape[0] == 30.0
    assert found.at_bound == ("shape 0",)

    slow = zener(five_days(tau=1000 * DAY))
    assert slow.status.converged
    assert "tau" in slow.status.at_bound
    for p in slow.parameters:
        assert p.std_error is None
        assert p.why


def test_a_bound_just_beside_the_optimum_narrows_the_error() -> None:
    y = rise(X, 1.0, 2.0, 50.0) + 0.01 * NOISE
    free = lmfit_rise(X, y, tau=40.0)
    tau = free.params["tau"].value
    tight = lmfit_rise(X, y, tau=40.0, max=tau * (1.0 + 1e-7))
    assert tight.params["tau"].value == pytest.approx(tau, rel=1e-4)
    narrowed = tight.params["tau"].stderr
    assert narrowed is None or narrowed < 0.9 * free.params["tau"].stderr

    # here the error is that of the curve, whatever the range, and the range's end is named
    wide, near = ours(X, y), ours(X, y, high=tau * (1.0 + 1e-7))
    assert near.at_bound == ("shape 0",)
    assert np.sqrt(near.covariance[0, 0]) == pytest.approx(np.sqrt(wide.covariance[0, 0]), rel=1e-4)
    error = np.sqrt(wide.residual_sum / wide.free * wide.covariance[0, 0])
    assert error == pytest.approx(free.params["tau"].stderr, rel=1e-3)


# --- too few readings -------------------------------------------------------------------------------------------------


def test_as_many_readings_as_parameters_look_perfect() -> None:
    x = X[[0, 3, 6]]
    y = rise(x, 1.0, 2.0, 20.0)
    result = lmfit_rise(x, y, tau=15.0)
    assert result.success
    assert result.nfree == 0
    assert np.isfinite(result.redchi)  # divided by max(1, 0)
    assert result.params["tau"].stderr is None or result.params["tau"].stderr < 1e-6

    # zero, instantaneous, retarded, tau: four readings
    run = run_of([-MINUTE, MINUTE, HOUR, DAY], np.array([0.0, 1.0, 1.1, 1.2]))
    model = zener(run)
    assert model.free == 0
    assert model.aicc is None
    assert model.noise_from == "gauge"
    for p in model.parameters:
        assert p.std_error is None
        assert p.why == "as many parameters as readings: the fit passes through them whatever the noise"


def test_fewer_readings_than_parameters_end_in_a_traceback() -> None:
    with pytest.raises(TypeError, match="must not exceed"):
        lmfit_rise(X[:2], rise(X[:2], 1.0, 2.0, 20.0))

    model = zener(run_of([-MINUTE, MINUTE, HOUR], np.array([0.0, 1.0, 1.1])))
    assert model.free == 0
    assert all(p.std_error is None and p.why for p in model.parameters)
    assert model.aicc is None
    with pytest.raises(FitError, match="one reading under load cannot show creep"):
        fit(run_of([-MINUTE, MINUTE], np.array([0.0, 1.0])))


# --- where the search starts ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("start", [1e6, 1e-6])
def test_success_says_nothing_about_a_start_far_off(start: float) -> None:
    y = rise(X, 1.0, 2.0, 50.0) + 0.01 * NOISE
    result = lmfit_rise(X, y, tau=start)
    assert result.success
    assert abs(result.params["tau"].value / 50.0 - 1.0) > 0.5  # the truth is 50

    # there is no start to give: the grid covers all that the readings can show
    found = ours(X, y, low=1e-3, high=1e5)
    assert found.converged
    assert found.shape[0] == pytest.approx(50.0, rel=0.05)
    assert zener(five_days()).shape[0] == pytest.approx(10 * HOUR, rel=0.2)


def test_cut_short_it_gives_back_the_place_tried_last() -> None:
    """Found by comparing with a dense grid: after its limit of evaluations the result was thousands of times worse."""
    x, y = X, rise(X, 1.0, 2.0, 50.0) + 0.01 * NOISE
    seen: list[float] = []

    def residuals(p: lmfit.Parameters) -> Array:
        left = y - rise(x, p["offset"].value, p["size"].value, p["tau"].value)
        seen.append(float(left @ left))
        return left

    worse = 0
    for limit in range(2, 60):
        seen.clear()
        p = lmfit.create_params(offset=1.0, size=1.0, tau={"value": 9000.0, "min": 0.001, "max": 1e4})
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            result = lmfit.Minimizer(residuals, p, max_nfev=limit).minimize(method="leastsq")
        final = y - rise(x, *(result.params[k].value for k in ("offset", "size", "tau")))
        worse += float(final @ final) > 2.0 * min(seen)
    assert worse > 0

    grid = np.geomspace(0.1, 1000.0, 12)
    full, lowest = ours(x, y), min(ours(x, y, tau, tau * 1.0000001, 2).residual_sum for tau in grid)
    with pytest.MonkeyPatch.context() as patch:
        for limit in (1, 2, 3, 5, 8):
            patch.setattr("creepfit.inference.best_fit.EVALUATIONS", limit)
            patch.setattr("creepfit.inference.best_fit.RESTARTS", 1)
            short = ours(x, y, count=12)
            assert short.residual_sum <= lowest * (1.0 + 1e-5)
            assert not short.converged or short.residual_sum == pytest.approx(full.residual_sum, rel=1e-9)


# --- errors and bands -------------------------------------------------------------------------------------------------


def test_with_weights_its_prediction_band_adds_a_number_without_a_unit() -> None:
    """`dely_predicted` adds the reduced chi-square of weighted residuals to a variance in the data's units."""
    sigma = 0.01
    y = rise(X, 1.0, 2.0, 50.0) + sigma * NOISE
    plain, weighted = lmfit_rise(X, y), lmfit_rise(X, y, weights=np.full(X.size, 1.0 / sigma))
    bands = []
    for result in (plain, weighted):
        result.eval_uncertainty(x=np.array([200.0]), sigma=0.95)
        bands.append(float(result.dely_predicted[0]))
    assert bands[1] > 10.0 * bands[0]

    # in mm or in micrometres, noise and interval of the next reading are in the data's own unit
    in_mm, in_micrometres = (_noise_and_interval(unit) for unit in (1.0, 1000.0))
    assert in_micrometres == pytest.approx([1000.0 * width for width in in_mm], rel=1e-3)
    assert in_mm[0] == pytest.approx(0.002, rel=0.5)
    assert in_mm[1] > 2.0 * 1.645 * 0.5 * in_mm[0]


def _noise_and_interval(unit: float) -> list[float]:
    """Noise, and width of the interval of a reading at six days, with all lengths in another unit."""
    run = five_days()
    readings = tuple(replace(r, value=r.value * unit) for r in run.readings)
    found = fit(replace(run, readings=readings, gauge=Gauge(0.001 * unit, 0.002 * unit, "given")))
    (row,) = forecast(found, "6 d", kind="reading").rows
    return [found.models["zener"].noise_sd, row.interval.high - row.interval.low]


def test_one_free_parameter_has_no_confidence_interval() -> None:
    y = 2.0 * X + 0.1 * NOISE
    p = lmfit.create_params(slope=1.0)
    minimizer = lmfit.Minimizer(lambda p: y - p["slope"].value * X, p)
    with pytest.raises(lmfit.minimizer.MinimizerException, match="< 2 variables"):
        lmfit.conf_interval(minimizer, minimizer.minimize())

    found = best_fit(lambda shapes: X[None, :, None], (), y)
    assert found.covariance is not None
    assert found.covariance[0, 0] == pytest.approx(1.0 / (X @ X))


def test_a_fixed_parameter_looks_as_if_it_were_known_exactly() -> None:
    y = rise(X, 1.0, 2.0, 50.0) + 0.01 * NOISE
    assert lmfit_rise(X, y, tau=50.0, vary=False).params["tau"].stderr == 0

    stretched = fit(five_days(), models=["stretched-exponential"]).models["stretched-exponential"]
    (beta,) = (p for p in stretched.parameters if p.name == "beta")
    assert beta.std_error is None
    assert beta.why == "taken from a few values, not fitted"


def test_sigma_below_one_is_a_probability_and_above_a_number_of_sigmas() -> None:
    result = lmfit_rise(X, rise(X, 1.0, 2.0, 50.0) + 0.01 * NOISE)
    at = {"x": np.array([200.0])}
    assert result.eval_uncertainty(sigma=0.999, **at)[0] > 2.0 * result.eval_uncertainty(sigma=1.001, **at)[0]

    # the one argument here is the level, and it grows with what it says; a number of sigmas is refused
    found = fit(five_days())
    widths = [row.high - row.low for row in (forecast(found, "30 d", level=p).rows[0].interval for p in (0.5, 0.9, 0.99))]
    assert widths[0] < widths[1] < widths[2]
    with pytest.raises(ValueError, match="level"):
        forecast(found, "30 d", level=2.0)


def test_fits_do_not_touch_numpys_error_state() -> None:
    before = np.geterr()
    fit_model(Zener(), fit(five_days(), models=["zener"]).observed)
    assert np.geterr() == before
