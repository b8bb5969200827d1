"""Every creep model: finite and non-negative from time zero, right after an unloading, on ramps and as modes.

Many-digit values come from the standard library's decimal arithmetic, integrals from scipy's adaptive quadrature.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal, getcontext

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import quad

from creepfit.errors import InputError
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.long_history import FORGOTTEN, SLOWEST, STEP
from creepfit.models.burgers import Burgers
from creepfit.models.findley import Findley, PurePower
from creepfit.models.kelvin_chain import KelvinChain
from creepfit.models.logarithmic import Logarithm, Logarithmic
from creepfit.models.model import HOUR, CreepModel, Dashpot, Instant, Kelvin, Span, Term
from creepfit.models.power import Power
from creepfit.models.power_family import PowerFamily, PowerFamilyModel
from creepfit.models.registry import MODELS, models_named
from creepfit.models.stretched import Stretched, StretchedExponential
from creepfit.models.zener import Zener

getcontext().prec = 50
Array = NDArray[np.float64]

DAY, YEAR = 86400.0, 365.25 * 86400.0
SPAN = Span(60.0, 5 * DAY)
ALL_MODELS = [*MODELS, KelvinChain(1), KelvinChain(3)]

TERMS: list[tuple[Term, float | None]] = [
    (Instant(), None),
    (Dashpot(), None),
    (Kelvin(), 20.0),
    (Kelvin(), 3 * DAY),
    (PurePower(), 0.005),
    (PurePower(), 0.2),
    (PurePower(), 0.95),
    (PowerFamily(), -1.0),
    (PowerFamily(), -0.3),
    (PowerFamily(), 0.0),
    (PowerFamily(), 0.2),
    (PowerFamily(), 0.9),
    (Logarithm(), None),
    (Stretched(0.4), 3 * DAY),
]


def names(item: object) -> str | None:
    return type(item).__name__ if isinstance(item, Term) else getattr(item, "name", None)


def many_digits(term: Term, shape: float | None) -> Callable[[Decimal], Decimal]:
    """The term's own formula in fifty digits, time in s."""
    p = Decimal(0 if shape is None else shape)
    if isinstance(term, Instant):
        return lambda t: Decimal(1)
    if isinstance(term, Dashpot):
        return lambda t: t / 3600
    if isinstance(term, Kelvin):
        return lambda t: 1 - (-t / p).exp()
    if isinstance(term, PurePower):
        return lambda t: (t / 3600) ** p
    if isinstance(term, Stretched):
        return lambda t: 1 - (-((t / p) ** Decimal(term.beta))).exp()
    if p == 0:
        return lambda t: (1 + t).ln()
    return lambda t: ((1 + t) ** p - 1) / p


# --- models ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("creep", ALL_MODELS, ids=names)
@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_compliance_is_finite_not_negative_and_never_falls(creep: CreepModel, data: st.DataObject) -> None:
    axes = creep.axes(SPAN)
    shape = [data.draw(st.floats(axis.low, axis.high)) for axis in axes]
    amplitudes = [data.draw(st.floats(0.0, 1e6)) for _ in creep.terms]
    times = np.sort(data.draw(st.lists(st.floats(0.0, 1e11), min_size=2, max_size=30)))
    compliance = creep.compliance(np.array(times), shape, amplitudes)
    assert np.isfinite(compliance).all()
    assert (compliance >= 0.0).all()
    assert (np.diff(compliance) >= -1e-12 * compliance[1:]).all()


@pytest.mark.parametrize("creep", ALL_MODELS, ids=names)
@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_recovery_is_not_negative_and_never_rises(creep: CreepModel, data: st.DataObject) -> None:
    axes = creep.axes(SPAN)
    shape = [data.draw(st.floats(axis.low, axis.high)) for axis in axes]
    held = data.draw(st.floats(1.0, 100 * DAY))
    history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (held, 0.0, 0.0)])
    since = np.sort(data.draw(st.lists(st.floats(1e-3, 10 * YEAR), min_size=2, max_size=20)))
    for term in creep.terms:
        p = None if term.axis is None else np.array([shape[term.axis]])
        left = np.ravel(superpose(term, history, held + np.array([*since]), p))
        most = float(np.ravel(superpose(term, history, np.array([held]), p))[0])
        assert (left >= -1e-15 * most).all()
        assert (np.diff(left) <= 4e-16 * (most + float(np.ravel(term.value(np.array(held + since[-1]), p))[0]))).all()


@pytest.mark.parametrize(("term", "shape"), TERMS, ids=names)
@pytest.mark.parametrize("since", ["0.001", "0.1", "60", "86400", "31557600"])
def test_recovery_against_fifty_digits(term: Term, shape: float | None, since: str) -> None:
    """From a millisecond to a year after five days under load."""
    held = 5 * DAY
    history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (held, 0.0, 0.0)])
    at = held + float(since)
    p = None if shape is None else np.array([shape])
    left = float(np.ravel(superpose(term, history, np.array([at]), p))[0])
    exact = many_digits(term, shape)
    after = Decimal(at) - Decimal(held)
    wanted = exact(Decimal(at)) - exact(after)
    # what is left late is the difference of two large numbers: digits are lost to the size of those
    size = float(exact(Decimal(at)))
    assert left >= 0.0
    assert left == pytest.approx(float(wanted), rel=1e-9, abs=4e-15 * max(size, 1.0))


@pytest.mark.parametrize(("term", "shape"), TERMS, ids=names)
def test_values_against_fifty_digits(term: Term, shape: float | None) -> None:
    exact = many_digits(term, shape)
    times = np.array([1e-9, 1e-3, 0.5, 60.0, 3600.0, 5 * DAY, YEAR, 50 * YEAR])
    found = np.ravel(term.value(times, None if shape is None else np.array([[shape]])))
    assert found == pytest.approx([float(exact(Decimal(t))) for t in times.tolist()], rel=1e-12)


@pytest.mark.parametrize(("term", "shape"), TERMS, ids=names)
@pytest.mark.parametrize("t", [1e-4, 1.0, 1.7, 60.0, 5 * DAY, YEAR])
def test_integrals_against_quadrature(term: Term, shape: float | None, t: float) -> None:
    p = None if shape is None else np.array(shape)
    # on the logarithm of time the functions are smooth, pure powers at zero included
    wanted = quad(lambda u: float(term.value(np.array(t * np.exp(u)), p)) * t * np.exp(u), -60.0, 0.0, limit=500)[0]
    assert float(term.integral(np.array(t), p)) == pytest.approx(wanted, rel=1e-8)


@pytest.mark.parametrize(
    ("term", "shape", "power"),
    [(Kelvin(), 1.0, 2.0), (Stretched(0.4), 1.0, 1.4), *((PowerFamily(), n, 2.0) for n in (-0.5, 0.0, 0.2, 0.9))],
    ids=names,
)
def test_integrals_do_not_jump_where_series_take_over(term: Term, shape: float, power: float) -> None:
    x = np.geomspace(1e-8, 1e-2, 601)
    scaled = term.integral(x, np.array(shape)) / x**power
    assert (np.abs(np.diff(scaled, 2)) < 1e-5 * scaled[1:-1]).all()


@pytest.mark.parametrize(
    ("term", "shape", "last"),
    [
        *((Kelvin(), tau, 1e-4 * tau) for tau in (1.0, DAY)),
        *((Stretched(beta), DAY, 1e-5 ** (1.0 / beta) * DAY) for beta in (0.4, 0.6, 1.0)),
        *((PowerFamily(), n, 1e-5) for n in (-0.9, 0.2, 0.9)),
    ],
    ids=names,
)
def test_a_series_leaves_out_next_to_nothing(term: Term, shape: float, last: float) -> None:
    """Just before the closed form takes over; what is left out is the square of the argument over 6 at most."""
    t, p = 0.99 * last, np.array(shape)
    wanted = quad(
        lambda u: float(term.value(np.array(t * np.exp(u)), p)) * t * np.exp(u),
        -60.0,
        0.0,
        limit=500,
        epsabs=0.0,
        epsrel=1e-11,
    )[0]
    assert float(term.integral(np.array(t), p)) == pytest.approx(wanted, rel=2e-9, abs=0.0)


# --- ramps ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("term", "shape"), TERMS, ids=names)
@pytest.mark.parametrize("over", [5.0, 3600.0])
@pytest.mark.parametrize("after", [0.4, 1.0, 1.5, 30.0, 1e4])
def test_ramps_against_quadrature(term: Term, shape: float | None, over: float, after: float) -> None:
    """During the ramp (0.4 of it), at its end and after it: the mean of the function over the ramp."""
    t = over * after
    history = LoadHistory.from_steps([(10.0, over, 2.0)])
    p = None if shape is None else np.array([shape])
    found = float(np.ravel(superpose(term, history, np.array([10.0 + t]), p))[0])

    def applied(s: float) -> float:
        return float(np.ravel(term.value(np.array(t - s), None if shape is None else np.array(shape)))[0])

    end = min(over, t)
    wanted = quad(applied, 0.0, end, limit=500, points=[end * (1 - 1e-9), end * (1 - 1e-6), end * (1 - 1e-3)])[0]
    assert found == pytest.approx(2.0 * wanted / over, rel=1e-6)


def test_a_ramp_acts_as_a_step_halfway_through() -> None:
    """A ramp of length r acts like a step at r/2: within 0.5 % from 2 r, 0.05 % from 5 r on (own arithmetic)."""
    for n in (0.1, 0.2, 0.3):
        ramp = LoadHistory.from_steps([(0.0, 30.0, 1.0)])
        step = LoadHistory.held(1.0, start=15.0)
        times = np.array([60.0, 150.0, 300.0])
        both = [superpose(PurePower(), h, times, np.array([n]))[0] for h in (ramp, step)]
        off = np.abs(both[1] / both[0] - 1.0)
        assert off[0] < 5e-3
        assert off[1] < 5e-4
        # ignoring the ramp, the creep at ten times its length is 0.5 to 1.5 % low
        plain = superpose(PurePower(), LoadHistory.held(1.0), times, np.array([n]))[0]
        assert 0.005 < plain[2] / both[0][2] - 1.0 < 0.017


@pytest.mark.parametrize("t", [10.0, 1e6])
def test_the_integral_of_the_logarithm_goes_over_into_that_of_a_power(t: float) -> None:
    """How it changes with n, by the series about 0 and by the difference beyond it."""
    at = {n: float(PowerFamily().integral(np.array(t), np.array(n))) for n in (-1e-4, 0.0, 5e-8, 1e-4)}
    assert (at[5e-8] - at[0.0]) / 5e-8 == pytest.approx((at[1e-4] - at[-1e-4]) / 2e-4, rel=1e-5)


# --- modes ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("term", "shape"), [*TERMS, *((Stretched(beta), 3 * DAY) for beta in (0.25, 0.6, 0.85, 1.0))], ids=names
)
def test_modes_add_up_to_the_value(term: Term, shape: float | None) -> None:
    times = np.geomspace(1.0, 50 * YEAR, 60)
    p = None if shape is None else np.array([shape])
    grid = np.exp(STEP * np.arange(np.floor(np.log(SLOWEST / times[-1]) / STEP), np.ceil(np.log(FORGOTTEN) / STEP) + 1))
    own = term.own_rates(p)
    rates = np.unique(own) if own.size else grid
    modes = term.modes(rates, STEP, p)
    found = modes.spring + modes.dashpot * times - np.expm1(-np.outer(times, rates)) @ modes.weights[0]
    assert (modes.weights >= -1e-11).all()
    narrow = isinstance(term, Stretched) and 0.7 < term.beta < 1.0  # to so much of the whole, early times included
    assert found == pytest.approx(np.ravel(term.value(times, p)), rel=1e-7, abs=3e-9 if narrow else 0.0)


@pytest.mark.parametrize("beta", [0.25, 0.4])
def test_what_is_slower_than_the_grid_acts_as_a_dashpot(beta: float) -> None:
    """An hour of what takes ages: most of its spectrum lies below the slowest rate of the grid."""
    times, tau = np.geomspace(1.0, HOUR, 20), np.array([1e3 * YEAR])
    rates = np.exp(STEP * np.arange(np.floor(np.log(SLOWEST / times[-1]) / STEP), np.ceil(np.log(FORGOTTEN) / STEP) + 1))
    modes = Stretched(beta).modes(rates, STEP, tau)
    found = modes.spring + modes.dashpot * times - np.expm1(-np.outer(times, rates)) @ modes.weights[0]
    assert modes.weights.sum() < 0.9
    assert found == pytest.approx(np.ravel(Stretched(beta).value(times, tau)), rel=1e-5)


# --- textbook formulas ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0.05, 0.083, 0.2, 0.5, 0.9])
def test_fractional_recovery_of_a_power_law(n: float) -> None:
    """Fr = 1 + tR^n - (tR + 1)^n (Crawford, Plastics Engineering, 3rd ed., eqs. 2.59-2.63, pp. 104-105)."""
    reduced = np.geomspace(1e-3, 100.0, 20)
    history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (HOUR, 0.0, 0.0)])
    at_unloading = superpose(PurePower(), history, np.array([HOUR]), np.array([n]))[0]
    left = superpose(PurePower(), history, HOUR * (1.0 + reduced), np.array([n]))[0]
    assert (at_unloading - left) / at_unloading == pytest.approx(1.0 + reduced**n - (1.0 + reduced) ** n, abs=1e-13)


def test_named_parameters_are_those_of_the_formulas() -> None:
    t = np.array([10.0, 3600.0, 5 * DAY])
    hours = t / HOUR

    def named(creep: CreepModel, shape: list[float], amplitudes: list[float]) -> tuple[dict[str, float], Array]:
        values = {p.name: p.value for p in creep.parameters(shape, amplitudes)}
        return values, creep.compliance(t, shape, amplitudes)

    p, d = named(Findley(), [0.2], [5e-4, 1e-4])
    assert d == pytest.approx(p["D0"] + p["m"] * hours ** p["n"])
    p, d = named(Power(), [0.083], [4.86e-4])
    assert d == pytest.approx(p["m"] * hours ** p["n"])
    p, d = named(Burgers(), [7200.0], [1e-3, 2e-4, 3e-6])
    tau = p["eta2"] / p["E2"]
    assert tau == pytest.approx(2.0)
    assert d == pytest.approx(1 / p["E1"] + (1 - np.exp(-hours / tau)) / p["E2"] + hours / p["eta1"])
    p, d = named(Zener(), [7200.0], [1e-3, 2e-4])
    assert d == pytest.approx(1 / p["E1"] + (1 - np.exp(-hours / p["tau"])) / p["E2"])
    p, d = named(KelvinChain(2), [3600.0, 36000.0], [1e-3, 2e-4, 4e-4])
    units = sum((1 - np.exp(-hours / p[f"tau{i}"])) / p[f"E{i}"] for i in (1, 2))
    assert d == pytest.approx(1 / p["E0"] + units)
    p, d = named(Logarithmic(), [], [1e-3, 1e-5])
    assert d == pytest.approx(p["D0"] + p["per decade"] * np.log10(1.0 + t))
    p, d = named(PowerFamilyModel(), [-0.2], [1e-3, 1e-5])
    assert d[1] == pytest.approx(p["D0"] + p["creep at 1 h"])


def test_a_spring_that_was_not_seen_is_infinitely_stiff() -> None:
    values = {p.name: p.value for p in Burgers().parameters([7200.0], [1e-3, 0.0, 0.0])}
    assert values["E2"] == values["eta1"] == np.inf


def test_the_power_family_contains_its_neighbours() -> None:
    t = np.geomspace(1e-3, YEAR, 30)
    family = PowerFamily()
    assert family.value(t, np.array(0.0)) == pytest.approx(Logarithm().value(t), rel=1e-14)
    assert family.value(t, np.array(1e-9)) == pytest.approx(Logarithm().value(t), rel=1e-7)
    assert family.value(t, np.array(-1.0)) == pytest.approx(t / (1.0 + t), rel=1e-12)
    # far beyond the offset it is Findley's power law but for a constant
    late = np.array([DAY, 2 * DAY, 4 * DAY])
    ratio = np.diff(family.value(late, np.array(0.2))) / np.diff(PurePower().value(late, np.array(0.2)))
    assert ratio[1] == pytest.approx(ratio[0], rel=1e-5)


def test_shape_ranges_follow_the_readings() -> None:
    for creep in ALL_MODELS:
        for axis in creep.axes(SPAN):
            grid = axis.grid()
            assert grid.size == axis.count
            assert (np.diff(grid) > 0.0).all()
            assert grid[0] == pytest.approx(axis.low)
            assert grid[-1] == pytest.approx(axis.high)
    (tau,) = Zener().axes(SPAN)
    assert (tau.low, tau.high) == pytest.approx((20.0, 15 * DAY))
    (later,) = Zener().axes(Span(60.0, 10 * DAY))
    assert later.high == pytest.approx(2 * tau.high)


def test_models_by_name() -> None:
    assert [m.name for m in models_named("burgers")] == ["burgers"]
    assert len({m.name for m in models_named("stretched-exponential")}) == 1
    with pytest.raises(InputError, match="'findley'"):
        models_named("findly")
    with pytest.raises(InputError, match="one of power-family"):
        models_named("xyz")
    with pytest.raises(ValueError, match="one unit or more"):
        KelvinChain(0)
    for beta in (0.0, -0.5, 1.01):
        with pytest.raises(ValueError, match="beta lies between 0 and 1"):
            StretchedExponential(beta)
    assert StretchedExponential(1.0).beta == 1.0


@pytest.mark.parametrize("last", [1e-3, 0.02, 0.5, 2.0, 1e9])
def test_ranges_of_a_run_of_any_length_go_upwards(last: float) -> None:
    """Also of one that was over within a second, which is taken as its first reading otherwise."""
    for model in MODELS:
        for axis in model.axes(Span(last / 10.0, last)):
            assert axis.low < axis.high, (model.name, axis)
