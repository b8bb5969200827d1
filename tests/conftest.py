"""Settings for all tests: generated examples are the same in every run; fits are remembered; and a small run file.

What a fit is made of is remembered within a process (`shared/remembered.py`), but not for tests that change the program and
those marked `fits_anew`, which are about fitting itself: that it gives the same twice, its warnings, its time.
"""

from __future__ import annotations

import compileall
import importlib
import os
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
TESTS = Path(__file__).parent


def pytest_configure(config: pytest.Config) -> None:
    """What every process of a test run needs, and what only those need that run tests themselves."""
    worker: dict[str, Any] | None = getattr(config, "workerinput", None)
    if worker is None:
        # in a fresh clone every process that a test starts would do it for itself
        compileall.compile_dir(ROOT / "creepfit", quiet=1)
        # workers that multiply matrices in several threads each only wait for one another
        os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
        # arrays of megabytes come and go: what one leaves is kept for the next, which else has the system clear it anew
        for name, megabytes in (("TRIM_THRESHOLD", 256), ("MMAP_THRESHOLD", 64), ("TOP_PAD", 32)):
            os.environ.setdefault(f"MALLOC_{name}_", str(megabytes << 20))
        os.environ.setdefault("HYPOTHESIS_NO_PLUGINS", "1")  # of packages that are not used here
    else:
        share_rewriting(config, worker)
    if config.getoption("dist", "no") == "no":  # tests run in this process, not in workers of it
        from hypothesis import settings

        settings.register_profile("fixed", derandomize=True, deadline=None)
        settings.load_profile("fixed")
        config.pluginmanager.register(importlib.import_module("remembered"))


def share_rewriting(config: pytest.Config, worker: dict[str, Any]) -> None:
    """Each worker begins with another part of the files: what pytest makes of a file's asserts is kept beside it, and the
    others read it there. To make it takes longer than all else that is done before the first test."""
    sys.dont_write_bytecode = False
    if config.args_source is config.ArgsSource.TESTPATHS:
        files = sorted(map(str, TESTS.rglob("test_*.py")))
        first = int(worker["workerid"].removeprefix("gw")) * len(files) // int(worker["workercount"])
        config.args[:] = files[first:] + files[:first]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """One order in all workers, whichever file they began with.

    Tests in a browser come first: what is left at the end is halved between workers, and each would start one.
    """
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: (item.path.parent.name != "browser", str(item.path)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Each worker has a stretch of the tests, so what a file shares is made once; who is done takes from the others."""
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


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
def undrawn() -> Iterator[None]:
    """Pages whose figures are empty: where a page's words are tested and nothing else."""
    from figureless import figureless

    with figureless():
        yield


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """A small run that fits fast."""
    path = tmp_path / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return path


@pytest.fixture
def begun(short: Path) -> Path:
    """The same before its load hangs: checked without a fit, for tests that start a process of their own."""
    path = short.with_name("begun.toml")
    lines = [line.split(", ")[0] + "]" if " = [" in line else line for line in SHORT.splitlines()]
    path.write_text("\n".join(lines), encoding="utf-8")
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
