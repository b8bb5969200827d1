"""Tables of load steps: one row a load, one column a time of each step."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from creepfit.errors import InputError
from creepfit.records.editing.additions import Addition, add_to
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


INLINE = RUN.replace(
    'file = "steps.csv"',
    """after = ["5 s", "15 s", "30 s", "60 s"]
before = "0.00 mm"
reading = [["0.50 mm", "0,50 mm", "0.51 mm", "0.51 mm"],   # half a kilogram
           ["1.01 mm", "1.02 mm", "1.02 mm", "1.03 mm"],
           ["0.06 mm", "0.04 mm", "", "0.02 mm"]]""",
)
"""The same, written into the run file."""


def inline(folder: Path, run: str = INLINE) -> Path:
    (folder / "run.toml").write_text(run, encoding="utf-8")
    return folder / "run.toml"


def test_a_table_of_steps_stands_in_the_run_file_too(tmp_path: Path) -> None:
    found, table = read_run(inline(tmp_path)), read_run(write(tmp_path, STEPS))
    assert [(r.time, r.value) for r in found.used] == [(r.time, r.value) for r in table.used]
    dated = INLINE.replace('"0 s"', '"4.5.2031 10:00"').replace('"60 s"\nmass', '"4.5.2031 10:01"\nmass')
    dated = dated.replace('"2 min"', '"4.5.2031 10:02"')
    assert read_run(inline(tmp_path, dated)).used[-1].time == 180.0


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"30 s", "60 s"]', '"30 s", "90 s"]', "readings.reading, load 1, 90 s: a reading after the end of its step"),
        ('"60 s"]', '"60 s", "5 mm"]', "readings.after, entry 5: "),
        ('"60 s"]', '"0 s"]', "readings.after, entry 4: found '0 s'; expected a time such as \"5 s\", above zero"),
        ('"1.01 mm"', '"1.o1 mm"', 'readings.reading, load 2, 5 s, reading: unknown unit "o1 mm"'),
        ('"0.02 mm"]', '"0.02 mm", "0 mm"]', "readings.reading, load 3: found '5 entries'; expected at most 4"),
        ("[readings]", '[readings]\nnote = ["a"]', "readings.note: note in a table of steps"),
        ('after = ["5 s", "15 s", "30 s", "60 s"]', "", "readings.before: before without after"),
        ('[["0.50 mm", "0,50 mm", "0.51 mm", "0.51 mm"], ', '["1 mm", ', "readings.reading, load 1: found '1 mm'"),
        ('           ["1.01', '           [],\n           ["1.01', "there is no load 4"),
    ],
)
def test_a_mistake_in_the_lists_names_key_and_load(tmp_path: Path, old: str, new: str, said: str) -> None:
    text = INLINE.replace(old, new, 1)
    assert text != INLINE
    with pytest.raises(InputError) as error:
        read_run(inline(tmp_path, text))
    assert said in str(error.value)


def test_a_reading_is_added_to_its_step(tmp_path: Path) -> None:
    path = inline(tmp_path)
    for value, at in (("0.01 mm", 240.0), ("0.04 mm", 150.0), ("1.03 mm", 105.0), ("0.00", -10.0)):
        before = read_run(path)
        add_to(str(path), Addition(at, value))
        after = read_run(path)
        new = Counter((r.time, r.value) for r in after.used) - Counter((r.time, r.value) for r in before.used)
        assert new == Counter([(max(at, 0.0), float(value.split()[0]))])
    text = path.read_text(encoding="utf-8")
    assert 'after = ["5 s", "15 s", "30 s", "45 s", "1 min", "2 min"]' in text.replace('"60 s"', '"1 min"')
    with pytest.raises(InputError, match="load 2 has a reading 5 s after it already"):
        add_to(str(path), Addition(65.0, "1.00 mm"))
    add_to(str(path), Addition(600.0, None, load="2 kg"))
    add_to(str(path), Addition(605.0, "2.11 mm"))
    assert read_run(path).used[-1].time == 605.0


def test_what_a_table_of_steps_cannot_take_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a table of steps"):
        add_to(str(inline(tmp_path)), Addition(0.0, skip=2, why="touched"))
    with pytest.raises(InputError, match="--note: a table of steps has no place for that"):
        add_to(str(inline(tmp_path)), Addition(200.0, "0.01 mm", note="warm"))
    with pytest.raises(InputError, match=r"steps\.csv: a table of steps; expected the reading typed into its cell by hand"):
        add_to(str(write(tmp_path, STEPS)), Addition(200.0, "0.01 mm"))
