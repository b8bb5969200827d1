"""Settings for all tests: generated examples are the same in every run; and a small run file."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("fixed", derandomize=True, deadline=None)
settings.load_profile("fixed")


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
