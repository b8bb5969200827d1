"""`creepfit new run --from readings.csv`: a run file around a table that is there, by asking."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from creepfit.cli.commands import main
from creepfit.records.files import read_run

TABLE = """\
Messreihe PETG;;;
Datum;Uhrzeit;Ablesung [mm];Bemerkung;Prüfer
04.05.2026;08:00;12,40;vor Last;AB
04.05.2026;08:06;14,67;;AB
05.05.2026;08:05;14,95;;CD
09.05.2026;08:05;15,14;;AB
09.05.2026;08:07;12,87;entlastet;AB
"""
ANSWERS = "PETG\n\nthree\n64 mm\n12\n12 mm\n4 mm\n\n\n0,4 kg\n\n09.05.2026 08:05\n"


def asked(folder: Path, answers: str = ANSWERS, table: str = TABLE) -> Result:
    (folder / "messung.csv").write_text(table, encoding="cp1252")
    command = ["new", "run", str(folder / "bar.toml"), "--from", str(folder / "messung.csv")]
    return CliRunner().invoke(main, command, input=answers)


def test_a_table_is_turned_into_a_run_by_asking(tmp_path: Path) -> None:
    done = asked(tmp_path)
    assert done.exit_code == 0, done.output
    assert "Width" in done.output
    assert "the unit is missing; found '12'" in done.output  # and it was asked for again
    run = read_run(tmp_path / "bar.toml")
    assert (run.material, run.name, run.working_load) == ("PETG", "bar", pytest.approx(0.4 * 9.80665))
    assert len(run.initial) == 1
    assert run.unloading == pytest.approx(5 * 86400 + 300)
    assert run.passed_over == ("Prüfer",)
    assert not run.gauge.falls


def test_a_table_where_a_run_is_wanted_points_there(tmp_path: Path) -> None:
    (tmp_path / "messung.csv").write_text(TABLE, encoding="utf-8")
    done = CliRunner().invoke(main, ["fit", str(tmp_path / "messung.csv")])
    assert done.exit_code == 2
    assert "creepfit new run messung.toml --from messung.csv asks for the rest" in done.output


def test_what_is_not_used_of_a_table_is_named(tmp_path: Path) -> None:
    asked(tmp_path)
    done = CliRunner().invoke(main, ["fit", str(tmp_path / "bar.toml")])
    assert 'not used of the table: "Prüfer"' in " ".join(done.output.split())


def test_nothing_is_written_where_an_answer_is_missing_or_the_file_is_there(tmp_path: Path) -> None:
    done = asked(tmp_path, "PETG\n")
    assert done.exit_code == 2
    assert "an answer is missing" in done.output
    assert not (tmp_path / "bar.toml").exists()
    (tmp_path / "bar.toml").write_text("kept", encoding="utf-8")
    assert asked(tmp_path).exit_code == 2
    assert (tmp_path / "bar.toml").read_text(encoding="utf-8") == "kept"


@pytest.mark.parametrize("closed", [True, False])
def test_without_a_terminal_one_line_says_how_to_answer(tmp_path: Path, closed: bool) -> None:
    """Closed it was called a fault of ours, and without a line one read "expected what was asked for"."""
    (tmp_path / "messung.csv").write_text(TABLE, encoding="utf-8")
    asking = [sys.executable, "-m", "creepfit", "new", "run", "bar.toml", "--from", "messung.csv"]
    command = ["sh", "-c", 'exec "$@" <&-', "sh", *asking] if closed else asking
    done = subprocess.run(command, cwd=tmp_path, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    last = done.stderr.splitlines()[-1]
    assert last.startswith(
        'creepfit: Material, such as "PETG": an answer is missing; expected an answer a line on standard'
    )
    assert 'file = "messung.csv" under [readings]' in last
    assert not (tmp_path / "bar.toml").exists()


@pytest.mark.parametrize(("kind", "name"), [("run", "bar.toml"), ("part", "arm.toml"), ("workbook", "book.xlsx")])
def test_what_is_replaced_is_kept_each_time(tmp_path: Path, kind: str, name: str) -> None:
    file = tmp_path / name
    for k, readings in enumerate((b"five days of readings", b"five more"), start=1):
        file.write_bytes(readings)
        assert CliRunner().invoke(main, ["new", kind, str(file)]).exit_code == 2
        done = CliRunner().invoke(main, ["new", kind, str(file), "--force"])
        kept = tmp_path / (f"{name}.bak" if k == 1 else f"{name}.bak{k}")
        assert done.exit_code == 0
        assert kept.read_bytes() == readings
        assert f"(last state kept in {kept})" in done.output
    again = CliRunner().invoke(main, ["new", "run", str(tmp_path / "new.toml")])
    assert "last state" not in again.output
    again = CliRunner().invoke(main, ["new", "run", str(tmp_path / "new.toml"), "--force"])  # nothing is lost
    assert "last state" not in again.output


def test_a_part_is_made_of_no_readings(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["new", "part", str(tmp_path / "p.toml"), "--from", "x.csv"])
    assert done.exit_code == 2
    assert "creepfit new run FILE --from CSV" in done.output


@pytest.mark.parametrize(
    ("typed", "meant"), [("1 Jahr", "year"), ("5 Tage", "d"), ("3 Stunden", "h"), ("2 Wochen", "weeks")]
)
def test_words_of_another_language_get_the_right_hint(typed: str, meant: str) -> None:
    done = CliRunner().invoke(main, ["forecast", "x.toml", "--at", typed])
    assert done.exit_code == 2
    assert f'(did you mean "{meant}"?)' in done.output


@pytest.mark.parametrize(("load", "newtons"), [("1 lb", 0.45359237 * 9.80665), ("4 N", 4.0), ("2 kgf", 2 * 9.80665)])
def test_a_load_in_any_unit_becomes_a_file_that_can_be_read(tmp_path: Path, load: str, newtons: float) -> None:
    done = asked(tmp_path, ANSWERS.replace("0,4 kg", load))
    assert done.exit_code == 0, done.output
    assert read_run(tmp_path / "bar.toml").working_load == pytest.approx(newtons)
