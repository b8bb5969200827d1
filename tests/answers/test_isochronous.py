"""Isochronous curves: textbook numbers, a material whose curves are known, and what is marked as extrapolated."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from creepfit.answers.interval import Interval
from creepfit.answers.isochronous import Isochronous, IsochronousPoint, isochronous
from creepfit.answers.linearity import linearity
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Direct
from creepfit.mechanics.stress_law import sinh_map
from creepfit.records.run import LoadStep, Reading, Run
from creepfit.units import DAY, HOUR, MINUTE, YEAR

STRAIN = Direct("strain")
WEEK = 7 * DAY


def held(run: Callable[..., Run], stress: float, sigma0: float = np.inf, seed: int = 0, **options: Any) -> Fit:
    """A run of five days at one stress, its strain by the hyperbolic sine."""
    felt = float(sinh_map(STRAIN, sigma0)(np.array(stress)))
    options = {"noise": 2e-6, "resolution": 1e-7, "name": "bar", "age": None, "unload": None, **options}
    made = run(specimen=STRAIN, steps=(LoadStep(0.0, felt),), seed=seed, **options)
    return fit(replace(made, steps=(LoadStep(0.0, stress),)))


def drawn_curve(fitted: Fit, time: float, points: list[tuple[float, float]]) -> Isochronous:
    """A curve of stress [MPa] and strain, without doubt about it."""
    rows = []
    for stress, strain in points:
        modulus = stress / strain
        sure = Interval(strain, strain, strain), Interval(modulus, modulus, modulus)
        rows.append(IsochronousPoint(stress, time, *sure, extrapolated=False, interpolated=False))
    return Isochronous(fitted, tuple(rows), 0.9)


def test_textbook_beam_by_the_isochronous_secant_modulus(creep_run: Callable[..., Run]) -> None:
    """Polypropylene, 1 year: 347 MPa at 1.5 % strain; a beam of 100 mm with I = 28 mm^4 then carries 2.33 N at 5 mm
    (Crawford, Plastics Engineering, 3rd ed., pp. 53-56)."""
    curve = drawn_curve(held(creep_run, 5.0), YEAR, [(3.0, 0.007), (4.6, 0.0125), (5.81, 0.0175)])
    modulus = curve.modulus(YEAR, 0.015)
    assert modulus == pytest.approx(347.0, abs=0.5)
    assert 48.0 * modulus * 28.0 * 5.0 / 100.0**3 == pytest.approx(2.33, abs=0.005)


def test_stress_for_half_a_percent_falls_as_in_the_textbook(creep_run: Callable[..., Run]) -> None:
    """Polypropylene at 0.5 %: 8 MPa at 10 s, 3.3 MPa at 1 week, a slope of 0.080 in the logarithms (Crawford, p. 53)."""
    fits = []
    for k, stress in enumerate((2.0, 4.0, 8.0)):
        bare = held(creep_run, stress, seed=k, times=(10.0, MINUTE, HOUR, DAY, WEEK)).run
        noise = 2e-6 * np.random.default_rng(k).standard_normal(len(bare.readings))
        strain = [0.005 * stress / 8.0 * (max(r.time, 0.0) / 10.0) ** 0.08 for r in bare.readings]
        readings = [Reading(r.time, s + e) for r, s, e in zip(bare.readings, strain, noise, strict=True)]
        fits.append(fit(replace(bare, readings=tuple(readings))))
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
    assert table["strain.median"][0] == content["isochronous"][0]["strain"]["median"]
