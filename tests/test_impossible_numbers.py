"""Numbers nobody can have are refused by name; the smallest runs that say something are answered."""

from __future__ import annotations

import re
from pathlib import Path
from typing import ClassVar, Literal

import pytest
from click.testing import CliRunner, Result

import creepfit as cf
from creepfit.cli.commands import main
from creepfit.errors import InputError
from creepfit.inference.priors import Priors
from creepfit.mechanics.specimen import SIZED, Tension

from .conftest import SHORT


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def written(folder: Path, *changes: tuple[str, str], text: str = SHORT) -> Path:
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "run.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (('"10 kg"', '"10 t"'), "load 1, mass: larger than anyone can have; found '10 t'; expected a mass"),
        (('"10 kg"', '"1e-320 kg"'), "load 1, mass: smaller than anyone can have"),
        (('"10 mm"', '"1 nm"'), "specimen.width: smaller than anyone can have"),
        (('"50 mm"', '"1e-320 mm"'), "specimen.length: smaller than anyone can have"),
        (('"0.001 mm"', '"1e-320 mm"'), "gauge.resolution: smaller than anyone can have"),
        (('"-1 min"', '"-1e308 s"'), "readings, entry 1, time: larger than anyone can have"),
        (('"1 d"', '"300 years"'), "readings: too long a run; found '300 years from first to last'"),
        (('"0.153 mm"', '"1e300 mm"'), "readings, entry 5, reading: larger than anyone can have"),
        (('material = "PP"', 'material = "PP"\ntemperature = "501 degC"'), "run.temperature: larger than anyone can have"),
        (('"0.001 mm"', '"11 m"'), "gauge.resolution: larger than anyone can have; found '11 m'"),
        (
            ('resolution = "0.001 mm"', 'resolution = "0.001 mm"\nforce = "800 N"'),
            "gauge.force: larger than anyone can have",
        ),
        (('material = "PP"', 'material = "PP"\ntemperature = "-300 degC"'), "run.temperature: below absolute zero"),
        (
            ('[[load]]\nat = "0 s"\nmass = "10 kg"', '[rig]\nlever = 1000\n[[load]]\nat = "0 s"\nmass = "10 kg"'),
            "load 1, mass: larger than anyone can have; found '10 kg on a lever of 1000'",
        ),
    ],
)
def test_what_nobody_can_have_is_refused_by_name(change: tuple[str, str], says: str, tmp_path: Path) -> None:
    path = written(tmp_path, change)
    done = run("fit", path)
    assert done.exit_code == 2
    assert done.stderr.startswith(f"creepfit: {path}, {says}")
    assert done.stderr.count("\n") == 1


TIMES = '"-1 min", "1 min", "10 min", "100 min", "1 d"]'
READINGS = '"0.000 mm", "0.110 mm", "0.121 mm", "0.134 mm", "0.153 mm"]'


def test_a_load_and_sizes_that_cannot_be_together_are_refused(tmp_path: Path) -> None:
    """A foil under tonnes is beyond any modulus, and kept the comparison of stresses busy for half a minute."""
    done = run("fit", written(tmp_path, ('"10 kg"', '"4 t"'), ('"4 mm"', '"0.001 mm"')))
    assert done.exit_code == 2
    assert "run.toml, load: larger than anyone can have; found '3.92e+06 MPa in the specimen'" in done.stderr


def test_a_load_and_sizes_that_stress_nothing_are_refused(tmp_path: Path) -> None:
    """A milligram on a bar a kilometre thick: every reading of it is the gauge's."""
    done = run("fit", written(tmp_path, ('"10 kg"', '"1 mg"'), ('"4 mm"', '"1 km"')))
    assert done.exit_code == 2
    assert "run.toml, load: smaller than anyone can have; found '9.81e-13 MPa in the specimen'" in done.stderr


def test_readings_loads_and_sizes_that_come_to_no_solid_are_refused(tmp_path: Path) -> None:
    """As of a span of a micrometre, beside which no other bar of the material could be fitted."""
    done = run("fit", written(tmp_path, ('"10 kg"', '"0.1 mg"')))
    assert done.exit_code == 2
    assert "come to a modulus of 8e-06 MPa, which nothing solid has" in done.stderr


def test_readings_further_apart_than_any_specimen_moves_are_refused(tmp_path: Path) -> None:
    """As 18 m were, which overflowed deep in the sums; the row is named."""
    for far, limit in (("5001 mm", "5000 mm apart, 100 times the 50 mm of the specimen"), ("18.1 m", "5000 mm apart")):
        done = run("fit", written(tmp_path, ('"0.134 mm"', f'"{far}"')))
        assert done.exit_code == 2
        assert "run.toml, readings, entry 4: readings further apart than any specimen moves; found" in done.stderr
        assert limit in done.stderr
    assert run("check", written(tmp_path, ('"0.134 mm"', '"4999 mm"'))).exit_code == 0


class Extensometer(Tension):
    """A bar whose strain is read (a test that only this one knows)."""

    test: ClassVar[str] = "extensometer"

    @property
    def reading_quantity(self) -> Literal["length", "strain"]:
        return "strain"


def test_strains_are_held_against_a_strain_whatever_the_length(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A bar of half a millimetre was refused 6000 %, as more than 5000 %, "100 times the 0.5 mm of the specimen"."""
    monkeypatch.setitem(SIZED, "extensometer", Extensometer)
    strained = re.sub(r"(0\.\d+) mm", r"\1 %", SHORT.replace('"tension"', '"extensometer"'))
    for old, new in (('"50 mm"', '"500 um"'), ('"10 mm"', '"400 um"'), ('"4 mm"', '"300 um"'), ('"10 kg"', '"1 g"')):
        strained = strained.replace(old, new)
    run_of = cf.read_run(written(tmp_path, ('"0.134 %"', '"6000 %"'), text=strained))
    assert run_of.unit == "1"
    with pytest.raises(InputError) as caught:
        cf.read_run(written(tmp_path, ('"0.134 %"', '"6000 %"'), ('"0.153 %"', '"-6000 %"'), text=strained))
    assert "readings further apart than any specimen moves" in str(caught.value)
    assert str(caught.value).endswith("expected readings at most 10000 % apart")


def test_temperatures_of_one_run_are_those_of_one_plastic(tmp_path: Path) -> None:
    """Readings at 0 and 1000 degC ended in a covariance that was none."""
    far = 'mm"]\ntemperature = ["20 degC", "20 degC", "21 degC", "20 degC", "-200 degC"]'
    done = run(
        "fit",
        written(
            tmp_path, ('"0.153 mm"]', f'"0.153 {far}'), ('material = "PP"', 'material = "PP"\ntemperature = "201 degC"')
        ),
    )
    assert done.exit_code == 2
    assert "run.toml, readings, temperature: temperatures further apart than any plastic" in done.stderr
    assert "found '-200 and 201 degC'" in done.stderr


def test_strains_and_bars_without_sizes_have_limits_too(tmp_path: Path) -> None:
    sizes = 'test = "tension"\nlength = "50 mm"\nwidth = "10 mm"\nthickness = "4 mm"'
    done = run("fit", written(tmp_path, (sizes, 'test = "direct"'), ('"0.134 mm"', '"11 m"')))
    assert "expected readings at most 10000 mm apart" in done.stderr


def test_a_run_of_microseconds_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, (TIMES, '"-1 s", "0.000001 s", "0.000002 s", "0.000005 s", "0.00001 s"]'))
    done = run("fit", path)
    assert done.exit_code == 2
    assert "too short a run; found 'the last one 0.00001 s" in done.stderr


def test_readings_that_no_gauge_can_tell_apart_are_equal(tmp_path: Path) -> None:
    same = '"0 mm", "1e-12 mm", "1.1e-12 mm", "1.2e-12 mm", "1.3e-12 mm"]'
    done = run("fit", written(tmp_path, (READINGS, same)))
    assert done.exit_code == 2
    assert "all readings are equal" in done.stderr


def test_readings_under_load_at_one_time_say_what_is_wanted(tmp_path: Path) -> None:
    path = written(tmp_path, (TIMES, '"-1 min", "1 h", "1 h", "1 h", "1 h"]'))
    done = run("fit", path)
    assert (done.exit_code, done.stderr) == (
        2,
        f"creepfit: {path}: all readings under load were taken at one time; take another one, best ten times later\n",
    )


@pytest.mark.parametrize(("moments", "says"), [('"1 h", "1 h"]', "at one time"), ('"1 h"]', "one reading under load")])
def test_readings_before_loading_are_none_under_load_with_a_plunger(moments: str, says: str, tmp_path: Path) -> None:
    presses = ('resolution = "0.001 mm"', 'resolution = "0.001 mm"\nforce = "0.8 N"')
    values = "".join(f', "{1.0 + 0.1 * i} mm"' for i in range(moments.count("h")))
    path = written(tmp_path, presses, (TIMES, f'"-1 min", {moments}'), (READINGS, f'"0 mm"{values}]'))
    done = run("fit", path)
    assert done.exit_code == 2
    assert says in done.stderr


def test_readings_after_unloading_are_none_under_load_with_a_plunger(tmp_path: Path) -> None:
    """Nor where the loads that came off leave a last digit of what the plunger presses with."""
    stepped = (
        '[[load]]\nat = "0 s"\nmass = "0.7 kg"\n[[load]]\nat = "2 h"\nmass = "0.3 kg"\n[[load]]\nat = "3 h"\nmass = "0 kg"'
    )
    for force in ("0.8", "0.3", "1.1"):
        presses = ('resolution = "0.001 mm"', f'resolution = "0.001 mm"\nforce = "{force} N"')
        loads = ('[[load]]\nat = "0 s"\nmass = "10 kg"', stepped)
        path = written(tmp_path, presses, loads, (TIMES, '"-1 min", "1 h", "3.5 h", "5 h", "1 d"]'))
        done = run("fit", path)
        assert done.exit_code == 2
        assert "one reading under load cannot show creep" in done.stderr


def test_two_readings_without_an_initial_one_are_answered(tmp_path: Path) -> None:
    path = written(tmp_path, (TIMES, '"0.1 h", "1 h"]'), (READINGS, '"1.0 mm", "1.1 mm"]'))
    for command in (["fit", path], ["check", path], ["forecast", path, "--at", "1 d"]):
        done = run(*command)
        assert (done.exit_code, done.stderr) == (0, ""), command


@pytest.mark.parametrize("value", ["1e300 d", "1e-300 s"])
def test_options_are_held_to_the_same(value: str, short: Path) -> None:
    done = run("forecast", short, "--at", value)
    assert done.exit_code == 2
    assert done.stderr.startswith("creepfit: --at: ")
    assert "than anyone can have" in done.stderr


@pytest.mark.parametrize(
    "wrong",
    [{"instant_scale": 0.0}, {"floor": -0.1}, {"flow_mean": "a"}, {"flow_mean": 1.0}, {"weights": {"zener": float("nan")}}],
)
def test_priors_are_numbers(wrong: dict[str, object]) -> None:
    with pytest.raises(InputError, match="no such prior"):
        Priors(**wrong)  # type: ignore[arg-type]
