"""The force of a kept deflection, against closed forms; what is left when it is let go; set; springs in series."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from creepfit.mechanics.loading import Array
from creepfit.mechanics.relaxation import HeldForce, Kernel, time_grid

HOUR = 3600.0
TAU = 5.0 * HOUR


def kernel(
    compliance: Callable[[Array], Array], end: float, *, series: float = 0.0, per_decade: int = 12, **stays: float
) -> Kernel:
    grid = time_grid(end, np.array([HOUR, 0.5 * end]), per_decade)
    one = np.ones(1)
    sets = [stays.get(key, 0.0) * one for key in ("set_with_load", "set_growth")]
    return Kernel(grid, compliance(grid)[None, :], compliance(np.zeros(1)), series, *sets)


def held(compliance: Callable[[Array], Array], end: float = 1e6, **options: float) -> HeldForce:
    return kernel(compliance, end, **options).force(1.0, end)  # type: ignore[arg-type]


def maxwell(t: Array) -> Array:
    return (1.0 + t / TAU) / 2000.0


def zener(t: Array) -> Array:
    return 1.0 / 2000.0 - np.expm1(-t / TAU) / 1500.0


def test_maxwell_forgets_exponentially() -> None:
    found = held(maxwell)
    assert found.force[0] / 2000.0 == pytest.approx(np.exp(-found.knots / TAU), abs=2e-3)


def test_zener_relaxes_to_its_springs_in_series() -> None:
    found = held(zener)
    rest = 1.0 / (1.0 / 2000.0 + 1.0 / 1500.0)
    time = TAU * 1500.0 / 3500.0  # E1, E2: tau E2/(E1 + E2)
    assert found.force[0] == pytest.approx(rest + (2000.0 - rest) * np.exp(-found.knots / time), rel=1.2e-3)


def test_twice_the_steps_leave_a_quarter_of_the_error() -> None:
    found = [held(maxwell, per_decade=n) for n in (6, 12, 24)]
    errors = [np.abs(f.force[0] / 2000.0 - np.exp(-f.knots / TAU)).max() for f in found]
    assert errors[0] > 3.5 * errors[1] > 12.0 * errors[2]
    assert errors[1] < 1.5e-3


def test_a_spring_in_series_makes_a_maxwell_body_slower() -> None:
    """Spring and dashpot with a spring c in series are a Maxwell body of compliance 1/E + c and the same dashpot."""
    found = held(maxwell, series=1.0 / 2000.0)
    assert found.force[0] / 1000.0 == pytest.approx(np.exp(-found.knots / (2.0 * TAU)), abs=2e-3)


def test_what_is_left_of_a_maxwell_body_is_its_flow() -> None:
    end = 1e5
    found = held(maxwell, end)
    flowed = 1.0 - np.exp(-end / TAU)
    assert found.left(np.array([0.0, HOUR, 1e4]))[0] == pytest.approx([flowed] * 3, rel=2e-3)


def test_what_is_left_of_a_zener_body_goes_back() -> None:
    end, rest, time = 1e5, 1.0 / (1.0 / 2000.0 + 1.0 / 1500.0), TAU * 1500.0 / 3500.0
    after = np.array([0.0, HOUR, 1e4, 9e4])
    bend = 1.0 - (rest + (2000.0 - rest) * np.exp(-end / time)) / 2000.0  # of its Kelvin unit when let go
    assert kernel(zener, 3e5).force(1.0, 3e5 / 2).knots[-1] == 1.5e5
    whole = Kernel(
        grid := time_grid(2e5, np.array([end])), zener(grid)[None], zener(np.zeros(1)), 0.0, np.zeros(1), np.zeros(1)
    )
    assert whole.force(1.0, end).left(after)[0] == pytest.approx(bend * np.exp(-after / TAU), rel=4e-3, abs=1e-6)


def test_set_takes_from_the_force_and_stays() -> None:
    plain = held(zener)
    bare = held(zener, set_with_load=1e-4)
    grown = held(zener, set_growth=1e-5)
    assert bare.force[0, 0] == pytest.approx(1.0 / (1.0 / 2000.0 + 1e-4))
    assert (bare.force[0] < plain.force[0]).all()
    assert grown.force[0, -1] < plain.force[0, -1]
    long = np.array([9.9e5])  # when all else has gone back
    assert plain.left(long)[0, 0] == pytest.approx(0.0, abs=1e-6)
    assert bare.left(long)[0, 0] == pytest.approx(1e-4 * bare.force[0, 0], rel=1e-3)
    assert grown.left(long)[0, 0] == pytest.approx(grown.stayed[0], rel=1e-3)
    # a force that hardly changes: set_growth x F x (t / 1 h)^0.5
    stiff = held(lambda t: 1.0 / 2000.0 + 0.0 * t, 1e5, set_growth=1e-8)
    assert stiff.stayed[0] == pytest.approx(1e-8 * 2000.0 * np.sqrt(1e5 / HOUR), rel=1e-3)


@given(n=st.floats(0.05, 0.4), creep=st.floats(1e-6, 1e-4), series=st.floats(0.0, 1e-3))
def test_it_lies_between_the_bounds_of_the_quasi_elastic_form(n: float, creep: float, series: float) -> None:
    """E(t) D(t) <= 1 for every material, and not below that of a pure power of time; a spring in series keeps more."""

    def law(t: Array) -> Array:
        return 5e-4 + creep * (t / 60.0) ** n

    found = held(law, 1e7, series=series, per_decade=6)
    late = found.knots > 60.0  # before, a law without an offset is steeper than the steps
    forces = found.force[0]
    quasi = 1.0 / (law(found.knots) + series)
    assert (np.diff(forces)[late[1:]] < 0.0).all()
    assert (forces <= quasi * (1.0 + 1e-3))[late].all()
    assert (forces >= quasi * np.sin(n * np.pi) / (n * np.pi) * 0.997)[late].all()


def test_marks_stand_in_the_grid_and_nothing_close_beside_them() -> None:
    marks = np.array([60.0, HOUR, 1e6])
    grid = time_grid(1e7, marks)
    assert np.isin(marks, grid).all()
    assert (np.diff(np.log(grid)) > 0.05).all()
