"""Runs together: ratios between materials and isochronous curves, on a page that says what cannot be told."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from creepfit.answers.materials.comparison import compare
from creepfit.answers.part.sag import Sag, sag
from creepfit.answers.stress.isochronous import isochronous
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.report.figures.style import svg
from creepfit.report.figures.together import isochronous_figure, ratios_figure
from creepfit.report.page.chapter import Chapter
from creepfit.report.page.findings import Findings, find
from creepfit.report.page.html import RunPage, page, pictures_of, section
from creepfit.report.page.together import chapters, materials, stresses
from creepfit.units import DAY, HOUR, YEAR

WordedOnce = Callable[..., RunPage]

DEMO = Path(__file__).parents[2] / "demo"

BAR = """\
format = 1
[run]
material = "PC"
specimen = "{name}"
[specimen]
test = "tension"
length = "100 mm"
width = "10 mm"
thickness = "4 mm"
[gauge]
resolution = "0.001 mm"
repeatability = "0.001 mm"
[[load]]
at = "0 s"
force = "{force} N"
[readings]
time = ["-1 min", "1 min", "10 min", "1 h", "10 h", "1 d", "5 d"]
reading = {readings}
"""


def bar(folder: Path, name: str, stress: float) -> Fit:
    """A bar of compliance (1 + 0.08 h^0.15)/2000 MPa at 1 h (invented), which creeps in proportion to stress."""
    hours = np.array([1 / 60, 1 / 6, 1.0, 10.0, 24.0, 120.0])
    moved = 100.0 * stress * (1.0 + 0.08 * hours**0.15) / 2000.0
    readings = [f"{v:.3f} mm" for v in (0.0, *moved)]
    path = folder / f"{name}.toml"
    path.write_text(BAR.format(name=name, force=40.0 * stress, readings=str(readings).replace("'", '"')), "utf-8")
    return fit(read_run(path))


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> list[Fit]:
    folder = tmp_path_factory.mktemp("series")
    return [bar(folder, "low", 5.0), bar(folder, "high", 10.0)]


@pytest.fixture(scope="module")
def under_stress(series: list[Fit]) -> Chapter:
    found = stresses(series, "stress1")
    assert found is not None
    return found


def test_command_and_page_compare_at_one_time_where_none_was_asked(strip: Findings, pla: Findings) -> None:
    # the command took 5 d, page and desk the last usual time
    (chapter,) = chapters([strip.fit, pla.fit], [])
    answer = compare([strip.fit, pla.fit])
    assert answer.moments[-1].time == YEAR
    assert "1 year" in chapter.answer
    assert compare([strip.fit, pla.fit], by="recovered").moments[-1].time == DAY


def test_two_materials_are_compared_in_one_sentence_with_the_ratio(strip: Findings, pla: Findings) -> None:
    (chapter,) = chapters([strip.fit, pla.fit], ["5 d"])
    answer = compare([strip.fit, pla.fit], ["5 d"])
    assert chapter.key == "materials"
    assert chapter.answer == next(d.alt for d in chapter.drawn if d.name == "ratios")
    assert "PLA strip 1 has a smaller" in chapter.answer
    assert chapter.cautions == answer.cautions
    (row,) = chapter.tables["ratios"].rows
    ratio = answer.moments[-1].ratios[0]
    assert ratio.interval is not None
    assert float(row[2]) == pytest.approx(ratio.interval.median, abs=0.005)
    assert row[-1] == "real"
    assert f"of PETG strip 1 is {row[2]} times that of PLA strip 1 (90 %: {row[1]} to {row[3]})" in chapter.answer
    shown = {value.run: value.interval for value in answer.moments[-1].values}
    for label, place, low, median, high, modulus in chapter.tables["values"].rows:
        assert [float(low), float(median), float(high)] == pytest.approx(
            [1e3 * end for end in shown[label].to_dict().values()], abs=0.006
        )
        assert float(modulus) == pytest.approx(1.0 / shown[label].median, rel=0.02)
        assert place == ("1" if label.startswith("PLA") else "2")


def test_without_a_wish_runs_are_compared_where_the_shortest_test_still_answers(strip: Findings) -> None:
    steps = fit(read_run(DEMO / "petg-steps.toml"))
    (chapter,) = [c for c in chapters([strip.fit, steps]) if c.key == "materials"]
    assert chapter.answer.startswith("At 1 d ")


def test_a_run_of_unknown_stiffness_is_left_out_and_named(strip: Findings, pla: Findings, unsized: Findings) -> None:
    (chapter,) = chapters([strip.fit, unsized.fit, pla.fit], ["5 d"])
    assert "PLA strip 1 has a smaller" in chapter.answer
    assert "Left out: ABS sizes unknown (" in chapter.answer
    assert {row[0] for row in chapter.tables["values"].rows} == {"PETG strip 1", "PLA strip 1"}


def test_of_many_runs_the_ranking_stands_for_the_pairs(strip: Findings, pla: Findings) -> None:
    many = [replace(f.fit, run=replace(f.fit.run, name=f"{i}")) for i in range(3) for f in (strip, pla)]
    chapter = materials(many, 5.0 * DAY)
    assert [d.name for d in chapter.drawn] == ["comparison"]
    assert list(chapter.tables) == ["values"]
    assert [row[1] for row in chapter.tables["values"].rows] == ["1", "1", "1", "4", "4", "4"]
    assert re.search(r"the first 3 of 6 \(PLA \d, PLA \d and PLA \d\) are not distinguishable", chapter.answer)


def test_a_part_by_each_run_has_the_numbers_of_its_sag(
    worded_once: WordedOnce, bracket: Sag, strip: Findings, pla: Findings
) -> None:
    other = sag(bracket.part, pla.fit, ["30 d", "1 year"])
    parts = [worded_once(f, s, i, brief=True).part for i, (f, s) in enumerate(((strip, bracket), (pla, other)), start=1)]
    first = chapters([strip.fit, pla.fit], ["1 year"], [p for p in parts if p is not None])[0]
    assert first.key == "part"
    assert [row[0] for row in first.tables["sag"].rows] == ["PLA strip 1", "PETG strip 1"]
    for row, result in zip(first.tables["sag"].rows, (other, bracket), strict=True):
        assert float(row[2]) == pytest.approx(result.rows[-1].interval.median, abs=0.051)
        assert row[4] == "73"
    assert "its limit is 5 mm" in first.answer
    assert "cannot be forecast" not in first.answer
    assert [c.code for c in first.cautions] == ["unseen-flow"]


def test_a_part_by_a_run_far_too_short_is_no_forecast(worded_once: WordedOnce, bracket: Sag, strip: Findings) -> None:
    """A bending run of minutes once stood beside one of days as if it knew of a year."""
    side = worded_once(strip, bracket, 1, brief=True).part
    assert side is not None
    # with times asked for it has a number for a year; with those of its own, one for the latest it may speak of
    for short in (replace(side, label="short", test=HOUR), replace(side, label="short", test=HOUR, time=30.0 * HOUR)):
        (first,) = [c for c in chapters([strip.fit], ["1 year"], [short, side]) if c.key == "part"]
        assert first.answer.endswith("By short it cannot be forecast: 1 year is more than 100 times the test.")
        assert first.answer.count(" by ") == 1
        assert [(row[0], row[4]) for row in first.tables["sag"].rows] == [("PETG strip 1", "73")]
    hour = replace(side, label="short", test=HOUR)
    (none,) = [c for c in chapters([strip.fit], ["1 year"], [hour, hour]) if c.key == "part"]
    assert none.answer.startswith("By short")
    assert {row[4] for row in none.tables["sag"].rows} == {"8800, no forecast"}


def test_a_real_difference_is_filled_and_another_hollow(strip: Findings, pla: Findings) -> None:
    for other, told in ((pla.fit, True), (replace(strip.fit, run=replace(strip.fit.run, name="again")), False)):
        drawing = ratios_figure(compare([strip.fit, other], ["5 d"]))
        assert drawing is not None
        (mark,) = [line for line in drawing.figure.axes[0].lines if line.get_marker() == "o"]
        assert (mark.get_markerfacecolor() == mark.get_color()) is told


def test_what_cannot_be_compared_says_why(strip: Findings, unsized: Findings) -> None:
    (chapter,) = chapters([strip.fit, unsized.fit], [HOUR])
    assert chapter.answer.startswith("These runs cannot be compared: ")
    assert "stress and strain" in chapter.answer
    assert chapter.drawn == ()


def test_one_run_under_one_load_has_no_chapter(strip: Findings) -> None:
    assert chapters([strip.fit], [DAY]) == []


def test_isochronous_strain_is_that_of_the_bars(under_stress: Chapter, series: list[Fit]) -> None:
    rows = under_stress.tables["isochronous"].rows
    for row in rows:
        after, stress, median = row[0], float(row[1]), float(row[3])
        hours = {"1 h": 1.0, "10 h": 10.0, "100 h": 100.0, "1000 h": 1000.0, "41 d 16 h": 1000.0, "4 d 4 h": 100.0}[after]
        tolerance = 0.01 if hours <= 100.0 else 0.03
        assert median == pytest.approx(100.0 * stress * (1.0 + 0.08 * hours**0.15) / 2000.0, rel=tolerance)
    assert {float(row[1]) for row in rows} == {5.0, 10.0}
    assert [row[-1] for row in rows[-2:]] == ["yes", "yes"]
    assert rows[0][-1] == "no"
    assert "no departure" in under_stress.answer.lower()


def test_points_beyond_the_readings_are_hollow(under_stress: Chapter) -> None:
    (drawing,) = under_stress.drawn
    marks = [line for line in drawing.figure.axes[0].lines if line.get_marker() == "o"]
    hollow = [m for m in marks if m.get_markerfacecolor() != m.get_color()]
    beyond = sum(row[-1] == "yes" for row in under_stress.tables["isochronous"].rows)
    assert len(hollow) == beyond > 0
    assert f"{beyond} points lie beyond the readings" in drawing.alt


def test_a_run_with_steps_has_curves_of_its_own() -> None:
    steps = fit(read_run(DEMO / "petg-steps.toml"))
    (chapter,) = chapters([steps])
    assert chapter.title == "PETG bar 2 under several stresses"
    assert len({row[1] for row in chapter.tables["isochronous"].rows}) == 4
    (drawing,) = chapter.drawn
    lines = [line for line in drawing.figure.axes[0].lines if line.get_marker() == "None"]
    assert all(len(line.get_xdata()) == 9 for line in lines)  # smooth by the law, not from step to step


def test_they_stand_on_the_page_and_among_the_files(
    worded_once: WordedOnce, strip: Findings, pla: Findings, under_stress: Chapter
) -> None:
    sections = [worded_once(strip, None, 1), worded_once(pla, None, 2)]
    found = [*chapters([strip.fit, pla.fit], ["5 d"]), under_stress]
    text = page(sections, "", found).replace("\u00a0", " ")
    places = [text.index(f'id="{key}"') for key in ("materials", "shared-doubts", "stress1", "run1")]
    assert places == sorted(places)
    for chapter in found:
        assert chapter.title in text
        for caution in chapter.cautions:
            assert text.count(caution.text) == 1
    names = [name for name, _ in pictures_of(sections, found)]
    assert {"all-materials-comparison.svg", "all-materials-ratios.svg", "all-stress1-isochronous.png"} <= set(names)


def test_names_from_run_files_stay_text(series: list[Fit]) -> None:
    low, high = (replace(f, run=replace(f.run, material="<script>alert(1)</script>")) for f in series)
    found = stresses([low, high], "stress1")
    assert found is not None
    text = page([section(find(low), None, 1, brief=True)], "", [found])
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text


def test_long_and_odd_names_are_drawn(series: list[Fit]) -> None:
    odd = [replace(f, run=replace(f.run, material=r"A & B < C $\nothing$" + "x" * 60)) for f in series]
    drawing = ratios_figure(compare(odd, [HOUR], by="compliance"))
    assert drawing is not None
    assert r"A &amp; B &lt; C $\noth" in svg(drawing)
    isochronous_figure(isochronous(odd, [HOUR]), odd[0].run.material)
