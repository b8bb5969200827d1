"""Tables of load steps: one row a load, one column a time of each step."""

from __future__ import annotations

from pathlib import Path

import pytest

from creepfit.errors import InputError
from creepfit.records.files import read_run

RUN = """\
format = 1
[run]
material = "PETG"
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
mass = "0.5 kg"
[[load]]
at = "60 s"
mass = "1 kg"
[[load]]
at = "2 min"
mass = "0 kg"
[readings]
file = "steps.csv"
"""
STEPS = """\
Bending in steps of a minute
reading [mm];5 s;15 s;30 s;60 s
before;0,00;;;
1;0,50;0,50;0,51;0,51
2;1,01;1,02;1,02;1,03
off;0,06;0,04;;0,02
"""


def write(folder: Path, table: str, run: str = RUN) -> Path:
    (folder / "steps.csv").write_text(table, encoding="utf-8")
    (folder / "run.toml").write_text(run, encoding="utf-8")
    return folder / "run.toml"


def test_a_row_is_a_load_and_a_column_a_time_within_it(tmp_path: Path) -> None:
    run = read_run(write(tmp_path, STEPS))
    assert [r.time for r in run.used] == [0.0, 5.0, 15.0, 30.0, 60.0, 65.0, 75.0, 90.0, 120.0, 125.0, 135.0, 180.0]
    assert [r.value for r in run.used][:6] == [0.0, 0.5, 0.5, 0.51, 0.51, 1.01]
    assert len(run.initial) == 1


def test_with_dates_and_rows_out_of_order(tmp_path: Path) -> None:
    dated = RUN.replace('"0 s"', '"2031-05-04 10:00"').replace('"60 s"', '"2031-05-04 10:01"')
    dated = dated.replace('"2 min"', '"2031-05-04 10:02"')
    table = STEPS.replace("1;0,50", "x").replace("x", "step 1;0,50").replace("2;1,01", "step 2;1,01")
    run = read_run(write(tmp_path, table, dated))
    assert run.used[-1].time == 180.0


@pytest.mark.parametrize(
    ("table", "said"),
    [
        (STEPS.replace("60 s", "90 s"), ["row 4, 90 s: a reading after the end of its step", "at most 60 s after load 1"]),
        (STEPS + "extra;1;1;1;1\n", ["row 7: there is no load 4; found 'extra'", "a [[load]] for each row; there are 3"]),
        (STEPS.replace("0,50", "o,50", 1), ["row 4, 5 s, reading [mm]: found 'o,50'; expected a number"]),
    ],
)
def test_a_mistake_names_its_place(tmp_path: Path, table: str, said: list[str]) -> None:
    with pytest.raises(InputError) as error:
        read_run(write(tmp_path, table))
    for words in said:
        assert words in str(error.value)
