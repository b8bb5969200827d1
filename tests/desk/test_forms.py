"""Forms: what they write reads back as what a person would have typed, and nothing that they do not show is lost."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from creepfit.errors import InputError
from creepfit.records.editing.toml_form import START, filled, form_values
from creepfit.records.files import read_run
from creepfit.records.form_fields import SIZED_TESTS, FormField, FormTable, part_tables, run_mistakes, run_tables
from creepfit.records.part_files import read_part
from creepfit.records.templates import part_template, run_template

Browser = Any
"""The one of conftest.py."""

ROOT = Path(__file__).parents[2]
PARTS = [path for path in (ROOT / "demo").glob("*.toml") if "[part]" in path.read_text(encoding="utf-8")]
RUNS = [path for path in (ROOT / "demo").glob("petg-*.toml") if 'test = "segments"' not in path.read_text(encoding="utf-8")]


def typed_in(field: FormField) -> st.SearchStrategy[str]:
    """What a person may type into a field: something right, something wrong, or nothing."""
    right = re.findall(r'"([^"]+)"', field.expected) or ["0.3", "oak"]
    odd = st.text(st.characters(codec="utf-8", exclude_categories=["Cs", "Cc"]), max_size=12)
    return st.one_of(st.sampled_from([*right, *field.choices, "true", "false", "2,5", '["14 mm", "9 mm"]']), odd)


@st.composite
def values(draw: st.DrawFn, tables: tuple[FormTable, ...]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for table in tables:
        entry = st.fixed_dictionaries({}, optional={f.key: typed_in(f) for f in table.fields})
        found[table.name] = draw(st.lists(entry, max_size=3) if table.repeated else entry)
    return found


def by_hand(table: FormTable, entry: dict[str, str]) -> dict[str, Any]:
    """The lines a person would type for what stands in the fields, read by the standard library."""
    lines = []
    for field in table.fields:
        text = entry.get(field.key, "").strip()
        plain = re.fullmatch(r"[+-]?\d+([.,]\d+)?", text) and field.kind == "number"
        word = text in ("true", "false") and (field.kind == "yes-no" or field.key in ("annealed", "dried"))
        value = (
            text.replace(",", ".")
            if plain
            else text
            if word or text == '["14 mm", "9 mm"]'
            else json.dumps(text, ensure_ascii=False)
        )
        if text:
            lines.append(f"{field.key} = {value}")
    return tomllib.loads("\n".join(lines))


@settings(max_examples=30)
@given(st.data())
def test_a_forms_file_reads_back_as_one_typed_by_hand(data: st.DataObject) -> None:
    tables = data.draw(st.sampled_from([*map(run_tables, SIZED_TESTS), part_tables()]))
    given_values = data.draw(values(tables))
    text = filled(START, tables, given_values)
    read = tomllib.loads(text)
    for table in tables:
        own = given_values[table.name]
        if table.repeated:
            assert read.get(table.name, []) == [by_hand(table, entry) for entry in own]
        else:
            assert read.get(table.name, {}) == by_hand(table, own)
    # and what is shown in the form again changes nothing
    assert filled(text, tables, form_values(text, tables)) == text


@pytest.mark.parametrize("path", [*PARTS, *RUNS], ids=lambda p: p.name)
def test_a_form_that_is_saved_as_it_was_opened_changes_no_letter(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    tables = part_tables() if path in PARTS else run_tables(data["specimen"]["test"])
    assert filled(text, tables, form_values(text, tables)) == text


@pytest.mark.parametrize(("text", "tables"), [(run_template(), run_tables("cantilever")), (part_template(), part_tables())])
def test_one_size_changed_is_one_line_changed(text: str, tables: tuple[FormTable, ...]) -> None:
    found = form_values(text, tables)
    place = found["specimen"] if "specimen" in found else found["segment"][0]
    place["width"] = "13 mm"
    before, after = text.splitlines(), filled(text, tables, found).splitlines()
    changed = [(a, b) for a, b in zip(before, after, strict=True) if a != b]
    assert len(changed) == 1
    assert '"13 mm"' in changed[0][1]
    assert changed[0][1].partition("#")[2] == changed[0][0].partition("#")[2]


def test_all_mistakes_are_said_each_at_its_field_in_the_words_of_the_command_line(tmp_path: Path) -> None:
    data = {"format": 1, "run": {"material": "PP", "age": "2 kg"}, "specimen": {"test": "tension", "length": "60"},
            "gauge": {"resolution": "0.01 mm", "force": "-2 N"}}  # fmt: skip
    found = {e.key: str(e) for e in run_mistakes(data, "tension", "x.toml")}
    assert set(found) == {"run.age", "specimen.length", "gauge.force"}
    path = tmp_path / "x.toml"
    text = filled(START, run_tables("tension"), {k: v for k, v in data.items() if k != "format"})  # type: ignore[arg-type]
    path.write_text(f"{text}\n[readings]\ntime = []\nreading = []\n", encoding="utf-8")
    with pytest.raises(InputError) as failure:
        read_run(path)
    assert str(failure.value).replace(str(path), "x.toml") == found["run.age"]


FORM = {
    "specimen.test": "cantilever", "run.material": "PETG", "run.specimen": "P-03", "specimen.length": "60 mm",
    "specimen.width": "12 mm", "specimen.thickness": "4,00 +- 0,03 mm", "gauge.resolution": "0.01 mm",
    "gauge.instrument": "dial gauge", "file": "", "opened": "none",
}  # fmt: skip


def test_a_new_run_by_its_form_is_a_file_that_the_bench_can_go_on_with(browser: Browser, folder: Path) -> None:
    checked = json.loads(browser.post("/new-run/check", **FORM).text)
    assert checked["mistakes"] == {}
    assert checked["text"]["file-name"] == "petg-p-03.toml"
    answer = browser.post("/new-run", button="save", **FORM)
    assert answer.status_code == 302
    assert (folder / "petg-p-03.toml").read_text(encoding="utf-8").startswith(checked["text"]["file-text"].rstrip())
    assert "Begun, too few readings yet" in browser.get("/").text
    for value, at, what, load in [
        ("12.40 mm", "2031-03-03 08:00", "loaded", "0.4 kg"),
        ("14.67 mm", "2031-03-03 08:01", "reading", ""),
        ("14.77 mm", "2031-03-03 09:00", "reading", ""),
    ]:
        done = browser.post("/today", run="petg-p-03.toml", value=value, at=at, what=what, load=load)
        assert done.status_code == 302, done.text
    run = read_run(folder / "petg-p-03.toml")
    assert [r.value for r in run.readings] == [12.40, 14.67, 14.77]
    assert run.readings[-1].time == pytest.approx(3600.0)
    again = browser.post("/new-run", button="save", **FORM)
    assert "is there already" in again.text


def test_a_test_is_planned_by_its_sizes_before_it_begins(browser: Browser, folder: Path) -> None:
    page = browser.post("/new-run", button="plan", **FORM).text
    assert "What such a test promises" in page
    assert "kg" in page.partition("What such a test promises</h2>")[2]
    assert not (folder / "petg-p-03.toml").exists()


def test_a_table_that_is_there_becomes_a_run(browser: Browser, folder: Path) -> None:
    (folder / "week.csv").write_text("time [h],reading [mm]\n-0.02,12.40\n0.02,14.67\n1,14.77\n", encoding="utf-8")
    assert "begin a run with it" in browser.get("/").text
    assert 'value="week.csv" selected' in browser.get("/new-run?test=cantilever&table=week.csv").text
    form = {**FORM, "table": "week.csv", "load 1": "1", "load 1, at": "0 s", "load 1, mass": "0.4 kg"}
    (folder / "bad.csv").write_text("time [h],reading [mm]\n0.02,x\n", encoding="utf-8")
    assert "bad.csv, row 2" in browser.post("/new-run", button="save", **{**form, "table": "bad.csv"}).text
    assert browser.post("/new-run", button="save", **form).status_code == 302
    assert [r.value for r in read_run(folder / "petg-p-03.toml").readings] == [12.40, 14.67, 14.77]
    assert not (folder / "petg-p-03.csv").exists()


def test_mistakes_stand_beside_the_fields(browser: Browser, folder: Path) -> None:
    wrong = {**FORM, "specimen.length": "60", "run.material": ""}
    page = browser.post("/new-run", button="save", **wrong).text
    assert re.search(r'id="specimen-length-mistake">the unit is missing', page)
    assert re.search(r'id="run-material-mistake">missing', page)
    assert not (folder / "petg-p-03.toml").exists()


def test_sizes_of_a_run_that_was_changed_meanwhile_are_not_overwritten(browser: Browser, folder: Path) -> None:
    path = folder / "small.toml"
    page = browser.get("/run-form?run=small.toml").text
    opened, before = browser.hidden(page, "opened"), path.read_text(encoding="utf-8")
    form = {
        "specimen.test": "tension", "file": "small.toml", "opened": opened, "run.material": "PP",
        "run.specimen": "bar 1", "run.start": "2031-03-03 08:00", "specimen.length": "50 mm", "specimen.width": "11 mm",
        "specimen.thickness": "4 mm", "gauge.resolution": "0.001 mm", "load 1": "1", "load 1, at": "0 s",
        "load 1, mass": "10 kg",
    }  # fmt: skip
    path.write_text(before.replace('"4 mm"', '"4.1 mm"'), encoding="utf-8")
    answer = browser.post("/new-run", button="save", **form)
    assert "changed meanwhile" in answer.text
    assert "4.1 mm" in answer.text
    assert 'value="11 mm"' in answer.text
    assert '"4.1 mm"' in path.read_text(encoding="utf-8")
    path.write_text(before, encoding="utf-8")
    assert browser.post("/new-run", button="save", **form).status_code == 302
    assert path.read_text(encoding="utf-8") == before.replace('"10 mm"', '"11 mm"')  # every remark is still there


def test_a_part_is_drawn_answered_and_saved(browser: Browser, folder: Path) -> None:
    page = browser.get("/part?part=bracket.toml").text
    opened, text = browser.hidden(page, "opened"), (folder / "bracket.toml").read_text(encoding="utf-8")
    assert "drawn to scale" in page
    form: dict[str, str] = {
        "file": "bracket.toml",
        "opened": opened,
        "text": text,
        "material": "small.toml",
        "ask-at": "30 d",
    }
    for table, found in form_values(text, part_tables()).items():
        for i, entry in enumerate(found if isinstance(found, list) else [found], start=1):
            place = f"{table} {i}, " if isinstance(found, list) else f"{table}."
            form.update({f"{place}{key}": value for key, value in entry.items()})
            form.update({f"{table} {i}": "1"} if isinstance(found, list) else {})
    form["segment 1, width"] = "18 mm"
    checked = json.loads(browser.post("/part/check", **form).text)
    assert checked["mistakes"] == {}
    assert "18 mm wide" in checked["html"]["drawing"]
    for _ in range(10):  # it is worked out beside, and comes with a later question
        if "data-again" not in checked["html"]["answer"]:
            break
        checked = json.loads(browser.post("/part/check", **form).text)
    assert "sag after 30" in checked["html"]["answer"]
    assert "kept" in checked["html"]["answer"]  # by which load and thickness
    more = browser.post("/part", button="add load", **form)
    assert 'name="load 2"' in more.text
    assert browser.post("/part", button="save", **form).status_code == 302
    assert read_part(folder / "bracket.toml").file
    assert (folder / "bracket.toml").read_text(encoding="utf-8") == text.replace("14.0 +- 0.1 mm", "18 mm")


def test_a_climate_is_read_beside_its_part_and_nowhere_else(browser: Browser, folder: Path) -> None:
    text = (folder / "bracket.toml").read_text(encoding="utf-8").replace('temperature = "22 degC"\n', "")
    (folder / "shed.csv").write_text("time [h],temperature [degC]\n0,18\n12,30\n24,18\n", encoding="utf-8")
    for named, said in (("shed.csv", ""), ("gone.csv", "No such file"), ("../shed.csv", "leads out of the folder")):
        (folder / "bracket.toml").write_text(f'{text}\n[climate]\nfile = "{named}"\nrepeats = true\n', encoding="utf-8")
        page = browser.get("/part?part=bracket.toml").text
        assert ("<svg" in page) == (not said)
        assert said in page
        assert str(folder) not in page
