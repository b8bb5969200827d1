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
from creepfit.answers.specimen.summary import summarise
from creepfit.desk.answers import AnswerOptions, answered, part_answered
from creepfit.errors import InputError
from creepfit.records.part_files import read_part
from creepfit.report.figures.drawings import with_part
from creepfit.report.figures.run import readings_figure
from creepfit.report.page.findings import find
from creepfit.report.page.html import section
from creepfit.report.page.tables import curve_csv
from creepfit.report.page.together import materials
from creepfit.report.text.short import short_sag
from creepfit.units import DAY, HOUR, MINUTE

pytestmark = pytest.mark.few_draws

PART = """format = 1
[part]
name = "arm"
support = "cantilever"
[[segment]]
length = "100 mm"
section = "rectangle"
width = "14 mm"
thickness = "10 mm"
[[load]]
mass = "{mass} kg"
at = "end"
[limit]
sag = "30 mm"
life = "1 year"
[held]
deflection = "{held} mm"
"""

WITHOUT_ANY = {
    "contradicting": "the readings contradict each other",
    "no creep": "no plastic creeps as little as these readings say",
    "speeding up": "every model slows down, and these readings do not",
}
NAMES = ("kept for", "in place of", "keeps it")


def made(name, creep_run, folder):
    """A fit, and a part that is held and loaded."""
    run = creep_run(unload=None)
    last = max(r.time for r in run.readings)
    values = {
        "contradicting": lambda r: r.value - (0.8 if r.time == last else 0.0),
        "no creep": lambda r: 12.4 + (2.2 if r.time > 0.0 else 0.0),
        "speeding up": lambda r: r.value + 0.05 * max(r.time / DAY - 2.0, 0.0) ** 2,
        "sound": lambda r: r.value,
    }[name]
    fitted = cf.fit(replace(run, readings=tuple(replace(r, value=float(values(r))) for r in run.readings)))
    path = folder / "arm.toml"
    far = name == "sound"  # a heavy load on an arm that is bent far
    path.write_text(PART.format(mass=8.0 if far else 0.1, held=80.0 if far else 1.0), encoding="utf-8")
    return fitted, read_part(path)


@pytest.fixture(scope="module", params=list(WITHOUT_ANY))
def case(request, creep_run, tmp_path_factory, lean):
    """Why nothing is promised, and a fit and a part of which nothing is."""
    fitted, part = made(request.param, creep_run, tmp_path_factory.mktemp("part"))
    return WITHOUT_ANY[request.param], lean(fitted), part


@pytest.fixture(scope="module")
def strained(creep_run, tmp_path_factory, lean):
    """A sound fit, and a part whose load strains it to where plastics yield."""
    fitted, part = made("sound", creep_run, tmp_path_factory.mktemp("strained"))
    return lean(fitted), part


def test_a_limit_of_a_specimen_is_promised_nowhere(case):
    words, fitted, _ = case
    result = cf.forecast(fitted, ["1 year"], limit="30 mm")
    why = result.nothing_promised
    assert why is not None
    assert words in why
    assert result.limit.life is result.limit.load is None
    assert result.limit.why == why
    written = json.loads(json.dumps(result.to_dict()))
    assert written["nothing_promised"] == why
    assert written["withheld"] == result.withheld is not None
    assert [written["limit"][key] for key in ("life_h", "kept", "load")] == [None, None, None]
    assert written["limit"]["why"] == why
    said = " ".join(cf.text(result).split())
    assert why in said
    assert not any(name in said for name in NAMES)
    assert "no number is given" in result.headline


def test_a_fit_says_of_what_was_read_whether_it_is_to_be_relied_on(case, strained):
    words, fitted, _ = case
    withheld = summarise(fitted).to_dict()["withheld"]
    if words == WITHOUT_ANY["no creep"]:  # which holds for what was read
        assert withheld is None
    else:  # these models are not like the readings, either
        assert withheld.startswith("The readings contradict each other or every model")
    assert summarise(strained[0]).to_dict()["withheld"] is None


def test_a_limit_of_a_part_is_promised_nowhere(case):
    words, fitted, part = case
    result = cf.sag(part, fitted, ["1 year"])
    why = result.nothing_promised
    assert why is not None
    assert words in why
    assert result.design.life is result.design.load.factor is result.design.thickness.factor is None
    written = json.loads(json.dumps(result.to_dict()))
    assert written["withheld"] == result.withheld is not None
    assert written["nothing_promised"] == written["life"]["why"] == written["load"]["why"] == why
    assert written["life"]["limit"] == 30.0
    assert written["life"]["low_h"] is written["life"]["kept"] is written["load"]["safe_factor"] is None
    assert written["thickness"]["sizes"] == []
    said = " ".join(cf.text(result).split())
    assert why in said
    assert not any(name in said for name in NAMES)
    assert with_part(result) == []
    with pytest.raises(InputError, match="nothing to draw, as no number is given"):
        cf.plot(result)


@pytest.mark.usefixtures("undrawn")
def test_the_desk_slides_nothing_either(case):
    _, fitted, part = case
    options = AnswerOptions("1 year", "30 mm")
    assert part_answered(part, fitted, options)["sliders"] is None
    content = answered(fitted, options)
    assert content["sliders"] is content["limit"] is None
    assert content["answer"].startswith("No number is given")


def test_a_plan_promises_nothing_for_its_question(case):
    _, fitted, _ = case
    plan = cf.plan(fitted, limit="30 mm")
    assert plan.nothing_promised == plan.to_dict()["nothing_promised"] is not None
    assert plan.to_dict()["now"]["promised"] is None


@pytest.mark.usefixtures("undrawn")
def test_a_page_promises_nothing_either(case):
    _, fitted, part = case
    found = find(fitted, ["1 year"], "30 mm", points=6)
    content = section(found, cf.sag(part, fitted, ["1 year"]), 1, held=cf.relax(part, fitted, ["1 year"])).content
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
    _, fitted, _ = case
    found = find(fitted, ["1 year"], points=12)
    drawn = readings_figure(found)
    assert found.curve.times[-1] == pytest.approx(fitted.run.test_length)
    assert any("no forecast:" in text.get_text() for text in drawn.figure.findobj(Text))
    assert "No forecast is drawn" in drawn.alt


def test_a_part_that_is_held_bent_has_no_force_either(case):
    _, fitted, part = case
    result = cf.relax(part, fitted, ["1 year"])
    assert result.withheld == result.to_dict()["withheld"] is not None
    assert "no number is given" in result.headline
    assert "No number is given" in cf.text(result)
    with pytest.raises(InputError, match="nothing to draw"):
        cf.plot(result)


def test_a_shelf_leaves_out_what_no_forecast_gives(case):
    words, fitted, _ = case
    row = row_of(fitted, "run.toml")
    assert row.creep[1] is row.creep[2] is None
    assert any(words in why for why in row.why)


def test_under_a_load_out_of_reach_only_another_load_is_promised_anything(strained):
    fitted, _ = strained
    result = cf.forecast(fitted, ["1 year"], limit="3 mm", load="60 N")
    words = "times the highest stress tested the strain comes to"
    assert words in result.withheld == result.to_dict()["withheld"]
    assert "no number is given" in result.headline
    assert result.nothing_promised is result.limit.life is result.to_dict()["limit"]["kept"] is None
    assert result.limit.load == cf.forecast(fitted, ["1 year"], limit="3 mm").limit.load
    said = " ".join(cf.text(result).split())
    assert f"is out of reach: {result.instead.because}. In proportion to the load it would be" in said
    assert f"how long it is kept as it is cannot be said: {result.instead.because}" in said
    with pytest.raises(InputError, match="nothing to draw"):
        cf.plot(result)


@pytest.mark.usefixtures("undrawn")
def test_a_part_strained_out_of_reach_may_be_made_thicker(strained):
    fitted, part = strained
    result = cf.sag(part, fitted, ["1 year"])
    assert result.withheld == result.to_dict()["withheld"] is not None
    assert result.nothing_promised is result.design.life is result.to_dict()["life"]["kept"] is None
    assert result.design.why == result.to_dict()["life"]["why"]
    assert result.design.thickness.factor.high > 1.0
    said = " ".join(cf.text(result).split())
    assert f"is out of reach: {result.instead.because}. In proportion to the load it would be" in said
    assert result.design.why in said
    assert "by this thickness" in said
    content = section(find(fitted, points=6), result, 1).content["part"]
    assert content["figures"] == []
    assert {key.what: key.value for key in content["keys"]}["limit of 30 mm reached"] == "not given"
    assert not any(row[0] == "as it is" for row in content["tables"]["limit"].rows)
    bent = cf.relax(part, fitted, ["1 year"])
    assert bent.withheld is not None
    assert "is out of reach: at" in " ".join(cf.text(bent).split())


def test_no_verdict_is_given_between_such_a_run_and_a_sound_one(case, strained, lean):
    _, fitted, _ = case
    sound = strained[0]
    result = cf.compare([lean(replace(fitted, run=replace(fitted.run, name="odd"))), sound], "1 year")
    assert result.withheld == result.to_dict()["withheld"] is not None
    assert "no verdict is given. PETG odd: " in result.headline
    assert result.withheld == f"PETG odd: {withheld_at(fitted, 365.25 * DAY).text}"
    said = " ".join(cf.text(result).split())
    assert "No verdict is given at 1 year. PETG odd: " in said
    assert "the difference is real" not in said
    assert not any(line.endswith(" real") for line in cf.text(result).splitlines())
    content = materials([*result.fits], result.moments[-1].time)
    assert content.answer.startswith("No verdict is given")
    assert {row[5] for row in content.tables["ratios"].rows} == {"not told"}


def test_nor_are_such_runs_ranked_in_the_json(case, strained, lean):
    _, fitted, _ = case
    odd = lean(replace(fitted, run=replace(fitted.run, name="odd")))
    result = cf.compare([odd, strained[0]], "1 year").to_dict()
    assert result["ranking"] == []
    assert all(ratio["distinguishable"] is None for moment in result["at"] for ratio in moment["ratios"])


def test_what_is_left_of_such_a_run_has_no_number_first(case):
    because, fitted, _ = case
    result = cf.recovery(fitted, ["1 d", "30 d"])
    assert result.withheld == result.to_dict()["withheld"] == withheld_at(fitted, 35 * DAY).text
    assert "no number is given. " in result.headline
    said = " ".join(cf.text(result).split())
    assert "No number is given for what is left 30 d after unloading: " in said
    assert f"Not a forecast: {because}" in said
    assert result.permanent_set.bounds is None
    assert {rule.verdict for rule in result.practice} == {"open"}


def test_after_an_unloading_the_set_of_contradicting_readings_is_not_given(creep_run):
    run = creep_run(extra=lambda t: -0.5 * (np.abs(t - 2 * DAY) < HOUR))
    fitted = cf.fit(run)
    result = cf.recovery(fitted, ["1 d"])
    assert result.withheld is not None
    assert "contradict" in result.permanent_set.why
    assert {rule.verdict for rule in result.practice} == {"open"}
    row = row_of(fitted, "odd.json")
    assert row.recovered is row.permanent_set is None
    assert any(why.startswith("recovery and set: the readings contradict") for why in row.why)
    sound = cf.recovery(cf.fit(creep_run()), ["1 d"])
    assert sound.withheld is None
    assert sound.permanent_set.bounds is not None


def test_between_runs_that_hold_there_is_a_verdict(strained, creep_run, lean):
    other = lean(cf.fit(replace(creep_run(seed=3), name="other")))
    assert cf.compare([other, strained[0]], "30 d").withheld is None


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


@pytest.fixture(scope="module")
def in_kilograms(creep_run, tmp_path_factory, lean):
    """A sound run, the same with its grams typed as kilograms, and a part."""
    sound, part = made("sound", creep_run, tmp_path_factory.mktemp("grams"))
    run = replace(sound.run, steps=tuple(replace(step, value=1000.0 * step.value) for step in sound.run.steps))
    return lean(sound), lean(cf.fit(run)), part


def test_nothing_that_hangs_on_the_modulus_of_no_plastic_is_answered(in_kilograms):
    """A limit was kept by 188 kg and a part was called safe, beside a caution about the modulus alone."""
    _, grams, part = in_kilograms
    own = cf.forecast(grams, ["30 d"], limit="3 mm")
    assert own.withheld is None  # under the load as it hung the deflection was read right
    assert own.limit.load is None
    assert "no load is named, as no plastic has the modulus" in own.limit.why
    other = cf.forecast(grams, ["30 d"], load=0.5 * grams.run.peak_load, limit="3 mm")
    for answer in (other, cf.sag(part, grams, at=["30 d"]), cf.relax(part, grams, at=["30 d"])):
        assert "Was the mass in g, typed as kg?" in answer.withheld
    assert cf.sag(part, grams, at=["30 d"]).design.load.factor is None
    assert short_sag(cf.sag(part, grams, at=["30 d"])).count("Was the mass in g, typed as kg?") == 1
    # of a sag that is not said nothing is doubted: "flow would add up to 0.005 mm" stood there
    assert {c.code for c in cf.sag(part, grams, at=["30 d"]).cautions} == {"modulus-of-no-plastic", "no-recovery-reading"}
    assert all(row.modulus is None for row in cf.creep_modulus(grams).rows)
    row = row_of(grams, "")
    assert (row.modulus, row.creep) == (None, (None,) * 3)
    assert "creep modulus: no plastic has the modulus that the specimen's load and sizes come to" in row.why


def test_materials_are_not_compared_by_it_either(in_kilograms):
    sound, grams, _ = in_kilograms
    found = cf.compare([sound, grams], at=["5 d"])
    assert "typed as kg" in found.withheld
    assert "modulus-of-no-plastic" in {c.code for c in found.cautions}
    assert cf.compare([sound, grams], at=["1 d"], by="recovered").withheld is None  # in which no load enters


def test_a_modulus_a_little_off_is_said_beside_a_comparison_and_withholds_nothing(in_kilograms, lean):
    sound, _, part = in_kilograms
    steps = tuple(replace(step, value=5.0 * step.value) for step in sound.run.steps)
    stiff = lean(cf.fit(replace(sound.run, steps=steps)))
    found = cf.compare([sound, stiff], at=["5 d"])
    assert found.withheld is None
    assert "modulus-out-of-range" in {c.code for c in found.cautions}
    assert cf.sag(part, stiff, at=["30 d"]).instead is None or cf.sag(part, stiff, at=["30 d"]).instead.of == "load"
    said = " ".join(cf.text(cf.sag(part, stiff, at=["30 d"])).split())
    assert said.index("The modulus at 1 min comes out as") < said.index("After 30 d under")
    assert cf.forecast(stiff, ["30 d"], limit="3 mm").limit.load is not None
    assert not {c.code for c in cf.compare([sound, another_bar(sound, lean)], at=["5 d"]).cautions} & {
        "modulus-out-of-range",
        "modulus-of-no-plastic",
    }


def another_bar(fitted, lean):
    """The same bar under a name of its own, with readings that are not digit for digit those of the first."""
    readings = tuple(replace(r, value=r.value + 0.001 * (i % 2)) for i, r in enumerate(fitted.run.readings))
    return lean(cf.fit(replace(fitted.run, name="P-2", readings=readings)))
