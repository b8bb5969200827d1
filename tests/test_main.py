"""`python -m creepfit` is the command."""

from __future__ import annotations

import subprocess
import sys
from importlib.metadata import version
from pathlib import Path


def module(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "creepfit", *arguments], capture_output=True, text=True, check=False)


def test_it_answers_as_the_command_does(begun: Path) -> None:
    assert module("--version").stdout == f"creepfit {version('creepfit')}\n"
    done = module("check", begun)
    assert (done.returncode, done.stderr) == (0, "")
    assert "PP" in done.stdout


def test_a_mistake_is_one_line_and_exit_code_2(short: Path) -> None:
    done = module("new", "run", short)  # which is there already
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
