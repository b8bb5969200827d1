"""A load is answered in the unit it was typed in, g as g and lbf as lbf: in text, doubts, tables, sketch and sliders."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.records.load_unit import load_unit
from creepfit.records.part_files import read_part
from creepfit.report import showing
from creepfit.report.figures.sketch import sketch_of
from creepfit.report.page.embed import run_sliders
from creepfit.report.page.findings import find
from creepfit.report.page.html import slider_content
from creepfit.report.page.limits import limit_table, part_limit_table

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[2] / "demo"
TYPED = {
    'mass = "400 g"': "g",
    'force = "0.8818 lbf"': "lbf",
    'force = "3.9 N"': "N",
    'mass = "0.4 kg +- 1 %"': "kg",
}


def _run_under(load: str, tmp_path: Path) -> Path:
    text = (DEMO / "petg-strip.toml").read_text()
    readings = (DEMO / "petg-strip.csv").read_text()
    path = tmp_path / "run.toml"
    path.write_text(text.replace('mass = "0.4 kg"', load))
    (tmp_path / "petg-strip.csv").write_text(readings)
    return path


def _loads(text: str) -> set[str]:
    """Units of the loads in a text, without the N that stand in brackets beside another unit."""
    bare = re.sub(r" \([\d.]+\sN\)", "", text)
    return set(re.findall(r"\d\s(kg|g|lbf|N)\b", bare))


@pytest.mark.parametrize(("load", "unit"), TYPED.items())
def test_text_doubts_and_page_name_loads_in_the_unit_of_the_run(load: str, unit: str, tmp_path: Path) -> None:
    fitted = fit(read_run(_run_under(load, tmp_path)))
    result = forecast(fitted, at=["30 d"], limit="3 mm")
    assert _loads(showing.text(result)) == {unit}
    assert f"{result.limit.load.value / fitted.run.load_unit.size:.3g}"[:3] in showing.text(result)
    found = find(fitted, at=["30 d"], limit="3 mm")
    assert _loads(str(limit_table(found).rows)) == {unit}
    sliders = run_sliders(found)
    assert sliders.data()["load"]["shown_in"] == unit
    assert _loads(str(slider_content(sliders, "run1")["other"].rows)) == {unit}
    assert sketch_of(fitted.run).loads[0][1].endswith(f" {unit}")
    more = forecast(fitted, at=["30 d"], load=f"{2.0 * fitted.run.peak_load} N")
    doubt = next(c for c in more.cautions if c.code == "stress-not-tested")
    assert _loads(doubt.settled_by) == {unit}


def test_another_load_is_answered_in_its_own_unit(tmp_path: Path) -> None:
    fitted = fit(read_run(DEMO / "petg-strip.toml"))
    said = showing.text(forecast(fitted, at=["30 d"], load="300 g", limit="2 mm"))
    assert "under 300 g (2.94 N)" in said
    assert re.search(r"probability 0\.95 by\s+\d\d\d g \(", said)


@pytest.mark.parametrize(
    ("load", "said", "unit"),
    [
        ('mass = "900 g"', "900 g at the end", "g"),
        ('force = "2 lbf"', "2 lbf at the end", "lbf"),
        ('schedule = [["0 h", "1250 g"], ["30 d", "0.40 kg"]]', "a schedule of up to 1250 g at the end", "g"),
    ],
)
def test_a_parts_load_is_answered_in_the_unit_of_its_file(load: str, said: str, unit: str, tmp_path: Path) -> None:
    path = tmp_path / "part.toml"
    path.write_text((DEMO / "bracket.toml").read_text().replace('mass = "0.9 kg"', load))
    result = sag(read_part(path), fit(read_run(DEMO / "petg-strip.toml")), at=["1 year"])
    text = " ".join(showing.text(result).split())
    assert re.search(rf"\d {unit} in place of (\d+, )?{said}", text)
    kept = part_limit_table(result, result.design).rows[1][2]
    assert kept.endswith(f" {unit}")


def test_the_unit_of_a_load_carries_gravity_and_lever() -> None:
    unit = load_unit([("mass", "300 g"), ("mass", "0 kg")], "N", lever=5.0)
    assert unit.name == "g"
    assert unit.show(300.0 * unit.size) == "300 g (14.7 N)"
    assert load_unit([("stress", "1450 psi")], "MPa").show(10.0) == "1450 psi (10 MPa)"
    assert load_unit([], "N").show(2.0) == "2 N"
