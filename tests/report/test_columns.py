"""Text fits where it is shown: the terminal's columns, 80 in a pipe; nothing is lost where a table is too wide."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from creepfit.cli.commands import main
from creepfit.cli.options import show
from creepfit.report.text.columns import columns, reset_columns, set_columns
from creepfit.report.text.pieces import paragraph, table

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
