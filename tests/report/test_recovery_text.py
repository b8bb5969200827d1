"""What is said of recovery where more than all has gone back."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

from creepfit.answers.interval import Interval
from creepfit.answers.specimen.permanent_set import PermanentSet
from creepfit.answers.specimen.recovery import at_least, recovery
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.report.page.findings import find
from creepfit.report.page.tables import recovery_table
from creepfit.report.text.pieces import Unit
from creepfit.report.text.recovery import recovery_lines

DEMO = Path(__file__).parents[2] / "demo"

PRESSED_BACK = """\
format = 1
[run]
material = "ABS"
[specimen]
test = "three-point-bending"
span = "64 mm"
width = "10 mm"
thickness = "2 mm"
[gauge]
resolution = "0.01 mm"
instrument = "dial gauge"
force = "0.8 N"
[[load]]
at = "0 s"
mass = "0.2 kg"
[[load]]
at = "5 d"
mass = "0 kg"
[readings]
time = ["-1 min", "1 min", "1 h", "1 d", "2 d", "3 d", "5 d", "5 d 1 min", "5 d 1 h", "6 d", "9 d"]
reading = ["0.00 mm", "1.60 mm", "1.66 mm", "1.74 mm", "1.77 mm", "1.79 mm", "1.81 mm", "0.19 mm", "0.11 mm", "0.03 mm",
           "0.00 mm"]
"""
"""A thin bar under a strong plunger, which bends it back for good (numbers invented)."""


def test_below_zero_is_explained_by_the_plunger(tmp_path: Path) -> None:
    # "-0.17 mm is left: 109 % has gone back" stood there without a word
    (tmp_path / "run.toml").write_text(PRESSED_BACK, encoding="utf-8")
    fitted = fit(read_run(tmp_path / "run.toml"))
    text = " ".join(" ".join(recovery_lines(recovery(fitted, ["1 d", "30 d"]))).split())
    assert "30 d after unloading all of the deformation has gone back; it lies 0." in text
    assert "beyond where it was" in text
    assert "the gauge's plunger presses with 0.8 N all the time" in text
    assert "109" not in text
    table = recovery_table(find(fitted))
    assert "plunger" in table.note
    assert not any(float(word) > 100.0 for row in table.rows for word in re.findall(r"[0-9.]+", row[-1]))


def test_where_more_likely_than_not_no_set_remains_no_middle_value_is_one_that_does() -> None:
    # "what stays for good is 0.05 mm" stood beside "a set remains with probability 0.22" and medians of nought of every law
    result = recovery(fit(read_run(DEMO / "petg-strip.toml")), ["30 d"])
    seldom = PermanentSet(
        Interval(0.0, 0.05, 0.14), "why", probability=0.22, least=0.003, if_any=Interval(0.02, 0.05, 0.14)
    )
    said = " ".join(" ".join(recovery_lines(replace(result, permanent_set=seldom))).split())
    assert "no set of more than 0.003 mm remains with probability 0.78; if one does, with 0.22, it is 0.05 mm" in said
    assert "what stays for good is between 0.00 and 0.14 mm (90 %): why" in said
    likely = replace(seldom, probability=0.7, bounds=Interval(0.0, 0.03, 0.14))
    said = " ".join(" ".join(recovery_lines(replace(result, permanent_set=likely))).split())
    assert "a set of more than 0.003 mm remains with probability 0.70; if one does, it is 0.05 mm" in said
    assert "what stays for good is 0.03 mm (90 %: 0.00 to 0.14 mm): why" in said


def test_what_is_left_is_never_less_than_what_stays(tmp_path: Path) -> None:
    # "at most 0.027 mm is left" stood above a set of up to 0.031 mm
    found = find(fit(read_run(DEMO / "petg-strip.toml")))
    answer, kept = found.recovery, found.recovery.permanent_set
    assert kept.if_any is not None
    last = answer.residuals[-1]
    assert last.left.high >= kept.bounds.high >= max(i.high for _, i in kept.laws)
    assert kept.bounds.high >= kept.if_any.high
    assert last.recovered.low <= 100.0 * (1.0 - kept.bounds.high / answer.before.median) + 1e-9
    said = recovery_lines(recovery(found.fit, ["100 d"]))
    left = re.search(r"90 %: [0-9.]+\s+to ([0-9.]+) mm\) is left", " ".join(said))
    stays = re.findall(r"90 %: [0-9.]+\s+to ([0-9.]+) mm", " ".join(said))
    assert float(left.group(1)) >= max(map(float, stays))
    assert (found.residual.high >= kept.bounds.high).all()
    assert answer.residuals[0].left.low > 0.3  # a minute after unloading, as the models alone have it


def test_what_is_left_of_a_gauge_that_falls_is_the_same_turned_around() -> None:
    left, stays = Interval(0.01, 0.02, 0.03), Interval(0.0, 0.025, 0.04)
    assert at_least(left, stays, 1.0) == Interval(0.01, 0.025, 0.04)
    assert at_least(Interval(-0.03, -0.02, -0.01), stays, -1.0) == Interval(-0.04, -0.025, -0.01)
    assert at_least(left, None, 1.0) is left


def test_no_size_is_finer_than_a_tenth_of_the_gauge() -> None:
    # the least set that would be seen was told as 0.00289 mm of a gauge that reads 0.01
    text = " ".join(recovery_lines(recovery(fit(read_run(DEMO / "petg-strip.toml")), ["100 d"])))
    assert "a set of more than 0.003 mm remains" in " ".join(text.split())
    bounds, _, _ = text.partition("largest strain")
    assert not re.search(r"\d\.\d{4,}\s*(mm|\s)", bounds)
    unit = Unit("mm", resolution=0.01)
    assert unit.interval(Interval(0.00012, 0.00312, 0.00512)) == ("0.000", "0.003", "0.005")
    assert unit.interval(Interval(0.0001, 0.0002, 0.0003))[2] != "0.000"
    assert Unit("%", 100.0, 1e-5).number(3.21e-5) == "0.0032"
