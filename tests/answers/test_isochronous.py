"""Isochronous curves: textbook numbers, a material whose curves are known, and what is marked as extrapolated."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from creepfit.answers.stress.isochronous import _average, _strain, isochronous
from creepfit.answers.stress.linearity import linearity
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Direct, Tension
from creepfit.mechanics.stress_law import sinh_map
from creepfit.records.run import LoadStep, Reading, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure

STRAIN = Direct("strain")
WEEK = 7 * DAY


def held(run: Callable[..., Run], stress: float, sigma0: float = np.inf, seed: int = 0, **options: Any) -> Fit:
    """A run of five days at one stress, its strain by the hyperbolic sine."""
    felt = float(sinh_map(STRAIN, sigma0)(np.array(stress)))
    options = {"noise": 2e-6, "resolution": 1e-7, "name": "bar", "age": None, "unload": None, **options}
    made = run(specimen=STRAIN, steps=(LoadStep(0.0, felt),), seed=seed, **options)
    return fit(replace(made, steps=(LoadStep(0.0, stress),)))


def read_as(run: Run, strain: Callable[[float], float], seed: int = 0) -> Fit:
    """The run's fit with other readings: a strain by time in h, and the noise of `held`."""
    noise = 2e-6 * np.random.default_rng(seed).standard_normal(len(run.readings))
    readings = [
        Reading(r.time, (strain(r.time / HOUR) if r.time > 0.0 else 0.0) + e)
        for r, e in zip(run.readings, noise, strict=True)
    ]
    return fit(replace(run, readings=tuple(readings)))


def test_textbook_acetal_at_the_times_of_the_textbook(creep_run: Callable[..., Run]) -> None:
    """Acetal, strain in % = 0.0486 stress t^0.083 (MPa, h): 0.747 % at 100 h and 0.792 % at 200 h under 10.5 MPa (Crawford,
    Plastics Engineering, 3rd ed., example 2.16, pp. 107-109). Three bars read for 100 h only; 0.792 % is forecast."""
    times = (MINUTE, 10 * MINUTE, HOUR, 10 * HOUR, 30 * HOUR, 100 * HOUR)
    fits = [
        read_as(held(creep_run, s, seed=k, times=times).run, lambda t, s=s: 0.000486 * s * t**0.083, k)  # type: ignore[misc]
        for k, s in enumerate((7.0, 10.5, 14.0))
    ]
    found = isochronous(fits, times=(100 * HOUR, 200 * HOUR))
    read, forecast = found.at(100 * HOUR)[1], found.at(200 * HOUR)[1]
    assert (read.stress, read.extrapolated, forecast.extrapolated) == (10.5, False, True)
    assert 100.0 * read.strain.median == pytest.approx(0.747, abs=0.0015)
    assert 100.0 * forecast.strain.median == pytest.approx(0.792, abs=0.003)
    assert read.modulus.median == pytest.approx(10.5 / 0.00747, rel=0.002)
    # 9 MPa lies on the same straight curve: the secant modulus of 0.64 % is that of all strains
    assert found.modulus(100 * HOUR, 0.0064) == pytest.approx(10.5 / 0.00747, rel=0.003)


def test_stress_for_half_a_percent_falls_as_in_the_textbook(creep_run: Callable[..., Run]) -> None:
    """Polypropylene at 0.5 %: 8 MPa at 10 s, 3.3 MPa at 1 week, a slope of 0.080 in the logarithms (Crawford, p. 53)."""
    fits = []
    for k, stress in enumerate((2.0, 4.0, 8.0)):
        bare = held(creep_run, stress, seed=k, times=(10.0, MINUTE, HOUR, DAY, WEEK)).run
        fits.append(read_as(bare, lambda t, s=stress: 0.005 * s / 8.0 * (360.0 * t) ** 0.08, k))  # type: ignore[misc]
    found = isochronous(fits, times=(10.0, WEEK))
    assert found.stress(10.0, 0.005) == pytest.approx(8.0, abs=0.05)
    assert found.stress(WEEK, 0.005) == pytest.approx(3.3, abs=0.05)
    assert found.modulus(10.0, 0.005) == pytest.approx(1600.0, rel=0.01)


def test_curves_and_moduli_of_a_softening_material(creep_run: Callable[..., Run], truth: Any) -> None:
    sigma0, stresses = 12.0, (4.0, 8.0, 14.0)
    fits = [held(creep_run, s, sigma0, seed=k) for k, s in enumerate(stresses)]
    by_run, by_law = isochronous(fits), isochronous(linearity(fits))
    for found in (by_run, by_law):
        assert [p.time / HOUR for p in found.points[::3]] == [1.0, 10.0, 100.0, 1000.0, 10000.0]
        assert [p.stress for p in found.at(HOUR)] == list(stresses)
        for point in found.points:
            felt = float(sinh_map(STRAIN, sigma0)(np.array(point.stress)))
            true = felt * float(truth().deformation(LoadHistory.held(1.0), np.array([point.time]))[0])
            if not point.extrapolated:
                assert point.strain.median == pytest.approx(true, rel=0.01)
            assert point.strain.low < 1.02 * true
            assert point.strain.high > 0.98 * true
            assert point.modulus.low == pytest.approx(point.stress / point.strain.high)
            assert point.modulus.high == pytest.approx(point.stress / point.strain.low)
    moduli = [p.modulus.median for p in by_run.at(100 * HOUR)]
    assert moduli[0] > moduli[1] > moduli[2]


def test_a_linear_material_has_one_modulus(creep_run: Callable[..., Run]) -> None:
    found = isochronous([held(creep_run, s, seed=k) for k, s in enumerate((4.0, 8.0, 14.0))])
    moduli = [p.modulus.median for p in found.at(10 * HOUR)]
    np.testing.assert_allclose(moduli, moduli[0], rtol=0.003)
    assert found.modulus(10 * HOUR, 0.003) == pytest.approx(moduli[0], rel=0.003)


def test_times_beyond_the_readings_are_marked(creep_run: Callable[..., Run]) -> None:
    found = isochronous([held(creep_run, 4.0), held(creep_run, 8.0, seed=1, times=(MINUTE, HOUR, 20 * HOUR))])
    marked = {(p.stress, p.time / HOUR): p.extrapolated for p in found.points}
    assert not marked[4.0, 100.0]
    assert marked[4.0, 1000.0]
    assert not marked[8.0, 10.0]
    assert marked[8.0, 100.0]  # its own run ended after 20 h
    widths = [p.strain.high / p.strain.low for p in found.points if p.stress == 8.0]
    assert widths[-1] > widths[2] > widths[1]


def test_a_law_marks_each_stress_by_its_own_readings(creep_run: Callable[..., Run]) -> None:
    """The highest stress was held for 20 h and read from an hour on: the longer runs below it say nothing of it later."""
    spans = {4.0: None, 8.0: None, 14.0: (HOUR, 3 * HOUR, 8 * HOUR, 20 * HOUR)}
    law = linearity([held(creep_run, s, 12.0, seed=k, times=t) for k, (s, t) in enumerate(spans.items())])
    times = (MINUTE, HOUR, 10 * HOUR, 100 * HOUR, 1000 * HOUR)
    found = isochronous(law, times, stresses=[2.0, 4.0, 11.0, 14.0])
    marked = {(p.stress, p.time / HOUR): p.extrapolated for p in found.points}
    assert [marked[4.0, t / HOUR] for t in times] == [False, False, False, False, True]
    assert [marked[14.0, t / HOUR] for t in times] == [True, False, False, True, True]
    assert [marked[11.0, t / HOUR] for t in times] == [True, False, False, True, True]  # as its neighbour above
    assert [marked[2.0, t / HOUR] for t in times] == [False, False, False, False, True]  # as the lowest one
    assert [p.below for p in found.at(HOUR)] == [True, False, False, False]
    assert {p.read for p in found.points if p.stress == 14.0} == {(HOUR, 20 * HOUR)}
    assert [c.code for c in found.cautions] == ["isochronous-forecast"]
    assert "16 min" not in found.cautions[0].text
    assert "1000 h" in found.cautions[0].text


def test_a_step_that_was_held_for_minutes_is_marked_beyond_them(creep_run: Callable[..., Run]) -> None:
    steps = tuple(LoadStep(k * 10 * MINUTE, s) for k, s in enumerate((4.0, 8.0, 12.0)))
    times = [s.at + t for s in steps for t in (30.0, MINUTE, 5 * MINUTE, 9 * MINUTE)]
    run = creep_run(specimen=STRAIN, steps=steps, times=times, unload=None, noise=2e-6, resolution=1e-7, age=None)
    found = isochronous(linearity([fit(run)]), times=(MINUTE, 9 * MINUTE, 20 * MINUTE))
    assert [p.extrapolated for p in found.points] == [False] * 6 + [True] * 3  # though the run took 29 min
    assert found.points[0].read == (30.0, 9 * MINUTE)


@pytest.mark.parametrize("by", ["runs", "law", "steps"])
def test_the_tolerance_of_the_sizes_is_in_strain_and_modulus(creep_run: Callable[..., Run], by: str) -> None:
    """A thickness of 4.0 +- 0.2 mm is 2.9 % of the compliance of a bar in tension (0.2/4/sqrt(3)): 90 % are +-4.7 %."""

    def bar(tolerance: float) -> Tension:
        return Tension(length=Measure(50.0), width=Measure(10.0), thickness=Measure(4.0, tolerance))

    def width(tolerance: float) -> float:
        specimen = bar(tolerance)
        load = 1.0 / float(specimen.geometry.stress_per_load or 1.0)
        options: dict[str, Any] = {"specimen": specimen, "noise": 1e-5, "resolution": 1e-6, "age": None, "unload": None}
        if by == "runs":
            fits = [fit(creep_run(load=s * load, seed=k, **options)) for k, s in enumerate((4.0, 8.0))]
            found = isochronous(fits, times=(HOUR,))
        else:
            loads = (4.0, 8.0, 12.0) if by == "law" else (4.0, 12.0)
            steps = tuple(LoadStep(k * HOUR, s * load) for k, s in enumerate(loads))
            times = [s.at + t for s in steps for t in (MINUTE, 10 * MINUTE, 30 * MINUTE, 59 * MINUTE)]
            found = isochronous(linearity([fit(creep_run(steps=steps, times=times, **options))]), times=(30 * MINUTE,))
        point = found.points[0]
        assert np.log(point.modulus.high / point.modulus.low) == pytest.approx(np.log(point.strain.high / point.strain.low))
        return float(np.log(point.modulus.high / point.modulus.low))

    assert width(0.0) < 0.01
    assert width(0.2) == pytest.approx(2.0 * 1.645 * 0.2 / 4.0 / np.sqrt(3.0), rel=0.06)


def test_two_stresses_of_one_run_have_curves_too(creep_run: Callable[..., Run], truth: Any) -> None:
    law = sinh_map(STRAIN, 10.0)
    steps = (LoadStep(0.0, 4.0), LoadStep(HOUR, 12.0))
    felt = tuple(LoadStep(s.at, float(law(np.array(s.value)))) for s in steps)
    times = [s.at + t for s in steps for t in (MINUTE, 10 * MINUTE, 30 * MINUTE, 59 * MINUTE)]
    run = creep_run(specimen=STRAIN, steps=felt, times=times, unload=None, noise=2e-6, resolution=1e-7, age=None)
    answer = linearity([fit(replace(run, steps=steps))])
    assert answer.law is None
    found = isochronous(answer, times=(10 * MINUTE,))
    for point, step in zip(found.points, felt, strict=True):
        true = step.value * float(truth().deformation(LoadHistory.held(1.0), np.array([point.time]))[0])
        assert point.strain.median == pytest.approx(true, rel=0.01)
    with pytest.raises(InputError, match="three and more stresses for a law"):
        isochronous(answer, stresses=[8.0])


def test_a_clock_that_ages_makes_no_curve_safer(creep_run: Callable[..., Run]) -> None:
    """As for a forecast: no upper end of a strain below the plain clock's."""
    fits = [held(creep_run, s, seed=k, age=DAY) for k, s in enumerate((4.0, 8.0, 14.0))]
    times = np.array([1000 * HOUR])
    plain = fits[0].unaged_draws
    assert plain is not None
    highest = 4.0 * np.quantile(plain.compliance(times), 0.95)
    assert isochronous(fits, times).points[0].strain.high >= highest * 0.999
    law = linearity(fits)
    assert law.law is not None
    unaged = law.law.strain(4.0, times).unaged
    assert unaged is not None
    without = np.quantile(unaged, 0.95)
    assert isochronous(law, times).points[0].strain.high >= without > 0.0


def test_between_tested_stresses_only_a_law_speaks_and_never_above(creep_run: Callable[..., Run]) -> None:
    fits = [held(creep_run, s, 12.0, seed=k) for k, s in enumerate((4.0, 8.0, 14.0))]
    with pytest.raises(InputError, match=r"stress: found .6 MPa.; expected a stress that was tested"):
        isochronous(fits, stresses=[6.0])
    law = linearity(fits)
    smooth = isochronous(law, times=(HOUR,), stresses=[4.0, 6.0, 8.0])
    assert [p.interpolated for p in smooth.points] == [False, True, False]
    strains = [p.strain.median for p in smooth.points]
    assert strains[0] < strains[1] < strains[2]
    with pytest.raises(InputError, match="no more than the highest tested, 14 MPa"):
        isochronous(law, stresses=[15.0])
    assert smooth.stress(HOUR, 2.0 * strains[-1]) is None
    assert smooth.modulus(HOUR, 2.0 * strains[-1]) is None
    assert smooth.stress(7 * HOUR, strains[0]) is None


def test_without_an_initial_reading_total_strain_is_unknown(creep_run: Callable[..., Run]) -> None:
    with pytest.raises(InputError, match="no reading was taken before loading"):
        isochronous([held(creep_run, 4.0, initial=0)])


def test_table_and_json_hold_the_same(creep_run: Callable[..., Run]) -> None:
    found = isochronous([held(creep_run, 4.0)])
    content = json.loads(json.dumps(found.to_dict(), allow_nan=False))
    assert content["isochronous"][0]["creep_modulus"]["unit"] == "MPa"
    table = found.table()
    assert list(table["stress_MPa"]) == [4.0] * 5
    assert list(table["extrapolated"]) == [False, False, False, True, True]
    assert table["strain_median"][0] == content["isochronous"][0]["strain"]["median"]


def test_a_stress_as_tested_keeps_to_the_rule_on_ageing(creep_run: Callable[..., Run]) -> None:
    """Draws without ageing are beside those with it, also where of two bars only one has an age."""
    fits = [held(creep_run, 10.0, name=name, age=age) for name, age in (("1", 2 * DAY), ("2", None))]
    assert [f.unaged_draws is None for f in fits] == [False, True]
    level = SimpleNamespace(stress=10.0, alone=[SimpleNamespace(average=f) for f in fits])
    times = np.array([DAY, 1000 * DAY])
    drawn = _strain(level, times, 1)  # type: ignore[arg-type]
    assert drawn.draws.shape == drawn.unaged.shape == (4000, 2)
    without = [fits[0].unaged_draws, fits[1].draws]
    assert drawn.unaged == pytest.approx(10.0 * _average(fits, without, times, 1), rel=1e-12, abs=0.0)
    assert (np.abs(drawn.unaged / drawn.draws - 1.0).max(axis=0) > 1e-3).all()
