"""What `add` writes: a row, a load, an event, a reason; and that every other byte of the files stays as it was."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import datetime
from pathlib import Path

import openpyxl
import pytest

from creepfit.errors import InputError
from creepfit.records.editing import additions
from creepfit.records.editing.additions import Addition, add_to
from creepfit.records.files import read_run
from creepfit.records.moments import moment
from creepfit.records.workbook import read_workbook, workbook_template

HEAD = (
    '# my bar\nformat = 1\n\n[run]\nmaterial = "PETG"   # from the blue spool\n{start}'
    '[specimen]\ntest = "cantilever"\nlength = "60 mm"\nwidth = "12 mm"\nthickness = "4 mm"\n'
    '[gauge]\nresolution = "0.01 mm"\n\n[[load]]   # the bag of sand\nat = "0 s"\nmass = "0.4 kg"\n\n'
)
START = 'start = "2031-05-04 16:30"\n'
INLINE = (
    '[readings]  # window side\ntime = ["-1 min", "1 min", "1 d"]\nreading = ["12.40 mm", "14.67 mm", "14.95 mm"]\n'
    "# the end\n"
)
CSV = "# kept by hand\ntime [h],reading [mm]\n-0.1,12.40\n0.0167,14.67\n24,14.95\n"


@pytest.fixture
def bar(tmp_path: Path):
    """Write a run file, with a table beside it where one is given, and return its name."""

    def write(readings: str = INLINE, start: str = START, table: bytes | None = None, name: str = "r.csv") -> str:
        if table is not None:
            (tmp_path / name).write_bytes(table)
            readings = f'[readings]\nfile = "{name}"\n'
        (tmp_path / "bar.toml").write_text(HEAD.format(start=start) + readings, encoding="utf-8")
        return str(tmp_path / "bar.toml")

    return write


def text(path: str | Path) -> str:
    return Path(path).read_bytes().decode()


def test_a_reading_in_inline_lists_by_its_time_with_comments_kept(bar) -> None:
    path = bar()
    before = text(path)
    done = add_to(path, Addition(3600.0, "14.77 mm"))
    after = text(path)
    assert 'time = ["-1 min", "1 min", "1 h", "1 d"]\nreading = ["12.40 mm", "14.67 mm", "14.77 mm", "14.95 mm"]' in after
    rest = [line for line in before.splitlines() if not line.startswith(("time =", "reading ="))]
    assert [line for line in after.splitlines() if not line.startswith(("time =", "reading ="))] == rest
    assert text(f"{path}.bak") == before
    assert done.run is not None
    assert [r.value for r in done.run.readings] == [12.40, 14.67, 14.77, 14.95]
    assert done.where == "readings, entry 3"


def test_a_reading_in_inline_lists_is_corrected_in_its_place(bar) -> None:
    path = bar()
    before = text(path)
    done = add_to(path, Addition(0.0, "14.76 mm", correct=2))
    assert text(path) == before.replace("14.67 mm", "14.76 mm")
    assert done.said == ("reading 2 is 14.76 mm",)
    with pytest.raises(InputError, match=r"readings, entry 4: no such reading; expected 1 to 3"):
        add_to(path, Addition(0.0, "14.76 mm", correct=4))
    assert text(path) == before.replace("14.67 mm", "14.76 mm")


def test_a_reading_of_a_workbook_is_not_corrected_from_here(bar, tmp_path: Path) -> None:
    (tmp_path / "r.xlsx").write_bytes(_sheet_bytes())
    path = bar('[readings]\nfile = "r.xlsx"\n')
    before = (tmp_path / "r.xlsx").read_bytes()
    with pytest.raises(InputError, match="readings of a workbook are not corrected by this"):
        add_to(path, Addition(0.0, "14.76 mm", correct=2))
    assert (tmp_path / "r.xlsx").read_bytes() == before


def _sheet_bytes() -> bytes:
    book = openpyxl.Workbook()
    for row in (["time [h]", "reading [mm]"], [-0.1, 12.40], [0.0167, 14.67], [24, 14.95]):
        book.active.append(row)
    content = io.BytesIO()
    book.save(content)
    return content.getvalue()


def test_a_list_under_a_name_that_files_are_not_read_with_is_named(bar) -> None:
    path = bar(INLINE.replace("time =", '"time " ='))
    with pytest.raises(InputError, match=r'readings: unknown key "time " \(did you mean "time"\?\)'):
        add_to(path, Addition(3600.0, "14.77 mm"))


@pytest.mark.parametrize("readings", ["0", "[]", '"r.csv"', "[1, 2]"])
def test_readings_that_are_no_table_are_one_line(bar, readings: str) -> None:
    path = bar(readings="")
    before = text(path).replace("format = 1", f"format = 1\nreadings = {readings}")
    Path(path).write_text(before, encoding="utf-8")
    with pytest.raises(InputError, match=r"readings: found .*; expected a table \[readings\]"):
        add_to(path, Addition(3600.0, "14.77 mm"))
    assert text(path) == before


def test_a_date_time_becomes_the_file_s_elapsed_time(bar) -> None:
    path = bar()
    add_to(path, Addition(datetime(2031, 5, 6, 18, 30), "15.03", note="sun out"))
    run = read_run(path)
    assert run.readings[-1].time == 2 * 86400 + 7200
    assert '"2 d 2 h"' in text(path)
    assert 'note = ["", "", "", "sun out"]' in text(path)


def test_without_a_date_in_the_file_now_cannot_be_counted_and_nothing_is_written(bar) -> None:
    path = bar(start="")
    before = text(path)
    with pytest.raises(InputError, match="--at: the file has elapsed times only") as said:
        add_to(path, Addition(datetime(2031, 5, 6, 18, 30), "15.03 mm"))
    assert '--at "5 d"' in str(said.value)
    assert text(path) == before
    assert not Path(f"{path}.bak").exists()


def test_a_row_of_a_csv_in_its_place_every_other_line_kept(bar, tmp_path: Path) -> None:
    path = bar(table=CSV.encode())
    add_to(path, Addition(3600.0, "14.77 mm"))
    assert text(tmp_path / "r.csv") == CSV.replace("24,14.95", "1,14.77\n24,14.95")
    assert text(tmp_path / "r.csv.bak") == CSV
    assert not (tmp_path / "bar.toml.bak").exists()  # nothing changed there
    add_to(path, Addition(172800.0, "1.503 cm", note="a, b", temperature="23 degC"))
    assert text(tmp_path / "r.csv").endswith('24,14.95\n48,15.03,"a, b",23\n')
    assert "time [h],reading [mm],note,temperature [degC]\n" in text(tmp_path / "r.csv")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "cp1252", "utf-16"])
def test_a_german_sheet_keeps_its_commas_dates_line_ends_and_encoding(bar, tmp_path: Path, encoding: str) -> None:
    table = (
        "Stab 3, größer\r\nDatum;Uhrzeit;Ablesung [mm];Bemerkung\r\n"
        "4.5.2031;16:29;12,40;Null\r\n;16:31;14,67;\r\n5.5.2031;16:30;14,95;"
    )
    path = bar(table=table.encode(encoding))
    add_to(path, Addition(datetime(2031, 5, 6, 16, 30), "15.03 mm", note="Fenster größer"))
    after = (tmp_path / "r.csv").read_bytes().decode(encoding)
    assert after == table + "\r\n6.5.2031;16:30;15,03;Fenster größer\r\n"
    add_to(path, Addition(datetime(2031, 5, 6, 10, 0), "15,01"))
    assert [r.value for r in read_run(path).readings] == [12.40, 14.67, 14.95, 15.01, 15.03]


def test_a_date_time_column_and_one_in_minutes(bar, tmp_path: Path) -> None:
    path = bar(table=b"when,reading [mm]\n2031-05-04 16:29,12.4\n2031-05-04 16:31,14.6\n")
    add_to(path, Addition(86400.0, "14.95 mm"))
    assert text(tmp_path / "r.csv").endswith("2031-05-05 16:30,14.95\n")
    path = bar(table=b"time [min],reading [mm]\n-1,12.4\n1,14.6\n", start="")
    add_to(path, Addition(5400.0, "14.80 mm"))
    assert text(tmp_path / "r.csv").endswith("1,14.6\n90,14.80\n")


def test_a_load_comes_off_once_and_a_planned_one_is_moved(bar) -> None:
    path = bar()
    done = add_to(path, Addition(5 * 86400.0 + 60.0, "15.14 mm", unload=True))
    assert 'at = "5 d 1 min"\nmass = "0 kg"' in text(path)
    assert done.run is not None
    assert done.run.unloading == 5 * 86400.0 + 60.0
    assert done.run.readings[-1].time == done.run.unloading  # the reading is that just before
    assert "# the bag of sand" in text(path)
    add_to(path, Addition(5 * 86400.0 + 300.0, unload=True))  # nothing was read since: it is the same unloading
    assert read_run(path).unloading == 5 * 86400.0 + 300.0
    add_to(path, Addition(6 * 86400.0, "12.6 mm"))
    with pytest.raises(InputError, match="the load came off already"):
        add_to(path, Addition(7 * 86400.0, unload=True))
    add_to(path, Addition(7 * 86400.0, load="3,9 N"))
    assert [round(s.value, 2) for s in read_run(path).steps] == [3.92, 0.0, 3.9]


def test_events_and_reasons(bar, tmp_path: Path) -> None:
    path = bar()
    add_to(path, Addition(7200.0, event="rezeroed"))
    assert '[[event]]\nat = "2 h"\nkind = "rezeroed"' in text(path)
    assert [e.kind for e in read_run(path).events] == ["rezeroed"]
    assert text(path).index("[[event]]") < text(path).index("[readings]")
    add_to(path, Addition(0.0, skip=2, why="gauge was touched"))
    assert [(r.value, r.skip) for r in read_run(path).skipped] == [(14.67, "gauge was touched")]
    path = bar(table=CSV.encode())
    add_to(path, Addition(0.0, skip=5, why='said "no"'))
    assert [(r.where, r.skip) for r in read_run(path).skipped] == [("row 5", 'said "no"')]
    assert text(tmp_path / "r.csv").startswith("# kept by hand\ntime [h],reading [mm],skip\n-0.1,12.40\n0.0167,14.67\n")


@pytest.mark.parametrize("before", ["", '{at = "1 h", kind = "bumped"}, {at = "3 h", kind = "bumped"}'])
def test_an_event_joins_a_list_of_them_in_one_line(before: str, bar) -> None:
    path = bar()
    Path(path).write_text(text(path).replace("format = 1\n", f"format = 1\nevent = [{before}]  # mine\n"), encoding="utf-8")
    add_to(path, Addition(7200.0, event="rezeroed"))
    kinds = ["bumped", "rezeroed", "bumped"] if before else ["rezeroed"]
    assert [e.kind for e in read_run(path).events] == kinds
    assert '{at = "2 h", kind = "rezeroed"}' in text(path)
    assert "]  # mine\n" in text(path)


def test_an_event_is_not_put_among_what_are_none(bar) -> None:
    path = bar()
    spoilt = text(path).replace("format = 1\n", "format = 1\nevent = [-1]\n")
    Path(path).write_text(spoilt, encoding="utf-8")
    with pytest.raises(InputError, match=r"event 1: found -1; expected a table written as \[\[event\]\]"):
        add_to(path, Addition(7200.0, event="rezeroed"))
    assert text(path) == spoilt


@pytest.mark.parametrize(
    ("addition", "says"),
    [
        (Addition(0.0, "15 kg"), 'VALUE: "kg" is the unit of a mass'),
        (Addition(0.0, "abc"), "VALUE: found 'abc'"),
        (Addition(0.0, load="5 mm"), '--loaded: "mm" is the unit of a length'),
        (Addition(0.0, skip=9, why="x"), "entry 9: no such reading; expected 1 to 3"),
        (Addition(0.0, skip=1), "--why: a reading is left out only for a reason"),
        (Addition(0.0, "15 mm", temperature="5 mm"), '--temperature: "mm" is the unit of a length'),
        (Addition(86400.0, load="0.5 kg", value="15.0 %"), "lengths and strains in one table"),
        (
            Addition(-86400.0 * 3, "15.0 mm", event="bumpd"),
            'event 1.kind|event 1, kind: unknown choice .did you mean "bumped"',
        ),
    ],
)
def test_a_mistake_leaves_the_files_as_they_were(bar, addition: Addition, says: str) -> None:
    path = bar()
    before = text(path)
    with pytest.raises(InputError, match=says):
        add_to(path, addition)
    assert text(path) == before


def test_a_sheet_keeps_its_formulas_formats_and_other_sheets(bar, tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "bar 3"
    for row in (["Stab 3"], [], ["when", "reading [mm]", "twice"], [datetime(2031, 5, 4, 16, 29), 12.4],
                [datetime(2031, 5, 4, 16, 31), 14.67], [datetime(2031, 5, 5, 16, 30), 14.95]):  # fmt: skip
        sheet.append(row)
    book.create_sheet("notes")["A1"] = "do not touch"
    book.save(tmp_path / "r.xlsx")
    path = bar('[readings]\nfile = "r.xlsx"\nsheet = "bar 3"\n')
    add_to(path, Addition(2 * 86400.0, "15.03 mm", note="sun & rain"))
    run = read_run(path)
    assert [r.value for r in run.readings] == [12.4, 14.67, 14.95, 15.03]
    assert run.readings[-1].time == 2 * 86400.0
    again = openpyxl.load_workbook(tmp_path / "r.xlsx")
    cells = again["bar 3"]
    assert cells["A7"].value == datetime(2031, 5, 6, 16, 30)
    assert cells["A7"].number_format == cells["A6"].number_format
    assert cells["D7"].value == "sun & rain"
    assert again["notes"]["A1"].value == "do not touch"
    add_to(path, Addition(0.0, skip=5, why="touched"))
    assert [r.where for r in read_run(path).skipped] == ["row 5"]
    (tmp_path / "~$r.xlsx").write_bytes(b"")
    with pytest.raises(InputError, match="open in a spreadsheet program"):
        add_to(path, Addition(3 * 86400.0, "15.1 mm"))


def test_a_workbook_of_which_a_part_is_damaged_is_not_written(tmp_path: Path) -> None:
    """Its readings can be read, but not the whole of it, which a new row is written with."""
    path = tmp_path / "b.xlsx"
    workbook_template(path)
    with zipfile.ZipFile(path) as book:
        other = book.getinfo("docProps/app.xml")
    spoilt = bytearray(path.read_bytes())
    spoilt[other.header_offset] ^= 0xFF
    path.write_bytes(spoilt)
    assert read_workbook(path)
    with pytest.raises(InputError, match=r"b.xlsx: a workbook of which a part is damaged .*; expected .* saved anew"):
        add_to(str(path), Addition(8 * 86400.0, "12.55 mm"))
    assert path.read_bytes() == spoilt


def test_a_run_on_a_sheet(tmp_path: Path) -> None:
    workbook_template(tmp_path / "b.xlsx")
    path = str(tmp_path / "b.xlsx")
    add_to(path, Addition(8 * 86400.0, "12.55 mm"))
    run = read_workbook(path)[0]
    assert (run.readings[-1].time, run.readings[-1].value) == (8 * 86400.0, 12.55)
    with pytest.raises(InputError, match="a row typed into the block \\[load\\]"):
        add_to(path, Addition(9 * 86400.0, unload=True))


def test_a_file_that_changes_under_our_hands_is_not_written(bar, monkeypatch: pytest.MonkeyPatch) -> None:
    path = bar()
    built = additions._built

    def slow(*arguments: object) -> object:
        Path(path).write_text(text(path) + "# saved by an editor meanwhile\n", encoding="utf-8")
        return built(*arguments)

    monkeypatch.setattr(additions, "_built", slow)
    with pytest.raises(InputError, match="the file changed meanwhile"):
        add_to(path, Addition(2 * 86400.0, "15 mm"))
    assert text(path).endswith("# saved by an editor meanwhile\n")


@pytest.mark.parametrize(
    ("load", "says"),
    [
        ('{at = "0 s", masss = "0.4 kg"}', "load 1: no load; found 'at, masss'; expected what comes off, such as mass"),
        ('{at = "0 s", mass = "0.4 kg"}, "x"', "load 2: found 'x'; expected a table written as [[load]]"),
        ("3", "load 1: found 3; expected a table written as [[load]]"),
    ],
)
def test_what_is_no_load_cannot_come_off(bar, load: str, says: str) -> None:
    path = Path(bar())
    whole = text(path)
    begin, end = whole.index("[[load]]"), whole.index("[readings]")
    path.write_text(f"load = [{load}]\n{whole[:begin]}{whole[end:]}", encoding="utf-8")
    with pytest.raises(InputError, match=re.escape(says)):
        add_to(str(path), Addition(moment("2 d"), "14.98 mm", unload=True))
