"""Load history files and loads on the command line: read right, and refused in one line."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.specimen import Direct
from creepfit.records.history_file import read_history, read_load
from creepfit.records.run import Gauge, LoadStep, Reading, Rig, Run

HOUR, DAY = 3600.0, 86400.0
RUN = Run("PETG", Direct(), Gauge(0.01, 0.01, "as given"), (LoadStep(0.0, 2.0),), (Reading(60.0, 1.0),), rig=Rig(lever=5.0))
STRAINED = Run("PC", Direct("strain"), Gauge(1e-5, 1e-5, "as given"), (LoadStep(0.0, 10.0),), (Reading(60.0, 0.01),))


def plan(folder: Path, text: str, run: Run = RUN) -> LoadPlan:
    file = folder / "loads.toml"
    file.write_text(text, encoding="utf-8")
    return read_history(file, run)


def test_load_steps(tmp_path: Path) -> None:
    found = plan(
        tmp_path,
        'format = 1\n[[load]]\nat = "0 s"\nmass = "0,2 kg"\n[[load]]\nat = "30 d"\nforce = "3 N"\nover = "1 h"\n',
    )
    # a mass pulls through gravity and the lever, a force as it is
    assert found.steps == (LoadStep(0.0, pytest.approx(0.2 * 9.80665 * 5.0)), LoadStep(30 * DAY, 3.0, HOUR))
    assert found.peak == pytest.approx(9.80665)
    assert found.until(40 * DAY).at(np.array([40 * DAY])) == pytest.approx([3.0])


def test_a_duty_cycle_repeats(tmp_path: Path) -> None:
    found = plan(tmp_path, 'format = 1\n[duty]\nforce = "2 N"\non = "8 h"\noff = "16 h"\n')
    history = found.until(3.5 * DAY)
    times = np.array([1.0, 9.0, 23.0, 25.0, 49.0, 73.0, 76.0, 81.0]) * HOUR
    assert history.at(times).tolist() == [2.0, 0.0, 0.0, 2.0, 2.0, 2.0, 2.0, 0.0]
    assert found.period == DAY


def test_a_cycle_too_short_for_the_time_asked_about(tmp_path: Path) -> None:
    found = plan(tmp_path, 'format = 1\n[duty]\nforce = "2 N"\non = "1 s"\noff = "1 s"\n')
    with pytest.raises(InputError, match="repeats 15778800 times in 1 year"):
        found.until(365.25 * DAY)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("format = 1\n", "neither"),
        ('format = 1\n[duty]\non = "8 h"\nforce = "2 N"\n', "duty.off"),
        ('format = 1\n[duty]\non = "8 h"\noff = "0 h"\nforce = "2 N"\n', "duty.off"),
        ('format = 1\n[duty]\non = "8 h"\noff = "8 h"\nforce = "2 kg"\n', "duty.force"),
        ('format = 1\n[duty]\non = "8 h"\noff = "8 h"\nstress = "2 MPa"\n', "no stress"),
        ('format = 1\n[duty]\non = "8 h"\noff = "8 h"\n', "none of them"),
        ('format = 1\n[duty]\non = "8 h"\noff = "8 h"\nmass = "0 kg"\n', "never loads"),
        ('format = 1\n[duty]\nonn = "8 h"\noff = "8 h"\nmass = "1 kg"\n', 'did you mean "on"'),
        ('format = 1\n[[load]]\nat = "0 s"\nmass = "1 kg"\nforce = "1 N"\n', "mass and force"),
        ('format = 1\n[[load]]\nat = "1 d"\nmass = "1 kg"\n', "count from the first load"),
        ('format = 1\n[[load]]\nat = "0 s"\nmass = "0 kg"\n', "only loads of zero"),
        (
            'format = 1\n[[load]]\nat = "0 s"\nmass = "1 kg"\n[[load]]\nat = "0 s"\nmass = "2 kg"\n',
            "out of order",
        ),
        ('[duty]\non = "8 h"\noff = "8 h"\nmass = "1 kg"\n', "format = 1"),
        ('format = 1\n[dutty]\non = "8 h"\n', 'did you mean "duty"'),
        ("format = 1\n[duty\n", "not valid TOML"),
        ("", "empty"),
    ],
)
def test_mistakes_in_the_file_get_one_line_that_names_it(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        plan(tmp_path, text)
    message = str(caught.value)
    assert words in message
    assert "loads.toml" in message
    assert "\n" not in message


def test_there_is_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such file"):
        read_history(tmp_path / "none.toml", RUN)


def test_loads_on_the_command_line() -> None:
    assert read_load("0.3 kg", RUN) == pytest.approx(0.3 * 9.80665 * 5.0)
    assert read_load("2 N", RUN) == 2.0
    assert read_load(2, RUN) == 2.0
    assert read_load("4 MPa", STRAINED) == 4.0
    wrong = [("4 MPa", RUN), ("1 kg", STRAINED), ("heavy", RUN), ("0 N", RUN), (float("nan"), RUN), (True, RUN)]
    for bad, run in wrong:
        with pytest.raises(InputError, match="load"):
            read_load(bad, run)
