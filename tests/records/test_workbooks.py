"""Workbooks: readings in a sheet of one, and whole runs, one a sheet."""

from __future__ import annotations

import io
import zipfile
from datetime import datetime, time, timedelta
from pathlib import Path

import openpyxl
import pytest

from creepfit.errors import InputError, OutputExistsError
from creepfit.records.build_run import run_from_source
from creepfit.records.files import read_run
from creepfit.records.templates import run_template, template_rows
from creepfit.records.workbook import read_workbook, workbook_template

MISTAKES = Path(__file__).parent / "mistakes"
HEADER = ["time [h]", "reading [mm]"]


@pytest.fixture(autouse=True)
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def write_book(name: str, **sheets: list[list[object]]) -> None:
    book = openpyxl.Workbook()
    book.remove(book.active)
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.save(name)


def write_run(readings: str, loads: str = '"0 s"') -> None:
    base = (MISTAKES / "run.toml").read_text(encoding="utf-8").replace('"0 s"', loads)
    Path("run.toml").write_text(base[: base.index("time =")] + readings, encoding="utf-8")


def message_of(read: object, file: str) -> str:
    with pytest.raises(InputError) as caught:
        read(file)  # type: ignore[operator]
    assert str(caught.value).isprintable()
    return str(caught.value)


def test_readings_in_a_sheet() -> None:
    write_book(
        "x.xlsx",
        notes=[["nothing"]],
        a=[[], HEADER, [-0.5, 12.4], [], [time(0, 15), "14,67"], [timedelta(days=1), 14.95]],
    )
    write_run('file = "x.xlsx"\nsheet = "a"\n')
    run = read_run("run.toml")
    assert [(r.time, r.value, r.where) for r in run.readings] == [
        (-1800.0, 12.4, "row 3"),
        (900.0, 14.67, "row 5"),
        (86400.0, 14.95, "row 6"),
    ]


def test_date_cells() -> None:
    rows = [["when", "reading [mm]"], [datetime(2031, 5, 4, 9, 59), 12.4], [datetime(2031, 5, 5, 10, 0), 14.95]]
    write_book("x.xlsx", a=rows)
    write_run('file = "x.xlsx"\n', "2031-05-04T10:00:00")
    run = read_run("run.toml")
    assert [r.time for r in run.readings] == [-60.0, 86400.0]
    assert run_from_source(run.source, run.file) == run


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        ([HEADER, [0, 12], [1, "x"]], "x.xlsx, sheet a, row 3, reading [mm]: found 'x'; expected a number"),
        ([HEADER, [0, 12], [1, "#N/A"]], "x.xlsx, sheet a, row 3, reading [mm]: found '#N/A'; expected a number"),
        ([HEADER, [0, 12], [1, True]], "x.xlsx, sheet a, row 3, reading [mm]: found True; expected a number"),
        (
            [HEADER, [0, 12], [datetime(2031, 5, 4), 13]],
            "x.xlsx, sheet a, row 3, time [h]: found '2031-05-04 00:00:00'; expected a number",
        ),
        (
            [HEADER, [0, 12], [1, "=B2+1"]],
            "x.xlsx, sheet a, row 3: a formula without its value; found '=B2+1'; expected a number, or the workbook "
            "saved again by a spreadsheet program",
        ),
        ([[]], "x.xlsx, sheet a: the sheet is empty"),
        ([HEADER], "x.xlsx, sheet a, readings: found 'no reading'; expected at least two, at two times"),
    ],
)
def test_mistakes_in_a_sheet(rows: list[list[object]], message: str) -> None:
    write_book("x.xlsx", a=rows)
    write_run('file = "x.xlsx"\n')
    assert message_of(read_run, "run.toml") == message


def test_sheets_that_are_not_there() -> None:
    write_book("x.xlsx", bar=[HEADER], b=[HEADER])
    write_run('file = "x.xlsx"\n')
    assert message_of(read_run, "run.toml") == 'x.xlsx: several sheets; expected sheet = one of "bar", "b"'
    write_run('file = "x.xlsx"\nsheet = "baar"\n')
    message = 'x.xlsx: no sheet "baar" (did you mean "bar"?); expected one of "bar", "b"'
    assert message_of(read_run, "run.toml") == message
    write_run('file = "r.csv"\nsheet = "a"\n')
    Path("r.csv").write_text("time [h],reading [mm]\n0,1\n1,2\n", encoding="utf-8")
    message = "run.toml, readings.file: found 'r.csv'; expected a workbook (.xlsx) where a sheet is named"
    assert message_of(read_run, "run.toml") == message


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "x.xlsx: the file is empty"),
        (b"time,reading\n", "x.xlsx: cannot be read as a workbook; expected a whole .xlsx file"),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(100),
            "x.xlsx: an old or password-protected workbook; expected a file saved as .xlsx",
        ),
    ],
)
def test_files_that_are_no_workbook(content: bytes, message: str) -> None:
    Path("x.xlsx").write_bytes(content)
    write_run('file = "x.xlsx"\n')
    assert message_of(read_run, "run.toml") == message
    assert message_of(read_workbook, "x.xlsx") == message


def test_a_workbook_cut_short_anywhere() -> None:
    write_book("x.xlsx", a=[HEADER, [0, 12], [1, 13]])
    write_run('file = "x.xlsx"\n')
    whole = Path("x.xlsx").read_bytes()
    for length in range(100, len(whole), 450):
        Path("x.xlsx").write_bytes(whole[:length])
        assert message_of(read_run, "run.toml") == "x.xlsx: cannot be read as a workbook; expected a whole .xlsx file"


def test_a_workbook_that_lacks_a_sheet_it_lists() -> None:
    write_book("x.xlsx", a=[HEADER, [0, 12], [1, 13]])
    write_run('file = "x.xlsx"\n')
    kept = io.BytesIO()
    with zipfile.ZipFile("x.xlsx") as old, zipfile.ZipFile(kept, "w") as new:
        for name in old.namelist():
            if "sheet1" not in name:
                new.writestr(name, old.read(name))
    Path("x.xlsx").write_bytes(kept.getvalue())
    assert message_of(read_run, "run.toml") == "x.xlsx: cannot be read as a workbook; expected a whole .xlsx file"


def test_workbooks_by_another_name() -> None:
    write_book("x.xlsx", a=[HEADER, [0, 12], [1, 13]])
    Path("x.xlsx").rename("x.csv")
    write_run('file = "x.csv"\n')
    expected = "expected a CSV file, or one saved as .xlsx"
    assert message_of(read_run, "run.toml") == f"x.csv: a workbook by its content; {expected}"


def test_the_template_holds_the_run_of_the_other_template() -> None:
    workbook_template("book.xlsx")
    Path("t.toml").write_text(run_template(), encoding="utf-8")
    (run,) = read_workbook("book.xlsx")
    same = read_run("t.toml")
    assert run == read_run("book.xlsx")
    assert (run.specimen, run.gauge, run.steps, run.label) == (same.specimen, same.gauge, same.steps, same.label)
    assert [(r.time, r.value) for r in run.readings] == [(r.time, r.value) for r in same.readings]
    assert run.file == "book.xlsx, sheet P-03"
    with pytest.raises(OutputExistsError):
        workbook_template("book.xlsx")
    workbook_template("book.xlsx", force=True)


def changed_rows(old: str | None = None, new: list[object] | None = None) -> list[list[object]]:
    return [new if row and row[0] == old and new is not None else row for row in template_rows()]


def test_several_runs_and_other_sheets() -> None:
    other = changed_rows("run.specimen", ["run.specimen", "P-04"])
    other.insert(3, ["gauge.force", "0.8 N"])
    other.insert(21, ["[event]"])
    other.insert(22, ["at", "kind"])
    other.insert(23, [timedelta(hours=1), "bumped"])
    other.insert(24, [])
    write_book("x.xlsx", a=template_rows(), notes=[["bought in May"]], empty=[], b=other)
    first, second = read_workbook("x.xlsx")
    assert (first.name, second.name, second.gauge.force) == ("P-03", "P-04", 0.8)
    assert [(e.at, e.kind) for e in second.events] == [(3600.0, "bumped")]
    message = "x.xlsx: several runs in one workbook; found 'PETG P-03, PETG P-04'; expected one run"
    assert message_of(read_run, "x.xlsx") == message


@pytest.mark.parametrize(
    ("rows", "message"),
    [
        (
            changed_rows("specimen.length", ["specimen.length", "60 kg"]),
            "x.xlsx, sheet a, specimen.length: \"kg\" is the unit of a mass; found '60 kg'; "
            'expected a length such as "60 mm"',
        ),
        (
            changed_rows("specimen.length", ["length", "60 mm"]),
            'x.xlsx, sheet a, row 9: found \'length\'; expected a key such as "run.material", or a block such as "[load]"',
        ),
        (
            changed_rows("specimen.length", ["specimen.width", "60 mm"]),
            "x.xlsx, sheet a, row 10: a key stands twice; found 'specimen.width'",
        ),
        (
            changed_rows("[load]", ["[loads]"]),
            "x.xlsx, sheet a, row 17: unknown block (did you mean \"[load]\"?); found '[loads]'; expected [load], "
            "[event], [segment], [upright], [readings]",
        ),
        (
            changed_rows("creepfit run", ["creepfit run"]),
            "x.xlsx, sheet a, format: expected 1, the only one so far",
        ),
        (
            template_rows()[:20],
            "x.xlsx, sheet a, [readings]: missing; expected a block [readings] at the end of the sheet",
        ),
        (template_rows()[:17], "x.xlsx, sheet a, row 18: a block without its header; expected a row of keys"),
        (
            [*template_rows(), [200, "x"]],
            "x.xlsx, sheet a, row 38, reading [mm]: found 'x'; expected a number",
        ),
        (
            [["something"]],
            'x.xlsx: no sheet holds a run; expected "creepfit run" in the first cell of a sheet, and 1 beside it',
        ),
    ],
)
def test_mistakes_in_a_sheet_that_is_a_run(rows: list[list[object]], message: str) -> None:
    write_book("x.xlsx", a=rows)
    assert message_of(read_workbook, "x.xlsx") == message
