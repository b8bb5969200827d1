"""Where no number is given nothing is promised either: text, page, figures, JSON and Python hold it alike."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from matplotlib.text import Text

import creepfit as cf
from creepfit.answers.doubts.withheld import withheld_at
from creepfit.answers.materials.shelf_row import row_of
from creepfit.desk.answers import AnswerOptions, answered, part_answered
from creepfit.errors import InputError
from creepfit.records.part_files import read_part
from creepfit.report.figures.drawings import with_part
from creepfit.report.figures.run import readings_figure
from creepfit.report.page.findings import find
from creepfit.report.page.html import section
from creepfit.report.page.tables import curve_csv
from creepfit.units import DAY, HOUR, MINUTE

PART = """format = 1
[part]
name = "arm"
support = "cantilever"
[[segment]]
length = "{length} mm"
section = "rectangle"
width = "14 mm"
thickness = "10 mm"
[[load]]
mass = "0.1 kg"
at = "end"
[limit]
sag = "30 mm"
life = "1 year"
[held]
deflection = "{held} mm"
"""

CASES = {
    "contradicting": "the readings contradict each other",
    "no creep": "no plastic creeps as little as these readings say",
    "speeding up": "every model slows down, and these readings do not",
    "stress": "times the highest stress tested the strain comes to",
}
NAMES = ("kept for", "in place of", "keeps it")


@pytest.fixture(scope="module", params=list(CASES))
def case(request, creep_run, tmp_path_factory):
    """The case's name, a fit, what is asked of it, and a part by it."""
    name = request.param
    run = creep_run(unload=None)
    last = max(r.time for r in run.readings)
    values = {
        "contradicting": lambda r: r.value - (0.8 if r.time == last else 0.0),
        "no creep": lambda r: 12.4 + (2.2 if r.time > 0.0 else 0.0),
        "speeding up": lambda r: r.value + 0.05 * max(r.time / DAY - 2.0, 0.0) ** 2,
        "stress": lambda r: r.value,
    }[name]
    fitted = cf.fit(replace(run, readings=tuple(replace(r, value=float(values(r))) for r in run.readings)))
    far = name == "stress"
    path = tmp_path_factory.mktemp("part") / "arm.toml"
    path.write_text(PART.format(length=600.0 if far else 100.0, held=2000.0 if far else 1.0), encoding="utf-8")
    if far:  # a heavy load on a long arm
        path.write_text(path.read_text(encoding="utf-8").replace("0.1 kg", "8 kg"), encoding="utf-8")
    return name, fitted, {"limit": "30 mm", **({"load": "60 N"} if far else {})}, read_part(path)


def test_a_limit_of_a_specimen_is_promised_nowhere(case):
    name, fitted, asked, _ = case
    result = cf.forecast(fitted, ["1 year"], **asked)
    why = result.nothing_promised
    assert why is not None
    assert CASES[name] in why
    assert result.limit.life is result.limit.load is None
    assert result.limit.why == why
    written = json.loads(json.dumps(result.to_dict()))
    assert written["nothing_promised"] == why
    assert written["withheld"] == result.withheld is not None
    assert [written["limit"][key] for key in ("life_h", "kept", "load")] == [None, None, None]
    assert written["limit"]["why"] == why
    said = " ".join(cf.text(result).split())
    assert why in said
    assert not any(words in said for words in NAMES)
    assert "no number is given" in result.headline


def test_a_limit_of_a_part_is_promised_nowhere(case):
    name, fitted, _, part = case
    result = cf.sag(part, fitted, ["1 year"])
    why = result.nothing_promised
    assert why is not None
    assert CASES[name] in why
    assert result.design.life is result.design.load.factor is result.design.thickness.factor is None
    written = json.loads(json.dumps(result.to_dict()))
    assert written["withheld"] == result.withheld is not None
    assert written["nothing_promised"] == written["life"]["why"] == written["load"]["why"] == why
    assert written["life"]["limit"] == 30.0
    assert written["life"]["low_h"] is written["life"]["kept"] is written["load"]["safe_factor"] is None
    assert written["thickness"]["sizes"] == []
    said = " ".join(cf.text(result).split())
    assert why in said
    assert not any(words in said for words in NAMES)
    assert with_part(result) == []
    with pytest.raises(InputError, match="nothing to draw, as no number is given"):
        cf.plot(result)


@pytest.mark.usefixtures("undrawn")
def test_the_desk_slides_nothing_either(case):
    name, fitted, asked, part = case
    options = AnswerOptions("1 year", asked["limit"])
    assert part_answered(part, fitted, options)["sliders"] is None
    if name != "stress":
        content = answered(fitted, options)
        assert content["sliders"] is content["limit"] is None
        assert content["answer"].startswith("No number is given")


def test_a_plan_promises_nothing_for_its_question(case):
    name, fitted, asked, _ = case
    plan = cf.plan(fitted, limit=asked["limit"])
    assert (plan.to_dict()["now"]["promised"] is None) == (plan.nothing_promised is not None) == (name != "stress")


@pytest.mark.usefixtures("undrawn")
def test_a_page_promises_nothing_either(case):
    name, fitted, asked, part = case
    held = cf.relax(part, fitted, ["1 year"])
    if name == "stress":  # the specimen's own load is the one tested: a page says nothing of another
        content = section(find(fitted, ["1 year"], points=6), cf.sag(part, fitted, ["1 year"]), 1, held=held).content
    else:
        found = find(fitted, ["1 year"], asked["limit"], points=6)
        content = section(found, cf.sag(part, fitted, ["1 year"]), 1, held=held).content
        keys = {key.what: key.value for key in content["keys"]}
        assert keys["limit of 30 mm reached"] == keys["deflection after 1 year"] == "not given"
        assert content["limit"] is content["sliders"] is None
        rows = [float(row.split(",")[0]) for row in curve_csv(found).splitlines()[1:]]
        assert max(rows) == pytest.approx(fitted.run.test_length / HOUR)
    of_part = content["part"]
    assert of_part["figures"] == []
    assert of_part["sliders"] is None
    assert "limit" not in of_part["tables"]
    values = {key.what: key.value for key in of_part["keys"]}
    assert values["sag after 1 year"] == values["limit of 30 mm reached"] == "not given"
    assert {key.what: key.value for key in content["held"]["keys"]}["left after 1 year"] == "not given"


def test_what_is_drawn_of_such_a_run_ends_with_its_test(case):
    name, fitted, _, _ = case
    found = find(fitted, ["1 year"], points=12)
    drawn = readings_figure(found)
    if name == "stress":
        assert found.curve.times[-1] >= 10.0 * fitted.run.test_length
        return
    assert found.curve.times[-1] == pytest.approx(fitted.run.test_length)
    assert any("no forecast:" in text.get_text() for text in drawn.figure.findobj(Text))
    assert "No forecast is drawn" in drawn.alt


def test_a_part_that_is_held_bent_has_no_force_either(case):
    _, fitted, _, part = case
    result = cf.relax(part, fitted, ["1 year"])
    assert result.withheld == result.to_dict()["withheld"] is not None
    assert "no number is given" in result.headline
    first = " ".join(cf.text(result).split())
    assert "No number is given" in first or "is out of reach: at" in first
    with pytest.raises(InputError, match="nothing to draw"):
        cf.plot(result)


def test_a_shelf_leaves_out_what_no_forecast_gives(case):
    name, fitted, _, _ = case
    row = row_of(fitted, "run.toml")
    if name == "stress":
        assert row.creep[2] is not None
        return
    assert row.creep[1] is row.creep[2] is None
    assert any(CASES[name] in why for why in row.why)


def test_a_run_that_holds_promises_what_the_models_have(creep_run):
    result = cf.forecast(cf.fit(creep_run()), ["30 d"], limit="3 mm")
    assert result.withheld is result.nothing_promised is None
    assert result.limit is result.as_modelled
    assert result.limit.load is not None


def test_a_life_beyond_the_test_is_not_promised_where_the_time_asked_lies_within_it(creep_run):
    times = [MINUTE, HOUR, *(k * DAY for k in range(1, 31))]
    faster = creep_run(times=times, unload=None, extra=lambda t: 0.1 * (np.clip(t, 0.0, None) / (15 * DAY)) ** 3)
    result = cf.forecast(cf.fit(faster), ["20 d"], limit="4 mm", life="1 year")
    assert result.withheld is None
    assert result.nothing_promised is not None
    assert result.limit.load is None


def test_beyond_a_hundred_times_the_test_a_limit_within_it_is_still_answered(creep_run):
    fitted = cf.fit(creep_run())
    result = cf.forecast(fitted, ["50 years"], limit="3 mm", life="30 d")
    assert "50 years is 3" in (result.withheld or "")
    assert result.nothing_promised is None
    assert result.limit.load is not None
    assert withheld_at(fitted, fitted.horizon) is None


def test_demo_runs_are_given_their_numbers():
    for path in sorted((Path(__file__).parents[2] / "demo").glob("petg-s*.toml")):
        fitted = cf.fit(cf.read_run(path))
        assert withheld_at(fitted, fitted.horizon) is None
