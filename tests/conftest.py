"""Settings for all tests: generated examples are the same in every run; and a small run file."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("fixed", derandomize=True, deadline=None)
settings.load_profile("fixed")


NO_BROWSER = "no Chromium with chromedriver is installed"


def pytest_runtest_setup(item: pytest.Item) -> None:
    """Tests of the page need a browser: without one they are left out, and in CI that is a failure."""
    if item.get_closest_marker("browser") and not (shutil.which("chromium") and shutil.which("chromedriver")):
        if os.environ.get("CI"):
            pytest.fail(f"{NO_BROWSER}, and in CI the page has to be tried in one", pytrace=False)
        pytest.skip(NO_BROWSER)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Say so in red where tests of the page were left out: a skip among hundreds of dots is easily overlooked."""
    left_out = [r for r in terminalreporter.stats.get("skipped", []) if "browser/" in r.nodeid]
    if left_out:
        terminalreporter.section(f"{len(left_out)} TESTS OF THE PAGE WERE LEFT OUT", red=True, bold=True)
        for reason in sorted({str(r.longrepr[-1]) for r in left_out}):
            terminalreporter.line(reason, red=True)


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """A small run that fits fast."""
    path = tmp_path / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path


SHORT = """\
format = 1
[run]
material = "PP"
[specimen]
test = "tension"
length = "50 mm"
width = "10 mm"
thickness = "4 mm"
[gauge]
resolution = "0.001 mm"
[[load]]
at = "0 s"
mass = "10 kg"
[readings]
time = ["-1 min", "1 min", "10 min", "100 min", "1 d"]
reading = ["0.000 mm", "0.110 mm", "0.121 mm", "0.134 mm", "0.153 mm"]
"""
