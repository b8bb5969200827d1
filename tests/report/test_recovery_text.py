"""What is said of recovery where more than all has gone back."""

from __future__ import annotations

import re
from pathlib import Path

from creepfit.answers.specimen.recovery import recovery
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.report.page.findings import find
from creepfit.report.page.tables import recovery_table
from creepfit.report.text.recovery import recovery_lines

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
