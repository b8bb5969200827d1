"""Runs of the demo and two awkward ones, worked out once for all report tests."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from figureless import figureless

from creepfit.answers.part.sag import Sag, sag
from creepfit.inference.fitting import fit
from creepfit.records.files import read_run
from creepfit.records.part_files import read_part
from creepfit.report.page.findings import Findings, find
from creepfit.report.page.html import RunPage, section

DEMO = Path(__file__).parents[2] / "demo"

DAILY = """\
format = 1
[run]
material = "ABS"
specimen = "daily"
[specimen]
test = "three-point-bending"
span = "64 mm"
width = "10 mm"
thickness = "4 mm"
[gauge]
resolution = "0.01 mm"
instrument = "dial gauge"
[[load]]
at = "0 s"
mass = "1 kg"
[readings]
time = ["1 h", "1 d", "2 d", "3 d", "4 d"]
reading = ["2.51 mm", "2.55 mm", "2.56 mm", "2.56 mm", "2.57 mm"]
"""
"""No reading before loading, daily readings only, none after unloading: as it is often done."""

UNSIZED = """\
format = 1
[run]
material = "ABS"
specimen = "sizes unknown"
[specimen]
test = "direct"
[gauge]
resolution = "0.01 mm"
instrument = "dial gauge"
[[load]]
at = "0 s"
force = "5 N"
[[load]]
at = "2 d"
force = "0 N"
[readings]
time = ["-1 min", "1 min", "1 h", "1 d", "2 d", "2 d 1 min", "3 d"]
reading = ["0.00 mm", "0.40 mm", "0.41 mm", "0.41 mm", "0.42 mm", "0.02 mm", "0.01 mm"]
"""
"""Loads in N and readings in mm without a specimen: no modulus."""


@pytest.fixture(scope="session")
def strip() -> Findings:
    """The good run: readings before loading, from a minute on, and after unloading."""
    return find(fit(read_run(DEMO / "petg-strip.toml")), ["30 d", "1 year"], limit="3 mm")


@pytest.fixture(scope="session")
def pla() -> Findings:
    return find(fit(read_run(DEMO / "pla-strip.toml")), ["30 d", "1 year"])


@pytest.fixture(scope="session")
def bracket(strip: Findings) -> Sag:
    part = read_part(DEMO / "bracket.toml")
    return sag(part, strip.fit, ["30 d", "1 year"])


@pytest.fixture(scope="session")
def drawn_once() -> Callable[..., RunPage]:
    """`section`, once for the same findings: next to all of its time goes into drawing."""
    return cache(section)


@pytest.fixture(scope="session")
def worded_once() -> Callable[..., RunPage]:
    """The same without its figures."""

    def worded(*given: Any, **options: Any) -> RunPage:
        with figureless():
            return section(*given, **options)

    return cache(worded)


@pytest.fixture(scope="session")
def daily(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    path = tmp_path_factory.mktemp("daily") / "daily.toml"
    path.write_text(DAILY, encoding="utf-8")
    return find(fit(read_run(path)))


@pytest.fixture(scope="session")
def unsized(tmp_path_factory: pytest.TempPathFactory) -> Findings:
    path = tmp_path_factory.mktemp("unsized") / "unsized.toml"
    path.write_text(UNSIZED, encoding="utf-8")
    return find(fit(read_run(path)))
