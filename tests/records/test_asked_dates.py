"""Dates that are asked about, counted from the run's first loading."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from click.testing import CliRunner

import creepfit as cf
from creepfit.answers.plan.question import question
from creepfit.answers.specimen.recovery import recovery
from creepfit.asked import asked_time
from creepfit.cli.commands import main
from creepfit.errors import InputError
from creepfit.records.asked_dates import since_loading
from creepfit.report.page.findings import FEW_POINTS, find
from creepfit.report.page.together import chapters

from ..conftest import SHORT

BEGAN = datetime(2031, 5, 4, 8, 30)
DAY = 86400.0


@pytest.mark.parametrize("text", ["2031-06-03 08:30", "3.6.2031 8:30", "3.6.31 8:30"])
def test_a_date_time_counts_from_the_first_loading(text: str) -> None:
    assert since_loading(["1 year", text, 5.0], BEGAN) == ["1 year", 30.0 * DAY, 5.0]
    assert since_loading(text, BEGAN) == 30.0 * DAY


def test_a_day_alone_is_its_noon() -> None:
    assert since_loading("2031-05-05", BEGAN) == DAY + 3.5 * 3600.0


def test_a_date_without_a_zone_is_of_the_files_own() -> None:
    zoned = BEGAN.replace(tzinfo=timezone(timedelta(hours=2)))
    assert since_loading("2031-05-05 08:30", zoned) == DAY
    assert since_loading("2031-05-05 07:30+01:00", zoned) == DAY


@pytest.mark.parametrize(
    ("text", "began", "said"),
    [
        ("2031-06-04", None, "it is not known on which the load was put on"),
        ("2031-05-03", BEGAN, "a date after the first loading, 2031-05-04 08:30"),
        ("2031-13-45", BEGAN, "expected a date-time"),
        ("4/5/2031", BEGAN, "expected a date-time"),
    ],
)
def test_others_are_one_line(text: str, began: datetime | None, said: str) -> None:
    with pytest.raises(InputError, match=f"at: .*{said}"):
        since_loading([text], began)


def test_a_forecast_takes_them() -> None:
    run = cf.read_run(Path(__file__).parents[2] / "demo" / "petg-strip.toml")
    fit = cf.fit(replace(run, began=BEGAN), models=["power-family"])
    assert cf.forecast(fit, ["2031-06-03 08:30"]).rows[0].time == 30.0 * DAY
    page = find(fit, ["2031-06-03 08:30", "1 d"], points=FEW_POINTS)
    assert [row.time for row in page.forecast.rows] == [DAY, 30.0 * DAY]
    with pytest.raises(InputError, match="a date, where a length of time is asked for"):
        chapters([fit, fit], ["2031-06-03"])  # of runs that were loaded on several days


@pytest.mark.parametrize("text", ["2032-06-04", "4.6.32", "4/6/2032 8:30"])
def test_where_a_date_means_nothing_that_is_said(text: str) -> None:
    """A part is put up when nobody says, and runs were loaded on several days."""
    with pytest.raises(InputError, match="at: a date, where a length of time is asked for; found"):
        asked_time(text, "at")
    for command in (
        ["sag", "part.toml", "--material", "run.toml", "--at"],
        ["relax", "part.toml", "--material", "run.toml", "--at"],
        ["compare", "a.toml", "b.toml", "--at"],
        ["relax", "part.toml", "--material", "run.toml", "--after"],
    ):
        said = CliRunner().invoke(main, [*command, text])
        assert said.exit_code == 2
        assert f"{command[-1]}: a date, where a length of time is asked for" in said.stderr


def test_what_is_left_on_a_date_counts_from_the_unloading() -> None:
    run = cf.read_run(Path(__file__).parents[2] / "demo" / "petg-strip.toml")
    fit = cf.fit(replace(run, began=BEGAN), models=["power-family"])
    off = BEGAN + timedelta(hours=121)
    found = recovery(fit, [f"{off + timedelta(days=30):%Y-%m-%d %H:%M}", "1 d"])
    assert [row.after for row in found.residuals] == [30.0 * DAY, DAY]
    with pytest.raises(
        InputError, match="after: found '2031-05-06'; expected a date after the unloading, 2031-05-09 09:30"
    ):
        recovery(fit, "2031-05-06")
    with pytest.raises(InputError, match="after: a date, and it is not known on which the load was put on"):
        recovery(cf.fit(run, models=["power-family"]), "2031-06-06")


def test_a_plan_of_a_running_test_is_for_a_date() -> None:
    run = replace(cf.read_run(Path(__file__).parents[2] / "demo" / "petg-strip.toml"), began=BEGAN)
    asked = question(cf.fit(run, models=["power-family"]), by="2031-06-03 08:30")
    assert asked.by == 30.0 * DAY


def test_the_commands_take_a_date_where_a_run_has_them(tmp_path: Path) -> None:
    dated = tmp_path / "dated.toml"
    lines = SHORT.replace("[run]", '[run]\nstart = "2031-05-04 08:30"')
    dated.write_text(lines, encoding="utf-8")
    (tmp_path / "plain.toml").write_text(SHORT, encoding="utf-8")
    for command, date in ((["plan", "--by"], "2031-05-14"), (["recover", "--after"], "2031-05-14")):
        said = CliRunner().invoke(main, [command[0], str(dated), command[1], date, "--json"])
        assert said.exit_code == 0, said.stderr
        said = CliRunner().invoke(main, [command[0], str(tmp_path / "plain.toml"), command[1], date])
        assert said.exit_code == 2
        assert said.stderr.startswith(f"creepfit: {command[1]}: a date, and it is not known on which the load was put on")
        assert said.stderr.count("\n") == 1
    before = ["plan", "--material", "PETG", "--test", "cantilever", "--size", "length=60 mm", "--size", "width=14 mm"]
    said = CliRunner().invoke(main, [*before, "--size", "thickness=5 mm", "--by", "2031-05-14"])
    assert (said.exit_code, said.stderr.count("\n")) == (2, 1)
    assert said.stderr.startswith("creepfit: --by: a date, where a length of time is asked for")


def test_a_page_takes_them_of_one_run_and_no_part() -> None:
    demo = Path(__file__).parents[2] / "demo"
    run, part = str(demo / "petg-strip.toml"), str(demo / "bracket.toml")
    for runs in ([run, run], [run, "--part", part]):
        said = CliRunner().invoke(main, ["report", *runs, "--at", "2032-06-04", "-o", "never-written.html"])
        assert (said.exit_code, "another time to each of several runs, and none to a part" in said.stderr) == (2, True)
