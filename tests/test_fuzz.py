"""A hundred of the spoilt inputs of `benchmarks/fuzz.py`, always the same: one line and an exit code, or an answer."""

from __future__ import annotations

import warnings
from pathlib import Path

import fuzz
import pytest


@pytest.mark.parametrize("number", range(100))
def test_spoilt_input(number: int, tmp_path: Path) -> None:
    found = fuzz.case(1, number)
    assert fuzz.faults(found, tmp_path) == [], (found.command, found.files)


THICK = b"""
format = 1
run.material = "PETG"
specimen = {test = "cantilever", length = "60 mm", width = "12 mm", thickness = "1000000 mm"}
gauge = {resolution = "1e-6 mm", force = "0.8 N", drift = "0.002 mm/day^0.5"}
load = [{at = "0 s", mass = "1e-06 kg"}, {at = "0.001 d", mass = "0 kg"}]
event = [{at = "0.0004 d", kind = "bumped"}]
[readings]
time = ["-60 s", "0.08639999999999999 s", "0.864 s", "8.64 s", "25.92 s", "146.4 s", "3686.4 s", "172.8 s"]
reading = ["10 mm", "10.289 mm", "9.899 mm", "10.02 mm", "10.012 mm", "9.667 mm", "9.891 mm", "9.836 mm"]
"""
THIN = b"""
format = 1
run = {material = "?", temperature = "23 degC"}
[specimen]
test = "four-point-bending"
width = "12 mm"
thickness = "10 mm"
span = "90 mm"
load_span = "30 mm"
read_at = "midspan"
[gauge]
resolution = "0.01 mm"
drift = "0.002 mm/day^0.5"
force = "0.8 N"
[[load]]
at = "0 s"
mass = "0.2 kg"
[readings]
time = ["-60 s", "60 s", "25920 s", "259200 s", "777600 s"]
reading = ["6.182 mm", "31.424 mm", "31.271 mm", "26.605 mm", "34.625 mm"]
"""


def test_a_pool_of_bars_a_kilometre_and_a_centimetre_thick(tmp_path: Path) -> None:
    """The determinant of the sum of their precisions was lost in rounding, and nothing was divided by."""
    command = ["forecast", "thick.toml", "thin.toml", "--pool", "--anyway", "--at", "1 h", "--json"]
    assert fuzz.faults(fuzz.Case({"thick.toml": THICK, "thin.toml": THIN}, command, 1.0), tmp_path) == []


def test_the_driver_sees_warnings_faults_and_nonsense(tmp_path: Path, short: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Or a hundred passed tests would say nothing."""
    fine = fuzz.Case({"run.toml": short.read_bytes()}, ["check", "run.toml", "--json"], 1.0)
    assert fuzz.faults(fine, tmp_path) == []

    def warn(*_: object) -> None:
        warnings.warn("divide by zero", RuntimeWarning, stacklevel=1)

    monkeypatch.setattr("creepfit.answers.specimen.check.check", warn)
    assert "a fault of ours" in fuzz.faults(fine, tmp_path)[0]
    turned = {"forecast": [{"low": 2.0, "median": 1.0, "high": -3.0}]}
    case = fuzz.Case({}, ["forecast", "run.toml"], 1.0)
    assert len(list(fuzz._nonsense(turned, case))) == 2
