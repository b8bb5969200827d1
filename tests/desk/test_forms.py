"""Forms: what they write reads back as what a person would have typed, and nothing that they do not show is lost."""

from __future__ import annotations

import json
import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any, get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from creepfit.desk import new_run_screens
from creepfit.desk.filled_forms import sent
from creepfit.errors import InputError
from creepfit.records.editing.toml_form import START, filled, form_values
from creepfit.records.fields import mistakes_in
from creepfit.records.files import read_run
from creepfit.records.form_fields import (
    FormField,
    FormTable,
    PartKind,
    dotted,
    kind_of_part,
    part_tables,
    run_mistakes,
    run_tables,
)
from creepfit.records.part_files import PART_TABLES, read_part
from creepfit.records.schema import RUN_TABLES
from creepfit.records.specimen_tables import known_tests
from creepfit.records.templates import part_template, run_template

pytestmark = pytest.mark.few_draws

Browser = Any
"""The one of conftest.py."""

ROOT = Path(__file__).parents[2]
PARTS = [path for path in (ROOT / "demo").glob("*.toml") if "[part]" in path.read_text(encoding="utf-8")]
RUNS = [*(ROOT / "demo").glob("petg-*.toml"), *(ROOT / "reference_curves").glob("*/run.toml")]
FORMS = {**{test: run_tables(test) for test in known_tests()}, **{kind: part_tables(kind) for kind in get_args(PartKind)}}
LISTS = {"14 mm; 9 mm": ["14 mm", "9 mm"], '["14 mm", "9 mm"]': ["14 mm", "9 mm"]}
ROWS = {"0 h; 0.6 kg\n30 d;0 kg": [["0 h", "0.6 kg"], ["30 d", "0 kg"]], '[["0 h", 5]]': [["0 h", 5]]}
POINT = {"0 mm; -60 mm": {"x": "0 mm", "y": "-60 mm"}, '{ x = "1 mm" }': {"x": "1 mm"}}
"""What a list, a list of lists and a point are typed as, and what stands in a file for it."""


def lists_of(field: FormField) -> dict[str, Any]:
    return {"one": {}, "list": POINT if field.cells else LISTS, "rows": ROWS}[field.shape]


ODD = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=12)
ODD_CELL = ODD.filter(lambda text: not set(text) & set("[{;"))


def typed_in(field: FormField) -> st.SearchStrategy[str]:
    """What a person may type into a field: something right, something wrong, or nothing."""
    right = re.findall(r'"([^"]+)"', field.expected) or ["0.3", "oak"]
    known = st.sampled_from([*right, *field.choices, *lists_of(field), "true", "false", "2,5"])
    return st.one_of(known, ODD if field.shape == "one" else ODD_CELL)


@cache
def values(form: str) -> st.SearchStrategy[dict[str, Any]]:
    """What may be typed into a form; made once, as that takes longer than to draw from it."""

    def of_table(table: FormTable) -> st.SearchStrategy[Any]:
        entry = st.fixed_dictionaries({}, optional={f.key: typed_in(f) for f in table.fields})
        return st.lists(entry, max_size=3) if table.repeated else entry

    return st.fixed_dictionaries({table.name: of_table(table) for table in FORMS[form]})


def by_hand(table: FormTable, entry: dict[str, str]) -> dict[str, Any]:
    """The lines a person would type for what stands in the fields, read by the standard library."""
    lines = []
    for field in table.fields:
        text = entry.get(field.key, "").strip()
        plain = re.fullmatch(r"[+-]?\d+([.,]\d+)?", text) and field.kind == "number"
        word = text in ("true", "false") and (field.kind == "yes-no" or field.key in ("annealed", "dried"))
        value: Any = text.replace(",", ".") if plain else text if word else json.dumps(text, ensure_ascii=False)
        if text in lists_of(field):
            value = toml_of(lists_of(field)[text])
        elif field.shape == "rows":
            value = f"[[{value}]]"
        if text:
            lines.append(f"{field.key} = {value}")
    return tomllib.loads("\n".join(lines))


def toml_of(value: Any) -> str:
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{k} = {toml_of(v)}' for k, v in value.items())} }}"
    return f"[{', '.join(map(toml_of, value))}]" if isinstance(value, list) else json.dumps(value)


@pytest.mark.parametrize("form", FORMS)
@settings(max_examples=8)
@given(st.data())
def test_a_forms_file_reads_back_as_one_typed_by_hand(form: str, data: st.DataObject) -> None:
    tables = FORMS[form]
    given_values = data.draw(values(form))
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


def test_every_table_of_a_file_has_its_form() -> None:
    of_runs = {table.name for test in known_tests() for table in FORMS[test]}
    assert of_runs == set(RUN_TABLES) - {"format", "readings"}  # readings are added and corrected on a screen of their own
    of_parts = {table.name for kind in get_args(PartKind) for table in FORMS[kind]}
    assert of_parts == set(PART_TABLES) - {"format"}


@pytest.mark.parametrize(
    ("key", "example"),
    [("length", "60 mm"), ("thickness", "4 mm"), ("repeatability", "0.005 mm"), ("start", "2031-05-04 16:30")],
)
def test_an_empty_field_shows_a_size_of_its_own(key: str, example: str) -> None:
    assert {f.example for table in FORMS["cantilever"] for f in table.fields if f.key == key} == {example}


def test_what_an_empty_field_shows_can_be_typed_there() -> None:
    fields = [(table, field) for tables in FORMS.values() for table in tables for field in table.fields]
    shown = [(t, f) for t, f in fields if (f.kind, f.shape) == ("text", "one") and "." not in f.key and f.example]
    assert len(shown) > 100
    for table, field in shown:
        wrong = mistakes_in(table.schema, {field.key: field.example}, file=None, key=table.name)
        assert not [e for e in wrong if e.key == dotted(table.name, field.key)], (table.name, field.key)


@pytest.mark.parametrize("path", [*PARTS, *RUNS], ids=lambda p: p.name)
def test_a_form_that_is_saved_as_it_was_opened_changes_no_letter(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    data = tomllib.loads(text)
    tables = part_tables(kind_of_part(data)) if path in PARTS else run_tables(data["specimen"]["test"])
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


WITHIN = """format = 1
[part]
[crank]
shaft_length = "60 mm"
arm_length = "40 mm"
[crank.shaft]   # as bought
section = "round"
diameter = "8 mm"

[[load]]
mass = "0.1 kg"   # the lid

[[load]]
mass = "0.2 kg"   # the basket
[load.duty]
on = "8 h"   # by day
off = "16 h"
"""


def test_tables_within_tables_are_changed_where_they_stand() -> None:
    tables = part_tables("crank")
    found = form_values(WITHIN, tables)
    assert filled(WITHIN, tables, found) == WITHIN
    found["crank"] |= {"arm.section": "round", "arm.diameter": "7 mm"}
    found["load"][1]["duty.on"] = "9 h"
    text = filled(WITHIN, tables, found)
    assert '[crank.shaft]   # as bought\nsection = "round"\ndiameter = "8 mm"\n' in text
    assert '\non = "9 h"   # by day\n' in text
    assert tomllib.loads(text)["crank"]["arm"] == {"section": "round", "diameter": "7 mm"}
    del found["load"][0]  # with its remark, and not the last one's
    text = filled(text, tables, found)
    assert "the lid" not in text
    assert 'mass = "0.2 kg"   # the basket' in text
    found["load"][0] |= {"duty.on": "", "duty.off": ""}
    assert tomllib.loads(filled(text, tables, found))["load"] == [{"mass": "0.2 kg"}]


LONG = """format = 1
[part]
note = \"\"\"hung in the cellar,
then in the attic
\"\"\"   # two winters
"""


def test_what_a_browser_sends_of_a_long_file_changes_no_letter() -> None:
    """All fields, with the ends of lines and of texts as browsers have them."""
    steps = ", ".join(f'["{day} d", "{0.1 + day / 1000:.3f} kg"]' for day in range(200))
    text = f"{LONG}\n[[load]]\nschedule = [{steps}]\n" + '\n[[load]]\nmass = "0.1 kg"\n' * 60
    tables = part_tables()
    found = form_values(text, tables)
    form = {}
    for table in tables:
        for i, entry in enumerate(found[table.name] if table.repeated else [found[table.name]], start=1):
            form |= {table.place(i): "1"} if table.repeated else {}
            for field in table.fields:
                form[dotted(table.place(i), field.key)] = entry.get(field.key, "").replace("\n", "\r\n")
    assert filled(text, tables, sent(tables, form)) == text
    form["part.note"] += "\r\nand there again"
    changed = filled(text, tables, sent(tables, form))
    assert 'attic\nand there again"""   # two winters\n' in changed


def test_remarks_stay_with_the_load_they_are_of_where_others_are_removed() -> None:
    text = "format = 1\n" + "".join(f'[[load]]\nmass = "{k} kg"   # no. {k}\nat = "{k}0 mm"\n' for k in range(1, 6))
    tables = part_tables()
    found = form_values(text, tables)
    found["load"][0]["at"] = "12 mm"
    del found["load"][3], found["load"][1]
    left = filled(text, tables, found)
    assert re.findall(r'mass = "(\d) kg"   # no. (\d)', left) == [("1", "1"), ("3", "3"), ("5", "5")]
    assert [load["at"] for load in tomllib.loads(left)["load"]] == ["12 mm", "30 mm", "50 mm"]


def test_a_text_of_several_lines_keeps_them_in_its_field(browser: Browser, folder: Path) -> None:
    (folder / "long.toml").write_text(LONG, encoding="utf-8")
    page = browser.get("/part?part=long.toml").text
    assert re.search(r'<textarea[^>]* name="part.note"[^>]*>\nhung in the cellar,\nthen in the attic</textarea>', page)


def test_all_mistakes_are_said_each_at_its_field_in_the_words_of_the_command_line(tmp_path: Path) -> None:
    data = {"format": 1, "run": {"material": "PP", "age": "2 kg"}, "specimen": {"test": "tension", "length": "60"},
            "gauge": {"resolution": "0.01 mm", "force": "-2 N"}}  # fmt: skip
    found = {e.key: str(e) for e in run_mistakes(data, "tension", "x.toml")[0]}
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


def test_a_test_is_planned_by_its_sizes_before_it_begins(
    browser: Browser, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(new_run_screens, "LONGEST_WAIT", 600.0)  # of a machine that does other things too
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
    assert re.search(r'data-mistake="specimen.length">the unit is missing', page)
    assert re.search(r'data-mistake="run.material">missing', page)
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


def answered(browser: Browser, form: dict[str, str]) -> str:
    """What is said of a part: it is worked out beside, and comes with a later question."""
    for _ in range(20):
        found = json.loads(browser.post("/part/check", **form).text)["html"]["answer"]
        if "data-again" not in found:
            break
    return str(found)


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
    answer = answered(browser, form)
    assert "sag after 30" in answer
    assert "kept" in answer  # by which load and thickness
    answer = answered(browser, {**form, "limit.sag": "", "limit.life": ""})
    assert "sag after 30" in answer
    assert "limit of" not in answer
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


ARM = {"part.support": "screws", "segment 1": "1", "segment 1, section": "rectangle", "segment 1, length": "120 mm",
       "segment 1, width": "14 mm; 9 mm", "segment 1, thickness": "8 mm", "upright 1": "1",
       "upright 1, section": "rectangle", "upright 1, length": "80 mm", "upright 1, width": "14 mm",
       "upright 1, thickness": "8 mm", "screw 1": "1",
       "screw 1, at": "-60 mm", "screw 2": "1", "screw 2, at": "-20 mm", "brace 1": "1", "brace 1, from": "90 mm",
       "brace 1, to": "0 mm; -60 mm", "brace 1, section": "round", "brace 1, diameter": "6 mm", "load 1": "1",
       "load 1, at": "end", "load 1, schedule": "0 h; 0.2 kg\r\n30 d; 0.1 kg",
       "climate.daily": "15 degC; 25 degC"}  # fmt: skip
WHOLE: dict[PartKind, dict[str, str]] = {
    "drawn": ARM,
    "plate": {"plate.span": "200 mm", "plate.width": "90 mm", "plate.thickness": "6 mm", "plate.rests_on": "four sides",
              "load 1": "1", "load 1, mass": "0.2 kg", "load 1, at": "middle"},
    "coil": {"coil.section": "round", "coil.diameter": "4 mm", "coil.coil_diameter": "30 mm", "coil.turns": "6",
             "load 1": "1", "load 1, mass": "0.1 kg", "load 1, duty.on": "8 h", "load 1, duty.off": "16 h"},
    "crank": {"crank.shaft_length": "60 mm", "crank.arm_length": "40 mm", "crank.shaft.section": "round",
              "crank.shaft.diameter": "8 mm", "load 1": "1", "load 1, mass": "0.2 kg"},
    "elastic": {"elastic.deflection": "1.2 mm", "elastic.modulus": "2 GPa", "elastic.largest_stress": "6 MPa"},
}  # fmt: skip


@pytest.mark.parametrize("kind", WHOLE)
def test_every_kind_of_part_has_its_form(browser: Browser, folder: Path, kind: PartKind) -> None:
    assert f'name="kind" value="{kind}"' in browser.get(f"/part?kind={kind}").text
    form = {"file": "", "opened": "none", "kind": kind, "part.name": f"a {kind}", **WHOLE[kind]}
    checked = json.loads(browser.post("/part/check", **form).text)
    assert checked["mistakes"] == {}
    assert ("<svg" in checked["html"].get("drawing", "")) == (kind in ("drawn", "plate"))
    if kind in ("plate", "coil"):
        assert 'class="answer"' in answered(browser, {**form, "material": "small.toml", "ask-at": "30 d"})
    assert browser.post("/part", button="save", **form).status_code == 302
    part = read_part(folder / f"a-{kind}.toml")
    assert part.name == f"a {kind}"
    page = browser.get(f"/part?part=a-{kind}.toml").text
    for name, text in WHOLE[kind].items():
        assert (
            name.endswith((" 1", " 2", "support", "section", "rests_on", "schedule"))
            or f'name="{name}" value="{text}"' in page
        )
    wrong = json.loads(
        browser.post("/part/check", **{**form, "load 1": "1", "load 1, duty.on": "8 kg", "climate.file": "x"}).text
    )
    assert {"load 1, duty.on", "load 1, duty.off"} <= set(wrong["mistakes"]) or kind == "coil"
    assert "is the unit of a mass" in wrong["mistakes"]["load 1, duty.on"]


def test_a_part_of_a_frame_is_what_its_file_says(browser: Browser, folder: Path) -> None:
    def mistakes(**form: str) -> set[str]:
        found = browser.post("/part/check", file="", opened="none", kind="drawn", **form).text
        return set(json.loads(found)["mistakes"])

    browser.post("/part", button="save", file="", opened="none", kind="drawn", **{"part.name": "f", **ARM})
    data = tomllib.loads((folder / "f.toml").read_text(encoding="utf-8"))
    assert data["brace"][0]["to"] == {"x": "0 mm", "y": "-60 mm"}
    assert data["segment"][0]["width"] == ["14 mm", "9 mm"]
    assert data["load"][0]["schedule"] == [["0 h", "0.2 kg"], ["30 d", "0.1 kg"]]
    assert mistakes(**{**ARM, "brace 1, to": "0 mm; x"}) == {"brace 1, to"}  # it is of the point's y
    sizes = {f"segment 1, {size}" for size in ("width", "height", "flange", "web")}
    new = {"segment 1": "1", "segment 1, section": "I"}
    assert mistakes(**new) == {"segment 1", *sizes}  # all at once, and that it is neither straight nor an arc
    without = {k: v for k, v in ARM.items() if not k.startswith(("load", "brace"))}
    assert mistakes(**without) == {"load"}  # beside the button that adds one


DIRECT = {"specimen.test": "direct", "run.material": "PP", "run.specimen": "D", "gauge.resolution": "0.01 %", "file": "",
          "opened": "none"}  # fmt: skip
HOOK = {"specimen.test": "segments", "run.material": "PP", "run.specimen": "H", "gauge.resolution": "0.01 mm", "file": "",
        "opened": "none", "specimen.between_faces": "true", "segment 1": "1", "segment 1, section": "rectangle",
        "segment 1, radius": "20 mm", "segment 1, angle": "180 deg", "segment 1, width": "10 mm",
        "segment 1, thickness": "4 mm"}  # fmt: skip


@pytest.mark.parametrize(("form", "value", "load"), [(DIRECT, "0.52 %", "8 MPa"), (HOOK, "40.05 mm", "0.2 kg")])
def test_runs_that_are_no_plain_bars_have_their_form(
    browser: Browser, folder: Path, form: dict[str, str], value: str, load: str
) -> None:
    test, file = form["specimen.test"], f"pp-{form['run.specimen'].lower()}.toml"
    assert f'value="{test}"' in browser.get(f"/new-run?test={test}").text
    checked = json.loads(browser.post("/new-run/check", **form).text)
    assert checked["mistakes"] == {}
    assert ("<svg" in checked["html"]["drawing"]) == (test == "segments")
    assert browser.post("/new-run", button="save", **form).status_code == 302
    for k, at in enumerate(("2031-03-03 08:00", "2031-03-03 08:02", "2031-03-03 10:00")):
        what = {"what": "reading", "load": ""} if k else {"what": "loaded", "load": load}
        own = f"{float(value.split()[0]) + 0.3 * k:.2f} {value.split()[1]}"
        done = browser.post("/today", run=file, value=own, at=at, seen=own, **what)
        assert done.status_code == 302, done.text
        assert f">{own}</td>" in browser.get(f"/today?run={file}").text  # in its own unit, also while it has only begun
    run = read_run(folder / file)
    assert run.specimen.test == test
    assert len(run.readings) == 3
    page = browser.get(f"/run-form?run={file}").text
    assert 'name="load 1, at" value="2031-03-03 08:00' in page
