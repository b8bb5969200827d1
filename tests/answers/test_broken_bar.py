"""A bar that broke: it is said first, nothing is forecast beyond under its load, and a jump just before is the break."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from creepfit.answers.doubts.collected import about_fit
from creepfit.answers.materials.comparison import compare
from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.check import check
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.summary import summarise
from creepfit.cli import main
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.records.part_files import build_part
from creepfit.report.page.findings import find
from creepfit.report.page.words import answer
from creepfit.report.text.forecast import headline as forecast_headline
from creepfit.report.text.short import short_fit, short_forecast, short_sag

FILE = """format = 1
[run]
material = "PETG"
specimen = "P-1"
temperature = "22 degC"
[specimen]
test = "cantilever"
length = "60 mm"
width = "12 mm"
thickness = "4 mm"
[gauge]
instrument = "dial gauge"
resolution = "0.01 mm"
[[load]]
at = "0 s"
mass = "0.4 kg"
[readings]
time = ["-1 min", "1 min", "1 h", "1 d", "2 d", "3 d"]
reading = ["12.40 mm", "14.67 mm", "14.77 mm", "14.95 mm", "15.03 mm", "{last} mm"]
"""
BROKE = '[[event]]\nat = "3 d 2 h"\nkind = "broke"\n'
SAID = "it broke after 3 d 2 h under 0.4 kg (3.92 N)"
ARM = {
    "format": 1,
    "part": {},
    "segment": [{"section": "rectangle", "length": "60 mm", "width": "12 mm", "thickness": "4 mm"}],
}


@pytest.fixture
def written(tmp_path: Path):
    def write(last: str = "15.08", end: str = BROKE) -> Path:
        path = tmp_path / "run.toml"
        path.write_text(FILE.format(last=last) + end, encoding="utf-8")
        return path

    return write


@pytest.fixture
def broken(written) -> Fit:
    return fit(read_run(written()))


def test_it_is_said_first(broken: Fit) -> None:
    text = " ".join(short_fit(summarise(broken)).split())
    assert "It broke after 3 d 2 h under 0.4 kg (3.92 N). After 3 d under load the deflection is" in text
    assert "creep goes on" not in text
    assert "still loaded" not in text
    assert about_fit(broken)[0].code == "specimen-broke"
    assert answer(find(broken)).startswith("It broke after 3 d 2 h")


def test_nothing_is_forecast_beyond_under_its_load_or_more(broken: Fit) -> None:
    beyond = forecast(broken, "1 year", limit="3 mm", life="30 d")
    assert forecast_headline(beyond).startswith(
        "It broke after 3 d 2 h under 0.4 kg (3.92 N). So no number is given for 1 year"
    )
    assert SAID in str(beyond.nothing_promised)
    assert beyond.limit is not None
    assert beyond.limit.to_dict()["load"] is None
    assert forecast(broken, "30 d", load="0.5 kg").withheld is not None
    assert forecast(broken, "2 d").withheld is None
    assert compare([broken, replace(broken, run=replace(broken.run, name="P-2"))], "30 d").withheld is not None


def test_under_a_smaller_load_there_is_a_number_with_the_break_beside_it(broken: Fit) -> None:
    less = forecast(broken, "30 d", load="0.2 kg", limit="3 mm", life="30 d")
    assert less.withheld is None
    assert less.cautions[0].code == "broke"
    assert "specimen-broke" not in [c.code for c in less.cautions]
    assert less.nothing_promised is not None  # the load that keeps the limit could be the one that broke it
    assert "! PETG P-1 broke after 3 d 2 h" in short_forecast(less)


def test_a_part_that_sees_as_much_is_not_forecast(broken: Fit) -> None:
    heavy, light = (build_part({**ARM, "load": [{"mass": m, "at": "end"}]}, None) for m in ("0.4 kg", "0.1 kg"))
    assert "broke after 3 d 2 h" in str(sag(heavy, broken, "30 d").withheld)
    answer = sag(light, broken, "30 d")
    assert answer.withheld is None
    assert "broke after 3 d 2 h at 7.35 MPa" in short_sag(answer)


def test_no_reading_is_advised(broken: Fit) -> None:
    advice = check(broken).schedule
    assert not advice.suggestions
    assert "nothing is left to be read" in str(advice.why)


def test_a_jump_just_before_is_the_break(written) -> None:
    run = read_run(written("19.8"))
    assert run.test_length == 2 * 86400.0
    assert "taken as the break" in str(run.skipped[0].skip)
    assert {c.code for c in about_fit(fit(run))}.isdisjoint({"outlier", "jump", "mistyped-reading", "readings-contradict"})


def test_without_a_break_a_jump_stays_one(written) -> None:
    run = read_run(written("19.8", end=""))
    assert not run.skipped
    assert about_fit(fit(run))[0].code != "specimen-broke"


@pytest.mark.parametrize("last", ["15.08", "15.20", "10.1"])
def test_a_reading_that_does_not_run_away_counts(written, last: str) -> None:
    assert not read_run(written(last)).skipped


def test_adding_the_break_asks_for_no_second_look(written) -> None:
    path = written(end="")
    ran = CliRunner().invoke(main, ["add", str(path), "19.8 mm", "--at", "3 d 2 h", "--event", "broke"])
    said = " ".join(ran.output.split())
    assert ran.exit_code == 0, said
    assert SAID in said
    assert "read the gauge again" not in said
    assert "leave the load on" not in said
