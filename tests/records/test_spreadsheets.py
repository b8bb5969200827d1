"""Tables as people keep them: a title, German heads, date and time apart, percent cells, other encodings, remarks."""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path

import openpyxl
import pytest

from creepfit.answers.wording import left_out
from creepfit.errors import InputError
from creepfit.records.build_run import run_from_source
from creepfit.records.files import read_run
from creepfit.records.run import Run

HEAD = (
    'format = 1\n[run]\nmaterial = "PETG"\nstart = "2031-05-04 16:30"\n'
    '[specimen]\ntest = "cantilever"\nlength = "60 mm"\nwidth = "12 mm"\nthickness = "4 mm"\n'
    '[gauge]\nresolution = "0.01 mm"\n[[load]]\nat = "0 s"\nmass = "0.4 kg"\n'
)
GERMAN = (
    "Kriechversuch PETG, Stab 3;;;;\nPrüfer: Maß & Co;;;;\n\n"
    "Datum;Uhrzeit;Ablesung [mm];Feuchte;Bemerkung\n"
    "4.5.2031;16:29;12,40;48;Null\n;16:31;14,67;48;\n;17.30 Uhr;14,77;;\n5.5.2031;16:30;14,95;50;Fenster größer\n"
)


def read(folder: Path, content: bytes, name: str = "r.csv", more: str = "", head: str = HEAD) -> Run:
    (folder / name).write_bytes(content)
    (folder / "run.toml").write_text(f'{head}[readings]\nfile = "{name}"\n{more}', encoding="utf-8")
    return read_run(folder / "run.toml")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le"])
def test_a_german_sheet_with_a_title_in_any_encoding(tmp_path: Path, encoding: str) -> None:
    run = read(tmp_path, GERMAN.encode(encoding))
    assert [r.time for r in run.readings] == [-60.0, 60.0, 3600.0, 86400.0]
    assert [r.value for r in run.readings] == [12.40, 14.67, 14.77, 14.95]
    assert run.readings[-1].where == "row 8"
    assert run.passed_over == ("Feuchte",)
    assert run.began == datetime(2031, 5, 4, 16, 30)
    assert run_from_source(run.source, run.file) == run


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("Date;Time;Gauge reading (mm)", "2031-05-04;{};{}"),
        ("date,time of day,reading [mm]", "2031-05-04,{},{}"),
        ("Zeit / h;Ablesung in mm", None),
        ("t/h\tDurchbiegung [mm]", None),
        ("elapsed (h);displacement, mm", None),
        ("Zeit [h];Ablesung [mm];Durchbiegung [mm]", None),
    ],
)
def test_heads_that_people_write(tmp_path: Path, header: str, row: str | None) -> None:
    parts = next(d for d in ";\t," if d in header)
    moments = ("16:29", "16:31", "18:30") if row else (-1 / 60, 1 / 60, 2.0)
    values = (12.40, 14.67, 14.80)
    body = [
        row.format(m, v) if row else f"{m}{parts}{v}{parts * (header.count(';') == 2)}"
        for m, v in zip(moments, values, strict=True)
    ]
    run = read(tmp_path, "\n".join([header, *body]).encode())
    assert [round(r.time) for r in run.readings] == [-60, 60, 7200]
    assert [r.value for r in run.readings] == list(values)


def test_a_calculated_column_beside_the_readings_is_passed_over_and_named(tmp_path: Path) -> None:
    table = b"time [h];reading [mm];deflection [mm];observer\n-0.1;12.4;0;A\n0.1;14.6;2.2;B\n"
    assert read(tmp_path, table).passed_over == ("deflection [mm]", "observer")


def test_a_slip_of_typing_in_a_head_is_no_column_to_pass_over(tmp_path: Path) -> None:
    with pytest.raises(InputError, match='unknown column "temprature \\[degC\\]" \\(did you mean "temperature"'):
        read(tmp_path, b"time [h],reading [mm],temprature [degC]\n-0.1,12.4,23\n0.1,14.6,23\n")


@pytest.mark.parametrize("title", ["Datum", "date", "Date"])
def test_a_column_called_date_with_the_time_in_its_cells(tmp_path: Path, title: str) -> None:
    # "a date without the time of day" was said of it
    table = f"{title};Messuhr [mm]\n04.05.2031 16:29;12,4\n04.05.2031 16:31;14,6\n04.05.2031 18:30;14,8\n"
    run = read(tmp_path, table.encode("utf-8-sig"))
    assert [round(r.time) for r in run.readings] == [-60, 60, 7200]
    with pytest.raises(InputError, match=f"row 3, {title}: found '05.05.2031'; expected a date-time"):
        read(tmp_path, f"{title};Messuhr [mm]\n04.05.2031 16:29;12,4\n05.05.2031;14,6\n".encode())


def test_a_date_alone_and_a_time_of_day_before_any_date_are_asked_about(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="a date without the time of day"):
        read(tmp_path, b"date,reading [mm]\n2031-05-04,12.4\n2031-05-05,14.6\n")
    with pytest.raises(InputError, match="row 2, time of day: a time of day without a date"):
        read(tmp_path, b"date,time of day,reading [mm]\n,16:29,12.4\n2031-05-04,16:31,14.6\n")
    with pytest.raises(InputError, match="row 2, date: found '05/04/2031'"):
        read(tmp_path, b"date,time of day,reading [mm]\n05/04/2031,16:29,12.4\n2031-05-04,16:31,14.6\n")


def test_a_spreadsheet_with_date_and_time_cells_and_per_cent(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Creep of bar 3"])
    sheet.append([])
    sheet.append(["date", "time", "strain [%]"])
    for clock, strain in ((time(16, 31), 0.005), (time(17, 30), 0.0055), (time(23, 0), 0.006)):
        sheet.append([date(2031, 5, 4), clock, strain])
        sheet.cell(sheet.max_row, 3).number_format = "0.00%"
    book.save(tmp_path / "r.xlsx")
    direct = HEAD.replace('"cantilever"\nlength = "60 mm"\nwidth = "12 mm"\nthickness = "4 mm"', '"direct"')
    direct = direct.replace("0.01 mm", "0.01 %").replace('mass = "0.4 kg"', 'stress = "5 MPa"')
    run = read(tmp_path, (tmp_path / "r.xlsx").read_bytes(), "r.xlsx", head=direct)
    assert [r.value for r in run.readings] == pytest.approx([0.005, 0.0055, 0.006])  # read as 0.005 % before
    assert [r.time for r in run.readings] == [60.0, 3600.0, 23400.0]


def test_a_percent_cell_beside_a_key_of_a_workbook(tmp_path: Path) -> None:
    from creepfit.records.workbook import read_workbook, workbook_template

    workbook_template(tmp_path / "b.xlsx")
    book = openpyxl.load_workbook(tmp_path / "b.xlsx")
    sheet = book.active
    sheet.insert_rows(3)
    sheet["A3"], sheet["B3"] = "run.humidity", 0.5
    sheet["B3"].number_format = "0%"
    book.save(tmp_path / "b.xlsx")
    assert read_workbook(tmp_path / "b.xlsx")[0].humidity == 0.5  # refused before


def test_rows_with_a_reason_to_skip_them_are_kept_and_do_not_count(tmp_path: Path) -> None:
    run = read(tmp_path, b"time [h],reading [mm],skip\n-0.1,12.4,\n0.1,14.6,\n1,15.9,gauge was touched\n2,14.8,\n")
    assert [r.value for r in run.used] == [12.4, 14.6, 14.8]
    assert [(r.value, r.skip) for r in run.skipped] == [(15.9, "gauge was touched")]
    assert run_from_source(run.source, run.file) == run


def test_years_of_two_digits_are_of_this_century_and_said_to_be(tmp_path: Path) -> None:
    run = read(tmp_path, GERMAN.replace(".2031;", ".31;").encode())
    assert [r.time for r in run.readings] == [-60.0, 60.0, 3600.0, 86400.0]
    assert 'a date such as "4.5.31" is taken as day.month.2031' in left_out(run)
    assert left_out(run_from_source(run.source)) == left_out(run)
    assert left_out(read(tmp_path, GERMAN.encode())) == ['not used of the table: "Feuchte"']
    whole = read(tmp_path, b"when,reading [mm]\n4.5.31 16:29,12.40\n4.5.31 16:31,14.67\n5.5.31 16:30,14.95\n")
    assert whole.readings[-1].time == 86400.0
    remark = read(tmp_path, b"note,reading [mm],time [h]\n4.5.31 was hot,12.40,0\nrain\n,14.67,1\n,14.95,2\n")
    assert left_out(remark) == []
    with pytest.raises(InputError, match=r"found '4/5/31 16:29'; expected a date-time such as \"2031-05-04 16:30\" or"):
        read(tmp_path, b"when,reading [mm]\n4/5/31 16:29,12.40\n")
