"""Text fits where it is shown: the terminal's columns, 80 in a pipe; nothing is lost where a table is too wide."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from creepfit.answers.specimen.limit import Life, LimitReached
from creepfit.cli.commands import main
from creepfit.cli.output import show
from creepfit.report.text.columns import columns, reset_columns, set_columns
from creepfit.report.text.pieces import kept_lines, life_words, paragraph, rough_time, table
from creepfit.units import DAY

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[2] / "demo"
STRIP = str(DEMO / "petg-strip.toml")


@pytest.fixture
def narrow() -> Iterator[None]:
    token = set_columns(60)
    yield
    reset_columns(token)


@pytest.mark.parametrize(
    "command",
    [
        ["recover", STRIP, "--after", "1 d", "--after", "30 d"],
        ["forecast", STRIP, "--at", "1 d", "--at", "1 year", "--limit", "3 mm", "--full"],
        ["sag", str(DEMO / "bracket.toml"), "--material", STRIP, "--at", "1 year", "--full"],
        ["fit", STRIP, "--full"],
    ],
)
def test_in_a_pipe_no_line_is_longer_than_80(command: list[str]) -> None:
    done = CliRunner().invoke(main, command)
    assert done.exit_code == 0
    assert max(map(len, done.output.splitlines())) <= 80
    assert "\x1b" not in done.output  # no colour either
    assert columns() == 100  # what follows in this process is not narrowed


def test_a_wide_table_breaks_its_titles_first(narrow: None) -> None:
    heads = ["after", "low", "median [mm]", "high", "gone back [%]", "largest strain left [%]"]
    rows = [["30 d", "0.01", "0.02", "0.03", "99.2", "0.002"]]
    lines = table(heads, rows)
    assert max(map(len, lines)) <= 60
    assert lines[-1].split() == ["30", "d", "0.01", "0.02", "0.03", "99.2", "0.002"]


def test_what_is_too_wide_even_then_is_set_in_blocks(narrow: None) -> None:
    rows = [["30 d", *(f"{k}.000 (0.111 to 0.222)" for k in range(4)), "a remark"]]
    lines = table(["after", "a", "b", "c", "d", ""], rows)
    assert max(map(len, lines)) <= 60
    text = "\n".join(lines)
    for k in range(4):
        assert f"{k}.000 (0.111 to 0.222)" in text
    assert text.count("30 d") == 2
    assert text.count("a remark") == 1


def test_paragraphs_are_as_wide_as_the_terminal(narrow: None) -> None:
    assert max(map(len, paragraph("word " * 60))) <= 60


def test_titles_and_doubts_stand_out_on_a_terminal_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    text = "PETG\n====\n  ! mind this"
    show(text)
    assert capsys.readouterr().out == text + "\n"
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True, raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    show(text)
    shown = capsys.readouterr().out
    assert "mind this" in shown
    monkeypatch.setenv("NO_COLOR", "1")
    show(text)
    assert capsys.readouterr().out == text + "\n"


def test_blocks_beneath_one_another_repeat_what_tells_rows_apart(narrow: None) -> None:
    heads = ["model", "scatter of the fit", "parameter", "value and its error", "unit", "at the load"]
    rows = [["findley", "0.0110000000", "D0", "0.36650000 ± 0.00830", "1/GPa", "0.3235 %"]]
    rows += [["", "", "m", "0.05540000 ± 0.00820", "1/GPa", "0.0489 %"]]
    lines = table(heads, rows, again=(2,))
    below = lines[next(i for i, line in enumerate(lines) if "at the load" in line) :]
    assert any("m" in line.split() and "0.0489" in line for line in below)  # "1/GPa 0.0489 %" of nothing before


def test_a_limit_that_is_broken_at_once_or_never_is_said_in_words() -> None:
    """No draw in between: the time that is sure is none, and had no logarithm."""
    life = Life(0.0, None, None, 0.8, LimitReached(0.0, None, None, 0.83), 500 * DAY, 500 * DAY, 0.8)
    said = life_words(life, 0.9)
    assert said == "may be reached as soon as it is loaded; not within 500 d (100 times the data) with probability 0.83"
    kept = "as it is, kept for 500 d with probability 0.80: not enough for 0.95"
    assert [" ".join(line.split()) for line in kept_lines(life, 0.9)] == [kept]


@pytest.mark.parametrize(
    ("seconds", "says"), [(1.5 * 86400.0, "1.5 d"), (1.34 * 86400.0, "1.3 d"), (9.99 * 86400.0, "10 d"), (7200.0, "2 h")]
)
def test_a_rough_time_of_days_has_no_minutes(seconds: float, says: str) -> None:
    assert rough_time(seconds) == says  # "36 h (90 %: 1 d 7 h 12 min to ...)" before


def test_a_load_kept_is_set_against_the_load_once() -> None:
    done = CliRunner().invoke(
        main, ["sag", str(DEMO / "bracket.toml"), "--material", STRIP, "--at", "30 d", "--limit", "2 mm"]
    )
    words = " ".join(done.output.split())
    assert re.search(r"kg in place of [\d.]+ kg at ", words)  # "in place of 0.8, 0.8 kg at the end" before
    assert re.search(r"mm in place of [\d.]+, arm, thickness", words)
