"""Every size of a [specimen] table reaches the geometry: none is dropped on the way."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, ClassVar

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.geometry import Enters, Response, Specimen
from creepfit.mechanics.specimen import SIZED
from creepfit.records.build_run import run_from_source
from creepfit.records.files import read_run
from creepfit.records.specimen_tables import read_specimen
from creepfit.records.templates import run_template
from creepfit.units import Measure

BENDING = {"width": "12 mm", "thickness": "4 mm"}
PRINTED = {"walls": "1 mm", "core_stiffness": 0.3}
GIVEN: dict[str, dict[str, Any]] = {
    "tension": {"length": "50 mm", "width": "10 mm", "thickness": "4 mm"},
    "compression": {"length": "30 mm", "diameter": "12 mm"},
    "three-point-bending": {**BENDING, "span": "64 mm"},
    "four-point-bending": {**BENDING, "span": "66 mm", "load_span": "22 mm"},
    "cantilever": {**BENDING, "length": "80 mm"},
}
OPTIONAL: dict[str, dict[str, Any]] = {
    "tension": PRINTED,
    "compression": PRINTED,
    "three-point-bending": {**PRINTED, "poisson": 0.45, "shear_ratio": 9.0},
    "four-point-bending": {**PRINTED, "poisson": 0.45, "shear_ratio": 9.0, "read_at": "load"},
    "cantilever": {**PRINTED, "poisson": 0.45, "shear_ratio": 9.0, "read_at": "60 mm"},
}
TOGETHER = ("walls", "core_stiffness")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("3-point bending", "three-point-bending"),  # four was offered
        ("3-point-bending", "three-point-bending"),
        ("4-point-bending", "four-point-bending"),
        ("bending", "three-point-bending"),  # nothing was offered
        ("Zug", "tension"),
        ("cantilver", "cantilever"),
    ],
)
def test_a_test_of_another_name_is_offered_the_one_meant(typed: str, meant: str) -> None:
    with pytest.raises(InputError, match=f'unknown test \\(did you mean "{meant}"'):
        made(typed, {})


def made(test: str, sizes: dict[str, Any]) -> Specimen:
    return read_specimen({"specimen": {"test": test, **sizes}}, None, "length")


def numbers(specimen: Specimen) -> tuple[float, float]:
    """Reading per compliance and stress per load."""
    assert specimen.geometry.stress_per_load is not None
    return specimen.geometry.reading_per_compliance, specimen.geometry.stress_per_load


@pytest.mark.parametrize(("test", "key"), [(test, key) for test, sizes in GIVEN.items() for key in sizes])
def test_another_size_is_another_geometry_and_its_tolerance_is_counted(test: str, key: str) -> None:
    sizes = GIVEN[test]
    value = float(sizes[key].split()[0])
    larger = made(test, {**sizes, key: f"{1.1 * value!r} mm"})
    # each number alone may stand still: stress in tension knows no length
    assert numbers(larger) != pytest.approx(numbers(made(test, sizes)), rel=1e-3)
    uncertain = made(test, {**sizes, key: f"{value!r} +- {0.02 * value!r} mm"}).geometry
    assert uncertain.relative_sd > 0.001


@pytest.mark.parametrize(("test", "key"), [(test, key) for test, sizes in OPTIONAL.items() for key in sizes])
def test_what_need_not_be_given_counts_where_it_is(test: str, key: str) -> None:
    keys = TOGETHER if key in TOGETHER else (key,)
    more = GIVEN[test] | {k: OPTIONAL[test][k] for k in keys}
    if key in TOGETHER:  # walls need a core and a core walls, so each is changed where both are there
        other = more | {key: "1.2 mm" if key == "walls" else 0.5}
        assert numbers(made(test, other)) != pytest.approx(numbers(made(test, more)), rel=1e-3)
    assert numbers(made(test, more)) != pytest.approx(numbers(made(test, GIVEN[test])), rel=1e-6)


@pytest.mark.parametrize(
    ("test", "key", "power", "stress_power"),
    [
        ("tension", "length", 1, 0),
        ("tension", "width", -1, -1),
        ("tension", "thickness", -1, -1),
        ("compression", "length", 1, 0),
        ("compression", "diameter", -2, -2),
        ("three-point-bending", "span", 3, 1),
        ("three-point-bending", "width", -1, -1),
        ("three-point-bending", "thickness", -3, -2),
        ("cantilever", "length", 3, 1),
        ("cantilever", "width", -1, -1),
        ("cantilever", "thickness", -3, -2),
    ],
)
def test_sizes_enter_with_the_powers_of_the_handbook(test: str, key: str, power: int, stress_power: int) -> None:
    """F L / A, F L^3 / (48 I), F L^3 / (3 I) and their stresses; shear, a few per cent, is made small."""
    sizes = GIVEN[test] | ({"shear_ratio": 1e-6} if "bending" in test or test == "cantilever" else {})
    doubled = {**sizes, key: f"{2.0 * float(sizes[key].split()[0])!r} mm"}
    before, after = np.array(numbers(made(test, sizes))), np.array(numbers(made(test, doubled)))
    assert np.log2(after / before) == pytest.approx([power, stress_power], abs=1e-4)


def test_sizes_of_drawn_segments_reach_the_geometry() -> None:
    segment = {"length": "60 mm", "section": "rectangle", "width": "10 mm", "thickness": "4 mm"}
    plain = {"specimen": {"test": "segments"}, "segment": [segment]}
    base = read_specimen(plain, None, "length")
    keys = {"load_at": "40 mm", "read_at": "30 mm", "support": "simply-supported", "poisson": 0.49, "shear_ratio": 9.0}
    for key, value in keys.items():
        extra = {"load_at": "30 mm"} if key == "support" else {}
        other = read_specimen({**plain, "specimen": {"test": "segments", **extra, key: value}}, None, "length")
        assert numbers(other) != pytest.approx(numbers(base), rel=1e-6), key


@pytest.mark.parametrize("key", ["length", "width", "thickness"])
@pytest.mark.parametrize("block", ["segment", "upright"])
def test_tolerances_of_drawn_segments_are_counted(block: str, key: str) -> None:
    stretch = {"length": "60 mm", "section": "rectangle", "width": "10 mm", "thickness": "4 mm"}
    value = float(str(stretch[key]).split()[0])
    drawn = {"segment": [stretch], "upright": [stretch]}
    exact = read_specimen({"specimen": {"test": "segments"}, **drawn}, None, "length")
    assert exact.geometry.relative_sd == 0.0
    drawn[block] = [stretch | {key: f"{value!r} +- {0.02 * value!r} mm"}]
    assert read_specimen({"specimen": {"test": "segments"}, **drawn}, None, "length").geometry.relative_sd > 0.001


@dataclass(frozen=True, kw_only=True)
class Ring(Specimen):
    """A thin ring pulled at two opposite points (a geometry that only this test knows)."""

    test: ClassVar[str] = "ring"
    radius: Measure
    width: Measure
    thickness: Measure
    fill: Annotated[float | None, "share"] = None
    read_at: Annotated[str, "load", "sides"] = "load"

    @property
    def length_enters(self) -> Enters:
        return Enters("radius", 3)

    def describe(self) -> str:
        return f"ring, radius {self.radius.value:g} mm"

    def _response(self) -> Response:
        inertia = (self.fill or 1.0) * self.width.value * self.thickness.value**3 / 12.0
        factor = 0.149 if self.read_at == "load" else 0.137  # pi/4 - 2/pi and 2/pi - 1/2 (Timoshenko)
        stress = 0.318 * self.radius.value * self.thickness.value / (2.0 * inertia)
        per_compliance = factor * self.radius.value**3 / inertia
        return Response(per_compliance, stress, None, self.radius.value, self.thickness.value)


def test_a_new_geometry_is_one_class_and_one_registration(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(SIZED, "ring", Ring)
    sizes: dict[str, Any] = {"radius": "20 mm +- 0.1 mm", "width": "10 mm", "thickness": "2 mm"}
    ring = made("ring", sizes)
    assert ring == Ring(radius=Measure(20.0, 0.1), width=Measure(10.0), thickness=Measure(2.0))
    assert ring.geometry.relative_sd > 0.005
    assert made("ring", sizes | {"fill": 0.5, "read_at": "sides"}).geometry.reading_per_compliance > 1.0
    for wrong, words in (
        ({"thickness": "2 kg"}, "specimen.thickness"),
        ({"fill": 2.0}, "specimen.fill"),
        ({"read_at": "top"}, "load or sides"),
        ({"span": "60 mm"}, "radius, width, thickness, fill or read_at"),
    ):
        with pytest.raises(InputError) as caught:
            made("ring", sizes | wrong)
        assert words in str(caught.value)
    with pytest.raises(InputError, match="ring"):
        made("rings", sizes)


def test_a_tolerance_of_the_load_goes_into_the_modulus(tmp_path: Path) -> None:
    """A weight within 3 % is 0.03/sqrt(3) of the modulus, beside what the sizes do to it."""
    path = tmp_path / "run.toml"
    path.write_text(run_template())
    plain = read_run(path)
    path.write_text(run_template().replace('mass = "0.4 kg"', 'mass = "0.4 kg +- 3 %"', 1))
    run = read_run(path)
    assert run.peak_load == pytest.approx(plain.peak_load)
    assert plain.load_sd == 0.0
    assert run.load_sd == pytest.approx(0.03 / 3.0**0.5)
    assert run.relative_sd == pytest.approx(float(np.hypot(plain.relative_sd, run.load_sd)))
    assert run_from_source(run.source, "x").load_sd == pytest.approx(run.load_sd)
