"""--known on the command line: the sentence of what the known runs change, JSON, and one line for what cannot be."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from creepfit.cli.commands import main

DEMO = Path(__file__).parents[1] / "demo"
STRIP, LONG = str(DEMO / "petg-strip.toml"), str(DEMO / "petg-long.toml")


def run(*words: str) -> Result:
    return CliRunner().invoke(main, list(words))


def demo_law(hours: float) -> float:
    """Deflection of the demo's strip in mm, from the law that made its readings (see demo/make_demo.py)."""
    growth = 0.068 * hours**0.19 - 0.015 * math.expm1(-hours / 18.0) + 0.008 * hours / 100.0
    return 75.0**3 / (3.0 * 14.0 * 5.0**3 / 12.0) * 0.4 * 9.80665 * (1.0 + growth) / 1950.0


@pytest.fixture(scope="module")
def known() -> dict[str, object]:
    found = run("forecast", STRIP, "--known", LONG, "--at", "200 d", "--at", "1 year", "--json")
    assert found.exit_code == 0, found.output
    answer: dict[str, object] = json.loads(found.stdout)
    return answer


def test_the_long_run_tells_what_five_days_cannot(known: dict[str, object]) -> None:
    """The invented plastic flows, which the strip's own five days hardly show: alone they are far off, and not safely."""
    with_known = known["known"]
    assert isinstance(with_known, dict)
    for row in with_known["rows"]:
        truth = demo_law(row["time_h"])
        assert row["alone"]["median"] < 0.9 * truth
        assert row["with_known"]["median"] == pytest.approx(truth, rel=0.05)
        assert row["with_known"]["low"] < truth < row["with_known"]["high"]
    assert [r["counts"] for r in with_known["runs"]] == [True]
    assert with_known["hindcast"]["inside"] >= 8
    forecast = known["forecast"]
    assert isinstance(forecast, list)
    assert forecast[-1]["high"] == pytest.approx(with_known["rows"][-1]["with_known"]["high"])


def test_the_sentence_says_what_is_owed_to_whom() -> None:
    found = run("forecast", STRIP, "--known", LONG, "--at", "1 year", "--full")
    assert found.exit_code == 0
    text = " ".join(found.stdout.split())
    size = r"[0-9.]+ mm \([0-9.]+ to [0-9.]+\)"
    assert re.search(f"After 1 year: by its own 5 d 54 min {size}; with the run of 200 d of the same PETG {size}\\.", text)
    assert "With the known run: fitted to the first 90 min" in text


def test_each_of_several_runs_takes_the_known_runs_of_its_own_material() -> None:
    found = run("compare", STRIP, str(DEMO / "pla-strip.toml"), "--known", LONG, "--at", "200 d", "--json")
    assert found.exit_code == 0, found.output
    assert not found.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["forecast", str(DEMO / "pla-strip.toml"), "--known", LONG, "--at", "1 year"], "is of PETG, the new run of PLA"),
        (["recover", LONG, "--known", STRIP, "--after", "1 d"], "teaches nothing beyond the new run"),
        (["fit", STRIP, LONG, "--pool", "--known", LONG], "known runs beside a pool"),
        (["fit", STRIP, "--known", LONG, "--save", "x.json"], "a fit with known runs is not saved"),
        (["compare", STRIP, "--known", "none.toml"], "none.toml"),
        (
            ["sag", str(DEMO / "bracket.toml"), "--material", STRIP, "--known", STRIP, "--at", "1 year"],
            "the same run twice",
        ),
    ],
)
def test_what_cannot_be_is_told_in_one_line(words: list[str], said: str) -> None:
    found = run(*words)
    assert found.exit_code == 2
    assert said in found.stderr
    assert len(found.stderr.strip().splitlines()) == 1
    assert not found.stdout
