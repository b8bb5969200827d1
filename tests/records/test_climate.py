"""Temperatures over time as people write them down, and their mistakes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from creepfit.errors import InputError
from creepfit.records.climate_table import climate_of, read_climate

DAY = 86400.0


def test_a_swing_over_each_day() -> None:
    climate = climate_of({"daily": ["15 degC", "35 degC"]}, "part.toml")
    assert climate.at(np.array([0.0, 0.5 * DAY, 9.75 * DAY])) == pytest.approx([15.0, 35.0, 25.0])


def test_hours_of_a_year() -> None:
    climate = climate_of({"hours": [["35 degC", "200 h"], ["20 degC", "5000 h"]]}, None)
    assert climate.hours_above(30.0) == pytest.approx(200.0)
    assert climate.lowest == 20.0


def test_a_logger_in_a_file_of_its_own(tmp_path: Path) -> None:
    (tmp_path / "room.csv").write_text("time [h];temperature [degC]\n0;20,5\n12;31\n24;20,5\n", encoding="utf-8")
    path = tmp_path / "summer.toml"
    path.write_text('format = 1\n[climate]\nfile = "room.csv"\n', encoding="utf-8")
    climate = read_climate(path)
    assert climate.period == DAY
    assert climate.at(np.array([0.5, 3.5]) * DAY) == pytest.approx([31.0, 31.0])
    path.write_text('format = 1\n[climate]\nfile = "room.csv"\nrepeats = false\n', encoding="utf-8")
    assert read_climate(path).at(np.array([3.5]) * DAY) == pytest.approx([20.5])


@pytest.mark.parametrize(
    ("table", "said"),
    [
        ({}, "one of daily, hours and file"),
        ({"daily": ["15 degC", "20 degC"], "hours": []}, "daily and hours"),
        ({"daily": "15 to 20"}, "the lowest and the highest of a day"),
        ({"daily": ["35 degC", "15 degC"]}, "the higher one first"),
        ({"daily": ["15 mm", "35 degC"]}, "climate.daily"),
        ({"hours": [["35 degC", "9000 h"]]}, "more than a year"),
        ({"hours": [["35 degC", "-2 h"]]}, "hours above zero"),
        ({"hours": ["35 degC"]}, "climate.hours 1"),
        ({"file": "none.csv"}, "No such file"),
        ({"daly": []}, "daly"),
    ],
)
def test_mistakes_are_one_line(table: dict[str, object], said: str, tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        climate_of(table, str(tmp_path / "part.toml"))
    assert said in str(caught.value)
    assert "part.toml" in str(caught.value) or "none.csv" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "a header"),
        ("hour,degrees\n1,2\n", "a header"),
        ("time [h],temperature [degC]\n1,20\n", "two rows"),
        ("time [h],temperature [degC]\n1,20\n0,21\n", "row 3"),
        ("time [h],temperature [degC]\n1,20\n2,warm\n", "row 3"),
        ("time [h],temperature [degC]\n1,20\n1,21\n", "no time passes"),
    ],
)
def test_mistakes_in_a_logger_name_the_row(text: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "room.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        climate_of({"file": "room.csv"}, str(tmp_path / "part.toml"))
    assert said in str(caught.value)
    assert "room.csv" in str(caught.value)
