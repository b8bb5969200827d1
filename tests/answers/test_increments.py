"""Increments between readings: their error, and what may not be subtracted."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from creepfit.answers.specimen.creep_stop import creep_stop
from creepfit.answers.specimen.increments import increments
from creepfit.inference.fitting import fit
from creepfit.mechanics.specimen import Cantilever
from creepfit.records.run import Event, Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure


def test_error_of_a_difference_holds_noise_rounding_and_drift(creep_run):
    run = creep_run(times=[MINUTE, HOUR, DAY, 5 * DAY], unload=None, initial=1, gauge={"drift": 0.02})
    result = fit(run)
    rows = list(increments(result))
    assert [(r.start, r.end) for r in rows] == [(MINUTE, HOUR), (HOUR, DAY), (DAY, 5 * DAY)]
    # variance of a difference: 2 (s^2 + r^2/12) + q^2 dt, times how far the noise scale moved from the stated one
    scale = result.noise_sd / result.observed.noise.stated
    for row in rows:
        days = (row.end - row.start) / DAY
        expected = scale * np.sqrt(2.0 * (0.005**2 + 0.01**2 / 12.0) + 0.02**2 * days)
        assert row.std_error == pytest.approx(expected, rel=1e-9)


def test_repeats_make_the_error_smaller(creep_run):
    run = creep_run(unload=None)
    repeated = replace(run, readings=tuple(replace(r, repeats=9, spread=0.005) for r in run.readings))
    one, nine = (fit(r) for r in (run, repeated))
    ratio = [
        (b.std_error / nine.noise_sd) / (a.std_error / one.noise_sd)
        for a, b in zip(increments(one), increments(nine), strict=True)
    ]
    assert max(ratio) < 0.85


def test_distinguishable_where_the_change_stands_out_only(creep_run):
    def flat_since_day_3(t):
        return np.where(t >= 3 * DAY, -0.03 * (t / DAY - 3.0), 0.0)

    rows = list(increments(fit(creep_run(unload=None, noise=0.01, extra=flat_since_day_3, seed=3))))
    assert rows[0].distinguishable
    assert not rows[-1].distinguishable


def test_distinguishable_turns_at_the_level_of_a_two_sided_test_over_all_noise_that_is_likely(creep_run):
    result = fit(creep_run(unload=None, noise=0.01, seed=3))
    scale = result.noise_draws / result.noise_sd
    reached = [1.0 - 2.0 * np.mean(norm.sf(abs(r.change) / (r.std_error * scale))) for r in increments(result)]
    row = int(np.argmin(np.abs(np.array(reached) - 0.7)))
    assert 0.3 < reached[row] < 0.95
    assert increments(result, reached[row] - 0.01).rows[row].distinguishable
    assert not increments(result, reached[row] + 0.01).rows[row].distinguishable


SHORT = [MINUTE, HOUR, DAY, 2 * DAY, 3 * DAY]


def test_the_misfit_of_a_poor_curve_is_no_noise_of_the_gauge():
    """Five readings to 0.01 mm: a curve of two parameters left 0.05 mm, and 0.1 mm a day could not be told from zero."""
    shown = [12.40, 14.67, 14.77, 14.95, 15.03, 15.08]
    readings = tuple(Reading(t, y) for t, y in zip([-60.0, *SHORT], shown, strict=True))
    bar = Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(4.0))
    run = Run("PETG", bar, Gauge(0.01, 0.005, "a dial gauge's"), (LoadStep(0.0, 3.92),), readings)
    rows = increments(fit(run)).rows
    assert all(row.distinguishable for row in rows[:3])
    assert rows[0].std_error < 0.02
    assert creep_stop(fit(run)).stopped == "no"  # "below what this gauge can show" stood first


def test_one_division_of_a_coarse_gauge_may_be_rounding(creep_run):
    run = creep_run(unload=None, times=[MINUTE, HOUR, *(k * DAY for k in (4.0, 5.0, 6.0, 7.0))], resolution=0.05)
    last = [row for row in increments(fit(run)) if row.start >= 4.0 * DAY]
    assert sorted(round(row.change / 0.05) for row in last) == [0, 0, 1]
    assert not any(row.distinguishable for row in last)


@pytest.mark.parametrize(("creeps", "at_least", "at_most"), [(True, 0.5, 1.0), (False, 0.0, 0.1)])
def test_creep_is_seen_where_it_is_and_not_where_there_is_none(creep_run, truth, creeps, at_least, at_most):
    law = truth() if creeps else truth(share=0.0, kelvin=0.0)
    runs = [creep_run(law, times=SHORT, unload=None, seed=seed) for seed in range(20)]
    seen = [increments(fit(run)).rows[-1] for run in runs]
    assert at_least <= np.mean([row.distinguishable for row in seen]) <= at_most


def test_a_new_zero_leaves_the_change_unknown(creep_run):
    run = creep_run(unload=None)
    run = replace(run, events=(Event(2.5 * DAY, "rezeroed"),))
    rows = {(r.start, r.end): r for r in increments(fit(run))}
    across = rows[2 * DAY, 3 * DAY]
    assert across.change is None
    assert across.std_error is None
    assert across.distinguishable is None
    assert "new zero" in across.why
    assert rows[3 * DAY, 4 * DAY].change is not None


def test_changes_of_load_are_no_creep(creep_run):
    steps = (LoadStep(0.0, 1.0), LoadStep(HOUR, 2.0), LoadStep(DAY, 0.0))
    times = [MINUTE, 10 * MINUTE, HOUR + MINUTE, HOUR + 600.0, 0.9 * DAY, DAY + MINUTE, DAY + HOUR]
    rows = list(increments(fit(creep_run(steps=steps, times=times))))
    assert [(r.start, r.end) for r in rows] == [
        (MINUTE, 10 * MINUTE),
        (HOUR + MINUTE, HOUR + 600.0),
        (HOUR + 600.0, 0.9 * DAY),
    ]


def test_dictionary_and_table(creep_run):
    found = increments(fit(creep_run()))
    first = found.to_dict()["increments"][0]
    assert list(first) == ["from_h", "to_h", "change", "std_error", "unit", "distinguishable"]
    assert list(found.to_dict())[:5] == ["format", "version", "seed", "level", "run"]
    assert len(found.table()) == len(found) == 8
