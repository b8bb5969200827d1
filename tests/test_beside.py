"""Figures drawn in a process beside the command: the same page, whatever becomes of that process."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2, reason="a copy of the process is made on Linux only"
)
HERE = "import os; os.sched_setaffinity(0, {min(os.sched_getaffinity(0))}); "
GONE = "import creepfit.cli.beside as beside; beside._draw = lambda *_: None; "
STUCK = "import creepfit.cli.beside as beside, time; beside._load = lambda: (print('here', flush=True), time.sleep(60)); "
REPORT = "import sys; from creepfit.cli.commands import main; "
DREW = "main(standalone_mode=False); print('creepfit.report.page.drawn' in sys.modules)"


def report(first: str, run: Path, page: Path) -> tuple[str, str]:
    """The page, and what else was printed; `first` is done before the command."""
    command = [sys.executable, "-c", first + REPORT + DREW, "report", str(run), "-o", str(page), "--force"]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=120, env=env)
    assert done.stderr == f"wrote {page}\n"
    return page.read_text(encoding="utf-8"), done.stdout


def test_the_page_is_that_of_one_process(short: Path, tmp_path: Path) -> None:
    page = tmp_path / "page.html"
    beside, drew_here = report("", short, page)
    assert drew_here == "False\n"
    for first in (HERE, GONE):
        assert report(first, short, page) == (beside, "True\n")


def test_ctrl_c_ends_both(short: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", STUCK + REPORT + "main()", "report", str(short), "-o", str(tmp_path / "page.html")]
    started = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
        env={**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    assert started.stdout is not None
    assert started.stdout.readline() == "here\n"
    os.killpg(started.pid, signal.SIGINT)  # as a terminal does
    _, said = started.communicate(timeout=20)  # which waits for whoever still holds standard output
    assert (started.returncode, said) == (130, "creepfit: stopped\n")
    assert list(tmp_path.glob("page*")) == []
