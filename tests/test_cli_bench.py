"""A week at the bench on the command line: the first day, a reading each day, slips noticed at once."""

from __future__ import annotations

import json
import shutil
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from creepfit.cli.commands import main

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[1] / "demo"
DAY_ONE = (
    'format = 1\n[run]\nmaterial = "PETG"\n{start}[specimen]\ntest = "cantilever"\nlength = "60 mm"\nwidth = "12 mm"\n'
    'thickness = "4 mm"\n[gauge]\nresolution = "0.01 mm"\ninstrument = "dial gauge"\n{load}[readings]\ntime = {times}\n'
    "reading = {readings}\n"
)
LOAD = '[[load]]\nat = "0 s"\nmass = "0.4 kg"\n'
START = 'start = "2131-05-04 16:30"\n'


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(a) for a in arguments])


@pytest.fixture
def day_one(tmp_path: Path):
    def write(times: str = "[]", readings: str = "[]", load: str = LOAD, start: str = START) -> Path:
        path = tmp_path / "bar.toml"
        path.write_text(DAY_ONE.format(times=times, readings=readings, load=load, start=start), encoding="utf-8")
        return path

    return write


@pytest.fixture
def strip(tmp_path: Path) -> Path:
    folder = tmp_path
    for name in ("petg-strip.toml", "petg-strip.csv"):
        shutil.copy(DEMO / name, folder / name)
    table = (folder / "petg-strip.csv").read_text(encoding="utf-8").splitlines()
    (folder / "petg-strip.csv").write_text("\n".join(table[:9]) + "\n", encoding="utf-8")  # up to 97.2 h
    return folder / "petg-strip.toml"


class TestFirstDay:
    @pytest.mark.parametrize(
        ("times", "readings", "load", "says"),
        [
            ("[]", "[]", LOAD, "read the gauge before the load goes on"),
            ("[]", "[]", "", "read the gauge before the load goes on"),
            ('["-1 min"]', '["12.40 mm"]', "", "put the load on and note when"),
            ('["-1 min"]', '["12.40 mm"]', LOAD, "read 1 min after loading (Fri 4 May, 16:31)"),
            ('["-1 min", "1 min"]', '["12.40 mm", "14.67 mm"]', LOAD, "read 10 min after loading (Fri 4 May, 16:40)"),
            ('["1 min"]', '["14.67 mm"]', LOAD, "today it costs little"),
            ('["1 min", "10 min"]', '["14.67 mm", "14.71 mm"]', LOAD, "read 1 h after loading (Fri 4 May, 17:30)"),
        ],
    )
    def test_check_says_what_to_read_next_and_never_that_something_is_wrong(
        self, day_one, times: str, readings: str, load: str, says: str
    ) -> None:
        done = run("check", day_one(times, readings, load))
        assert (done.exit_code, done.stderr) == (0, "")
        assert says in " ".join(done.stdout.split())
        assert json.loads(run("check", day_one(times, readings, load), "--json").stdout)["begun"] is True

    def test_how_far_the_load_should_move_the_gauge(self, day_one) -> None:
        # G = 60^3 / (3 I), I = 12 * 4^3 / 12 = 64, with shear: about 1130 mm MPa/N; 3.92 N over 0.72 to 2.73 GPa
        assert "This load should move the gauge by 1.6 to 6.2 mm" in run("check", day_one()).stdout

    def test_a_slip_in_the_sizes_shows_with_the_first_reading(self, day_one) -> None:
        path = day_one('["-1 min", "1 min"]', '["12.40 mm", "12.64 mm"]')
        said = " ".join(run("check", path).stdout.split())
        assert "comes to a modulus of 1" in said
        assert "are width and thickness swapped? or was a force in N typed as a mass in kg?" in said.casefold().replace(
            " in n ", " in N "
        )

    def test_a_load_noted_after_readings_that_moved_under_it(self, day_one) -> None:
        moved = run("check", day_one('["-2 d", "-47 h", "-1 d"]', '["12.40 mm", "14.67 mm", "14.95 mm"]'))
        assert "was the load put on earlier than the file says?" in " ".join(moved.stdout.split())
        assert "nothing is wrong" not in moved.stdout
        anew = run("check", day_one('["-3 min", "-2 min", "-1 min"]', '["12.40 mm", "12.44 mm", "12.42 mm"]'))
        assert "earlier than the file says" not in anew.stdout

    def test_a_planned_run_is_told_the_times_of_its_own_plan(self, day_one) -> None:
        # before: "read 6 h after loading" and "5 d after that", whatever the file had laid out
        load = LOAD + '[[load]]\nat = "5 d"\nmass = "0 kg"\n'
        times = '["-1 min", "1 min", "1 h", "3 h 30 min", "5 d", "5 d 1 min", "9 d 8 h 30 min"]'
        said = " ".join(run("check", day_one(times, '["12.40 mm", "", "", "", "", "", ""]', load)).stdout.split())
        assert "read 3 h 30 min after loading (Fri 4 May, 20:00)" in said
        assert "read 10 min" not in said
        assert "6 h" not in said
        assert "take the load off then, and read 1 min, 4 d 8 h after that (Wed 9 May, 16:30)" in said

    def test_without_dates_there_are_no_clock_times(self, day_one) -> None:
        said = run("check", day_one('["-1 min"]', '["12.40 mm"]', LOAD, "")).stdout
        assert "read 1 min after loading\n" in said

    def test_other_commands_still_say_that_there_is_too_little(self, day_one) -> None:
        done = run("fit", day_one('["-1 min"]', '["12.40 mm"]'))
        assert done.exit_code == 2
        assert "found '1 reading'; expected at least two" in done.stderr


def test_a_folder_of_runs_is_what_a_part_is_made_of(short: Path, tmp_path: Path) -> None:
    folder = tmp_path / "runs"
    folder.mkdir()
    for name, more in (("a", "0.000 mm"), ("b", "0.001 mm")):
        text = short.read_text(encoding="utf-8").replace('"0.000 mm"', f'"{more}"')
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    done = run("sag", DEMO / "bracket.toml", "--material", folder, "--at", "1 d", "--json")
    assert done.exit_code == 0  # "several runs where one is wanted" before
    assert json.loads(done.stdout)["run"].startswith("PP, 2 runs pooled")


class TestAdd:
    def test_a_reading_as_forecast(self, strip: Path) -> None:
        done = run("add", strip, "5.74 mm", "--at", "120.9 h")
        assert done.exit_code == 0
        assert done.stdout.startswith("0.02 mm more than 1 d before; as forecast, 5.7")
        assert "next: " in done.stdout
        assert "petg-strip.csv.bak" in done.stderr
        assert (strip.parent / "petg-strip.csv").read_text(encoding="utf-8").endswith("97.2,5.72\n120.9,5.74\n")

    @pytest.mark.parametrize("kind", ["run", "workbook"])
    def test_the_daily_command_works_on_a_new_file(self, tmp_path: Path, kind: str) -> None:
        # before: "the file has elapsed times only", as the template's start was commented out
        path = tmp_path / ("bar.toml" if kind == "run" else "bar.xlsx")
        assert run("new", kind, path).exit_code == 0
        done = run("add", path, "15.14 mm")
        assert done.exit_code == 0, done.output
        assert "the load went on" not in done.stderr

    def test_one_that_is_typed_twice_is_asked_about(self, strip: Path) -> None:
        run("add", strip, "5.74 mm", "--at", "120.9 h")
        again = run("add", strip, "5.74 mm", "--at", "120.9 h")
        said = " ".join(again.stdout.split())
        assert said.startswith("the same reading stands at that time already: was it typed twice?")

    def test_days_are_named_as_people_do(self, day_one) -> None:
        hour = f"{datetime.now() - timedelta(days=1):%Y-%m-%d} 16:29"
        path = day_one(start=f'start = "{hour[:10]} 16:30"\n')
        assert run("add", path, "12.40 mm", "--at", "yesterday 16:29").exit_code == 0
        assert '"-1 min"' in path.read_text(encoding="utf-8")
        bare = run("add", path, "12.40 mm", "--at", "yesterday")
        assert bare.exit_code == 2
        assert 'expected the time of day with it, such as "yesterday 16:30"' in bare.stderr

    def test_a_reading_in_the_future_is_said_to_be_one(self, day_one) -> None:
        now = datetime.now()
        path = day_one(start=f'start = "{now - timedelta(hours=2):%Y-%m-%d %H:%M}"\n')
        for hours, ahead in ((-1, False), (3, True)):
            done = run("add", path, f"13.{40 + hours} mm", "--at", f"{now + timedelta(hours=hours):%Y-%m-%d %H:%M}")
            assert done.exit_code == 0, done.output
            assert ("that is in the future" in done.stderr) == ahead

    def test_a_mistyped_one_is_noticed_and_can_be_left_out(self, strip: Path) -> None:
        done = run("add", strip, "5.47 mm", "--at", "120.5 h", "--json")
        assert "in the future" not in done.stderr
        found = json.loads(done.stdout)
        assert found["reading"]["as_forecast"] is False
        assert "far below the forecast of 5.7" in found["text"]
        assert found["cautions"]
        row = len((strip.parent / "petg-strip.csv").read_text(encoding="utf-8").splitlines())
        done = run("add", strip, "--skip", row, "--why", "5.74 written the wrong way round")
        assert "5.47 mm, is left out: 5.74 written the wrong way round" in " ".join(done.stdout.split())
        assert "is left out: 5.74 written" in " ".join(run("check", strip).stdout.split())

    def test_one_that_is_still_doubted_spoils_no_later_verdict(self, day_one) -> None:
        # before: 15.14 mm "far below the forecast of 50.78 to 51.11 mm", with no word of the 150.8 mm
        times = '["-1 min", "1 min", "1 h", "4 h", "8 h", "24 h", "2 d"]'
        shown = '["12.40 mm", "14.67 mm", "14.77 mm", "14.85 mm", "14.89 mm", "14.95 mm", "15.03 mm"]'
        path = day_one(times, shown, start="")
        wrong = " ".join(run("add", path, "150.8 mm", "--at", "3 d").stdout.split())
        assert "15.08 mm would fit" in wrong
        assert 'leave it out: creepfit add RUN --skip 8 --why "mistyped"; then add it right' in wrong
        done = run("add", path, "15.14 mm", "--at", "5 d", "--json")
        found = json.loads(done.stdout)
        assert found["reading"]["forecast"] is None
        assert found["reading"]["change"] == pytest.approx(0.11)  # since the last that is not doubted
        assert found["doubted"] == {"time_h": 72.0, "value": 150.8, "place": "8", "would_fit": "15.08 mm"}
        later = " ".join(run("add", path, "15.15 mm", "--at", "6 d").stdout.split())
        assert "150.8 mm, is still doubted: 15.08 mm would fit. leave it out: creepfit add RUN --skip 8" in later
        assert "far below" not in later
        run("add", path, "--skip", 8, "--why", "mistyped")
        right = json.loads(run("add", path, "15.17 mm", "--at", "7 d", "--json").stdout)
        assert (right["reading"]["as_forecast"], right["doubted"]) == (True, None)

    @pytest.mark.parametrize(
        ("arguments", "says"),
        [
            ([], "creepfit: add: nothing to add; expected a reading"),
            (["--note", "x", "--unloaded"], "creepfit: --note: beside which reading?"),
            (["--event", "bumpd"], 'creepfit: --event: unknown event (did you mean "bumped"?)'),
            (["--loaded", "1 kg", "--unloaded"], "creepfit: --loaded: the load cannot go on and come off at once"),
            (["--why", "x", "15 mm"], "creepfit: --why: found 'x'; expected --skip ROW"),
            (["15 mm", "--at", "nonsense"], "creepfit: --at: found 'nonsense'"),
            (["15 mm"], "creepfit: --at: the file has elapsed times only"),
        ],
    )
    def test_mistakes_get_one_line(self, strip: Path, arguments: list[str], says: str) -> None:
        done = run("add", strip, *arguments)
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr.startswith(says)
        assert done.stderr.count("\n") == 1
