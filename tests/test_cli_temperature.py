"""The command `temperature`, and answers at another temperature on the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from creepfit.cli.commands import main
from creepfit.report.text.columns import PIPED

pytestmark = pytest.mark.few_draws


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def bars(short: Path) -> tuple[Path, Path]:
    """The small run at 22 degC, and another bar that gives way a fifth more at 35 degC."""
    text = short.read_text(encoding="utf-8")
    cool, warm = short.with_name("cool.toml"), short.with_name("warm.toml")
    cool.write_text(text.replace('"PP"', '"PP"\nspecimen = "1"\ntemperature = "22 degC"'), encoding="utf-8")
    text = text.replace('"PP"', '"PP"\nspecimen = "2"\ntemperature = "35 degC"')
    for old, new in (("0.110", "0.132"), ("0.121", "0.145"), ("0.134", "0.161"), ("0.153", "0.184")):
        text = text.replace(old, new)
    warm.write_text(text, encoding="utf-8")
    return cool, warm


def test_two_bars_at_two_temperatures(bars) -> None:
    done = run("temperature", *bars, "--to", "30 degC", "--at", "1 min", "--at", "10 d")
    assert (done.exit_code, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "PP: 2 runs at 2 temperatures"
    assert max(map(len, lines)) <= PIPED
    assert "10 K more make PP give way 1.1" in done.stdout
    assert "not tested" in done.stdout
    found = json.loads(run("temperature", *bars, "--json").stdout)
    assert found["temperatures_degC"] == [22.0, 35.0]
    assert found["per_10_K"][0]["low"] < 1.2 ** (10 / 13) < found["per_10_K"][0]["high"]


BAR = """
format = 1
run = {{ material = "PETG", temperature = "{degrees} degC" }}
specimen = {{ {sizes} }}
gauge = {{ resolution = "0.01 mm" }}
load = [{{ at = "0 s", mass = "2 kg" }}]
readings = {{ time = {times}, reading = {readings} }}
"""


def test_bars_that_no_growth_joins_are_refused(tmp_path: Path) -> None:
    cool, warm = tmp_path / "cool.toml", tmp_path / "warm.toml"
    sizes = 'test = "cantilever", length = "60 mm", width = "12 mm", thickness = "40 mm"'
    times, readings = (
        ["0 s", "0.002 s", "0.02 s", "0.2 s", "1.7 s"],
        ["0 mm", "1016.8 mm", "1051 mm", "1159.1 mm", "1501 mm"],
    )
    cool.write_text(BAR.format(degrees=23, sizes=sizes, times=times, readings=readings), encoding="utf-8")
    sizes = 'test = "three-point-bending", span = "64 mm", width = "12 mm", thickness = "4 mm"'
    times, readings = ["0 s", "60 s", "864 s", "86400 s"], ["9.999 mm", "10.051 mm", "10.052 mm", "10.056 mm"]
    warm.write_text(BAR.format(degrees=35, sizes=sizes, times=times, readings=readings), encoding="utf-8")
    done = run("temperature", cool, warm, "--anyway")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "between runs 12 K apart the deformation would grow by more than exp(12)" in done.stderr
    assert done.stderr.count("\n") == 1


def test_it_is_drawn(bars, tmp_path: Path) -> None:
    picture = tmp_path / "warmth.svg"
    done = run("temperature", *bars, "--figure", picture)
    assert done.exit_code == 0
    drawn = picture.read_text(encoding="utf-8")
    assert "35 °C" in drawn


@pytest.mark.usefixtures("undrawn")
def test_it_has_a_chapter_on_the_page(bars, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    assert run("report", *bars, "-o", page).exit_code == 0
    shown = page.read_text(encoding="utf-8")
    assert "PP at several temperatures" in shown
    assert "10 K more make PP give way" in shown


def test_a_forecast_elsewhere_says_so_first(bars) -> None:
    cool, warm = bars
    usual = run("forecast", cool, "--at", "10 d", "--temperature", "30 degC")
    assert usual.exit_code == 0
    said = " ".join(usual.stdout.split())
    assert "at 30 °C (tested at 22 °C)" in said
    assert "what warmth does to this material was not tested" in said
    known = run("forecast", cool, "--at", "10 d", "--temperature", "40 degC", "--warm", warm)
    assert (known.exit_code, known.stderr) == (0, "")
    assert "at 40 °C (tested at 22 °C)" in " ".join(known.stdout.split())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--temperature", "41 degC"), "at most 32 degC"),
        (("--temperature", "warm"), "--temperature"),
        (("--warm", "warm.toml"), "--temperature or --climate"),
        (("--climate", "warm.toml"), "this is a run file"),
        (("--climate", "none.toml"), "none.toml"),
    ],
)
def test_mistakes_are_one_line(bars, arguments, said, monkeypatch) -> None:
    monkeypatch.chdir(bars[0].parent)
    done = run("forecast", bars[0], "--at", "10 d", *arguments)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert said in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_one_temperature_is_no_dependence(bars) -> None:
    done = run("temperature", bars[0])
    assert done.exit_code == 2
    assert "two temperatures" in done.stderr


def test_what_is_wrong_only_because_of_another_mistake_is_not_said_too(bars) -> None:
    # before: a second line, "runs at one temperature; found '22 degC'"
    cool, warm = bars
    warm.write_text(warm.read_text(encoding="utf-8").replace(" degC", "", 1), encoding="utf-8")
    for command in ("temperature", "compare", "stress"):
        done = run(command, cool, warm)
        assert done.exit_code == 2
        (line,) = done.stderr.splitlines()
        assert "run.temperature: the unit is missing" in line
