"""One reading that was mistyped or misread is one question; what would follow from it is not asked besides."""

from __future__ import annotations

from pathlib import Path

import pytest

from creepfit.answers.doubts.collected import about_fit, check_run
from creepfit.answers.doubts.mistyped import _swaps
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.records.templates import RUN_TEMPLATE

SMALL = """\
format = 1
[run]
material = "PETG"
[specimen]
test = "cantilever"
length = "60 mm"
width = "12 mm"
thickness = "4 mm"
[gauge]
resolution = "0.01 mm"
[[load]]
at = "0 s"
mass = "400 g"
[[load]]
at = "5 d"
mass = "0 kg"
[readings]
time = ["-1 min", "1 min", "1 d", "2 d", "3 d", "4 d", "4 d 23 h", "5 d 1 min", "6 d", "7 d"]
reading = [
  "1.31 mm", "3.59 mm", "3.84 mm", "3.88 mm", "3.92 mm", "3.95 mm", "3.96 mm", "1.67 mm", "1.44 mm", "1.41 mm",
]
"""
"""A bar whose gauge shows so little that ten times that is still a deflection that it can have."""


def typed(tmp_path: Path, right: str, wrong: str):
    text = RUN_TEMPLATE.replace(f'"{right} mm"', f'"{wrong} mm"', 1).replace("P-03", "bar 7")
    text = text.replace('"14.71 mm"', '"14.72 mm"')  # so that it is not the template
    path = tmp_path / "run.toml"
    path.write_text(text, encoding="utf-8")
    return read_run(path)


@pytest.mark.parametrize(
    ("right", "wrong"), [("15.14", "15.41"), ("14.67", "16.47"), ("12.87", "18.27"), ("15.14", "51.14"), ("12.61", "16.21")]
)
def test_swapped_digits_are_one_question(tmp_path: Path, right: str, wrong: str) -> None:
    # before: a shift of all later readings, a weight on at the zero, a deflection too large, a strain beyond 5 %
    asked = check_run(typed(tmp_path, right, wrong))
    assert [c.code for c in asked] == ["swapped-digits"]
    assert f"{float(wrong):g} mm, lies" in asked[0].text
    assert f"{float(right):g} mm would fit. Were two digits swapped?" in asked[0].text


@pytest.mark.parametrize(
    ("right", "wrong", "code", "question"),
    [
        ("15.14", "1.514", "slipped-comma", "15.14 mm would fit. Did the comma slip?"),
        ("15.11", "14.11", "misread-turn", "15.11 mm would fit. Was the small hand read wrong, by one turn of 1 mm?"),
        ("15.11", "16.11", "misread-turn", "15.11 mm would fit. Was the small hand read wrong, by one turn of 1 mm?"),
    ],
)
def test_a_slipped_comma_or_a_turn_of_the_dial_is_one_question(
    tmp_path: Path, right: str, wrong: str, code: str, question: str
) -> None:
    asked = check_run(typed(tmp_path, right, wrong))
    assert [c.code for c in asked] == [code]
    assert question in asked[0].text


@pytest.mark.parametrize(("right", "wrong"), [("3.84 mm", "3.84 cm"), ("3.88 mm", "38.8 mm"), ("3.96 mm", "39.6 mm")])
def test_a_reading_ten_times_too_large_makes_no_size_doubtful(tmp_path: Path, right: str, wrong: str) -> None:
    # before: "lies 35 mm above", then a modulus too low, a deflection too large for the formulas, a strain beyond 5 %
    path = tmp_path / "run.toml"
    path.write_text(SMALL.replace(right, wrong), encoding="utf-8")
    asked = check_run(read_run(path))
    assert [c.code for c in asked] == ["slipped-comma"]
    in_cm = ", or was its unit mm and not cm" if wrong.endswith("cm") else ""  # of one typed in mm it was asked, too
    assert f"{right} would fit. Did the comma slip{in_cm}?" in asked[0].text


def test_a_deflection_that_no_bar_can_have_is_asked_about_by_the_reading_that_would_fit(tmp_path: Path) -> None:
    # "were readings in mm typed as inches or cm, or is the length wrong?" stood first, and what would fit behind it
    run = typed(tmp_path, "15.14", "1514")
    (asked,) = check_run(run)
    assert asked.code == "reading-beyond-the-specimen"
    assert "15.14 mm would fit. Did the comma slip? No answer holds until that is settled." in asked.text
    assert "15.14 mm would fit" in str(forecast(fit(run), at=["30 d"]).withheld)


def test_a_reading_that_no_swap_explains_is_asked_about_as_before(tmp_path: Path) -> None:
    asked = check_run(typed(tmp_path, "15.11", "15.62"))
    assert asked[0].code == "outlier"
    assert "swapped" not in asked[0].text
    assert check_run(typed(tmp_path, "15.11", "15.11")) == ()


def test_a_reading_put_right_is_no_copy_of_the_one_before(tmp_path: Path) -> None:
    # put right, 14.83 would stand right behind an equal 14.83: what was typed there was another
    path = tmp_path / "run.toml"
    typed = ["12.40", "12.40", "14.64", "14.66", "14.76", "14.83", "14.38", "14.87", "14.94", "14.96", "12.73", "12.52"]
    times = ["-1 min", "0 s", "1 min", "10 min", "1 h", "6 h", "1 d", "2 d", "4 d", "5 d", "5 d 1 min", "8 d"]
    head = SMALL.partition("time = ")[0].replace('"0.01 mm"', '"0.01 mm"\ninstrument = "dial gauge"')
    rows = f"time = {times}\nreading = {[f'{value} mm' for value in typed]}\n"
    path.write_text(head + rows.replace("'", '"'), encoding="utf-8")
    codes = [c.code for c in check_run(read_run(path))]
    assert "swapped-digits" in codes
    assert "copied-reading" not in codes


def test_a_zero_with_swapped_digits_raises_no_doubt_about_the_sizes(tmp_path: Path) -> None:
    asked = [c.code for c in about_fit(fit(typed(tmp_path, "12.40", "14.20")))]
    assert "below-the-zero" in asked
    assert "modulus-out-of-range" not in asked


def test_what_a_value_may_have_been() -> None:
    assert _swaps(15.41, 0.01) == [14.51, 15.14, 51.41]
    assert _swaps(-0.12, 0.01) == [-1.02, -0.21]
    assert _swaps(120.0, 1.0) == [102.0, 210.0]
    assert _swaps(2.22, 0.01) == []


def test_the_template_is_told_as_such(tmp_path: Path) -> None:
    # "Nothing is doubtful about these readings." stood there
    path = tmp_path / "run.toml"
    path.write_text(RUN_TEMPLATE, encoding="utf-8")
    assert check_run(read_run(path))[0].code == "template"


@pytest.mark.parametrize(
    ("limit", "asked"), [("15.1 mm", True), ("14 mm", True), ("3 mm", False), ("5 mm", False), ("40 mm", False)]
)
def test_a_gauge_reading_as_a_limit_is_asked_about(tmp_path: Path, limit: str, asked: bool) -> None:
    found = forecast(fit(typed(tmp_path, "15.14", "15.14")), at=["30 d"], limit=limit).cautions
    doubts = [c for c in found if c.code == "limit-is-a-reading"]
    assert bool(doubts) == asked
    if limit == "15.1 mm":
        assert "at 4 d (readings, entry 9) the gauge showed 15.11 mm, which is 2.71 mm. Was 2.7 mm meant?" in doubts[0].text
