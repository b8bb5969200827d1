"""One reading with two digits swapped is one question; what would follow from it is not asked besides."""

from __future__ import annotations

from pathlib import Path

import pytest

from creepfit.answers.doubts.collected import about_fit, check_run
from creepfit.answers.doubts.mistyped import _swaps
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.records.templates import RUN_TEMPLATE


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


def test_a_reading_that_no_swap_explains_is_asked_about_as_before(tmp_path: Path) -> None:
    asked = check_run(typed(tmp_path, "15.11", "15.62"))
    assert asked[0].code == "outlier"
    assert "swapped" not in asked[0].text
    assert check_run(typed(tmp_path, "15.11", "15.11")) == ()


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
