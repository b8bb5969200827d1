"""The first sentence of every answer, held against what stands below it."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import creepfit as cf
from creepfit.answers.interval import Interval
from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.recovery import recovery
from creepfit.answers.specimen.summary import summarise
from creepfit.answers.specimen.verdict import ReadingVerdict, read_ahead
from creepfit.inference.fitting import fit
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.records.part_files import read_part
from creepfit.report.page import of_part, words
from creepfit.report.page.findings import find
from creepfit.report.page.html import page, section
from creepfit.report.text.fit import headline as fit_headline
from creepfit.report.text.forecast import forecast_lines
from creepfit.report.text.forecast import headline as forecast_headline
from creepfit.report.text.part import headline, render_sag
from creepfit.report.text.short import short_fit, short_forecast, short_sag
from creepfit.units import DAY, HOUR, MINUTE

DEMO = Path(__file__).parents[2] / "demo"
ARM = """format = 1
[part]
name = "arm"
support = "cantilever"
[[segment]]
length = "150 mm"
section = "rectangle"
width = "14 mm"
thickness = "10 mm"
[[load]]
mass = "1.5 kg"
at = "end"
{duty}
[limit]
sag = "3 mm"
"""


@pytest.fixture(scope="module")
def strip():
    return cf.fit(cf.read_run(DEMO / "petg-strip.toml"))


@pytest.fixture
def arm(tmp_path: Path):
    def read(duty: str = ""):
        (tmp_path / "arm.toml").write_text(ARM.format(duty=duty), encoding="utf-8")
        return read_part(tmp_path / "arm.toml")

    return read


def test_a_limit_that_the_load_breaks_as_it_goes_on(strip, arm):
    said = " ".join(render_sag(sag(arm(), strip, ["1 year"])).split())
    assert "exceeded as soon as it is loaded: 7.5 mm against 3 mm; at most 40 % of the load even without creep" in said
    assert "no time at all" not in said
    lines = " ".join(" ".join(forecast_lines(forecast(strip, ["1 year"], limit="1 mm"))).split())
    assert "exceeded as soon as it is loaded: 2 mm against 1 mm; at most 50 % of the load" in lines


def test_a_part_without_a_named_support_is_said_to_be_taken_as_a_cantilever(strip, tmp_path):
    # it was one in silence; resting on its two ends it would sag a sixteenth
    said = []
    for support in ('support = "cantilever"\n', ""):
        text = ARM.format(duty="").replace('support = "cantilever"\n', support)
        (tmp_path / "arm.toml").write_text(text, encoding="utf-8")
        said.append(headline(sag(read_part(tmp_path / "arm.toml"), strip, ["30 d"])))
    assert "at the end the part will have sagged by" in said[0]
    assert "the part, taken as a cantilever as no support is named, will have sagged by" in said[1]


def test_of_several_loads_the_first_sentence_names_the_largest():
    # "under load" did not say which
    said = fit_headline(summarise(cf.fit(cf.read_run(DEMO / "petg-steps.toml"))))
    assert re.search(r"After \S+ \S+ under up to [\d.]+ k?g \([\d.]+ N\) the deflection is", said)


def test_on_and_off_the_largest_is_said_and_the_moment_asked_beside_it(strip):
    plan = LoadPlan.duty(3.92, 10 * HOUR, 14 * HOUR)
    result = forecast(strip, ["30 d", "1 year"], history=plan)
    for row in result.rows:
        until = result.outlook.load.follow(row.time)
        every = np.median(result.outlook.response(until[until <= row.time]).draws, axis=0)
        assert row.peak.interval.median >= 0.999 * every.max()  # the last time on only before
        assert row.peak.interval.median >= row.interval.median
    said = forecast_headline(result)
    assert said.startswith("Up to 1 year under")
    assert "will be at most 2.4" in said
    assert "; at 1 year itself it will be " in said


def test_a_part_whose_load_comes_off_for_good_is_largest_before(strip, arm):
    text = ARM.format(duty="").replace('mass = "1.5 kg"', 'schedule = [["0 h", "0.6 kg"], ["90 d", "0 kg"]]')
    (Path(arm().file).parent / "off.toml").write_text(text, encoding="utf-8")
    result = sag(read_part(Path(arm().file).parent / "off.toml"), strip, ["1 year"])
    row = result.rows[0]
    assert row.interval.median < 0.2 < 3.0 < row.peak.interval.median  # 0.08 mm was the headline, after 90 d of 3.9 mm
    assert row.peak.time <= 90 * DAY
    most = re.search(r"the part will sag by at most ([\d.]+) mm", " ".join(render_sag(result).split()))
    assert most is not None
    assert float(most.group(1)) == pytest.approx(3.9, abs=0.2)


def test_beyond_reach_is_not_said_to_be_impossible_beside_a_fine_interval(strip):
    said = forecast_headline(forecast(strip, ["20 years"]))
    assert "is out of reach" in said
    assert "nobody can say whether the plastic follows them so far" in said


def test_readings_that_contradict_each_other_come_first(creep_run):
    run = creep_run(times=[MINUTE, DAY, 5 * DAY], unload=None)
    last = run.readings[-1]
    wrong = fit(replace(run, readings=(*run.readings[:-1], replace(last, value=last.value - 0.37))))
    said = fit_headline(summarise(wrong))
    assert said.startswith("The readings contradict each other or every model")
    assert "The reading at 5 d" in said
    assert "whether creep has stopped cannot be told from them" in said
    ahead = forecast_headline(forecast(wrong, ["30 d"]))
    assert ahead.startswith("No number is given for 30 d under 1.96 N: the readings contradict each other")
    limited = " ".join(forecast_lines(forecast(wrong, ["30 d"], limit="4 mm")))
    assert "nothing is promised, as the readings contradict each other" in limited
    assert "kept for" not in limited
    assert not fit_headline(summarise(fit(run))).startswith("The readings")


def test_a_load_far_above_the_tested_one_is_said_first(strip):
    load = strip.run.steps[0].value

    def said(times):
        return forecast_headline(forecast(strip, ["30 d"], load=f"{times * load:.6g} N"))

    assert "highest stress tested" not in said(1.0)
    assert said(2.0).endswith("at 2 times the highest stress tested.")
    far = "is out of reach: at 12 times the highest stress tested the strain comes to"
    assert far in said(12.0)
    run = strip.run
    mirrored = replace(
        run,
        steps=tuple(replace(s, value=-s.value) for s in run.steps),
        readings=tuple(replace(r, value=10.0 - r.value) for r in run.readings),
    )
    assert far in forecast_headline(forecast(fit(mirrored), ["30 d"], load=f"{-12.0 * load:.6g} N"))


def test_no_number_first_beside_a_deflection_that_the_bar_cannot_have(creep_run):
    run = creep_run(load=10.0)
    inches = fit(replace(run, readings=tuple(replace(r, value=25.4 * r.value) for r in run.readings)))
    for said in (fit_headline(summarise(inches)), forecast_headline(forecast(inches, ["30 d"]))):
        assert said.startswith("The deflection comes out as 3")
        assert "more than a bar of 80 mm length can have" in said


@pytest.fixture(scope="module")
def speeding_up(creep_run):
    """Thirty days of a bar that slows down at first and speeds up from the second week on."""
    times = [MINUTE, HOUR, *(k * DAY for k in range(1, 31))]
    return fit(creep_run(times=times, unload=None, extra=lambda t: 0.1 * (np.clip(t, 0.0, None) / (15 * DAY)) ** 3))


@pytest.mark.usefixtures("undrawn")
def test_creep_that_speeds_up_gets_no_number_for_a_year(speeding_up):
    result = forecast(speeding_up, ["30 d", "1 year"], limit="4 mm")
    said = " ".join(" ".join(forecast_lines(result)).split())
    assert said.startswith("No number is given for 1 year under 1.96 N")
    assert "grows faster than any creep curve that slows down" in forecast_headline(result)
    assert "mm" not in forecast_headline(result).replace(result.withheld.split("(")[1].split(")")[0], "")
    assert said.count("Not a forecast: every model slows down, and these readings do not.") == 1
    assert "Limit of 4 mm nothing is promised, as every model slows down, and these readings do not" in said
    assert result.to_dict()["withheld"] == result.withheld
    assert "no number is given. From " in result.headline
    found = find(speeding_up, ["30 d", "1 year"], limit="4 mm", points=6)
    assert words.answer(found) == forecast_headline(result)
    keys = {key.what: key.value for key in words.key_numbers(found)}
    assert keys["deflection after 1 year"] == keys["limit of 4 mm reached"] == "not given"
    assert keys["deflection after 30 d"].endswith(" mm")
    assert section(found, None, 1).content["sliders"] is None


def test_within_the_test_creep_that_speeds_up_has_its_number(speeding_up):
    result = forecast(speeding_up, ["30 d"])
    assert forecast_headline(result).startswith("After 30 d")
    assert result.withheld is None
    assert "Not a forecast" not in " ".join(forecast_lines(result))


def test_a_part_of_it_gets_no_number_either(speeding_up, arm):
    result = sag(arm(), speeding_up, ["1 year"])
    assert " ".join(render_sag(result).split("\n")[2:4]).startswith("No number is given for the part after 1 year: from ")
    assert result.to_dict()["withheld"] == result.withheld
    assert of_part.part_answer(result).startswith("No number is given")
    assert not any("mm" in key.value for key in of_part.part_keys(result) if "after 1 year" in key.what)


def test_a_test_of_seconds_speaks_of_its_own_first_reading(creep_run):
    result = fit(creep_run(times=[5.0, 10.0, 30.0], unload=None))
    assert "more than after 5 s" in fit_headline(summarise(result))  # "-0.52 % more than after 1 min" before
    assert summarise(result).stop.window <= HOUR


def test_models_without_a_weight_say_why_and_lines_of_a_forecast_are_named(strip):
    from creepfit.report.text.fit import fit_lines

    said = " ".join(" ".join(fit_lines(summarise(strip))).split())
    assert "findley: no weight: the power family stands for it" in said
    listed = {line.model for line in forecast(strip, ["1 year"]).rows[0].models if line.weight >= 0.01}
    assert all(name in said or name.split(", ")[1] in said for name in listed)


@pytest.mark.parametrize(
    ("shown", "side"), [(12.51, "as forecast"), (12.47, "as forecast"), (12.52, "above"), (12.46, "below")]
)
def test_a_reading_is_held_against_the_ends_that_are_shown(creep_run, shown, side):
    run = creep_run()
    last = replace(run.readings[-1], value=shown)
    found = ReadingVerdict(run, last, run.readings[-2], Interval(12.472, 12.49, 12.505), 0.9, None, ())
    assert f"{side}{',' if side == 'as forecast' else ' the forecast of'} 12.47 to 12.51 mm (90 %)" in found.text
    assert found.as_forecast == (side == "as forecast")


@pytest.mark.parametrize("zone", [None, UTC])
def test_a_reading_is_ahead_by_the_clock_of_its_own_file(creep_run, zone):
    now = datetime(2031, 5, 4, 12)
    run = replace(creep_run(), began=now.astimezone(zone) if zone else now)
    last = replace(run.readings[-1], where="row 18")
    run = replace(run, readings=(*run.readings[:-1], last))
    assert read_ahead(run, last.where, now).startswith("that is in the future: 2031-05-")
    assert read_ahead(run, last.where, now + timedelta(seconds=last.time)) == ""


def spoilt(folder: Path, slip: str) -> Path:
    """The strip with a gauge bumped by 0.3 mm on the third day, or with one said to turn the other way."""
    rows = (DEMO / "petg-strip.csv").read_text(encoding="utf-8").splitlines()
    moved = [row.split(",") for row in rows[1:]]
    if slip == "bumped":
        moved = [[time, f"{float(value) + 0.3 * (float(time) > 60.0):.2f}"] for time, value in moved]
    (folder / "petg-strip.csv").write_text("\n".join([rows[0], *map(",".join, moved)]) + "\n", encoding="utf-8")
    text = (DEMO / "petg-strip.toml").read_text(encoding="utf-8")
    text = text if slip == "bumped" else text.replace("falls = false", "falls = true")
    path = folder / "strip.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.usefixtures("undrawn")
@pytest.mark.parametrize(
    ("slip", "said", "goes_on"),
    [
        ("bumped", "on all readings share a shift of 0.29 mm", "The best fits take the shift for creep;"),
        ("turned", "the file says that it falls as the specimen gives way", "settled by: press the specimen by hand"),
    ],
)
def test_beside_a_slip_nothing_is_said_twice_in_a_row(tmp_path, slip, said, goes_on):
    path = spoilt(tmp_path, slip)
    part = read_part(DEMO / "bracket.toml")
    fitted = cf.fit(cf.read_run(path))
    ahead = forecast(fitted, ["30 d"])
    for text in (short_fit(summarise(fitted)), short_forecast(ahead), short_sag(sag(part, fitted, ["1 year"]))):
        words_of = " ".join(text.split())
        assert words_of.count(said) == 1
        assert f"! {goes_on}" in words_of
    assert any(said in caution.text for caution in ahead.cautions)  # programs have the whole of it
    whole = page([section(find(fitted, ["30 d"], points=6), None, 1, brief=True)]).replace("\xa0", " ")
    first = whole[whole.index('class="first"') :]
    first = first[: first.index("</section>")]
    assert first.count(said) == 1
    assert goes_on.removeprefix("settled by: ") in first


def test_what_cannot_be_told_of_recovery_beside_a_slip_does_not_quote_it_each_time(tmp_path):
    found = recovery(cf.fit(cf.read_run(spoilt(tmp_path, "turned"))), ["30 d"])
    assert [rule.why for rule in found.practice] == ["to be settled first"] * len(found.practice)
    assert found.permanent_set.why == "to be settled first"
    assert found.practice
