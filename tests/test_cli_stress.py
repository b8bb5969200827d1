"""The command `stress`: runs in steps and apart, what it prints, what it keeps, and one line for each mistake."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result

from creepfit.cli.commands import main
from creepfit.report.text.columns import PIPED

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[1] / "demo"
STEPS = str(DEMO / "petg-steps.toml")
STRIP = str(DEMO / "petg-strip.toml")

BAR = """\
format = 1
[run]
material = "{material}"
specimen = "{name}"
[specimen]
{specimen}
[gauge]
resolution = "0.001 mm"
[[load]]
at = "0 s"
force = "{force} N"
[readings]
time = ["-1 min", "1 min", "10 min", "1 h", "10 h"]
reading = {readings}
"""
TENSION = 'test = "tension"\nlength = "100 mm"\nwidth = "10 mm"\nthickness = "4 mm"'


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, ["stress", *(str(a) for a in arguments)])


def bar(folder: Path, name: str, stress: float, material: str = "PC", specimen: str = TENSION, **more: Any) -> Path:
    """A bar of 40 mm^2 and 100 mm whose compliance at 1 h is 1.08/2000 MPa (invented), in proportion to stress."""
    readings = [0.0, *(100.0 * stress * (1.0 + 0.08 * np.array([1 / 60, 1 / 6, 1.0, 10.0]) ** 0.15) / 2000.0)]
    shown = json.dumps([f"{v:.3f} mm" for v in readings])
    path = folder / f"{name}.toml"
    text = BAR.format(material=material, name=name, force=40.0 * stress, readings=shown, specimen=specimen)
    path.write_text(text.replace("[specimen]", more.get("extra", "") + "[specimen]"), encoding="utf-8")
    return path


def test_the_demo_run_with_steps_gets_a_sensible_answer() -> None:
    """Its numbers were made in proportion to the load, with a modulus of 1.95 GPa at once (demo/README.md)."""
    done = run(STEPS)
    assert (done.exit_code, done.stderr) == (0, "")
    lines = done.stdout.splitlines()
    assert lines[0] == "PETG bar 2"
    assert max(map(len, lines)) <= PIPED
    assert all(line == line.rstrip() for line in lines)
    found = json.loads(run(STEPS, "--json").stdout)
    assert list(found)[:5] == ["format", "version", "seed", "level", "run"]
    assert found["proportional"] == "yes"
    assert found["departure_at_highest"]["high"] < 0.02
    assert found["law"]["probability_linear"] > 0.9
    assert {row["stress_MPa"] for row in found["isochronous"]} == {level["stress_MPa"] for level in found["levels"]}
    for row in found["isochronous"]:
        assert row["extrapolated"] is (row["time_h"] > 5.5 / 60.0)
    first = found["isochronous"][0]
    assert first["time_h"] == pytest.approx(1 / 60)
    assert first["creep_modulus"]["low"] < 1910.0 < first["creep_modulus"]["high"]
    assert found["left_out_h"] == [100.0, 1000.0, 10000.0]


def test_json_has_every_key() -> None:
    found = json.loads(run(STEPS, "--json", "--at", "1 h", "--stress", "5 MPa", "--level", "0.8").stdout)
    assert set(found) == {
        "format", "version", "seed", "level", "run", "proportional", "finding", "next_test", "departure_at_highest",
        "share_shown", "levels", "ratios", "law", "why", "isochronous", "isochronous_basis", "isochronous_why",
        "left_out_h", "assumptions", "cautions",
    }  # fmt: skip
    assert set(found["levels"][0]) == {"stress_MPa", "specimens", "read_from_h", "read_to_h"}
    assert set(found["ratios"][0]) == {
        "of_MPa", "to_MPa", "time_h", "low", "median", "high", "probability_softer", "distinguishable",
    }  # fmt: skip
    assert set(found["law"]) == {
        "sigma0", "sigma0_if_not_linear", "highest_stress_MPa", "factor_at_highest", "factor_if_not_linear",
        "probability_linear", "at_end_of_range",
    }  # fmt: skip
    assert set(found["isochronous"][0]) == {
        "time_h", "stress_MPa", "strain", "creep_modulus", "extrapolated", "interpolated", "below_lowest_stress",
        "read_to_h",
    }  # fmt: skip
    assert set(found["cautions"][0]) == {"code", "text", "settled_by"}
    assert found["level"] == 0.8
    assert [row["stress_MPa"] for row in found["isochronous"] if row["interpolated"]] == [5.0]


def test_runs_at_two_stresses_have_their_ratio_and_curves(tmp_path: Path) -> None:
    paths = [bar(tmp_path, "low", 5.0), bar(tmp_path, "high", 15.0)]
    found = json.loads(run(*paths, "--json").stdout)
    assert found["run"] == ["PC low", "PC high"]
    assert found["law"] is None
    assert "3 or more" in found["why"]
    assert all(row["low"] < 1.0 < row["high"] for row in found["ratios"])
    strain = {(r["stress_MPa"], r["time_h"]): r["strain"]["median"] for r in found["isochronous"]}
    assert strain[15.0, 1.0] == pytest.approx(15.0 * 1.08 / 2000.0, rel=2e-3)
    text = run(*paths).stdout
    assert text.startswith("PC: 2 runs at 2 stresses\n")
    assert "cannot be told with these stresses" in " ".join(text.split())


def test_a_folder_and_saved_results_are_taken(tmp_path: Path) -> None:
    runs, kept = tmp_path / "runs", tmp_path / "kept"
    runs.mkdir()
    kept.mkdir()
    bar(runs, "low", 5.0)
    bar(runs, "high", 15.0)
    first = run(runs, "--json", "--save", kept)
    assert first.exit_code == 0
    saved = sorted(kept.iterdir())
    assert [p.name for p in saved] == ["high.json", "low.json"]
    again = run(*saved, "--json")
    assert json.loads(again.stdout)["ratios"] == json.loads(first.stdout)["ratios"]


def test_one_that_cannot_be_read_does_not_stop_the_others(tmp_path: Path) -> None:
    done = run(bar(tmp_path, "low", 5.0), "nowhere.toml", bar(tmp_path, "high", 15.0))
    assert done.exit_code == 2
    assert done.stderr == "creepfit: nowhere.toml: there is no such file\n"
    assert "PC: 2 runs at 2 stresses" in done.stdout


def test_runs_that_differ_need_a_word(tmp_path: Path) -> None:
    paths = [bar(tmp_path, "low", 5.0), bar(tmp_path, "high", 15.0, material="PLA")]
    done = run(*paths)
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith("creepfit: the runs differ: material 'PC' of low and 'PLA' of high; ")
    assert done.stderr.count("\n") == 1
    found = json.loads(run(*paths, "--anyway", "--json").stdout)
    assert "runs-differ" in {c["code"] for c in found["cautions"]}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([STRIP], f"{STRIP}: one stress tells nothing of others; found '5.04 MPa'; expected runs at two stresses or more"),
        (["nowhere.toml"], "nowhere.toml: there is no such file"),
        ([STEPS, "--at", "abc"], "--at: found 'abc'; expected a time"),
        ([STEPS, "--at", "-1 h"], "--at: found '-1 h'; expected a time"),
        (
            [STEPS, "--stress", "9 MPa"],
            "--stress: found '9 MPa'; expected a stress above zero and no more than the highest",
        ),
        ([STEPS, "--stress", "5 mm"], '--stress: "mm" is the unit of a length'),
        ([STEPS, "--level", "90"], "--level: found '90'"),
        (["{mm}"], '{mm}, specimen: found "loads in N and readings in mm without the specimen\'s sizes"'),
        (["{low}", "{mm}"], "these runs have no common measure; "),
        (["{low}", "{high}", "--stress", "7 MPa"], "--stress: found '7 MPa'; expected a stress that was tested on its own"),
    ],
)
def test_each_mistake_gets_one_line_and_exit_code_2(tmp_path: Path, arguments: Sequence[str], says: str) -> None:
    names = {
        "low": bar(tmp_path, "low", 5.0),
        "high": bar(tmp_path, "high", 15.0),
        "mm": bar(tmp_path, "mm", 5.0, specimen='test = "direct"'),
    }
    done = run(*(a.format(**names) for a in arguments))
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.startswith("creepfit: " + says.format(**names))
    assert done.stderr.count("\n") == 1


def test_loads_that_pull_the_other_way_say_the_same(tmp_path: Path) -> None:
    """A minus before loads and readings is a matter of how the gauge was mounted."""
    up = [bar(tmp_path, "up5", 5.0), bar(tmp_path, "up15", 15.0)]
    down = [bar(tmp_path, "down5", -5.0), bar(tmp_path, "down15", -15.0)]
    found, mirrored = (json.loads(run(*paths, "--json").stdout) for paths in (up, down))
    for a, b in zip(found["isochronous"], mirrored["isochronous"], strict=True):
        assert b["stress_MPa"] == a["stress_MPa"]
        assert b["strain"]["median"] == pytest.approx(a["strain"]["median"], rel=1e-3)
