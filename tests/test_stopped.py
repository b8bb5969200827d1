"""Commands that are stopped, or cannot print, in processes of their own."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

posix = pytest.mark.skipif(os.name != "posix", reason="signals and special files are those of POSIX")
COMMAND = [sys.executable, "-c", "from creepfit.cli import main; main()"]


@posix
@pytest.mark.parametrize(
    "wait", ["time.sleep(30)", "type('Made', (), {'named': Slow()})"], ids=["", "while a class is made"]
)
def test_ctrl_c_has_its_own_exit_code(short: Path, tmp_path: Path, wait: str) -> None:
    # a run of its own that waits: the signal then meets the command and neither its imports nor its end
    waiting = (
        "import time, creepfit.cli.commands as c, creepfit.cli.runs as r\n"
        "class Slow:\n"
        "    def __set_name__(self, owner, name): time.sleep(30)  # in Python 3.11 what ends it is a RuntimeError\n"
        f"r.sources_of = lambda *_: (print('here', flush=True), {wait})\n"
        "c.sources_of = r.sources_of; c.main()"
    )
    started = subprocess.Popen(
        [sys.executable, "-c", waiting, "fit", str(short)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # a test run in the background of a shell has the signal switched off, and its children with it
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    )
    assert started.stdout is not None
    assert started.stdout.readline() == "here\n"
    started.send_signal(signal.SIGINT)
    _, said = started.communicate(timeout=20)
    assert (started.returncode, said) == (130, "creepfit: stopped\n")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
@pytest.mark.parametrize("options", [[], ["--json"]])
def test_a_full_disk_behind_standard_output_is_told_of_in_one_line(begun: Path, options: list[str]) -> None:
    with open("/dev/full", "wb") as full:
        done = subprocess.run(
            [*COMMAND, "check", str(begun), *options], stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert done.returncode == 2
    assert done.stderr == "creepfit: standard output: cannot be written (No space left on device)\n"


@posix
def test_a_reader_that_stops_reading_is_no_fault(begun: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run([*COMMAND, "check", str(begun)], stdout=write, stderr=subprocess.PIPE, text=True, check=False)
    os.close(write)
    assert "fault of ours" not in done.stderr
