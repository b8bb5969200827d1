"""Figures drawn in a process beside the command: the same page, whatever becomes of that process."""

from __future__ import annotations

import os
import pickle
import signal
import subprocess
import sys
import threading
from multiprocessing import Pipe
from multiprocessing.context import ForkProcess
from pathlib import Path

import pytest

from creepfit.cli import beside

pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2, reason="a copy of the process is made on Linux only"
)
STUCK = "import creepfit.cli.beside as beside, time; beside._load = lambda: (print('here', flush=True), time.sleep(60)); "
REPORT = "import sys; from creepfit.cli.commands import main; "
TWICE = (
    REPORT
    + """
import creepfit.cli.beside as beside
for page in sys.argv[2:]:
    main(["report", sys.argv[1], "-o", page], standalone_mode=False)
    print("creepfit.report.page.drawn" in sys.modules)
    beside._draw = lambda *_: None
"""
)
"""A report drawn beside the command, and one more where who should draw is gone; after each, whether the command drew."""


def test_the_page_is_that_of_one_process(short: Path, tmp_path: Path) -> None:
    beside, alone = tmp_path / "beside.html", tmp_path / "alone.html"
    command = [sys.executable, "-c", TWICE, str(short), str(beside), str(alone)]
    env = {**os.environ, "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(command, capture_output=True, text=True, check=False, timeout=120, env=env)
    assert (done.stdout, done.stderr) == ("False\nTrue\n", f"wrote {beside}\nwrote {alone}\n")
    written = beside.read_text(encoding="utf-8")
    assert written.count("<svg") > 4
    assert written.replace("beside.html", "alone.html") == alone.read_text(encoding="utf-8")


@pytest.mark.parametrize("missing", ["a second core", "processes to be had"])
def test_where_no_other_process_can_be_the_command_draws(monkeypatch: pytest.MonkeyPatch, missing: str) -> None:
    monkeypatch.delitem(sys.modules, "matplotlib", raising=False)
    monkeypatch.setattr(os, "listdir", lambda _: ["one thread"])
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: {0} if missing == "a second core" else {0, 1})
    begun: list[bool] = []

    def no_process(*_: object) -> None:
        begun.append(True)
        raise OSError("no more processes")

    monkeypatch.setattr(ForkProcess, "start", no_process)
    with beside.drawing_beside(True) as draw:
        assert draw is None
    assert bool(begun) == (missing == "processes to be had")


class Sent:
    """Something to draw that knows whether it may be sent."""

    def __init__(self, name: str, may: bool = True) -> None:
        self.name, self.may = name, may

    def __reduce__(self) -> tuple[type, tuple[str]]:
        if not self.may:
            raise TypeError("cannot be sent")
        return Sent, (self.name,)


def test_each_run_has_its_own_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    here, there = Pipe()
    drawn: list[str] = []
    monkeypatch.setattr(beside, "_load", lambda: lambda what: drawn.append(what.name) or f"drawn here: {what.name}")

    def other() -> None:
        for _ in range(2):
            there.send(f"drawn there: {pickle.loads(there.recv_bytes())[0].name}")
        there.recv_bytes()
        there.close()

    thread = threading.Thread(target=other, daemon=True)
    thread.start()
    ours = beside._Beside(here)
    ours.begin(Sent("a run that comes to nothing"))
    assert ours.begin(Sent("the next"))() == "drawn there: the next"
    assert ours.begin(Sent("not to be sent", may=False))() == "drawn here: not to be sent"
    waiting = ours.begin(Sent("when it ends"))
    thread.join()
    assert waiting() == "drawn here: when it ends"
    assert ours.begin(Sent("after that"))() == "drawn here: after that"


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
