"""What is asked about a size follows from how the geometry says that it enters, not from the name of the test."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from creepfit.answers.doubts.material import slip_words
from creepfit.mechanics.geometry import Specimen
from creepfit.mechanics.specimen import Cantilever, Compression, FourPointBending, Tension, ThreePointBending
from creepfit.records.run import Run
from creepfit.units import Measure


def mm(value: float) -> Measure:
    return Measure(value)


FLAT = {"width": mm(10.0), "thickness": mm(4.0)}
SPECIMENS: list[Specimen] = [
    Tension(length=mm(50.0), **FLAT),
    Tension(length=mm(50.0), diameter=mm(6.0)),
    Compression(length=mm(30.0), diameter=mm(12.0)),
    Compression(length=mm(30.0), **FLAT),
    ThreePointBending(span=mm(64.0), shear_ratio=1e-6, **FLAT),
    FourPointBending(span=mm(66.0), load_span=mm(1e-3), shear_ratio=1e-6, **FLAT),
    Cantilever(length=mm(80.0), shear_ratio=1e-6, **FLAT),
]


@pytest.mark.parametrize("specimen", SPECIMENS, ids=lambda s: s.describe())
def test_what_a_geometry_declares_is_what_it_does(specimen: Specimen) -> None:
    """Each named size is changed by 1 % and the reading per compliance goes with the power said."""
    for enters, nominal in (
        (specimen.length_enters, specimen.geometry.span),
        (specimen.depth_enters, specimen.geometry.thickness),
    ):
        assert enters is not None
        assert getattr(specimen, enters.name).value == nominal
        larger = replace(specimen, **{enters.name: mm(1.01 * getattr(specimen, enters.name).value)})  # type: ignore[type-var]
        grown = larger.geometry.reading_per_compliance / specimen.geometry.reading_per_compliance
        assert np.log(grown) / np.log(1.01) == pytest.approx(enters.power, abs=2e-3)


def test_a_compression_bar_ten_times_too_long_is_asked_about_as_such(creep_run: Callable[..., Run], truth: Any) -> None:
    bar = Compression(length=mm(30.0), diameter=mm(12.0))
    run = creep_run(truth(2000.0), specimen=bar, load=300.0, noise=5e-4, resolution=1e-4)
    text = slip_words(replace(run, specimen=replace(bar, length=mm(300.0))), 10.0)
    assert "is the length 30 mm, typed in cm instead of mm?" in text.lower()
    assert "cubed" not in text
    text = slip_words(replace(run, specimen=replace(bar, length=mm(45.0))), 1.5)
    assert "is the length 30 mm instead of the 45 mm typed (it enters once)?" in text.lower()
    assert "is the diameter 9.8 mm" not in text.lower()
    assert "is the diameter 15 mm, 1.2 times the 12 mm typed (it enters squared)?" in text.lower()
