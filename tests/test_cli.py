"""The command line: what goes where, exit codes, one line for each mistake, files written whole or not at all."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result

import creepfit.cli.options
from creepfit.cli.commands import main
from creepfit.records.files import read_run
from creepfit.records.history_file import read_history
from creepfit.report.text.columns import PIPED
from creepfit.units import show_number

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[1] / "demo"
STRIP = str(DEMO / "petg-strip.toml")
HEADING = ["format", "version", "seed", "level", "run"]


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


def answer(*arguments: object) -> Any:
    """What a command prints with --json, checked to be JSON and nothing else on standard output."""
    done = run(*arguments, "--json")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


class TestHelp:
    @pytest.mark.parametrize("name", main.commands)
    def test_every_command_explains_itself_and_its_options(self, name: str) -> None:
        command = main.commands[name]
        assert command.help
        for parameter in command.params:
            if isinstance(parameter, click.Option):
                assert parameter.help, f"{name} {parameter.name}"
        assert run(name, "--help").exit_code == 0

    def test_the_commands_stand_in_the_order_of_the_work(self) -> None:
        listed = run("--help").stdout.split("Commands:")[1].split("\n")
        names = [line.split()[0] for line in listed if line.strip()]
        assert names == list(main.commands)
        assert names[:3] == ["new", "check", "fit"]


class TestNew:
    @pytest.mark.parametrize("kind", ["run", "workbook"])
    def test_a_template_reads_back_and_fits(self, kind: str, tmp_path: Path) -> None:
        path = tmp_path / ("mine.xlsx" if kind == "workbook" else "mine.toml")
        done = run("new", kind, path)
        assert (done.exit_code, done.stdout) == (0, "")
        assert done.stderr == f"wrote {path}\n"
        found = answer("fit", path)
        assert found["run"] == "PETG P-03"
        assert found["creep_modulus"][0]["median"] > 1000.0

    def test_a_part_template_is_written_too(self, tmp_path: Path) -> None:
        path = tmp_path / "part.toml"
        assert run("new", "part", path).exit_code == 0
        assert path.read_text(encoding="utf-8").startswith("# A part")

    def test_a_load_history_is_written_that_reads_back(self, short: Path, tmp_path: Path) -> None:
        path = tmp_path / "history.toml"
        assert run("new", "history", path).exit_code == 0
        text = path.read_text(encoding="utf-8")
        plan = read_history(path, read_run(short))
        assert [step.at for step in plan.steps] == [0.0, 30 * 86400.0]
        loads, cycle = text.split("[[load]]", 1)[0], text.split("end:\n", 1)[1]
        path.write_text(loads + re.sub("(?m)^# ", "", cycle), encoding="utf-8")  # and what stands there as a comment
        assert read_history(path, read_run(short)).period == 86400.0

    def test_a_workbook_has_the_name_of_one(self, tmp_path: Path) -> None:
        path = tmp_path / "x.csv"
        done = run("new", "workbook", path)
        assert (done.exit_code, done.stderr) == (2, f"creepfit: {path}: expected a file name that ends in .xlsx\n")
        assert not path.exists()

    def test_it_overwrites_only_with_force(self, tmp_path: Path) -> None:
        path = tmp_path / "mine.toml"
        path.write_text("precious", encoding="utf-8")
        done = run("new", "run", path)
        assert done.exit_code == 2
        expected = "creepfit: {}: the file exists already; expected another name, or --force to replace it\n"
        assert done.stderr == expected.format(path)
        assert path.read_text(encoding="utf-8") == "precious"
        assert run("new", "run", path, "--force").exit_code == 0
        assert path.read_text(encoding="utf-8").startswith("# A creep run")


class TestShort:
    @pytest.mark.parametrize(
        ("arguments", "says", "left"),
        [
            (["fit", STRIP], "After 5 d 54 min under load the deflection is 2.3", "Models: best fits"),
            (["forecast", STRIP, "--at", "1 year", "--limit", "2.5 mm"], "Limit of 2.5 mm", "Each model alone"),
            (["sag", DEMO / "bracket.toml", "--material", STRIP, "--at", "1 year"], "have sagged by", "Largest stress"),
        ],
    )  # fmt: skip
    def test_the_answer_two_doubts_and_where_more_is(self, arguments: list[object], says: str, left: str) -> None:
        done = run(*arguments)
        assert (done.exit_code, done.stderr) == (0, "")
        said = " ".join(done.stdout.split())
        assert says in said
        assert left not in said
        assert done.stdout.count("  ! ") <= 2
        assert "With --full: " in said
        assert len(done.stdout.splitlines()) <= 30


class TestFit:
    def test_text_goes_to_stdout_within_100_columns(self) -> None:
        done = run("fit", STRIP, "--full")
        assert (done.exit_code, done.stderr) == (0, "")
        lines = done.stdout.splitlines()
        assert lines[0] == "PETG strip 1"
        assert max(map(len, lines)) <= PIPED
        assert all(line == line.rstrip() for line in lines)

    def test_json_begins_with_the_heading_and_has_every_key(self) -> None:
        found = answer("fit", STRIP)
        assert list(found)[:5] == HEADING
        assert {"models", "increments", "creep_modulus", "creep_stop", "cautions"} <= set(found)
        model = found["models"][0]
        assert {"model", "weight", "parameters", "noise_sd", "readings", "free", "status"} <= set(model)
        assert set(model["parameters"][0]) == {"name", "value", "std_error", "unit", "why"}
        assert set(model["status"]) == {"converged", "at_bound", "determined"}
        assert set(found["increments"][0]) == {
            "from_h", "to_h", "change", "std_error", "unit", "distinguishable",
        }  # fmt: skip
        assert {"time_h", "low", "median", "high", "unit"} <= set(found["creep_modulus"][0])
        assert {"threshold", "window_h", "time_h", "why", "still_to_come"} <= set(found["creep_stop"])

    def test_several_runs_give_a_list_and_one_that_fails_does_not_stop_the_others(self, short: Path) -> None:
        done = run("fit", short, "nowhere.toml", short, "--json")
        assert done.exit_code == 2
        assert done.stderr == "creepfit: nowhere.toml: there is no such file\n"
        assert [found["run"] for found in json.loads(done.stdout)] == ["PP", "PP"]

    def test_level_and_seed_are_those_asked_for(self, short: Path) -> None:
        wide, narrow = answer("fit", short, "--level", "95 %"), answer("fit", short, "--level", "0.5", "--seed", 3)
        assert (wide["level"], narrow["level"], narrow["seed"]) == (0.95, 0.5, 3)

        def width(found: Any) -> float:
            row = found["creep_modulus"][2]
            return float(row["high"] - row["low"])

        assert width(wide) > 1.5 * width(narrow)

    @pytest.mark.fits_anew
    def test_the_same_input_gives_the_same_output(self, short: Path) -> None:
        assert run("fit", short, "--json").stdout == run("fit", short, "--json").stdout

    def test_every_run_of_a_workbook_is_fitted(self, tmp_path: Path) -> None:
        import openpyxl

        path = tmp_path / "book.xlsx"
        run("new", "workbook", path)
        book = openpyxl.load_workbook(path)
        book.copy_worksheet(book.active).title = "second"
        book.save(path)
        assert [found["run"] for found in answer("fit", path)] == ["PETG P-03", "PETG P-03"]
        kept = tmp_path / "kept"
        kept.mkdir()
        assert run("fit", path, "--save", kept).exit_code == 0
        assert sorted(p.name for p in kept.iterdir()) == ["book-P-03.json", "book-second.json"]


class TestForecast:
    def test_a_load_beyond_the_test_is_doubted(self, short: Path) -> None:
        def codes(*arguments: object) -> list[str]:
            return [c["code"] for c in answer("forecast", short, "--at", "1 d", *arguments)["cautions"]]

        tested = {"stress-not-tested", "stress-well-below-test"}
        assert not tested & set(codes())
        assert not tested & set(codes("--load", "9 kg"))
        assert "stress-not-tested" in codes("--load", "20 kg")
        assert "stress-well-below-test" in codes("--load", "1 kg")
        done = " ".join(run("forecast", short, "--at", "1 d", "--load", "20 kg").stdout.split())
        # 20 kg x 9.80665 m/s^2 on 10 mm x 4 mm: 4.9 MPa, twice the tested
        assert "OUTSIDE THE TEST: the load asked about comes to 4.9 MPa, the specimen only bore 2.45 MPa" in done
        assert "settled by: a run of the specimen under at least 20 kg (196 N)" in done

    def test_a_history_beyond_the_test_is_doubted_too(self, short: Path, tmp_path: Path) -> None:
        path = tmp_path / "cycle.toml"
        path.write_text('format = 1\n[duty]\nmass = "20 kg"\non = "8 h"\noff = "16 h"\n', encoding="utf-8")
        found = answer("forecast", short, "--at", "2 d", "--history", path)
        assert "stress-not-tested" in [c["code"] for c in found["cautions"]]

    def test_json_has_every_key(self) -> None:
        found = answer("forecast", STRIP, "--at", "30 d", "--at", "1 year", "--limit", "3 mm")
        assert list(found)[:5] == HEADING
        assert {"quantity", "unit", "forecast", "creep_modulus", "limit", "hindcast", "cautions"} <= set(found)
        assert [row["time_h"] for row in found["forecast"]] == [720.0, 8766.0]
        row = found["forecast"][1]
        assert {"time_h", "low", "median", "high", "decades_beyond", "share", "models"} <= set(row)
        assert set(row["share"]) == {"gauge", "parameters", "model", "discrepancy"}
        assert set(row["models"][0]) == {"model", "weight", "low", "median", "high"}
        assert {"value", "life_h", "load", "why"} <= set(found["limit"])

    def test_another_load_and_a_history_are_taken(self, short: Path, tmp_path: Path) -> None:
        held = answer("forecast", short, "--at", "30 d")["forecast"][0]["median"]
        half = answer("forecast", short, "--at", "30 d", "--load", "5 kg")["forecast"][0]["median"]
        assert half == pytest.approx(held / 2.0, rel=1e-9)
        plan = tmp_path / "plan.toml"
        plan.write_text('format = 1\n[duty]\nmass = "10 kg"\non = "8 h"\noff = "16 h"\n', encoding="utf-8")
        row = answer("forecast", short, "--at", "30 d", "--history", plan)["forecast"][0]
        assert row["median"] < 0.5 * row["always_on"]["median"] == pytest.approx(0.5 * held, rel=1e-9)

    def test_text_fits_the_width(self) -> None:
        done = run(
            "forecast", STRIP, "--at=1d", "--at=30d", "--at=90d", "--at=1 year", "--limit=3mm", "--reading", "--full"
        )
        assert (done.exit_code, done.stderr) == (0, "")
        assert max(map(len, done.stdout.splitlines())) <= PIPED
        assert "next reading of the gauge" in done.stdout


class TestRecover:
    def test_json_has_every_key(self, short: Path) -> None:
        found = answer("recover", STRIP, "--after", "1 min", "--after", "30 d")
        assert list(found)[:5] == HEADING
        assert {"unit", "recovery", "permanent_set", "last_reading", "cautions"} <= set(found)
        assert {"after_h", "low", "median", "high", "recovered_percent"} <= set(found["recovery"][0])
        assert {"low", "median", "high", "why"} <= set(found["permanent_set"])
        unread = answer("recover", short, "--after", "1 d")
        assert unread["last_reading"] is None
        assert unread["permanent_set"]["median"] is None
        assert "no reading was taken after an unloading" in unread["permanent_set"]["why"]

    def test_text_fits_the_width(self, short: Path) -> None:
        for path in (STRIP, short):
            done = run("recover", path, "--after", "1 d")
            assert (done.exit_code, done.stderr) == (0, "")
            assert max(map(len, done.stdout.splitlines())) <= PIPED
        assert "had it been unloaded at the last reading" in done.stdout


class TestCheck:
    def test_json_has_the_cautions_with_what_settles_them(self, short: Path) -> None:
        found = answer("check", short)
        assert list(found)[:5] == HEADING
        assert found["cautions"]
        assert all(set(c) == {"code", "text", "settled_by"} for c in found["cautions"])
        assert "no-recovery-reading" in {c["code"] for c in found["cautions"]}
        assert found["against"] is None

    def test_an_old_forecast_is_scored_by_the_readings_since(self, short: Path, tmp_path: Path) -> None:
        kept = tmp_path / "old.json"
        run("fit", short, "--save", kept)
        text = short.read_text(encoding="utf-8").replace('"1 d"]', '"1 d", "4 d", "10 d"]')
        later = tmp_path / "later.toml"
        later.write_text(text.replace('"0.153 mm"]', '"0.153 mm", "0.166 mm", "0.178 mm"]'), encoding="utf-8")
        good = answer("check", later, "--against", kept)["against"]
        assert (good["readings"], good["inside"], good["fitted_to_h"]) == (2, 2, 24.0)
        later.write_text(text.replace('"0.153 mm"]', '"0.153 mm", "0.166 mm", "0.478 mm"]'), encoding="utf-8")
        bad = answer("check", later, "--against", kept)["against"]
        assert (bad["readings"], bad["inside"]) == (2, 1)
        assert bad["largest_miss"]["time_h"] == 240.0
        assert "1 of 2 later readings" in run("check", later, "--against", kept).stdout

    def test_without_new_readings_it_says_so(self, short: Path, tmp_path: Path) -> None:
        kept = tmp_path / "old.json"
        run("fit", short, "--save", kept)
        found = answer("check", short, "--against", kept)
        assert found["against"] is None
        assert found["against_why"].startswith("no reading under load after 1 d")


class TestSag:
    def test_a_stress_beyond_the_test_is_in_the_first_sentence(self, tmp_path: Path) -> None:
        heavy = tmp_path / "bracket.toml"
        heavy.write_text((DEMO / "bracket.toml").read_text(encoding="utf-8").replace("0.9 kg", "9 kg"), encoding="utf-8")
        said = " ".join(run("sag", heavy, "--material", STRIP, "--at", "1 year").stdout.split())
        assert re.search(r"is out of reach: at 5\.\d times the highest stress tested the strain comes to", said)
        assert "how long it is kept as it is cannot be said" in said
        assert "by this thickness" in said
        light = " ".join(run("sag", DEMO / "bracket.toml", "--material", STRIP, "--at", "1 year").stdout.split())
        assert "highest stress tested" not in light

    def test_json_has_every_key(self) -> None:
        found = answer("sag", DEMO / "bracket.toml", "--material", STRIP, "--at", "30 d", "--at", "1 year")
        assert list(found)[:5] == HEADING
        assert {"unit", "sag", "life", "stress", "cautions"} <= set(found)
        assert [row["time_h"] for row in found["sag"]] == [720.0, 8766.0]
        assert {"time_h", "low", "median", "high"} <= set(found["sag"][0])
        assert {"limit", "low_h", "median_h", "high_h", "why"} <= set(found["life"])
        assert found["stress"]["part_MPa"] < found["stress"]["tested_MPa"]
        assert 2.0 < found["sag"][1]["median"] < 8.0  # a few millimetres: worth asking about

    def test_text_fits_the_width(self) -> None:
        arguments = ["--at", "1 year", "--limit", "4 mm", "--life", "90 d", "--scatter", "5 %", "--unload-at", "60 d"]
        done = run("sag", DEMO / "bracket.toml", "--material", STRIP, *arguments, "--full")
        assert (done.exit_code, done.stderr) == (0, "")
        assert max(map(len, done.stdout.splitlines())) <= PIPED
        assert "Limit of 4 mm" in done.stdout

    def test_a_run_in_place_of_a_part_is_told_of(self) -> None:
        done = run("sag", STRIP, "--material", STRIP, "--at", "1 year")
        assert done.exit_code == 2
        assert done.stderr.startswith(f"creepfit: {STRIP}: this is a run file; expected a part file here; ")
        assert done.stderr.count("\n") == 1

    def test_a_scatter_can_be_a_fraction_or_per_cent(self) -> None:
        asked = ["sag", DEMO / "bracket.toml", "--material", STRIP, "--at", "30 d", "--scatter"]
        assert answer(*asked, "8 %")["sag"] == answer(*asked, "0.08")["sag"]


class TestSaved:
    def test_a_saved_result_stands_wherever_a_run_does(self, short: Path, tmp_path: Path) -> None:
        kept = tmp_path / "kept.json"
        done = run("fit", short, "--save", kept, "--level", "0.8", "--json")
        assert done.stderr == f"saved {kept}\n"
        again = run("fit", kept, "--json")
        assert (again.stdout, again.stderr) == (done.stdout, "")
        short.unlink()
        assert answer("forecast", kept, "--at", "1 year")["level"] == 0.8
        assert answer("forecast", kept, "--at", "1 year", "--level", "0.95")["level"] == 0.95

    def test_other_numbers_than_those_saved_are_told_of(self, short: Path, tmp_path: Path) -> None:
        kept = tmp_path / "kept.json"
        run("fit", short, "--save", kept)
        content = json.loads(kept.read_text(encoding="utf-8"))
        content["version"] = "0.0.9"
        was = content["summary"]["forecast"][0]["median"]
        content["summary"]["forecast"][0]["median"] = 1.5 * was
        kept.write_text(json.dumps(content), encoding="utf-8")
        done = run("fit", kept)
        assert done.exit_code == 0
        assert done.stderr.startswith(f"{kept}: the numbers differ from those saved (saved by version 0.0.9, this is ")
        assert done.stderr.count("\n") == 1
        expected = f"median after 1 d under load [mm] was {show_number(1.5 * was)}, is {show_number(was)}\n"
        assert done.stderr.endswith(expected)

    def test_it_is_not_overwritten_and_said_so_before_the_work(self, short: Path, tmp_path: Path) -> None:
        kept = tmp_path / "kept.json"
        kept.write_text("precious", encoding="utf-8")
        done = run("fit", short, "--save", kept)
        assert (done.exit_code, done.stdout) == (2, "")
        assert kept.read_text(encoding="utf-8") == "precious"
        assert run("fit", short, "--save", kept, "--force").exit_code == 0

    def test_several_runs_need_a_folder(self, short: Path, tmp_path: Path) -> None:
        done = run("fit", short, STRIP, "--save", tmp_path / "one.json")
        assert done.exit_code == 2
        assert "--save: several runs need a folder" in done.stderr

    @pytest.mark.parametrize(
        ("content", "says"),
        [
            ("{", "cannot be read as a saved result (not JSON, perhaps cut short)"),
            ('{"a": 1}', "not a saved result; expected a file written by --save, or a run file"),
            ('{"creepfit": "saved result", "format": 7}', "format: found 7; expected 1"),
            ('{"creepfit": "saved result", "format": 1}', "was changed by hand or cut short"),
            (
                '{"creepfit": "saved result", "format": 1, "run": {"tables": 3, "readings": []}, "options": {}}',
                "was changed by hand or cut short",
            ),
        ],
    )
    def test_what_is_no_saved_result_gets_one_line(self, content: str, says: str, tmp_path: Path) -> None:
        path = tmp_path / "x.json"
        path.write_text(content, encoding="utf-8")
        done = run("fit", path)
        assert done.exit_code == 2
        assert done.stderr.startswith(f"creepfit: {path}")
        assert says in done.stderr
        assert done.stderr.count("\n") == 1


class TestTerminal:
    @pytest.mark.parametrize(("encoding", "shown"), [("ascii", "+-"), ("utf-8", "±"), ("cp1252", "±")])
    def test_a_pipe_gets_what_it_can_show(self, encoding: str, shown: str, short: Path) -> None:
        done = CliRunner(charset=encoding).invoke(main, ["fit", str(short), "--full"])
        text = done.stdout_bytes.decode(encoding)
        assert shown in text
        assert "?" not in text.replace("stopped?", "")
        assert done.stderr_bytes == b""

    def test_a_process_of_its_own_goes_by_the_encoding_of_its_pipe(self, short: Path) -> None:
        program = [sys.executable, "-c", "from creepfit.cli.commands import main; main()", "fit", str(short), "--full"]
        done = subprocess.run(program, capture_output=True, env={"PYTHONIOENCODING": "ascii", "PATH": ""}, check=True)
        assert "+-" in done.stdout.decode("ascii")
        assert done.stderr == b""

    def test_json_stays_json_in_ascii(self, short: Path) -> None:
        done = CliRunner(charset="ascii").invoke(main, ["fit", str(short), "--json"])
        assert json.loads(done.stdout_bytes.decode("ascii"))["run"] == "PP"

    def test_progress_is_shown_on_a_terminal_only(self, monkeypatch: pytest.MonkeyPatch) -> None:
        made = []

        class Bar:
            def add_task(self, what: str, total: int | None) -> int:
                made.append((what, total))
                return 0

            def start(self) -> None: ...
            def stop(self) -> None:
                made.append("stopped")

            def advance(self, task: int) -> None:
                made.append("step")

        monkeypatch.setattr(creepfit.cli.options, "_bar", Bar)
        with creepfit.cli.options.progress("fitting", 3) as step:
            step()
        assert made == []
        monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
        with creepfit.cli.options.progress("fitting", 3) as step:
            step()
        assert made == [("fitting", 3), "step", "stopped"]


def test_runs_of_one_name_are_told_apart_by_their_files_in_a_report(short: Path, tmp_path: Path) -> None:
    # before: "by PETG P-1 ... By PETG P-1 it cannot be forecast", and three labels "PETG P-1"
    text = short.read_text(encoding="utf-8")
    for name, more in (("first", "0.000 mm"), ("second", "0.001 mm")):
        (tmp_path / f"{name}.toml").write_text(text.replace('"0.000 mm"', f'"{more}"'), encoding="utf-8")
    files = [str(tmp_path / f"{name}.toml") for name in ("first", "second")]
    done = CliRunner().invoke(main, ["report", *files, "-o", str(tmp_path / "both.html")])
    assert done.exit_code == 0, done.output
    page = (tmp_path / "both.html").read_text(encoding="utf-8")
    assert "(first)" in page
    assert "(second)" in page
