"""The shelf: every result once, numbers of the answers themselves, and the files and figure made of it."""

from __future__ import annotations

import csv
import gc
import io
import json
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner, Result

from creepfit.answers.materials.shelf import Shelf, shelf
from creepfit.answers.materials.shelf_memory import MEMORY
from creepfit.answers.materials.shelf_row import row_of
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.modulus import creep_modulus
from creepfit.answers.specimen.recovery import recovery
from creepfit.cli.commands import main
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.inference.saved import save_fit
from creepfit.mechanics.specimen import Direct
from creepfit.records.files import read_run
from creepfit.records.workbook import workbook_template
from creepfit.report.figures.shelf import shelf_figure
from creepfit.report.figures.style import svg
from creepfit.report.shelf_table import table_rows, write_table
from creepfit.report.text.columns import MOST
from creepfit.report.text.shelf import shelf_text
from creepfit.units import DAY, HOUR

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[2] / "demo"


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Results of two demo runs."""
    made = tmp_path_factory.mktemp("results")
    for name in ("petg-strip", "pla-strip"):
        save_fit(fit(read_run(DEMO / f"{name}.toml"), level=0.5), made / f"{name}.json")
    return made


@pytest.fixture(scope="module")
def found(folder: Path) -> Shelf:
    return shelf([folder], jobs=1)


def by_hand(*rows: Any) -> Shelf:
    return Shelf(rows, (), (), 0.9, None)


class TestMemory:
    """What was fitted once by this version is not fitted again, and nothing else is taken up."""

    @pytest.fixture
    def fitted(self, monkeypatch: pytest.MonkeyPatch) -> list[str]:
        """Names of the results that are fitted again, without the work."""
        again: list[str] = []

        def noted(task: Any) -> str:
            again.append(Path(task[1].path).stem)
            return f"{task[1].name}: not now"

        monkeypatch.setattr("creepfit.answers.materials.shelf._place", noted)
        return again

    def test_the_same_folder_again_is_the_same_table(self, folder: Path, found: Shelf, fitted: list[str]) -> None:
        assert shelf([folder], jobs=1) == found
        assert fitted == []

    def test_a_changed_result_is_fitted_again_and_no_other(self, folder: Path, found: Shelf, fitted: list[str]) -> None:
        file = folder / "pla-strip.json"
        before = file.read_text(encoding="utf-8")
        try:
            file.write_text(before + "\n", encoding="utf-8")
            assert [row.material for row in shelf([folder], jobs=1).rows] == ["PETG"]
        finally:
            file.write_text(before, encoding="utf-8")
        assert fitted == ["pla-strip"]

    @pytest.mark.parametrize("options", [{"level": 0.5}, {"seed": 3}])
    def test_other_options_are_fitted_again(
        self, folder: Path, found: Shelf, fitted: list[str], options: dict[str, Any]
    ) -> None:
        shelf([folder], jobs=1, **options)
        assert fitted == ["petg-strip", "pla-strip"]

    def test_another_version_fits_again(self, folder: Path, found: Shelf, fitted: list[str], monkeypatch: Any) -> None:
        monkeypatch.setattr("creepfit.answers.materials.shelf_memory._program", lambda: ["9.9.9", ""])
        shelf([folder], jobs=1)
        assert fitted == ["petg-strip", "pla-strip"]

    @pytest.mark.parametrize("spoilt", ["", "[]", "{", "[1, 2]", "[1]", "no rows"])
    def test_a_spoilt_memory_is_none(self, folder: Path, found: Shelf, fitted: list[str], spoilt: str) -> None:
        memory = folder / MEMORY
        before = memory.read_text(encoding="utf-8")
        program, *lines = before.splitlines()
        empty = [json.dumps([json.loads(line)[0], {"row": 1}]) for line in lines if line]
        assert len(empty) == 2
        memory.write_text("\n".join([program, *(empty if spoilt == "no rows" else [spoilt])]), encoding="utf-8")
        try:
            shelf([folder], jobs=1)
        finally:
            memory.write_text(before, encoding="utf-8")
        assert fitted == ["petg-strip", "pla-strip"]


class TestRows:
    def test_the_numbers_are_those_of_the_answers(self, found: Shelf) -> None:
        own = fit(read_run(DEMO / "petg-strip.toml"))
        row = found.rows[0]
        assert (row.material, row.specimen) == ("PETG", "strip 1")
        modulus = creep_modulus(own, [HOUR]).rows[0].modulus
        assert row.modulus is not None
        assert modulus is not None
        assert row.modulus.to_dict() == pytest.approx(modulus.to_dict(), rel=1e-12)
        per_mm = own.run.specimen.geometry.strain_per_reading
        assert per_mm is not None
        for mine, theirs in zip(row.creep, forecast(own, ["5 d", "30 d", "1 year"]).rows, strict=True):
            assert mine is not None
            assert mine.median == pytest.approx(per_mm * theirs.interval.median)
            assert mine.high == pytest.approx(per_mm * theirs.interval.high)
        last = float(own.observed.times[-1]) - float(own.run.unloading or 0.0)
        left = recovery(own, [last])
        assert row.recovered == left.residuals[0].recovered
        assert row.permanent_set is not None
        assert left.permanent_set.bounds is not None
        assert row.permanent_set.high == pytest.approx(per_mm * left.permanent_set.bounds.high)

    def test_all_intervals_are_of_one_level_whatever_the_results_were_saved_with(self, folder: Path, found: Shelf) -> None:
        narrow = shelf([folder], jobs=1, level=0.5)
        assert (found.level, narrow.level) == (0.9, 0.5)
        for wide, thin in zip(found.rows, narrow.rows, strict=True):
            assert wide.creep[2] is not None
            assert thin.creep[2] is not None
            assert wide.creep[2].high - wide.creep[2].low > 1.5 * (thin.creep[2].high - thin.creep[2].low)

    def test_what_is_unknown_has_its_reason(self, creep_run: Callable[..., Any]) -> None:
        row = row_of(fit(creep_run(initial=0, unload=None)), "x")
        assert (row.modulus, row.creep, row.recovered, row.permanent_set) == (None, (None, None, None), None, None)
        assert [why.split(":")[0] for why in row.why] == ["creep modulus", "creep", "recovery and set"]
        full = row_of(fit(creep_run()), "x")
        assert full.why == ()
        assert None not in (full.modulus, *full.creep, full.recovered, full.permanent_set)

    def test_a_short_test_says_nothing_of_a_year(self, creep_run: Callable[..., Any]) -> None:
        row = row_of(fit(creep_run(times=(60.0, 600.0, 3600.0, 0.5 * DAY), unload=None)), "x")
        assert row.creep[1] is not None
        assert row.creep[2] is None
        assert "creep after 1 year: beyond 100 times the test" in row.why

    def test_without_sizes_creep_is_in_mm_and_no_modulus_is_made_up(self, creep_run: Callable[..., Any]) -> None:
        row = row_of(fit(creep_run(specimen=Direct("length"), load=1.96 * 1000.0)), "x")
        assert (row.unit, row.stress, row.modulus) == ("mm", None, None)
        assert row.creep[0] is not None


class TestFolder:
    def test_every_result_stands_there_once(self, folder: Path, tmp_path: Path) -> None:
        for file in folder.iterdir():
            (tmp_path / file.name).write_bytes(file.read_bytes())
        (tmp_path / "copy.json").write_bytes((folder / "pla-strip.json").read_bytes())
        (tmp_path / "notes.json").write_text('["no result"]', encoding="utf-8")
        (tmp_path / "cut.json").write_bytes((folder / "pla-strip.json").read_bytes()[:300])
        told: list[str] = []
        found = shelf([tmp_path], jobs=1, failed=told.append)
        assert [r.material for r in found.rows] == ["PLA", "PETG"]
        one, other = tmp_path / "copy.json", tmp_path / "pla-strip.json"
        assert found.notes == (f"{other}: the same run as in {one}, which is listed once",)
        assert told == list(found.failed)
        assert [Path(line.split(":")[0]).name for line in told] == ["cut.json"]

    def test_processes_make_the_same_rows(self, folder: Path, found: Shelf, tmp_path: Path) -> None:
        (tmp_path / "cut.json").write_text("{", encoding="utf-8")
        made = shelf([folder, tmp_path / "cut.json"], jobs=2)
        assert replace(made, failed=()) == found
        assert [line.partition(".json")[0] for line in made.failed] == [str(tmp_path / "cut")]

    def test_numbers_that_were_saved_otherwise_are_told(self, folder: Path, tmp_path: Path) -> None:
        content = json.loads((folder / "pla-strip.json").read_text(encoding="utf-8"))
        for row in content["summary"]["forecast"]:
            row["median"] *= 1.1
        (tmp_path / "old.json").write_text(json.dumps(content), encoding="utf-8")
        assert "the numbers differ from those saved" in shelf([tmp_path], jobs=1).notes[0]
        assert shelf([folder], jobs=1).notes == ()

    def test_nonsense_is_refused(self, folder: Path) -> None:
        with pytest.raises(InputError, match=r"level: found 1\.5"):
            shelf([folder], level=1.5)
        with pytest.raises(InputError, match="jobs: found 0"):
            shelf([folder], jobs=0)


class TestTable:
    def test_csv_and_xlsx_hold_the_same(self, found: Shelf, tmp_path: Path) -> None:
        write_table(found, tmp_path / "t.csv")
        write_table(found, tmp_path / "t.xlsx")
        for name in ("t.csv", "t.xlsx"):
            assert "last state" not in write_table(found, tmp_path / name, force=True)  # a table can be made again
            (tmp_path / f"r{name}").write_bytes(b"time [h],reading [mm]")
            write_table(found, tmp_path / f"r{name}", force=True)
            assert (tmp_path / f"r{name}.bak").read_bytes() == b"time [h],reading [mm]"
        rows = list(csv.reader(io.StringIO((tmp_path / "t.csv").read_text(encoding="utf-8"))))
        cells = list(openpyxl.load_workbook(tmp_path / "t.xlsx").active.iter_rows(values_only=True))
        assert rows[0] == list(cells[0])
        assert len(rows) == len(cells) == 3
        for mine, theirs in zip(rows[1:], cells[1:], strict=True):
            for a, b in zip(mine, theirs, strict=True):
                assert float(a) == pytest.approx(b, rel=1e-5) if isinstance(b, int | float) else a == (b or "")
        year = rows[0].index("creep at 1 year")
        assert found.rows[0].creep[2] is not None
        assert float(rows[1][year]) == pytest.approx(100.0 * found.rows[0].creep[2].median, rel=1e-5)

    def test_a_table_that_is_looked_at_is_left_closed(self, found: Shelf, tmp_path: Path) -> None:
        # what pytest makes of it is seen only when rubbish is collected, in some later test
        write_table(found, tmp_path / "t.xlsx")
        unclosed: list[object] = []
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(sys, "unraisablehook", unclosed.append)
            write_table(found, tmp_path / "t.xlsx", force=True)
            gc.collect()
        assert not unclosed

    def test_a_name_that_looks_like_a_formula_stays_a_name(self, found: Shelf, tmp_path: Path) -> None:
        write_table(by_hand(replace(found.rows[0], material="=1+1")), tmp_path / "t.xlsx")
        cell = openpyxl.load_workbook(tmp_path / "t.xlsx").active["B2"]
        assert (cell.value, cell.data_type) == ("=1+1", "s")

    def test_unknown_is_empty_and_never_zero(self, creep_run: Callable[..., Any]) -> None:
        row = row_of(fit(creep_run(initial=0)), "x")
        cells = table_rows(by_hand(row))[0]
        assert cells["creep at 5 d"] is None
        assert "no reading was taken before loading" in str(cells["why numbers are missing"])

    def test_the_data_frame_has_a_row_a_result(self, found: Shelf) -> None:
        table = found.table()
        assert len(table) == 2
        assert {"material", "creep_modulus_median", "creep_1_year_high"} <= set(table.columns)


def test_the_text_fits_and_rounds_by_the_interval(found: Shelf, creep_run: Callable[..., Any]) -> None:
    text = shelf_text(found)
    assert max(map(len, text.splitlines())) <= 100
    assert text.startswith("2 results on the shelf\n")
    assert "PETG strip 1" in text
    long = replace(row_of(fit(creep_run(initial=0)), "x"), material="a material with a name as long as a sentence")
    mixed = shelf_text(by_hand(*found.rows, long))
    assert max(map(len, mixed.splitlines())) <= 100
    assert "no reading was taken before loading" in " ".join(mixed.split())


class TestText:
    def test_results_of_one_name_are_told_apart_by_their_files(self, found: Shelf) -> None:
        one, other = found.rows
        rows = (replace(one, file="res/first-week.json"), replace(one, file="res/second-week.json"), other)
        text = shelf_text(by_hand(*rows))
        lines = text.splitlines()
        assert sum("first-week)" in line for line in lines) == 1
        assert sum("second-week)" in line for line in lines) == 1
        assert not any("pla-strip" in line for line in lines)
        long = [replace(r, file=f"res/{'x' * 40}-{i}.json") for i, r in enumerate(rows[:2])]
        text = shelf_text(by_hand(*long))
        assert all(f"x-{i})" in text for i in range(2))
        assert max(map(len, text.splitlines())) <= MOST
        far = [replace(r, file=f"{i}/same.json") for i, r in enumerate(rows[:2])]
        text = shelf_text(by_hand(*far))
        assert all(f"{i}/same.json)" in text for i in range(2))


class TestFigure:
    def test_it_draws_every_result_and_says_what_is_unknown(self, found: Shelf, creep_run: Callable[..., Any]) -> None:
        blind = replace(row_of(fit(creep_run(initial=0)), "x"), material="ABS")
        drawing = shelf_figure(by_hand(*found.rows, blind))
        picture = svg(drawing)
        for label in ("PETG strip 1", "PLA strip 1", "ABS T-1", "unknown"):
            assert label in picture
        assert "from 1" in drawing.alt
        assert "PLA strip 1. Of 1 result it is unknown." in drawing.alt
        assert svg(shelf_figure(by_hand(*found.rows, blind))) == picture

    def test_the_stiffest_stands_on_top_and_what_is_far_beyond_is_hollow(self, found: Shelf) -> None:
        axes = shelf_figure(found).figure.axes[0]
        assert [t.get_text() for t in axes.get_yticklabels()] == ["PETG strip 1", "PLA strip 1"]
        marks = [line for line in axes.lines if line.get_marker() in ("o", "s")]
        filled = {line.get_marker(): line.get_markerfacecolor() == line.get_color() for line in marks}
        assert filled == {"o": True, "s": False}

    def test_nothing_to_draw_is_said(self, creep_run: Callable[..., Any]) -> None:
        with pytest.raises(InputError, match="no result on this shelf has a creep modulus"):
            shelf_figure(by_hand(row_of(fit(creep_run(initial=0)), "x")))


class TestCommands:
    def test_a_folder_is_fitted_kept_and_put_on_the_shelf(self, tmp_path: Path) -> None:
        runs = tmp_path / "runs"
        runs.mkdir()
        workbook_template(runs / "book.xlsx")
        (runs / "bad.toml").write_text("[run]\n", encoding="utf-8")
        done = run("batch", runs, "--into", tmp_path / "out", "--jobs", "1")
        assert (done.exit_code, done.stdout) == (2, "")
        lines = done.stderr.splitlines()
        assert lines == [f"creepfit: {runs / 'bad.toml'}, format: missing; expected format = 1 as the first line",
                         f"1 fitted, 1 failed: {tmp_path / 'out'}"]  # fmt: skip
        (runs / "bad.toml").unlink()
        again = run("batch", runs, "--into", tmp_path / "out", "--jobs", "1")
        assert (again.exit_code, again.stderr) == (0, f"0 fitted, 1 there already: {tmp_path / 'out'}\n")
        table = tmp_path / "t.csv"
        made = run("shelf", tmp_path / "out", "-o", table, "--figure", tmp_path / "f.png", "--jobs", "1")
        assert (made.exit_code, made.stdout) == (0, "")
        assert table.read_text(encoding="utf-8").count("\n") == 2
        assert (tmp_path / "f.png").read_bytes().startswith(b"\x89PNG")
        refused = run("shelf", tmp_path / "out", "-o", table)
        assert refused.exit_code == 2
        assert "the file exists already" in refused.stderr

    def test_json_and_text(self, folder: Path) -> None:
        answer = json.loads(run("shelf", folder, "--json", "--jobs", "1").stdout)
        assert list(answer)[:5] == ["format", "version", "seed", "level", "run"]
        assert [r["material"] for r in answer["results"]] == ["PETG", "PLA"]
        assert run("shelf", folder, "--jobs", "1").stdout.startswith("2 results on the shelf")

    @pytest.mark.parametrize(
        ("arguments", "said"),
        [
            (("-o", "t.doc"), "t.doc: expected a file name that ends in .csv or .xlsx"),
            (("--figure", "f.gif"), "f.gif: expected a file name that ends in .svg or .png"),
            (("--jobs", "0"), "--jobs: found 0"),
        ],
    )
    def test_mistakes_are_said_before_the_work(self, folder: Path, arguments: tuple[str, ...], said: str) -> None:
        done = run("shelf", folder, *arguments)
        assert done.exit_code == 2
        assert done.stderr.startswith(f"creepfit: {said}")

    def test_a_cluster_that_is_not_there_is_one_line(self, tmp_path: Path) -> None:
        pytest.importorskip("distributed")
        done = run("batch", DEMO / "petg-strip.toml", "--into", tmp_path, "--cluster", "127.0.0.1:9")
        assert done.exit_code == 2
        assert done.stderr.startswith("creepfit: --cluster: no scheduler answers; found '127.0.0.1:9'")
        assert done.stderr.count("\n") == 1


class TestWorkbooks:
    """Every command that takes a run takes a workbook."""

    @pytest.fixture
    def book(self, tmp_path: Path) -> Path:
        path = tmp_path / "book.xlsx"
        workbook_template(path)
        book = openpyxl.load_workbook(path)
        copy = book.copy_worksheet(book.active)
        copy.title = copy["B3"].value = "P-04"
        book.save(path)
        return path

    @pytest.mark.parametrize("command", [("fit",), ("check",), ("forecast", "--at", "30 d"), ("recover", "--after", "1 d")])
    def test_every_sheet_is_answered(self, book: Path, command: tuple[str, ...]) -> None:
        done = run(command[0], book, *command[1:], "--json")
        assert done.exit_code == 0, done.stderr
        assert len(json.loads(done.stdout)) == 2

    def test_one_sheet_can_be_named_where_one_run_is_wanted(self, book: Path) -> None:
        part = ("sag", DEMO / "bracket.toml", "--at", "1 year", "--json", "--material")
        several = run(*part, book)
        assert several.exit_code == 2
        assert f'"{book}, sheet P-04"' in several.stderr
        assert run(*part, f"{book}, sheet P-04").exit_code == 0

    def test_sheets_are_compared(self, book: Path) -> None:
        answer = json.loads(run("compare", book, "--json").stdout)
        assert len(answer["run"]) == 2


def test_a_fit_of_the_same_run_is_no_other(found: Shelf) -> None:
    own: Fit = fit(read_run(DEMO / "petg-strip.toml"))
    assert replace(row_of(own, "x"), file=found.rows[0].file) == found.rows[0]
