"""Stress dependence: modified superposition and beam factors by hand, and linear and softening materials told apart."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from creepfit.answers.stress.linearity import Linearity, linearity
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.pooling import fit_pooled
from creepfit.inference.priors import Priors
from creepfit.mechanics.beam import Beam, Support
from creepfit.mechanics.beam_axis import Straight
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.nonlinear_bending import curvature_factor, weighted_factor
from creepfit.mechanics.section import Rectangle
from creepfit.mechanics.specimen import (
    Direct,
    FourPointBending,
    Segments,
    Specimen,
    ThreePointBending,
)
from creepfit.mechanics.stress_law import sinh_map, why_no_sinh
from creepfit.records.run import LoadStep, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure

STRAIN = Direct("strain")
SIZES = {"width": Measure(12.0), "thickness": Measure(4.0)}
BAR = ThreePointBending(span=Measure(80.0), **SIZES)
RATIOS = np.array([0.5, 1.0, 1.5, 2.0])


def tip_factor(relative_stress: Any) -> Any:
    """Deflection at the load over that of the linear law: 3 times the integral of u^2 f(x u) over u from 0 to 1."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    u = (1.0 + nodes) / 2.0
    return weighted_factor(relative_stress, u, 1.5 * weights * u**2)


def softening(run: Callable[..., Run], sigma0: float, loads: list[float], **options: Any) -> Run:
    """A run whose strain follows sigma0 sinh(stress / sigma0), the loads put on one after another, a minute each."""
    specimen: Specimen = options.setdefault("specimen", STRAIN)
    every: float = options.pop("every", MINUTE)
    law = sinh_map(specimen, sigma0)
    steps = tuple(LoadStep(k * every, load) for k, load in enumerate(loads))
    felt = tuple(LoadStep(s.at, float(law(np.array(s.value)))) for s in steps)
    offsets = every * np.array([1 / 60, 0.1, 0.25, 0.5, 0.98]) if len(loads) > 1 else np.geomspace(MINUTE, 5 * DAY, 9)
    times = [s.at + t for s in steps for t in offsets]
    made = run(steps=felt, times=times, unload=None, **options)
    return replace(made, steps=steps)


def held(run: Callable[..., Run], stress: float, sigma0: float = np.inf, seed: int = 0, **options: Any) -> Fit:
    options = {"noise": 2e-5, "resolution": 1e-6, "name": f"at {stress:g}", "age": None, **options}
    return fit(softening(run, sigma0, [stress], seed=seed, **options))


# --- the map of the load -----------------------------------------------------------------------------------------------


def test_a_load_map_keeps_times_ramps_and_full_unloading() -> None:
    steps = LoadHistory.from_steps([(0.0, 5.0, 10.0), (60.0, 0.0, 20.0), (120.0, 2.0, 0.0)])
    mapped = steps.with_loads_mapped(lambda s: s**2)
    np.testing.assert_array_equal(mapped.start, steps.start)
    np.testing.assert_array_equal(mapped.end, steps.end)
    np.testing.assert_allclose(mapped.at(np.array([2.5, 30.0, 90.0, 200.0])), [50.0, 100.0, 400.0, 0.0])
    same = steps.with_loads_mapped(sinh_map(BAR, np.inf))
    np.testing.assert_allclose(same.change, steps.change)


def mapped(specimen: Specimen) -> Array:
    """Factor by which more deflects than by the linear law, at outer stresses of half to twice sigma0."""
    sigma0 = 20.0
    loads = RATIOS * sigma0 / float(specimen.geometry.stress_per_load or np.nan)
    factor = sinh_map(specimen, sigma0)(loads) / loads
    shear = specimen.geometry.shear_share or 0.0
    return np.asarray((factor - shear) / (1.0 - shear))


def test_four_points_lie_between_three_points_and_pure_bending() -> None:
    """Span L, load span a: most of the midspan's curvature acts between the loads; at a = 0 it is three-point bending."""
    wide = mapped(FourPointBending(span=Measure(80.0), load_span=Measure(40.0), **SIZES))
    near = mapped(FourPointBending(span=Measure(80.0), load_span=Measure(0.01), **SIZES))
    assert (tip_factor(RATIOS) < wide).all()
    assert (wide < curvature_factor(RATIOS)).all()
    np.testing.assert_allclose(near, tip_factor(RATIOS), rtol=1e-3)
    # between the loads the moment is the peak; outside it rises evenly: shares 9/11 and 2/11 for loads at quarter points
    expected = (9.0 * curvature_factor(RATIOS) + 2.0 * tip_factor(RATIOS)) / 11.0
    np.testing.assert_allclose(wide, expected, rtol=1e-6)


def test_a_load_the_other_way_goes_the_other_way() -> None:
    law = sinh_map(BAR, 10.0)
    np.testing.assert_allclose(law(np.array([-30.0])), -law(np.array([30.0])))
    assert law(np.array([0.0]))[0] == 0.0


def test_where_the_law_cannot_be_used_the_reason_is_said() -> None:
    beam = Beam((Straight(section=Rectangle(12.0, 4.0), length=60.0),), Support("cantilever"))
    cored = ThreePointBending(span=Measure(80.0), walls=Measure(1.0), core_stiffness=0.2, **SIZES)
    for specimen, word in ((Segments(beam), "straight bars"), (Direct(), "stress is unknown"), (cored, "walls")):
        assert word in str(why_no_sinh(specimen))
        with pytest.raises(InputError, match=word):
            sinh_map(specimen, 10.0)
    assert why_no_sinh(BAR) is None


# --- one specimen, several loads ---------------------------------------------------------------------------------------


def stepped(run: Callable[..., Run], sigma0: float, stresses: tuple[float, ...] = (4.0, 8.0, 12.0, 16.0)) -> Fit:
    loads = [s / float(BAR.geometry.stress_per_load or np.nan) for s in stresses]
    return fit(softening(run, sigma0, loads, specimen=BAR, noise=0.002, resolution=0.001, every=6 * MINUTE, seed=4))


def test_creep_of_earlier_steps_does_not_pass_for_softening(creep_run: Callable[..., Run]) -> None:
    fitted = stepped(creep_run, np.inf)
    values, load = fitted.observed.values, fitted.observed.history.at(fitted.observed.times)
    first = [int(np.flatnonzero(load > 0.99 * level)[0]) for level in sorted(set(load[load > 0.0]))]
    before = [values[fitted.observed.times <= 0.0].mean(), *(values[i - 1] for i in first[1:])]
    naive = np.diff([*(values[i] for i in first)]) / (values[first[0]] - before[0])
    assert naive.max() > 1.02  # what a table of readings would show
    found = linearity([fitted])
    assert found.law is not None
    assert found.law.probability_linear > 0.9
    assert not any(r.distinguishable for r in found.ratios)
    assert found.law.sigma0.high == np.inf
    assert found.law.sigma0.low > 16.0
    assert found.text.startswith("no departure")
    assert found.proportional == "yes"
    (ratio,) = found.ratios
    assert 0.05 < ratio.probability_softer < 0.95  # the ratio's own, whatever the law says
    assert ratio.ratio.low < 1.0 < ratio.ratio.high
    assert found.to_dict()["law"]["sigma0"]["high"] is None
    assert "linear law" in found.to_dict()["law"]["sigma0"]["why"]


def test_softening_within_one_bending_run_is_seen_and_sized(creep_run: Callable[..., Run]) -> None:
    found = linearity([stepped(creep_run, 12.0)])
    law = found.law
    assert law is not None
    assert law.sigma0.low < 12.0 < law.sigma0.high
    assert law.sigma0.high < 14.0
    assert law.probability_linear < 0.01
    assert law.factor.low < np.sinh(16 / 12) / (16 / 12) < law.factor.high
    top = found.ratios[-1]
    # the bar itself shows less: its factor at 16 MPa over that at 4 MPa
    shown = float(tip_factor(16 / 12) / tip_factor(4 / 12))
    assert top.ratio.low - 0.01 < shown < top.ratio.high + 0.01
    assert top.distinguishable
    assert top.ratio.median - 1.0 < 0.5 * (law.factor.median - 1.0)
    assert "not in proportion" in found.text
    assert "bending-hides-softening" in {c.code for c in found.cautions}


def test_two_loads_on_one_specimen_give_their_ratio_only(creep_run: Callable[..., Run]) -> None:
    def ratio(sigma0: float) -> Any:
        run = softening(creep_run, sigma0, [5.0, 15.0], noise=1e-5, resolution=1e-6, every=HOUR, seed=2, specimen=STRAIN)
        return linearity([fit(run)])

    soft, linear = ratio(15.0), ratio(np.inf)
    true = (np.sinh(1.0) / 1.0) / (np.sinh(1 / 3) / (1 / 3))
    assert soft.law is None
    assert "3 or more" in soft.why
    assert [r.time for r in soft.ratios] == [None]
    assert soft.ratios[0].probability_softer > 0.999
    assert soft.proportional == "no"
    assert soft.ratios[0].ratio.low < true < soft.ratios[0].ratio.high
    assert soft.ratios[0].distinguishable
    assert not linear.ratios[0].distinguishable
    assert linear.ratios[0].ratio.median == pytest.approx(1.0, abs=0.01)


# --- a specimen for each load ------------------------------------------------------------------------------------------


def test_one_specimen_a_stress_leaves_the_ratio_to_scatter(creep_run: Callable[..., Run]) -> None:
    """A true ratio of 1.175 at sigma0 cannot be told from bars that differ; the same two stresses on one bar can."""
    true = np.sinh(1.0) / 1.0 / (np.sinh(0.25) / 0.25)
    apart = linearity([held(creep_run, 5.0, 20.0), held(creep_run, 20.0, 20.0, seed=1)])
    one_bar = linearity([held(creep_run, 5.0, 20.0, name="bar"), held(creep_run, 20.0, 20.0, seed=1, name="bar")])
    for found in (apart, one_bar):
        assert all(r.ratio.low < true < r.ratio.high for r in found.ratios)
        assert found.ratios[-1].time == pytest.approx(5 * DAY)
        assert found.law is None
    assert not any(r.distinguishable for r in apart.ratios)
    assert all(r.distinguishable for r in one_bar.ratios)
    assert "one-specimen-a-stress" in {c.code for c in apart.cautions}
    assert "one-specimen-a-stress" not in {c.code for c in one_bar.cautions}


def test_strong_softening_is_told_even_between_specimens(creep_run: Callable[..., Run], alone: Priors) -> None:
    stresses = (4.0, 8.0, 16.0, 20.0)
    found = linearity([replace(held(creep_run, s, 10.0, seed=k), priors=alone) for k, s in enumerate(stresses)])
    assert found.law is not None
    assert found.law.probability_linear < 0.01
    assert found.law.sigma0.low < 10.0 < found.law.sigma0.high
    assert found.ratios[-1].distinguishable
    strain = found.law.strain(20.0, np.array([DAY])).draws
    assert strain.shape[1] == 1
    with pytest.raises(InputError, match="no more than the highest tested, 20 MPa"):
        found.law.strain(21.0, np.array([DAY]))
    json.dumps(found.to_dict(), allow_nan=False)
    assert len(found.table()) == len(found.ratios)


@pytest.fixture(scope="module")
def scattered(creep_run: Callable[..., Run], truth: Any) -> Linearity:
    """Three bars a few per cent apart, each under another stress, of a plastic that does not soften."""
    bars = enumerate(((5.0, 2000.0), (10.0, 2120.0), (20.0, 1880.0)))
    return linearity([held(creep_run, s, seed=k, truth=truth(modulus=m)) for k, (s, m) in bars])


def test_bars_that_scatter_are_not_taken_for_softening(scattered: Linearity) -> None:
    assert scattered.law is not None
    assert scattered.law.probability_linear > 0.2
    assert scattered.proportional == "cannot be told"
    assert "rising stresses" in str(scattered.to_dict()["next_test"])


def test_pooled_fits_of_one_stress_each_narrow_the_ratio(creep_run: Callable[..., Run], alone: Priors) -> None:
    def bars(stress: float, count: int) -> list[Run]:
        return [held(creep_run, stress, seed=10 * int(stress) + k, name=f"{stress:g} {k}").run for k in range(count)]

    one = linearity([fit(bars(s, 1)[0], priors=alone) for s in (5.0, 10.0)])
    many = linearity([fit_pooled(bars(s, 4), priors=alone) for s in (5.0, 10.0)])
    width = [np.log(found.ratios[-1].ratio.high / found.ratios[-1].ratio.low) for found in (one, many)]
    assert width[1] < 0.4 * width[0]
    assert many.levels[0].specimens == ("5 0", "5 1", "5 2", "5 3")


# --- what cannot be answered -------------------------------------------------------------------------------------------


def test_without_two_known_stresses_there_is_no_answer(creep_run: Callable[..., Run]) -> None:
    with pytest.raises(InputError, match="one stress tells nothing of others"):
        linearity([held(creep_run, 5.0), held(creep_run, 5.05, seed=1)])
    with pytest.raises(InputError, match="whose stress is known"):
        linearity([held(creep_run, 5.0, specimen=Direct()), held(creep_run, 9.0, specimen=Direct())])
    with pytest.raises(InputError, match="no fit given"):
        linearity([])


def test_without_initial_readings_two_specimens_cannot_be_compared(creep_run: Callable[..., Run]) -> None:
    found = linearity([held(creep_run, 5.0, initial=0), held(creep_run, 9.0, initial=0)])
    assert found.ratios == ()
    assert "cannot be told" in found.text
    assert "counted from an initial reading" in str(found.why)


def test_softening_is_not_called_likelier_at_a_probability_shown_as_a_half(scattered: Linearity) -> None:
    # "softening is likelier than not (probability 0.50)" stood there
    law = scattered.law
    assert law is not None
    half, less = (replace(scattered, law=replace(law, probability_linear=p)) for p in (0.4996, 0.45))
    assert (half.proportional, less.proportional) == ("cannot be told", "cannot be told")
    assert "the readings say nothing for or against softening" in half.text
    assert "likelier" not in half.text
    assert "softening is likelier than not (probability 0.55)" in less.text
