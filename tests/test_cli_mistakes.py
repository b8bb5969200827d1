"""Mistakes on the command line and in files: one line each on standard error, exit code 2, and the rest is done."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from creepfit.cli.commands import main

DEMO = Path(__file__).parents[1] / "demo"
STRIP = str(DEMO / "petg-strip.toml")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


class TestMistakes:
    @pytest.mark.parametrize(
        ("arguments", "says"),
        [
            (["fit", "nowhere.toml"], "creepfit: nowhere.toml: there is no such file"),
            (["fit", str(DEMO.parent / ".ci")], "creepfit: {ci}: "),
            (["forecast", STRIP, "--at", "3 yaer"], 'creepfit: --at: unknown unit "yaer" (did you mean "year"?)'),
            (
                ["forecast", STRIP, "--at", "-1 d"],
                "creepfit: --at: found '-1 d'; expected a time such as \"5 d\", above zero",
            ),
            (["forecast", STRIP, "--at", "1 d", "--limit", "2 kg"], 'creepfit: --limit: "kg" is the unit of a mass'),
            (["forecast", STRIP, "--at", "1 d", "--load", "2 mm"], "creepfit: --load: "),
            (["forecast", STRIP, "--at", "24.12.2031"], "creepfit: --at: a date, and it is not known on which the load"),
            (
                ["forecast", STRIP, "--at", "1 d", "--load=-5 kg"],
                "creepfit: --load: found '-5 kg'; expected a load above zero, as the run's\n",
            ),
            (
                ["fit", str(DEMO / "bracket.toml")],
                f"creepfit: {DEMO / 'bracket.toml'}: this is a part file; expected a run file here; "
                "name a part file after sag, or with --part\n",
            ),
            (
                ["sag", str(DEMO / "bracket.toml"), "--material", STRIP, "--at", "1 d", "--scatter", "8"],
                "creepfit: --scatter: found '8'; expected a fraction from 0 to 1 such as 0.08 or \"8 %\"\n",
            ),
            (
                ["batch", STRIP, "-o", "results"],
                "creepfit: -o: a result is written for each run; expected a folder for them: --into results\n",
            ),
            (
                ["sag", str(DEMO / "petg-strip.csv"), "--material", STRIP, "--at", "1 d"],
                f"creepfit: {DEMO / 'petg-strip.csv'}: this is a table; expected a TOML file here",
            ),
            (["add", str(DEMO / "petg-strip.png"), "2 mm"], f"creepfit: {DEMO / 'petg-strip.png'}: this is a picture;"),
            (
                ["forecast", STRIP, "--level", "0.999999"],  # "(100 %: 2.6 to 13 mm)" was the answer
                "creepfit: --level: nobody can tell the ends of so sure an interval; found '0.999999'; expected 0.99",
            ),
            (["fit", STRIP, "--level", "90"], "creepfit: --level: found '90'; expected a probability between 0 and 1"),
            (
                ["report", STRIP, "-o", "pages/"],
                "creepfit: pages/: this is a directory; expected the name of a file to write",
            ),
            (["fit", STRIP, "--save", "no/such/place.json"], "creepfit: no/such: there is no such directory"),
        ],
    )
    def test_each_gets_one_line_on_stderr_and_exit_code_2(self, arguments: list[str], says: str) -> None:
        done = run(*arguments)
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr.startswith(says.format(ci=DEMO.parent / ".ci"))
        assert done.stderr.count("\n") == 1

    @pytest.mark.parametrize(
        "arguments",
        [
            ["fit", STRIP, "--save", "NAME"],
            ["forecast", STRIP, "--at", "1 d", "--figure", "NAME"],
            ["batch", STRIP, "--into", "NAME"],
            ["report", STRIP, "-o", "page.html", "--figures", "NAME"],
            ["desk", "NAME"],
            ["sag", "NAME", "--material", STRIP, "--at", "1 d"],
            ["check", STRIP, "--against", "NAME"],
            ["add", STRIP, "5.6 mm", "--at", "9 d", "--save", "NAME"],
        ],
    )
    @pytest.mark.parametrize("name", ["", "x" * 300])
    def test_a_name_that_no_file_or_folder_can_have(
        self, arguments: list[str], name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(tmp_path)
        done = run(*(name if a == "NAME" else a for a in arguments))
        assert (done.exit_code, done.stdout) == (2, "")
        assert list(tmp_path.iterdir()) == []

    @pytest.mark.parametrize(
        ("arguments", "endings"),
        [
            (["fit", "short.toml", "--save"], ".json"),
            (["forecast", "short.toml", "--at", "1 d", "--save"], ".json"),
            (["report", "short.toml", "-o"], ".html or .htm"),
            (["fit", "short.toml", "--figure"], ".svg or .png"),
        ],
    )
    @pytest.mark.parametrize("name", ["short.toml", "readings.csv"])
    def test_force_never_puts_an_answer_in_place_of_a_run_or_its_readings(
        self, arguments: list[str], endings: str, name: str, short: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.chdir(short.parent)
        Path("readings.csv").write_text("time,reading\n", encoding="utf-8")
        before = Path(name).read_bytes()
        done = run(*arguments, name, "--force")
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr == f"creepfit: {name}: expected a file name that ends in {endings}\n"
        assert Path(name).read_bytes() == before

    def test_a_run_that_cannot_be_fitted_is_named(self, short: Path, tmp_path: Path) -> None:
        path = tmp_path / "one.toml"
        text = short.read_text(encoding="utf-8").replace('"1 min", "10 min", "100 min", "1 d"]', '"1 min"]')
        path.write_text(text.replace('"0.110 mm", "0.121 mm", "0.134 mm", "0.153 mm"]', '"0.110 mm"]'), encoding="utf-8")
        done = run("fit", path)
        assert done.exit_code == 2
        assert done.stderr.startswith(f"creepfit: {path}: one reading under load cannot show creep")

    @pytest.mark.parametrize("where", ["before", "after"])
    def test_debug_shows_the_traceback(self, where: str) -> None:
        arguments = ["--debug", "fit", "nowhere.toml"] if where == "before" else ["fit", "nowhere.toml", "--debug"]
        done = run(*arguments)
        assert done.exit_code == 2
        assert "Traceback" in done.stderr
        assert "InputError" in done.stderr

    def test_a_fault_of_ours_is_owned_up_to(self, monkeypatch: pytest.MonkeyPatch, short: Path) -> None:
        def broken(*_: object) -> None:
            raise ZeroDivisionError("division\nby zero")

        monkeypatch.setattr("creepfit.answers.specimen.summary.summarise", broken)
        done = run("fit", short)
        assert (done.exit_code, done.stdout) == (1, "")
        assert done.stderr == (
            "creepfit: a fault of ours, not of your files (ZeroDivisionError: division by zero); "
            "run it again with --debug and send us what it prints\n"
        )


class TestFiles:
    def test_the_same_readings_twice_are_no_further_evidence(self, short: Path, tmp_path: Path) -> None:
        copy = tmp_path / "copy.toml"
        copy.write_text("# a copy\n" + short.read_text(encoding="utf-8"), encoding="utf-8")
        for command in (["fit", "--pool"], ["compare"], ["stress"]):
            done = run(*command, short, copy)
            assert (done.exit_code, done.stdout) == (2, "")
            assert done.stderr == f"creepfit: the same run twice: {short} and {copy}; expected each run once\n"

    def test_a_copy_in_a_folder_is_compared_once(self, short: Path, tmp_path: Path) -> None:
        for name, swapped in (("copy", ("", "")), ("pla", ('"PP"', '"PLA"'))):
            (tmp_path / f"{name}.toml").write_text(short.read_text(encoding="utf-8").replace(*swapped), encoding="utf-8")
        done = run("compare", tmp_path)
        assert done.exit_code == 0, done.output
        assert done.stderr.count("the same run as in") == 1
        assert "PLA" in done.stdout

    def test_a_table_without_names_is_told_so(self, short: Path, tmp_path: Path) -> None:
        (tmp_path / "bare.csv").write_text("02.03.2026 08:29;1,31\n02.03.2026 08:31;3,59\n", encoding="utf-8")
        done = run("new", "run", tmp_path / "new.toml", "--from", tmp_path / "bare.csv")
        assert done.exit_code == 2
        assert "no line with the names of the columns above the readings; found '02.03.2026 08:29, 1,31'" in done.stderr

    def test_of_several_materials_it_is_said_how_they_are_named(self, short: Path) -> None:
        done = run("sag", "part.toml", "--material", short, short, "--at", "1 d")
        assert done.exit_code == 2
        assert "several runs of a material: --material RUN --material RUN" in done.output

    def test_a_force_as_a_mass_is_told_its_key(self, short: Path, tmp_path: Path) -> None:
        text = re.sub(r'mass = "[^"]+"', 'mass = "4 N"', short.read_text(encoding="utf-8"))
        (tmp_path / "n.toml").write_text(text, encoding="utf-8")
        assert "or the key force in place of mass" in run("check", tmp_path / "n.toml").stderr

    def test_every_unreadable_file_of_a_folder_is_named(self, short: Path, tmp_path: Path) -> None:
        spoilt = {"syntax": b"[run\nmaterial=", "format": b"format = 1\n", "latin": b'[part]\nname = "\xe4"\n'}
        other = {"part": b"format = 1\n[part]\n", "duty": b"format = 1\n[duty]\n", "else": b"[tool.x]\ny = 1\n"}
        for name, content in (spoilt | other).items():
            (tmp_path / f"{name}.toml").write_bytes(content)
        into = tmp_path / "results"
        here = ["--jobs", "1"]
        for arguments in (["fit", tmp_path], ["batch", tmp_path, "--into", into, *here], ["shelf", tmp_path, *here]):
            done = run(*arguments)
            assert done.exit_code == 2
            lines = [line for line in done.stderr.splitlines() if line.startswith("creepfit: ")]
            assert len(lines) == len(spoilt)
            for name in spoilt:
                assert any(line.startswith(f"creepfit: {tmp_path / name}.toml") for line in lines), name
        assert [p.name for p in into.iterdir() if not p.name.startswith(".")] == ["short.json"]
