"""Answers in words against stored text, good runs and bad ones, and the pieces they are set from.

The stored texts are regression texts (own arithmetic): they show what a user sees, not that the numbers are right.
Write them anew with ``CREEPFIT_WRITE_TEXTS=1 pytest tests/report/test_text.py`` and read the difference.
"""

from __future__ import annotations

import os
import re
from dataclasses import replace
from pathlib import Path

import pytest

import creepfit.report
from creepfit.answers.interval import Interval
from creepfit.answers.specimen.check import check
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.recovery import recovery
from creepfit.answers.specimen.summary import summarise
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.report.text.answers import check_text, fit_text, forecast_text, recovery_text
from creepfit.report.text.columns import MOST
from creepfit.report.text.fit import _increments
from creepfit.report.text.pieces import Unit, paragraph, shown_unit, table
from creepfit.report.text.spelled import plain
from creepfit.shown import listed
from creepfit.units import HOUR, show_time

TEXTS = Path(__file__).parent / "texts"
DEMO = Path(__file__).parents[2] / "demo"

HEAD = """\
format = 1
[run]
material = "ABS"
specimen = "{name}"
[specimen]
{specimen}
[gauge]
resolution = "0.01 mm"
instrument = "dial gauge"
"""
BENDING = 'test = "three-point-bending"\nspan = "64 mm"\nwidth = "10 mm"\nthickness = "4 mm"'
RUNS = {
    # no reading before loading, daily readings only, none after unloading: as it is often done
    "daily": HEAD.format(name="daily", specimen=BENDING)
    + """\
[[load]]
at = "0 s"
mass = "1 kg"
[readings]
time = ["1 h", "1 d", "2 d", "3 d", "4 d"]
reading = ["2.51 mm", "2.55 mm", "2.56 mm", "2.56 mm", "2.57 mm"]
""",
    # as many readings as the simplest models have parameters: no errors, no band
    "three": HEAD.format(name="three", specimen=BENDING)
    + """\
[[load]]
at = "0 s"
mass = "1 kg"
[readings]
time = ["-1 min", "1 min", "1 d"]
reading = ["1.00 mm", "2.05 mm", "2.20 mm"]
""",
    # sizes unknown: no modulus; it hardly creeps, and the gauge cannot see that it does
    "unknown": HEAD.format(name="unknown", specimen='test = "direct"')
    + """\
[[load]]
at = "0 s"
force = "5 N"
[[load]]
at = "2 d"
force = "0 N"
[readings]
time = ["-1 min", "1 min", "1 h", "1 d", "2 d", "2 d 1 min", "3 d"]
reading = ["0.00 mm", "0.40 mm", "0.41 mm", "0.41 mm", "0.42 mm", "0.02 mm", "0.01 mm"]
""",
}


NAMES = ("petg-strip", *RUNS)


@pytest.fixture(scope="module")
def fits(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Fit]:
    folder = tmp_path_factory.mktemp("runs")
    for name, text in RUNS.items():
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    return {name: fit(read_run((folder if name in RUNS else DEMO) / f"{name}.toml")) for name in NAMES}


def settled(text: str) -> str:
    """The text without numbers that nothing determines: parameters without an error may end anywhere in a flat valley."""
    lines, table_on = [], False
    for line in text.splitlines():
        table_on = line.startswith("Models:") or (table_on and line != "")
        bare = table_on and "±" not in line
        lines.append(" ".join(re.sub(r"-?[\d.]+", "#", line).split()) if bare else line)
    return "\n".join(lines)


def compare(name: str, text: str) -> None:
    path = TEXTS / f"{name}.txt"
    if os.environ.get("CREEPFIT_WRITE_TEXTS"):
        path.write_text(text + "\n", encoding="utf-8")
    assert settled(text + "\n") == settled(path.read_text(encoding="utf-8"))
    lines = text.splitlines()
    assert max(map(len, lines)) <= MOST
    assert all(line == line.rstrip() for line in lines)
    for word in ("nan", "inf", "None", "± 0 ", "e+"):
        assert word not in text.replace("information", ""), word


@pytest.mark.parametrize("name", NAMES)
class TestAgainstStoredTexts:
    def test_fit(self, name: str, fits: dict[str, Fit]) -> None:
        compare(f"fit-{name}", fit_text(summarise(fits[name])))

    def test_forecast(self, name: str, fits: dict[str, Fit]) -> None:
        times = ["1 d", "30 d", "1 year"]
        compare(f"forecast-{name}", forecast_text(forecast(fits[name], times, limit="3 mm")))

    def test_recovery(self, name: str, fits: dict[str, Fit]) -> None:
        compare(f"recover-{name}", recovery_text(recovery(fits[name], ["1 min", "1 d", "30 d"])))

    def test_check(self, name: str, fits: dict[str, Fit]) -> None:
        compare(f"check-{name}", check_text(check(fits[name])))


def test_of_many_creep_increments_first_and_last_are_shown(fits: dict[str, Fit]) -> None:
    found = summarise(fits["petg-strip"]).increments
    for count in (14, 15, 500):
        rows = [replace(found.rows[0], start=i * HOUR, end=(i + 1) * HOUR, distinguishable=i != 2) for i in range(count)]
        lines = _increments(replace(found, rows=tuple(rows)))
        starts = [line.split("  ")[1] for line in lines[2:] if line.strip() and "to be told" not in line.split("  ")[1]]
        if count == 14:
            assert len(starts) == count
            continue
        assert starts[5] == f"and {count - 10} more, see --json"
        assert [starts[0], starts[4], starts[6], starts[-1]] == [
            show_time(i * HOUR) for i in (0, 4, count - 5, count - 1)
        ]  # fmt: skip
        assert len({line.index("±") for line in lines if "±" in line}) == 1


def test_texts_are_set_from_results_and_not_from_keys_of_their_json() -> None:
    room = Path(creepfit.report.__file__).parent
    for path in (*room.glob("text/*.py"), *room.glob("page/*.py"), *room.glob("figures/*.py"), room / "shelf_table.py"):
        assert "to_dict(" not in path.read_text(encoding="utf-8"), path


class TestUnknownIsSaidAndNeverZero:
    def test_without_errors_there_is_no_plus_minus_and_a_reason(self, fits: dict[str, Fit]) -> None:
        text = " ".join(fit_text(summarise(fits["three"])).split())
        assert "as many parameters as readings" in text
        models = text[text.index("Models:") : text.index("Creep from reading")]
        for name in ("power-family", "findley", "burgers", "zener", "kelvin-chain"):
            rows = models.split(name, 1)[1]
            assert "±" not in rows[: rows.index("power ")], name

    def test_without_an_initial_reading_no_modulus_and_no_set_are_claimed(self, fits: dict[str, Fit]) -> None:
        text = " ".join(fit_text(summarise(fits["daily"])).split())
        assert "how far the specimen moved at once is not known" in text
        assert "no reading was taken before loading" in text[text.index("Creep modulus") :]
        left = " ".join(recovery_text(recovery(fits["daily"])).split())
        assert "cannot be known: no reading was taken before loading" in left


class TestPieces:
    def test_a_table_is_aligned_and_its_remarks_stay_within_the_width(self) -> None:
        lines = table(["a", "b [mm]", ""], [["one", "2.50", "word " * 40], ["three", "10", ""]])
        assert lines[0] == "  a      b [mm]"
        assert lines[1].startswith("  one      2.50  word word")
        assert lines[2].startswith("                 word word")
        assert lines[-1] == "  three      10"
        assert max(map(len, lines)) <= MOST

    def test_a_remark_beside_a_wide_table_goes_beneath_the_numbers(self) -> None:
        lines = table(["a", ""], [["x" * 80, "remark"]])
        assert lines[1:] == ["  " + "x" * 80, "      remark"]

    @pytest.mark.parametrize(
        ("item", "shown"),
        [
            # two digits of the width, by the rule of `show_number` for errors
            (Interval(1.8513, 2.1049, 2.9), ("1.9", "2.1", "2.9")),
            (Interval(2.302, 2.3214, 2.3394), ("2.302", "2.321", "2.339")),
            (None, ("unknown", "unknown", "unknown")),
            (Interval(0.0, 0.0, 0.0), ("0", "0", "0")),
        ],
    )
    def test_an_interval_is_rounded_to_its_width(self, item: Interval | None, shown: tuple[str, str, str]) -> None:
        assert Unit("mm").interval(item) == shown

    def test_units_are_those_a_person_would_read(self) -> None:
        assert shown_unit("1").number(0.0123) == "1.23"
        assert shown_unit("1").name == "%"
        assert shown_unit("1/MPa").with_error(5.2e-4, 1.1e-5) == "0.520 ± 0.011"
        assert shown_unit("mm").with_error(5.0, None) == "5"
        assert shown_unit("mm").number(None) == "unknown"

    @pytest.mark.parametrize(
        ("text", "encoding", "shown"),
        [
            ("2.1 ± 0.1 MPa·h", "ascii", "2.1 +- 0.1 MPa*h"),
            ("2.1 ± 0.1 MPa·h", "utf-8", "2.1 ± 0.1 MPa·h"),
            ("Ж ≥ 1", "latin-1", "? >= 1"),
            ("±", None, "+-"),
            ("±", "no-such-encoding", "+-"),
        ],
    )
    def test_text_is_spelled_in_what_the_output_can_show(self, text: str, encoding: str | None, shown: str) -> None:
        assert plain(text, encoding) == shown

    def test_words(self) -> None:
        assert listed(["a"]) == "a"
        assert listed(["a", "b", "c"]) == "a, b and c"
        assert paragraph("word " * 30, "  ", "    ")[1].startswith("    word")

    def test_no_line_parts_a_number_from_its_unit(self) -> None:
        for length in range(MOST - 12, MOST + 2):
            lines = paragraph("x" * length + " 2.5 mm (90 %: 10 to 20 d)")
            assert not any(line.startswith(("mm", "%", "d)")) for line in lines)
            assert " ".join(lines) == "x" * length + " 2.5 mm (90 %: 10 to 20 d)"
