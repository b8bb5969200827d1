"""Dates that are asked about, counted from the run's first loading."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pytest
from click.testing import CliRunner

import creepfit as cf
from creepfit.asked import asked_time
from creepfit.cli.commands import main
from creepfit.errors import InputError
from creepfit.records.asked_dates import since_loading
from creepfit.report.page.findings import FEW_POINTS, find
from creepfit.report.page.together import chapters

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
    """A part is put up when nobody says, runs were loaded on several days, and after an unloading a length counts."""
    with pytest.raises(InputError, match="at: a date, where a length of time is asked for; found"):
        asked_time(text, "at")
    for command in (
        ["sag", "part.toml", "--material", "run.toml", "--at"],
        ["relax", "part.toml", "--material", "run.toml", "--at"],
        ["compare", "a.toml", "b.toml", "--at"],
        ["recover", "run.toml", "--after"],
    ):
        said = CliRunner().invoke(main, [*command, text])
        assert said.exit_code == 2
        assert f"{command[-1]}: a date, where a length of time is asked for" in said.stderr


def test_a_page_takes_them_of_one_run_and_no_part() -> None:
    demo = Path(__file__).parents[2] / "demo"
    run, part = str(demo / "petg-strip.toml"), str(demo / "bracket.toml")
    for runs in ([run, run], [run, "--part", part]):
        said = CliRunner().invoke(main, ["report", *runs, "--at", "2032-06-04", "-o", "never-written.html"])
        assert (said.exit_code, "another time to each of several runs, and none to a part" in said.stderr) == (2, True)
