"""A hundred of the spoilt inputs of `benchmarks/fuzz.py` and some extremes, the same each time: one line, or an answer."""

from __future__ import annotations

import math
import warnings
from pathlib import Path

import fuzz
import pytest

pytestmark = pytest.mark.few_draws


@pytest.mark.parametrize("number", range(100))
def test_spoilt_input(number: int, tmp_path: Path) -> None:
    found = fuzz.case(1, number)
    assert fuzz.faults(found, tmp_path) == [], (found.command, found.files)


@pytest.mark.parametrize("number", [3, 5, 24, 40, 48, 55, 94, 100])
def test_extreme_input(number: int, tmp_path: Path) -> None:
    found = fuzz.case(6, number, extremes=True)
    assert fuzz.faults(found, tmp_path) == [], (found.command, found.files)


def test_the_driver_sees_warnings_faults_and_nonsense(tmp_path: Path, short: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Or a hundred passed tests would say nothing."""
    fine = fuzz.Case({"run.toml": short.read_bytes()}, ["check", "run.toml", "--json"], 1.0)
    assert fuzz.faults(fine, tmp_path) == []

    def warn(*_: object) -> None:
        warnings.warn("divide by zero", RuntimeWarning, stacklevel=1)

    monkeypatch.setattr("creepfit.answers.specimen.check.check", warn)
    assert "a fault of ours" in fuzz.faults(fine, tmp_path)[0]
    turned = {"forecast": [{"time_h": 1.0, "low": 2.0, "median": 1.0, "high": -3.0}]}
    case = fuzz.Case({}, ["forecast", "run.toml"], 1.0)
    assert len(list(fuzz._nonsense(turned, case))) == 2


def test_the_driver_knows_from_when_on_a_deflection_goes_with_the_load() -> None:
    """Without a reading before loading it counts from the first one; such runs were not looked at."""
    read = {"load": [{"mass": "1 kg"}], "gauge": {}, "readings": {"time": ["60.0 s", "7200.0 s"]}}
    assert (fuzz._pull(read), fuzz._counts_from(read)) == (9.80665, 60.0)
    assert fuzz._counts_from({"readings": {"time": ["-60.0 s", "60.0 s"]}}) == 0.0
    assert fuzz._counts_from({"readings": {"time": ["60.0 furlong", "7200.0 s"]}}) == math.inf
    for hours, against in ((0.01, 0), (0.5, 1)):
        row = {"time_h": hours, "low": -3.0, "median": -2.0, "high": -1.0}
        case = fuzz.Case({}, ["forecast", "run.toml"], fuzz._pull(read), since=fuzz._counts_from(read))
        assert len(list(fuzz._nonsense({"forecast": [row]}, case))) == against
