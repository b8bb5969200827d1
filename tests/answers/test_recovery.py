"""Recovery, and the permanent set as bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from creepfit.answers.interval import Interval
from creepfit.answers.specimen.recovery import _least_left, at_least, recovery, unloading_of
from creepfit.errors import InputError
from creepfit.inference.fitting import fit
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Direct
from creepfit.records.run import Event, LoadStep
from creepfit.report.text.recovery import headline
from creepfit.units import DAY, HOUR, MINUTE


def fitted(run, **options):
    """The fit with one model's best fit: that of the others is not needed here."""
    return fit(run, models=["power-family"], **options)


def test_findley_recovery(creep_run, truth):
    # 2 + 0.5 t^0.2 mm (t in d), unloaded after 6 d: closed form by superposition
    n = 0.2
    length = 6 * DAY
    factor = creep_run().specimen.geometry.reading_per_compliance * 1.96
    instant = 2.0 + 0.5 / DAY**n  # the power family counts its creep from that at 1 s
    law = truth(factor / instant, 0.5 * n / DAY**n / instant, n)
    times = [*np.geomspace(MINUTE, length, 12), *(length + np.geomspace(MINUTE, 2 * DAY, 8))]
    run = creep_run(law, times=times, unload=length, noise=5e-4, resolution=1e-4, age=None)
    found = recovery(fitted(run), after=["1 h", "1 d", "30 d"])
    assert found.before.median == pytest.approx(2.71548, rel=1e-3)
    expected = {HOUR: 0.45167, DAY: 0.23789, 30 * DAY: 0.03666}
    for row in found.residuals:
        assert row.left.median == pytest.approx(expected[row.after], rel=0.02)
        assert row.recovered.median == pytest.approx(100.0 * (1.0 - expected[row.after] / 2.71548), abs=0.1)
    # strain of the outer fibre at the root of a cantilever, 3 s h / (2 L^2), less the share of shear
    share = run.specimen.geometry.shear_share
    bending = 3.0 * found.residuals[1].left.median * 5.0 / (2.0 * 80.0**2) * (1.0 - share)
    assert found.residuals[1].strain.median == pytest.approx(bending, rel=1e-6)
    assert found.permanent_set.bounds.low == 0.0
    assert found.permanent_set.bounds.high < 0.01


def test_burgers_recovery_and_set(creep_run, truth):
    # 10 MPa, E1 = 2000, E2 = 4000 MPa, tau = 86400 s, eta1 = 2e9 MPa s, unloaded after 6 d: closed form
    law = truth(2000.0, 0.0, 0.1, kelvin=0.5, tau=DAY, flow=2000.0 / 2e9 * HOUR)
    times = [*np.geomspace(MINUTE, 6 * DAY, 14), *(6 * DAY + np.geomspace(MINUTE, 5 * DAY, 10))]
    run = creep_run(
        law, times=times, unload=6 * DAY, load=10.0, noise=2e-5, resolution=1e-5, specimen=Direct("strain"), age=None
    )
    found = recovery(fitted(run), after=["1 d", "5 d"])
    assert found.unit == "1"
    assert found.before.median == pytest.approx(0.0100858031, rel=5e-3)
    for row, left in zip(found.residuals, (0.0035094189, 0.0026088031), strict=True):
        assert row.left.median == pytest.approx(left, rel=1.5e-2)
    assert found.permanent_set.bounds.low <= 0.002592 <= found.permanent_set.bounds.high
    assert found.permanent_set.bounds.high <= found.permanent_set.upper_bound
    assert found.last_reading.left == pytest.approx(0.0026088031, abs=6e-5)


def test_bounds_hold_the_set(creep_run, truth):
    held, runs = 0, 10
    kept = 0.08  # mm, of a set that grows with the root of time under load
    for seed in range(runs):
        run = creep_run(seed=seed, extra=lambda t: kept * np.sqrt(np.clip(t / (5 * DAY), 0.0, 1.0)), age=None)
        bounds = recovery(fitted(run)).permanent_set.bounds
        held += bounds.low <= kept <= bounds.high
    assert held >= 7  # 0.9 of 10, less two standard deviations of the count


def test_set_never_above_the_last_reading(creep_run, truth):
    flowing = truth(flow=0.002)
    found = recovery(fitted(creep_run(flowing)))
    last = found.last_reading
    # one-sided 95 %: 1.645 standard errors above the last reading
    assert found.permanent_set.upper_bound == pytest.approx(last.left + 1.6449 * last.std_error, rel=1e-4)
    assert found.permanent_set.bounds.high <= found.permanent_set.upper_bound
    assert 0.0 <= found.permanent_set.bounds.low <= found.permanent_set.bounds.median
    assert "whatever the law" in found.permanent_set.why


def test_hypothetical_unloading_is_labelled(creep_run):
    found = recovery(fitted(creep_run(unload=None)))
    assert found.hypothetical
    assert found.unloading == 5 * DAY
    assert found.permanent_set.bounds is None
    assert "unload and read" in found.permanent_set.why
    assert found.last_reading is None
    assert found.residuals[0].left.low > found.residuals[1].left.high > 0.0
    assert [p.verdict for p in found.practice] == ["open", "open"]
    assert "hypothetical-unloading" in [c.code for c in found.cautions]


def test_unloaded_but_not_read(creep_run):
    run = creep_run()
    run = replace(run, readings=tuple(r for r in run.readings if r.time <= 5 * DAY))
    found = recovery(fitted(run))
    assert not found.hypothetical
    assert found.permanent_set.bounds is None
    assert "recovery-not-read" in [c.code for c in found.cautions]


def test_without_initial_reading_nothing_is_invented(creep_run):
    found = recovery(fitted(creep_run(initial=0)))
    assert found.before is None
    assert all(r.left is None and r.recovered is None and r.strain is None for r in found.residuals)
    assert all("before loading" in r.why for r in found.residuals)
    assert found.permanent_set.bounds is None
    assert found.to_dict()["permanent_set"]["low"] is None
    assert found.to_dict()["last_reading"]["value"] is None


def test_a_new_zero_in_between_takes_the_bound_away(creep_run):
    run = replace(creep_run(), events=(Event(2.5 * DAY, "bumped"),))
    found = recovery(fitted(run))
    assert found.last_reading.left is None
    assert "new zero" in found.last_reading.why
    assert found.permanent_set.upper_bound is None
    assert found.permanent_set.bounds is not None


def test_preload_stays_on(creep_run, truth):
    run = creep_run(preload=1.0, age=None)
    found = recovery(fitted(run), after=["1 d"]).residuals[0].left
    # the zero was read under the preload, so what is left is counted from there: superposition of the truth
    hanger = LoadHistory.held(1.0, -4 * MINUTE)
    times = np.array([-3 * MINUTE, -2 * MINUTE, -MINUTE, 6 * DAY])
    shown = truth().deformation(LoadHistory.joined([hanger, run.history]), times)
    expected = run.specimen.geometry.reading_per_compliance * (shown[-1] - shown[:-1].mean())
    assert expected > 0.3  # the preload's own creep goes on; without it 0.25 mm would be left
    assert found.low < expected < found.high


@pytest.mark.parametrize(("preload", "counts"), [(0.0, True), (1.0, True), (-1.0, False)])
def test_the_set_is_the_least_that_is_left_unless_the_rig_pulls_the_other_way(creep_run, preload, counts):
    found = recovery(fitted(creep_run(preload=preload, age=None)))
    assert found.permanent_set.bounds is not None
    assert _least_left(found.fit, found.permanent_set) == (found.permanent_set.bounds if counts else None)


def test_after_a_ramp_time_counts_from_its_end(creep_run):
    steps = (LoadStep(0.0, 1.96), LoadStep(5 * DAY, 0.0, 30.0))
    assert recovery(fitted(creep_run(steps=steps))).unloading == 5 * DAY + 30.0


def test_the_last_of_several_steps_is_the_unloading(creep_run):
    steps = (LoadStep(0.0, 1.0), LoadStep(DAY, 1.96), LoadStep(5 * DAY, 0.0, over=10.0))
    off = unloading_of(fitted(creep_run(steps=steps)))
    assert (off.begin, off.end, off.hypothetical) == (5 * DAY, 5 * DAY + 10.0, False)


def test_the_headline_says_what_is_left_or_that_it_is_unknown(creep_run):
    assert "unknown" not in recovery(fitted(creep_run())).headline
    assert "unknown" in recovery(fitted(creep_run(initial=0))).headline


def test_practice_rules(creep_run, truth):
    well = recovery(fitted(creep_run()))
    assert [p.verdict for p in well.practice] == ["met", "met"]
    badly = recovery(fit(creep_run(truth(flow=0.006), seed=1)))  # the power family alone has no such readings
    assert [p.verdict for p in badly.practice] == ["not met", "not met"]
    assert "ACI 437" in well.practice[0].source


def test_direct_in_mm_has_no_strain(creep_run):
    found = recovery(fitted(creep_run(specimen=Direct("length"), load=2000.0)))
    assert all(r.strain is None and r.left is not None for r in found.residuals)


@pytest.mark.parametrize("after", ["0 s", "-1 d", -5.0, float("nan")])
def test_times_that_are_none(creep_run, after):
    with pytest.raises(InputError, match="after"):
        recovery(fitted(creep_run()), after=[after])


def test_dictionary(creep_run):
    answer = recovery(fitted(creep_run())).to_dict()
    assert list(answer)[:6] == ["format", "version", "seed", "level", "run", "unit"]
    assert {"recovery", "permanent_set", "last_reading", "cautions"} <= set(answer)
    assert {"after_h", "low", "median", "high", "recovered_percent"} <= set(answer["recovery"][0])
    assert answer["unloading"] == {"at_h": 120.0, "hypothetical": False}
    assert {"low", "median", "high", "why"} <= set(answer["permanent_set"])
    assert len(recovery(fitted(creep_run())).table()) == 3


def test_what_is_left_is_no_less_than_what_stays_whichever_way_the_gauge_counts():
    stays = Interval(2.0, 2.5, 4.0)
    assert at_least(Interval(-1.0, 1.0, 3.0), stays, 1.0) == Interval(-1.0, 2.5, 4.0)
    assert at_least(Interval(-3.0, -1.0, 1.0), stays, -1.0) == Interval(-4.0, -2.5, 1.0)
    for left, way in ((Interval(3.0, 5.0, 6.0), 1.0), (Interval(-6.0, -5.0, -3.0), -1.0)):
        assert at_least(left, stays, way) == left
        assert at_least(left, None, way) is left


def test_of_a_set_that_was_not_tested_the_first_sentence_says_so(creep_run):
    """It gave an interval to 0.01 % of what has gone back, about a set that the next lines call unknown."""
    unread = recovery(fitted(creep_run(unload=None)), after="30 d")
    assert "what is left was not tested" in headline(unread)
    assert "more by all that has set or flowed" in headline(unread)
    assert "%) has gone back" not in headline(unread)
    assert "not tested" in unread.headline
    assert not unread.to_dict()["set_tested"]
    read = recovery(fitted(creep_run()), after="30 d")
    assert "not tested" not in headline(read) + read.headline
    assert "has gone back" in headline(read)


def test_beyond_a_hundred_times_what_was_read_no_number_is_given(creep_run):
    run = fitted(creep_run())
    late = recovery(run, after="5 years")
    assert headline(late) == (
        "No number is given for what is left 5 years after unloading: 5 years is 370 times as long as the test or its "
        "recovery was read (5 d)."
    )
    assert late.permanent_set.bounds is not None
    assert late.permanent_set.bounds == recovery(run, after="30 d").permanent_set.bounds
    assert recovery(run, after="400 d").withheld is None
