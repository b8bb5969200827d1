"""Batches: the same results whatever does the work, nothing lost by one bad file, nothing done twice."""

from __future__ import annotations

import builtins
import json
import logging
import os
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from creepfit.answers.materials import batch as module
from creepfit.answers.materials.batch import fit_all
from creepfit.answers.materials.shelf import shelf
from creepfit.answers.materials.shelf_memory import MEMORY
from creepfit.errors import FitError, InputError
from creepfit.inference import run_fit
from creepfit.inference.fitting import fit
from creepfit.inference.run_fit import fit_run
from creepfit.inference.saved import load_saved, save_fit
from creepfit.inference.sources import sources_of
from creepfit.inference.spreading import spread
from creepfit.records.files import read_run
from creepfit.records.workbook import workbook_template

RUN = """\
format = 1
[run]
material = "PP"
specimen = "{name}"
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
reading = ["0.000 mm", "0.110 mm", "0.121 mm", "0.134 mm", "{last} mm"]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three runs, one of them with a mistake, and files that are no runs."""
    made = tmp_path / "in"
    made.mkdir()
    for name, last in (("a", "0.153"), ("b", "0.149"), ("c", "long")):
        (made / f"{name}.toml").write_text(RUN.format(name=name, last=last), encoding="utf-8")
    (made / "part.toml").write_text('format = 1\n[part]\nname = "arm"\n', encoding="utf-8")
    (made / "readings.csv").write_text("time [h],reading [mm]\n", encoding="utf-8")
    return made


def contents(files: tuple[str, ...]) -> dict[str, str]:
    return {Path(f).name: Path(f).read_text(encoding="utf-8") for f in files}


def one_by_one(folder: Path, out: Path) -> dict[str, str]:
    out.mkdir()
    for name in "ab":
        save_fit(fit(read_run(folder / f"{name}.toml")), out / f"{name}.json")
    return {f.name: f.read_text(encoding="utf-8") for f in out.iterdir()}


@pytest.mark.parametrize("jobs", [1, 2])
def test_results_are_those_of_one_fit_at_a_time_and_a_bad_file_costs_one_line(
    folder: Path, tmp_path: Path, jobs: int
) -> None:
    told: list[str] = []
    steps: list[None] = []
    done = fit_all([folder], tmp_path / "out", jobs, failed=told.append, step=lambda: steps.append(None))
    assert contents(done.saved) == one_by_one(folder, tmp_path / "alone")
    assert (len(done.kept), len(steps)) == (0, 3)
    assert told == list(done.failed)
    assert len(told) == 1
    assert told[0].startswith(f"{folder / 'c.toml'}, ")
    assert "'long mm'" in told[0]
    assert "\n" not in told[0]


def test_a_cluster_comes_to_the_same_results(folder: Path, tmp_path: Path) -> None:
    distributed = pytest.importorskip("distributed")
    # by TCP to a thread of this process, as starting another takes seconds: what goes to another process and comes from it
    # is tested with two jobs; with one thread joblib would do the work here
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=2, processes=False, protocol="tcp", dashboard_address=":0",
        silence_logs=logging.CRITICAL,
    ) as cluster:  # fmt: skip
        done = fit_all([folder], tmp_path / "out", cluster=cluster.scheduler_address)
    assert contents(done.saved) == one_by_one(folder, tmp_path / "alone")
    assert len(done.failed) == 1


def test_a_cluster_behind_tls_is_reached_by_dasks_own_settings(folder: Path, tmp_path: Path) -> None:
    dask, distributed = pytest.importorskip("dask"), pytest.importorskip("distributed")
    pytest.importorskip("cryptography")  # makes the certificates here, and only here
    keys = distributed.security.Security.temporary()
    cluster = distributed.LocalCluster(
        n_workers=1, processes=False, dashboard_address=":0", silence_logs=logging.CRITICAL, security=keys, protocol="tls"
    )
    settings = {"ca-file": keys.tls_ca_file, "client.cert": keys.tls_client_cert, "client.key": keys.tls_client_key}
    with cluster:
        assert cluster.scheduler_address.startswith("tls://")
        expected = r"; expected Dask's settings distributed.comm.tls.ca-file, .client.cert and .client.key"
        with pytest.raises(InputError, match="cluster: no certificates; found 'tls://.*'" + expected):
            fit_all([folder], tmp_path / "out", cluster=cluster.scheduler_address)
        missing = {f"distributed.comm.tls.{name}": str(tmp_path / "none.pem") for name in settings}
        with dask.config.set(missing), pytest.raises(InputError, match="certificates that cannot be read") as told:
            fit_all([folder], tmp_path / "out", cluster=cluster.scheduler_address)
        assert str(told.value).endswith(expected[2:])
        with dask.config.set({f"distributed.comm.tls.{name}": value for name, value in settings.items()}):
            done = fit_all([folder], tmp_path / "out", cluster=cluster.scheduler_address)
    assert contents(done.saved) == one_by_one(folder, tmp_path / "alone")


@pytest.mark.fits_anew
class TestSideBySide:
    """Runs that a worker fits at once come to what each comes to alone, to the last byte."""

    @pytest.fixture
    def tasks(self, folder: Path) -> list[module.Task]:
        """Runs of other lengths, with an unloading and without, one of which tells nothing."""
        longer = '"1 d", "30 h", "2 d", "3 d"', '"0.153 mm", "0.155 mm", "0.160 mm", "0.163 mm"'
        ends = {"d": longer, "e": ('"1 d", "2 d"', '"0.153 mm", "0.160 mm"'), "f": ('"1 d"', '"0.152 mm"')}
        for name, (times, readings) in ends.items():
            text = RUN.format(name=name, last="0.153").replace('"1 d"', times).replace('"0.153 mm"', readings)
            (folder / f"{name}.toml").write_text(text, encoding="utf-8")
        unloaded = RUN.format(name="g", last="0.153").replace('"1 d"', '"1 d", "25 h", "2 d"')
        unloaded = unloaded.replace('"0.153 mm"', '"0.153 mm", "0.05 mm", "0.04 mm"')
        unloaded = unloaded.replace("[readings]", '[[load]]\nat = "1 d"\nmass = "0 kg"\n[readings]')
        (folder / "g.toml").write_text(unloaded, encoding="utf-8")
        other = RUN.format(name="i", last="0.153").replace('"0.001 mm"', '"0.001 mm"\ndrift = "0.01 mm/day^0.5"')
        (folder / "i.toml").write_text(other, encoding="utf-8")
        short = RUN.format(name="h", last="0.153").replace(', "10 min", "100 min", "1 d"', "")
        short = short.replace(', "0.121 mm", "0.134 mm", "0.153 mm"', "")
        (folder / "h.toml").write_text(short, encoding="utf-8")
        sources = [s for s in sources_of([folder]) if Path(s.path).stem != "c"]
        return [module._task(source, "x.json", None, None) for source in sources]

    def test_results_and_rows_are_the_same(self, tasks: list[module.Task]) -> None:
        alone = [made for task in tasks for made in module._fitted([task])]
        assert [isinstance(made, str) for made in alone] == [task.run.name == "h" for task in tasks]
        assert module._fitted(tasks) == alone
        others = slice(None, None, -2)  # in another order and beside others
        assert module._fitted(tasks[others]) == alone[others]

    @pytest.mark.parametrize("met", [np.linalg.LinAlgError, MemoryError])
    def test_what_a_search_of_many_can_meet_costs_time_only(
        self, tasks: list[module.Task], monkeypatch: pytest.MonkeyPatch, met: type[Exception]
    ) -> None:
        alone = [made for task in tasks[:2] for made in module._fitted([task])]
        whole = run_fit.lowest_shapes

        def faulty(models: Any, each: Any) -> Any:
            if len(each) > 1:
                raise met
            return whole(models, each)

        monkeypatch.setattr(run_fit, "lowest_shapes", faulty)
        assert module._fitted(tasks[:2]) == alone

    def test_a_fault_of_ours_in_it_is_seen(self, tasks: list[module.Task], monkeypatch: pytest.MonkeyPatch) -> None:
        def faulty(models: Any, each: Any) -> Any:
            raise ZeroDivisionError

        monkeypatch.setattr(run_fit, "lowest_shapes", faulty)
        with pytest.raises(ZeroDivisionError):
            module._fitted(tasks[:2])


class TestShelf:
    """A shelf is made of what a batch kept: the rows that it would come to by fitting each result again."""

    @pytest.fixture
    def results(self, folder: Path, tmp_path: Path) -> Path:
        fit_all([folder], tmp_path / "out", 1, level=0.5)
        return tmp_path / "out"

    @pytest.fixture
    def no_fit(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def refused(task: Any) -> str:
            return f"{task[1].name}: fitted"

        monkeypatch.setattr("creepfit.answers.materials.shelf._place", refused)

    def test_no_result_of_a_batch_is_fitted_again(self, results: Path, tmp_path: Path, no_fit: None) -> None:
        moved = shutil.move(results, tmp_path / "elsewhere")
        table = shelf([moved], jobs=1)
        assert table.failed == ()
        assert [row.file for row in table.rows] == [str(tmp_path / "elsewhere" / f"{name}.json") for name in "ab"]

    def test_its_rows_are_those_of_fitting_again(self, results: Path, request: pytest.FixtureRequest) -> None:
        remembered = shelf([results], jobs=1)
        (results / MEMORY).unlink()
        assert shelf([results], jobs=1) == remembered
        request.getfixturevalue("no_fit")
        assert shelf([results], jobs=1) == remembered

    def test_a_row_cut_short_costs_no_other(self, results: Path, folder: Path, no_fit: None) -> None:
        with open(results / MEMORY, "a", encoding="utf-8") as memory:
            memory.write('\n["a row that was being wri')
        (folder / "d.toml").write_text(RUN.format(name="d", last="0.150"), encoding="utf-8")
        fit_all([folder], results, 1, level=0.5)
        table = shelf([results], jobs=1)
        assert (len(table.rows), table.failed) == (3, ())


class TestCluster:
    def test_without_dask_it_is_said_how_to_get_it(
        self, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real = builtins.__import__

        def without(name: str, *rest: Any) -> Any:
            if name.split(".")[0] in ("dask", "distributed"):
                raise ImportError(name)
            return real(name, *rest)

        monkeypatch.setattr(builtins, "__import__", without)
        said = r"needs dask, which is not installed; expected pip install .creepfit\[cluster\]"
        with pytest.raises(InputError, match=said):
            fit_all([folder], tmp_path / "out", cluster="tcp://127.0.0.1:8786")

    @pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nonsense", "tcp://127.0.0.1:port"])
    def test_an_address_where_nothing_listens_is_named(self, folder: Path, tmp_path: Path, address: str) -> None:
        pytest.importorskip("distributed")
        with pytest.raises(InputError, match=f"cluster: no (scheduler answers|address); found '{address}'"):
            fit_all([folder], tmp_path / "out", cluster=address)


class TestAgain:
    def test_what_is_done_is_kept_and_what_was_lost_is_done_again(
        self, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        out = tmp_path / "out"
        first = fit_all([folder], out, 1)
        before = contents(first.saved)
        (out / "b.json").unlink()
        fitted: list[str] = []
        monkeypatch.setattr(module, "fit_run", lambda run, *options: fitted.append(run.name) or fit_run(run, *options))
        again = fit_all([folder], out, 1)
        assert fitted == ["b"]
        assert [Path(f).name for f in again.kept] == ["a.json"]
        assert contents(again.files) == before

    @pytest.mark.parametrize("change", ["readings", "level", "seed", "version", "cut short"])
    def test_a_result_of_something_else_is_neither_kept_nor_replaced_unless_asked(
        self, folder: Path, tmp_path: Path, change: str
    ) -> None:
        out, options = tmp_path / "out", {}
        fit_all([folder / "a.toml"], out, 1)
        saved = out / "a.json"
        if change == "readings":
            (folder / "a.toml").write_text(RUN.format(name="a", last="0.160"), encoding="utf-8")
        elif change == "version":
            content = json.loads(saved.read_text(encoding="utf-8")) | {"version": "0.0"}
            saved.write_text(json.dumps(content), encoding="utf-8")
        elif change == "cut short":
            saved.write_text(saved.read_text(encoding="utf-8")[:200], encoding="utf-8")
        else:
            options = {"level": 0.5} if change == "level" else {"seed": 1}
        old = saved.read_text(encoding="utf-8")
        refused = fit_all([folder / "a.toml"], out, 1, **options)  # type: ignore[arg-type]
        assert refused.failed[0].startswith(f"{saved}: holds a result of another run, other options or another version")
        assert saved.read_text(encoding="utf-8") == old
        done = fit_all([folder / "a.toml"], out, 1, force=True, **options)  # type: ignore[arg-type]
        assert done.saved == (str(saved),)
        assert saved.read_text(encoding="utf-8") != old
        assert fit_all([folder / "a.toml"], out, 1, **options).kept == (str(saved),)  # type: ignore[arg-type]

    def test_a_saved_result_is_fitted_again_with_its_own_options(self, folder: Path, tmp_path: Path) -> None:
        save_fit(fit(read_run(folder / "a.toml"), level=0.8, seed=5), tmp_path / "old.json")
        done = fit_all([tmp_path / "old.json"], tmp_path / "out", 1)
        assert (load_saved(done.saved[0]).level, load_saved(done.saved[0]).seed) == (0.8, 5)
        assert Path(done.saved[0]).read_text() == (tmp_path / "old.json").read_text()


class TestNames:
    def test_files_of_one_name_in_two_folders_get_two_results(self, folder: Path, tmp_path: Path) -> None:
        other = tmp_path / "more"
        other.mkdir()
        shutil.copy(folder / "b.toml", other / "a.toml")
        done = fit_all([folder / "a.toml", other / "a.toml"], tmp_path / "out", 1)
        assert [Path(f).name for f in done.saved] == ["in-a.json", "more-a.json"]
        assert load_saved(done.saved[1]).run.name == "b"

    def test_a_file_named_twice_is_fitted_once(self, folder: Path, tmp_path: Path) -> None:
        done = fit_all([folder / "a.toml", folder / "a.toml"], tmp_path / "out", 1)
        assert (len(done.saved), len(done.kept), done.failed) == (1, 1, ())

    def test_names_that_stay_the_same_are_refused_not_overwritten(self, folder: Path, tmp_path: Path) -> None:
        (tmp_path / "x").mkdir()
        (tmp_path / "x" / "in").mkdir()
        shutil.copy(folder / "b.toml", tmp_path / "x" / "in" / "a.toml")
        done = fit_all([folder / "a.toml", tmp_path / "x" / "in" / "a.toml"], tmp_path / "out", 1)
        assert load_saved(done.saved[0]).run.name == "a"
        assert "its result would replace that of" in done.failed[0]


class TestSources:
    def test_a_workbook_gives_a_run_for_each_sheet_and_one_of_them_can_be_named(self, tmp_path: Path) -> None:
        book = tmp_path / "book.xlsx"
        workbook_template(book)
        names = [s.name for s in sources_of([book])]
        assert names == [f"{book}, sheet P-03"]
        alone = sources_of(names)
        assert [s.read().name for s in alone] == ["P-03"]  # type: ignore[union-attr]
        assert alone[0].stem == "book-P-03"
        with pytest.raises(InputError, match="no run on such a sheet; found 'P-04'; expected one of P-03"):
            sources_of([f"{book}, sheet P-04"])[0].read()

    def test_a_folder_is_searched_for_runs_or_for_results(self, folder: Path, tmp_path: Path) -> None:
        assert [Path(s.path).name for s in sources_of([folder])] == ["a.toml", "b.toml", "c.toml"]
        fit_all([folder / "a.toml"], folder, 1)
        assert [Path(s.path).name for s in sources_of([folder], "results")] == ["a.json"]
        empty = tmp_path / "empty"
        empty.mkdir()
        with pytest.raises(InputError, match=f"{empty}: no run in this folder; expected run files"):
            sources_of([empty])

    def test_a_mistake_on_one_sheet_leaves_the_others(self, tmp_path: Path) -> None:
        import openpyxl

        path = tmp_path / "book.xlsx"
        workbook_template(path)
        book = openpyxl.load_workbook(path)
        copy = book.copy_worksheet(book.active)
        copy.title = "bad"
        copy["A2"] = "run.matrial"
        book.save(path)
        good, bad = sources_of([path])
        assert good.read().name == "P-03"  # type: ignore[union-attr]
        with pytest.raises(InputError, match="sheet bad"):
            bad.read()

    def test_a_workbook_without_runs_is_passed_over_in_a_folder_but_not_when_named(self, folder: Path) -> None:
        import openpyxl

        book = openpyxl.Workbook()
        book.active.append(["time [h]", "reading [mm]"])
        book.save(folder / "readings.xlsx")
        assert [Path(s.path).suffix for s in sources_of([folder])] == [".toml"] * 3
        with pytest.raises(InputError, match="no sheet holds a run"):
            sources_of([folder / "readings.xlsx"])[0].read()


@pytest.mark.parametrize("jobs", [0, -2])
def test_a_number_of_jobs_that_is_none_is_refused(folder: Path, tmp_path: Path, jobs: int) -> None:
    with pytest.raises(InputError, match="jobs"):
        fit_all([folder], tmp_path / "out", jobs)
    assert not (tmp_path / "out").exists()


def test_a_file_in_the_place_of_the_folder_is_refused(folder: Path) -> None:
    with pytest.raises(InputError, match="this is no folder"):
        fit_all([folder], folder / "a.toml", 1)


def test_a_fault_of_ours_costs_one_run_only(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def faulty(run: Any, *options: Any) -> Any:
        if run.name == "a":
            raise ZeroDivisionError("by\nzero")
        return fit_run(run, *options)

    monkeypatch.setattr(module, "fit_run", faulty)
    done = fit_all([folder], tmp_path / "out", 1)
    assert [Path(f).name for f in done.saved] == ["b.json"]
    assert f"{folder / 'a.toml'}: a fault of ours (ZeroDivisionError: by zero)" in done.failed


def test_a_worker_that_is_ended_from_outside_is_told_in_a_line() -> None:
    with pytest.raises(FitError, match="a worker process was ended from outside"):
        list(spread(os._exit, [9, 9], jobs=2))
