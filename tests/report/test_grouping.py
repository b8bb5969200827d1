"""Six runs of two materials are asked about as materials: pooled where they may be, each run listed below."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from creepfit.answers.materials.grouping import groups_of, worth_grouping
from creepfit.cli.commands import main
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.report.page.chapter import Chapter
from creepfit.report.page.together import chapters

pytestmark = pytest.mark.few_draws

RUN = """\
format = 1
[run]
material = "{material}"
specimen = "{name}"
[specimen]
test = "cantilever"
length = "75 mm"
width = "14 mm"
thickness = "5 mm"
[gauge]
resolution = "0.01 mm"
instrument = "dial gauge"
[[load]]
at = "0 s"
mass = "0.4 kg"
[readings]
time = ["-1 min", "1 min", "1 h", "1 d", "5 d"]
reading = {readings}
"""
SCATTER = (0.97, 1.0, 1.04)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three bars each of two plastics (invented), of which one is a third stiffer."""
    found = tmp_path_factory.mktemp("six")
    for material, first in (("PETG", 2.0), ("PLA", 1.5)):
        for k, factor in enumerate(SCATTER[: 3 if material == "PETG" else 2]):
            moved = factor * first * (1.0 + 0.1 * np.array([0.0, 0.5, 0.8, 1.0]))
            readings = json.dumps([f"{5.0 + v:.2f} mm" for v in (0.0, *moved)])
            text = RUN.format(material=material, name=str(k + 1), readings=readings)
            (found / f"{material}-{k + 1}.toml").write_text(text, encoding="utf-8")
    return found


@pytest.fixture(scope="module")
def fits(folder: Path) -> list[Fit]:
    return [fit(read_run(path)) for path in sorted(folder.glob("*.toml"))]


def test_runs_of_one_material_printed_alike_are_a_group(fits: list[Fit]) -> None:
    groups = groups_of([f.run for f in fits])
    assert groups == [[0, 1, 2], [3, 4]]
    assert worth_grouping(groups)
    assert not worth_grouping([[0], [1]])
    assert not worth_grouping([[0, 1, 2]])


def test_compare_answers_for_the_materials_and_lists_the_runs(folder: Path) -> None:
    # six lines of runs, of which "the first 3 of 6 are not distinguishable", were no answer
    done = CliRunner().invoke(main, ["compare", str(folder), "--at", "5 d"])
    assert done.exit_code == 0, done.output
    text = " ".join(done.stdout.split())
    assert "PLA (2 specimens) has a smaller deflection than PETG (3 specimens), and the difference is real" in text
    below = done.stdout[done.stdout.index("Each run by itself") :]
    for name in ("PETG 1", "PETG 2", "PETG 3", "PLA 1", "PLA 2"):
        assert name in below


def test_each_and_pool_say_otherwise(folder: Path) -> None:
    done = CliRunner().invoke(main, ["compare", str(folder), "--at", "5 d", "--each", "--json"])
    assert len(json.loads(done.stdout)["at"][0]["runs"]) == 5
    both = CliRunner().invoke(main, ["compare", str(folder), "--each", "--pool"])
    assert both.exit_code == 2
    assert "--pool and --each" in both.output


@pytest.fixture(scope="module")
def said(fits: list[Fit]) -> list[Chapter]:
    return chapters(fits, ["5 d"])


def test_a_page_compares_the_materials_too(said: list[Chapter]) -> None:
    first = said[0]
    assert "PLA (2 specimens) has a smaller deflection" in first.answer
    assert len(first.tables["each"].rows) == 5
    assert [c.title for c in said[1:3]] == ["PETG, 3 runs as one", "PLA, 2 runs as one"]
    assert "for a new specimen: After 5 d under 0.4 kg" in said[1].answer


def test_curves_of_all_runs_lie_over_one_another(said: list[Chapter], fits: list[Fit]) -> None:
    drawing = said[0].drawn[0]
    assert drawing.name == "curves"
    (ax,) = drawing.figure.axes
    shown = [line for line in ax.lines if line.get_marker() in "os^Dv"]
    assert len(shown) == len(fits)
    np.testing.assert_allclose(shown[0].get_ydata(), fits[0].observed.deformation[1:], atol=1e-9)
    assert len({line.get_color() for line in ax.lines}) == 2  # one a material
    assert "PETG" in drawing.alt


def test_one_material_is_pooled_where_that_is_asked_for(fits: list[Fit]) -> None:
    own = fits[:2]
    assert [c.key for c in chapters(own, ["5 d"])] == ["materials"]
    joined = chapters(own, ["5 d"], pool=True)
    assert [c.key for c in joined] == ["materials", "pool1"]
    assert joined[0].title == "Runs over one another"
