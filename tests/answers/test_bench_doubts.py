"""Mistakes made at the bench: each is asked about where it was made, and no sound run is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.doubts.collected import about_fit, about_forecast, check_run
from creepfit.answers.materials.comparison import compare
from creepfit.answers.specimen.recovery import recovery
from creepfit.answers.specimen.schedule import next_reading
from creepfit.inference.fitting import fit
from creepfit.inference.pooling import fit_pooled
from creepfit.inference.priors import Priors
from creepfit.mechanics.specimen import Compression, Direct, Tension
from creepfit.records.run import LoadStep
from creepfit.units import DAY, HOUR, MINUTE, Measure

pytestmark = pytest.mark.few_draws

STEPS = (LoadStep(0.0, 1.96), LoadStep(5 * DAY, 0.0))


def codes(cautions):
    return [c.code for c in cautions]


def caution(cautions, code):
    found = [c for c in cautions if c.code == code]
    assert found, f"{code} is not among {codes(cautions)}"
    return found[0]


def with_values(run, change):
    return replace(run, readings=tuple(replace(r, value=change(r.time, r.value)) for r in run.readings))


def fitted(run, **options):
    return fit(run, models=["power-family"], **options)


# ---------------------------------------------------------------- the load at another time than noted


@pytest.mark.parametrize("late", [5 * MINUTE, 2 * HOUR])
def test_a_weight_hung_on_after_the_first_readings(creep_run, late):
    run = replace(creep_run(steps=(LoadStep(late, 1.96), STEPS[1])), steps=STEPS)
    found = check_run(run)
    text = caution(found, "load-time").text
    assert "put on only between those two readings" in text
    assert "noted as put on at 0 s" in text
    assert "jump" not in codes(found)
    assert "[[event]]" not in caution(found, "load-time").settled_by


@pytest.mark.parametrize("noted", [4 * DAY + HOUR, 15 * DAY])
def test_an_unloading_noted_too_early_or_too_late(creep_run, noted):
    run = replace(creep_run(), steps=(STEPS[0], LoadStep(noted, 0.0)))
    found = check_run(run)
    assert "taken off only between those two readings" in caution(found, "load-time").text
    assert "jump" not in codes(found)


@pytest.mark.parametrize("shift", [0.1, -0.1])
def test_a_bump_is_not_taken_for_the_load(creep_run, shift):
    found = codes(check_run(creep_run(extra=lambda t: shift * (t >= 3 * DAY))))
    assert found == ["jump"]


# ---------------------------------------------------------------- columns, units, rows


def test_swapped_columns(creep_run):
    run = creep_run(initial=0)
    swapped = [replace(r, time=r.value * HOUR, value=r.time / HOUR) for r in run.readings]
    wrong = replace(run, readings=tuple(sorted(swapped, key=lambda r: r.time)), steps=STEPS[:1])
    assert codes(check_run(wrong)) == ["columns-swapped"]
    assert "columns-swapped" not in codes(check_run(run))


def test_a_reading_of_next_to_nothing_is_no_spread(creep_run):
    run = creep_run()
    nothing = replace(run, readings=(*run.readings[:-1], replace(run.readings[-1], value=1e-320)))
    assert "columns-swapped" not in codes(check_run(nothing))


def test_an_absurd_deflection_comes_first_and_is_no_rupture(creep_run):
    run = creep_run(unload=None, extra=lambda t: 0.05 * np.clip(t / DAY - 2.0, 0.0, None) ** 2)
    assert "accelerating" in codes(check_run(run))
    inches = with_values(run, lambda t, v: 400.0 * v)
    found = codes(check_run(inches))
    assert found[0] == "larger-than-specimen"
    assert "accelerating" not in found


def test_a_modulus_far_off_comes_first_and_one_a_little_off_does_not(creep_run):
    run = creep_run(unload=None, extra=lambda t: 0.05 * np.clip(t / DAY - 2.0, 0.0, None) ** 2)
    grams = replace(run, steps=(LoadStep(0.0, 1960.0),))
    found = codes(check_run(grams))
    assert found[0] == "modulus-of-no-plastic"
    assert "accelerating" not in found
    found = codes(check_run(replace(run, steps=(LoadStep(0.0, 4.0),))))
    assert found.index("accelerating") < found.index("modulus-out-of-range")


def strip(length):
    return Tension(length=Measure(length), width=Measure(10.0), thickness=Measure(4.0))


def test_a_length_in_cm_explains_a_modulus_ten_times_too_high(creep_run):
    run = creep_run(specimen=strip(80.0), load=200.0, noise=5e-4, resolution=1e-4)
    assert "modulus-out-of-range" not in codes(check_run(run))
    text = caution(check_run(replace(run, specimen=strip(800.0))), "modulus-out-of-range").text
    assert "is the length 80 mm, typed in cm instead of mm?" in text
    text = caution(check_run(replace(run, specimen=strip(8.0))), "modulus-out-of-range").text
    assert "80 mm, typed in mm instead of cm?" in text


def test_a_span_a_little_wrong_enters_cubed(creep_run):
    run = creep_run()
    text = caution(check_run(replace(run, steps=(LoadStep(0.0, 9.0), STEPS[1]))), "modulus-out-of-range").text
    # 2000 / 1.15 at 1 min, times 9 / 1.96, over the middle 1402 of the usual range is 5.7; its cube root is 1.79
    assert "is the length 45 mm instead of the 80 mm typed (it enters cubed)?" in text


def test_one_time_with_two_readings(creep_run):
    run = creep_run()
    twice = replace(run, readings=tuple(replace(r, time=DAY) if r.time == 2 * DAY else r for r in run.readings))
    assert "1 d" in caution(check_run(twice), "same-time-twice").text
    copies = [replace(r, row=r.row + 40) for r in run.readings]
    both = sorted([*run.readings, *copies], key=lambda r: r.time)
    assert "same-time-twice" not in codes(check_run(replace(run, readings=tuple(both))))
    pasted = [replace(r, row=r.row + 40) for r in run.readings if r.time == 2 * DAY]
    both = sorted([*run.readings, *pasted], key=lambda r: r.time)
    assert "2 d" in caution(check_run(replace(run, readings=tuple(both))), "row-twice").text
    habit = [replace(r, value=r.value + 0.01) for r in copies]
    both = sorted([*run.readings, *habit], key=lambda r: r.time)
    assert "same-time-twice" not in codes(check_run(replace(run, readings=tuple(both))))


def test_a_streak_of_equal_readings_before_a_jump(creep_run):
    run = creep_run(noise=0.002, resolution=0.001)
    day_1 = next(r.value for r in run.readings if r.time == DAY)
    streak = with_values(run, lambda t, v: day_1 if DAY <= t <= 4 * DAY else v)
    found = check_run(streak)
    assert "4 readings from 1 d" in caution(found, "copied-reading").text
    assert "jump" not in codes(found)


# ---------------------------------------------------------------- what the gauge can show


def test_creep_of_a_few_steps_of_the_gauge(creep_run):
    coarse = creep_run(resolution=0.1, noise=0.02)
    found = caution(check_run(coarse), "creep-near-resolution")
    assert "(0.1 mm)" in found.text
    assert "finer gauge" in found.settled_by
    assert "a longer or thinner bar; more load" in found.settled_by
    assert "creep-near-resolution" not in codes(check_run(creep_run()))


def test_what_a_coarse_gauge_asks_of_a_bar_goes_by_how_its_sizes_enter(creep_run):
    """A column that is pressed can be longer or bent; of readings without sizes nothing can be asked."""
    pressed = Compression(length=Measure(2000.0), diameter=Measure(2.0))
    for specimen, asked in (
        (pressed, "a longer bar, or one that is bent; more load"),
        (Direct(), "a finer gauge; more load"),
    ):
        coarse = creep_run(resolution=0.1, noise=0.02, specimen=specimen)
        assert asked in caution(check_run(coarse), "creep-near-resolution").settled_by


# ---------------------------------------------------------------- what was done is not asked for


def test_a_reading_after_unloading_is_not_asked_to_unload(creep_run):
    few = [MINUTE, HOUR, 5 * DAY]
    unloaded = creep_run(times=[*few, 5 * DAY + MINUTE])
    flowing = Priors(weights={"power-family": 0.5, "burgers": 0.5})  # what a reading after unloading tells apart
    found = next_reading(fit(unloaded, priors=flowing), count=20).suggestions
    texts = [s.text for s in found if s.place == "after unloading"]
    assert texts
    assert all(t.startswith("read on, ") for t in texts)
    loaded = creep_run(times=few, unload=None)
    found = next_reading(fit(loaded, priors=flowing), count=20).suggestions
    texts = [s.text for s in found if s.place == "after unloading"]
    assert texts
    assert all(t.startswith("take the load off") for t in texts)


def test_late_first_reading_says_what_can_still_be_done(creep_run):
    late = [2 * DAY, 5 * DAY]
    loaded = about_fit(fitted(creep_run(times=late, unload=None)))
    assert "after unloading" in caution(loaded, "late-first-reading").settled_by
    done = [
        c for c in about_fit(fitted(creep_run(times=[*late, 5 * DAY + 60.0, 6 * DAY]))) if c.code == "late-first-reading"
    ]
    assert not any("after unloading" in c.settled_by for c in done)


def test_no_recovery_reading_of_an_unloaded_specimen(creep_run):
    run = creep_run()
    assert caution(check_run(creep_run(unload=None)), "no-recovery-reading").settled_by.startswith("unload")
    unread = replace(run, readings=tuple(r for r in run.readings if r.time <= 5 * DAY))
    assert not caution(check_run(unread), "no-recovery-reading").settled_by.startswith("a reading 1 min")


def test_specimens_asked_for_beside_those_tested(creep_run, alone):
    runs = [creep_run(seed=s, name=f"T-{s}") for s in range(3)]
    pools = {n: fit_pooled(runs[:n], priors=alone) for n in (2, 3)}
    asked = {n: caution(about_forecast(pool, [DAY]), "moulded-bars").settled_by for n, pool in pools.items()}
    assert caution(about_forecast(fitted(runs[0]), [DAY]), "moulded-bars").settled_by == "a second and a third specimen"
    assert asked[2] == "a third specimen"
    assert "third" not in asked[3]


def test_rules_of_practice_stay_open_after_a_short_recovery(creep_run):
    run = creep_run()
    rules = recovery(fitted(run)).practice
    assert all(r.verdict == "met" and r.why is None for r in rules)
    short = replace(run, readings=tuple(r for r in run.readings if r.time <= 5 * DAY + HOUR))
    rules = recovery(fitted(short)).practice
    assert all(r.verdict == "open" and "1 h after unloading" in r.why for r in rules)


def test_compare_names_the_material_with_one_specimen(creep_run):
    petg = [fitted(creep_run(seed=s, name=f"T-{s}")) for s in range(2)]
    pla = fitted(replace(creep_run(seed=4), material="PLA", name="L-1"))
    mixed = caution(compare([*petg, pla], at=["1 d"]).cautions, "one-specimen").text
    assert "PLA L-1;" in mixed
    assert "PETG" not in mixed
    each = caution(compare([petg[0], pla], at=["1 d"]).cautions, "one-specimen").text
    assert "Every material was" in each
    assert "Every material" not in caution(compare(petg, at=["1 d"]).cautions, "one-specimen").text


def test_about_fit_of_a_sound_run_asks_nothing(creep_run):
    assert about_fit(fitted(creep_run())) == ()


@pytest.mark.parametrize(("acting", "doubted"), [((0.5, 1.0, 1.5), False), ((0.5, 1.12, 1.8), True)])
def test_a_bar_that_gives_more_than_in_proportion(creep_run, acting, doubted):
    """Three equal steps; `acting` is the load that would give as much in proportion."""
    at = (0.0, 5 * MINUTE, 10 * MINUTE)
    off = LoadStep(15 * MINUTE, 0.0)
    times = [t + s for t in at for s in (10.0, 60.0, 240.0)] + [16 * MINUTE, 20 * MINUTE, HOUR]
    made = creep_run(steps=(*(LoadStep(t, w) for t, w in zip(at, acting, strict=True)), off), times=times)
    typed = replace(made, steps=(*(LoadStep(t, w) for t, w in zip(at, (0.5, 1.0, 1.5), strict=True)), off))
    assert ("no-model-fits-loads" in codes(about_fit(fit(typed)))) == doubted
