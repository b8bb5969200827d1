"""Slips of the bench with a name: one question, first in the list; and no sound run is asked any."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from creepfit.answers.doubts.collected import about_fit, check_run
from creepfit.answers.doubts.withheld import contradiction
from creepfit.answers.specimen.forecast import forecast
from creepfit.answers.specimen.schedule import next_reading
from creepfit.answers.wording import size
from creepfit.inference.fitting import fit
from creepfit.mechanics.specimen import Cantilever, Tension, ThreePointBending
from creepfit.records.run import Event, LoadStep, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure

pytestmark = pytest.mark.few_draws

NAMED = {
    "reading-beyond-the-specimen", "other-zero", "odd-temperature", "larger-than-specimen", "reads-the-other-way",
    "zero-with-the-weight-on", "load-came-off", "event-by-one-reading",
    "modulus-out-of-range", "modulus-of-no-plastic", "columns-swapped",
}  # fmt: skip
DAILY = [MINUTE, HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY]


def first(run: Run):
    return check_run(run)[0]


def codes(run: Run) -> list[str]:
    return [c.code for c in check_run(run)]


def with_values(run: Run, change) -> Run:
    return replace(run, readings=tuple(replace(r, value=change(r)) for r in run.readings))


def mistyped(run: Run, time: float, by: float) -> Run:
    return with_values(run, lambda r: r.value + (by if abs(r.time - time) < 1.0 else 0.0))


@pytest.mark.parametrize("behind", [[MINUTE, HOUR, DAY], [MINUTE], [DAY, 2 * DAY]])
def test_an_unloading_that_was_not_noted(creep_run, behind):
    run = creep_run(times=[*DAILY, *(5 * DAY + t for t in behind)])
    found = first(replace(run, steps=run.steps[:1]))
    assert found.code == "load-came-off"  # three jumps, or an outlier, before
    assert "did you take it off at 5 d" in found.text or "did you take it off at 132 h" in found.text
    assert ("mistyped" in found.text) == (len(behind) == 1)
    assert "--unloaded" in found.settled_by
    assert not {"jump", "outlier", "accelerating"} & set(codes(replace(run, steps=run.steps[:1])))
    assert "no-recovery-reading" not in codes(replace(run, steps=run.steps[:1]))  # it would deny the first


def test_before_the_unloading_is_noted_nothing_is_asked_under_load(creep_run):
    run = creep_run(times=[*DAILY, 5 * DAY + MINUTE, 5 * DAY + HOUR])
    asked = next_reading(fit(replace(run, steps=run.steps[:1])))
    assert not asked.suggestions
    assert "whether and when the load came off" in asked.why
    contradicted = contradiction(asked.fit)
    assert contradicted.endswith(("at 5 d?", "h?"))  # "?." before


def test_a_reading_mistyped_against_the_load_strains_nothing(creep_run):
    run = creep_run(unload=None)
    slip = mistyped(run, 2 * DAY, -20.0)
    assert "outlier" in codes(slip)
    assert {c for c in codes(slip) if "strain" in c} == {c for c in codes(run) if "strain" in c}


@pytest.mark.parametrize("by", [0.37, -0.09])
@pytest.mark.parametrize("behind", [[MINUTE, HOUR, DAY], []])
def test_a_mistyped_last_reading_under_load_is_one_row(creep_run, by, behind):
    run = creep_run(times=[*DAILY, *(5 * DAY + t for t in behind)], unload=5 * DAY if behind else None)
    found = codes(mistyped(run, 5 * DAY, by))
    assert found[0] == "outlier"  # "from 5 d on all readings share a shift" before
    assert "jump" not in found


def test_a_deflection_that_the_bar_cannot_have(creep_run):
    run = with_values(creep_run(load=10.0), lambda r: 25.4 * r.value)
    assert codes(run) == ["larger-than-specimen"]
    assert "typed as inches" in first(run).text


def test_readings_in_mm_typed_as_inches_within_reach_of_the_bar(creep_run):
    found = first(with_values(creep_run(), lambda r: 25.4 * r.value))
    assert found.code == "modulus-of-no-plastic"
    assert "Are the readings in mm, typed as inches? Or " in found.text  # behind a force and a mass before
    assert "read right all the same" not in found.text  # it stood behind that question


@pytest.mark.parametrize("unload", [5 * DAY, None])
def test_a_gauge_that_falls(creep_run, unload):
    run = with_values(creep_run(unload=unload), lambda r: 25.0 - r.value)
    assert codes(run) == ["reads-the-other-way"]  # a modulus of 42 TPa came first before
    assert "gauge.falls = true" in first(run).text
    shown = [r.value for r in run.readings if r.time < 0.0][-1] - next(r.value for r in run.readings if r.time > 0.0)
    assert f"goes down by {size(shown, 'mm')} when the load went on" in first(run).text
    assert "reads-the-other-way" not in codes(replace(run, gauge=replace(run.gauge, falls=True)))


def test_width_and_thickness_swapped(creep_run):
    bar = Cantilever(length=Measure(80.0), width=Measure(5.0), thickness=Measure(12.0))
    found = first(replace(creep_run(), specimen=bar))
    assert "Are width and thickness swapped? Or " in found.text


@pytest.mark.parametrize("zero", [3.15, 31.5])
def test_an_initial_reading_in_another_unit_is_asked_about_with_what_would_fit(creep_run, zero):
    """12.40 mm typed as 0.1240 in: length and thickness were doubted, and the deflection said to be right."""
    run = creep_run()
    other = with_values(run, lambda r: zero if r.time < 0.0 else r.value)
    assert codes(other) == ["other-zero"]
    found = re.search(rf"the initial reading is {zero:g} mm: about ([\d.]+) mm would fit", first(other).text)
    assert found is not None
    came = next(r.value for r in run.readings if r.time > 0.0) - 12.4
    assert float(found[1]) == pytest.approx(12.4, abs=0.25 * came)  # some of what came goes back later
    assert "other-zero" not in codes(run)
    assert str(forecast(fit(other), ["30 d"]).withheld) == first(other).text
    assert [c.code for c in about_fit(fit(other))] == ["other-zero"]


def test_what_follows_from_a_gauge_that_falls_is_not_said(creep_run):
    """After it "the zero was probably read with the weight already on" stood, and "the run again" was advised."""
    backward = with_values(creep_run(), lambda r: 25.0 - r.value)
    assert [c.code for c in about_fit(fit(backward))] == ["reads-the-other-way"]


def test_one_temperature_far_from_all_others_is_asked_about_and_not_the_gauge(creep_run):
    warm = {MINUTE: 22.0, HOUR: 23.0, 3 * DAY: 60.0}
    run = creep_run()
    rows = tuple(replace(r, temperature=warm.get(r.time, 22.0)) for r in run.readings)
    assert codes(replace(run, readings=rows)) == ["odd-temperature"]
    assert "3 d" in first(replace(run, readings=rows)).text
    assert "says 60 °C, and all others 22 to 23 °C" in first(replace(run, readings=rows)).text
    two = tuple(replace(r, temperature=60.0) if r.time in (2 * DAY, 3 * DAY) else r for r in rows)
    assert "odd-temperature" not in codes(replace(run, readings=two))


@pytest.mark.parametrize("unload", [5 * DAY, None])
def test_an_initial_reading_with_the_weight_on(creep_run, unload):
    run = creep_run(initial=1, unload=unload)
    on = run.readings[1].value - 0.01
    found = first(with_values(run, lambda r: on if r.time < 0.0 else r.value))
    assert found.code == "zero-with-the-weight-on"  # "are the readings in inches" before
    assert "taken with the weight already on?" in found.text


def test_an_event_that_hides_a_mistyped_reading_leaves_it_suspicious(creep_run):
    run = mistyped(creep_run(), 3 * DAY, 0.37)
    for events in ([3 * DAY - 60], [3 * DAY - 60, 3 * DAY + 60], [2 * DAY]):  # what is read at its very time is before it
        noted = replace(run, events=tuple(Event(t, "bumped") for t in events))
        found = next(c for c in check_run(noted) if c.code == "event-by-one-reading")
        assert "3 d" in found.text
        assert "mistyped" in found.text
    last = replace(mistyped(creep_run(), 5 * DAY, 0.37), events=(Event(5 * DAY - 60, "bumped"),))
    assert "event-by-one-reading" in codes(last)


@pytest.mark.parametrize(
    "options",
    [
        {},
        {"unload": None},
        {"initial": 0},
        {"load": -1.96},
        {"preload": 1.0},
        {"steps": (LoadStep(0.0, 1.0), LoadStep(DAY, 2.0), LoadStep(2 * DAY, 0.5), LoadStep(5 * DAY, 0.0))},
        {"times": [MINUTE, DAY, 5 * DAY, 5 * DAY + MINUTE, 6 * DAY]},
        {"specimen": Tension(length=Measure(100.0), width=Measure(10.0), thickness=Measure(4.0)), "load": 200.0,
         "resolution": 0.001, "noise": 0.001},
        {"specimen": ThreePointBending(span=Measure(100.0), width=Measure(15.0), thickness=Measure(5.0)), "load": 20.0},
    ],
)  # fmt: skip
@pytest.mark.parametrize("seed", range(3))
def test_sound_runs_are_asked_nothing(creep_run, options, seed):
    assert not NAMED & set(codes(creep_run(seed=seed, **options)))


def test_a_true_bump_is_still_a_jump(creep_run):
    run = creep_run()
    run = with_values(run, lambda r: r.value + (0.2 if r.time > 4 * DAY - 1.0 else 0.0))
    assert "jump" in codes(run)
    noted = replace(run, events=(Event(4 * DAY - 60, "bumped"),))
    assert not {"jump", "event-by-one-reading"} & set(codes(noted))
