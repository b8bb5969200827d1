"""When creep stops, and that a stop never stands alone."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.answers.specimen.creep_stop import creep_stop
from creepfit.errors import InputError
from creepfit.inference.fitting import fit
from creepfit.inference.priors import Priors
from creepfit.records.files import read_run
from creepfit.units import DAY, HOUR, MINUTE, YEAR

pytestmark = pytest.mark.few_draws


def fitted(run, **options):
    """The fit with one model's best fit: that of the others is not needed here."""
    return fit(run, models=["power-family"], **options)


def exact(creep_run, truth, n, length=10 * DAY):
    """A run of Findley's law with 0.5 mm of creep at 1 d, read finely enough to leave no doubt."""
    run = creep_run(unload=None)
    factor = run.specimen.geometry.reading_per_compliance * 1.96
    modulus = factor / 2.0
    share = 0.25 * n / DAY**n
    times = np.geomspace(MINUTE, length, 30)
    made = creep_run(truth(modulus, share, n), unload=None, times=times, noise=1e-4, resolution=1e-5, age=None)
    return fitted(made, priors=Priors(discrepancy=0.0, weights={"power-family": 1.0}))


@pytest.mark.parametrize(("n", "days", "to_come"), [(0.1, 48.5, 0.31), (0.2, 199.0, 0.74)])
def test_time_and_rest_of_findleys_law(creep_run, truth, n, days, to_come):
    # closed form, checked here: 0.5 ((t + 7)^n - t^n) = 0.01 mm at t days
    assert 0.5 * ((days + 7.0) ** n - days**n) == pytest.approx(0.01, rel=5e-3)
    stop = creep_stop(exact(creep_run, truth, n, 25 * DAY), window="7 d", threshold="0.01 mm")
    # earliest time with probability 0.9, so somewhat later than the median's
    assert stop.time == pytest.approx(days * DAY, rel=0.03)
    assert stop.time > days * DAY * 0.995
    expected = 0.5 * (365.25**n - 25.0**n)
    assert stop.still_to_come.median == pytest.approx(expected, rel=0.02)
    assert stop.still_to_come.low < expected < stop.still_to_come.high
    # after the 1-day criterion (5.5 d and 17.3 d) these are still to come by 365 d (closed form)
    criterion = {0.1: 5.5, 0.2: 17.3}[n]
    assert 0.5 * (365.0**n - criterion**n) == pytest.approx(to_come, abs=0.006)


def test_not_within_ten_times_the_test(creep_run, truth):
    stop = creep_stop(exact(creep_run, truth, 0.2), window="7 d", threshold="0.01 mm")  # 199 d, test of 10 d
    assert stop.time is None
    assert "not within ten times the test (100 d)" in stop.why
    assert stop.contents()["time_h"] is None


def test_already_there_at_the_end_of_the_readings(creep_run):
    stop = creep_stop(fitted(creep_run()), threshold="5 mm")
    assert stop.time == 5 * DAY
    assert "do not tell since when" in stop.why


def test_default_threshold_is_resolution_or_one_per_cent(creep_run):
    fine = creep_stop(fitted(creep_run()))
    assert fine.threshold == pytest.approx(0.01 * 2.41, rel=0.02)  # the deflection read after 5 d is 2.41 mm
    assert fine.threshold_from == "1 % of the deflection at the end of the test"
    coarse = creep_stop(fitted(creep_run(resolution=0.05)))
    assert (coarse.threshold, coarse.threshold_from) == (0.05, "the gauge's resolution")


def test_levelling_off_is_no_stop(creep_run, truth):
    bounded = truth(share=0.05, n=-0.2)
    result = fitted(creep_run(bounded, unload=None), priors=Priors(weights={"power-family": 1.0}))
    exponent = np.concatenate([g.nodes.shapes[:, 0] for g in result.draws.groups])
    assert np.median(exponent) < 0.0
    stop = creep_stop(result, window="30 d", threshold="0.002 mm")
    assert stop.time is None


def test_a_forecast_that_all_but_stops_says_so_beside_creep_that_goes_on(creep_run, truth):
    """One unit of 50 h, read for seven days: the last day moved, a month brings next to nothing more."""
    times = [MINUTE, HOUR, 8 * HOUR, *(d * DAY for d in range(1, 8))]
    law = truth(share=0.0, kelvin=0.6, tau=50 * HOUR)
    kelvin = creep_stop(fitted(creep_run(law, times=times, unload=None, noise=2e-3, resolution=1e-3, age=None)))
    assert kelvin.stopped == "no"
    assert kelvin.fades is not None
    assert 7 * DAY <= kelvin.fades < 60 * DAY
    assert f"by the forecast it all but stops within {kelvin.fades / DAY:g} d" in kelvin.sentence


def test_what_goes_on_as_a_power_of_time_does_not_stop(creep_run):
    plain = creep_stop(fitted(creep_run(age=None)))
    assert plain.stopped == "no"
    assert plain.fades is None
    assert "all but stops" not in plain.sentence + plain.fading


def test_creep_goes_on(creep_run):
    stop = creep_stop(fitted(creep_run(noise=0.002, resolution=0.001)))
    assert stop.stopped == "no"
    assert "Creep goes on" in stop.sentence


def test_only_the_gauge_has_stopped(creep_run):
    times = [MINUTE, HOUR, *(k * DAY for k in (4.0, 5.0, 6.0, 7.0))]
    stop = creep_stop(fitted(creep_run(unload=None, times=times, resolution=0.05)))
    assert stop.stopped == "gauge only"
    assert "Only the gauge has stopped" in stop.sentence
    assert stop.still_to_come.low > stop.threshold


def test_creep_seen_over_the_last_decade_goes_on_though_two_readings_in_a_row_do_not_show_it(creep_run):
    times = [MINUTE, HOUR, *(k * DAY for k in (0.5, 1.0, 2.0, 3.0, 4.0, 4.1))]
    stop = creep_stop(fitted(creep_run(unload=None, times=times)))
    assert stop.stopped == "no"
    assert "Creep goes on: between 12 h and 4 d 2 h 24 min" in stop.sentence
    assert "though the last two readings alone do not show it" in stop.sentence


def test_of_a_test_in_steps_the_last_load_counts(tmp_path):
    """Four steps of the gauge in 55 s: to call that below what the gauge can show was wrong."""
    under = ["0.24 0.24 0.25 0.25", "0.47 0.47 0.48 0.48", "0.70 0.71 0.71 0.72", "0.95 0.97 0.98 0.99"]
    steps = [f'[[load]]\nat = "{65 * k} s"\nmass = "{(k + 1) / 2} kg"\n' for k in range(len(under))]
    readings = [", ".join(f'"{value} mm"' for value in row.split()) for row in under]
    path = tmp_path / "steps.toml"
    path.write_text(
        'format = 1\n[run]\nmaterial = "PLA"\n[specimen]\ntest = "three-point-bending"\nspan = "100 mm"\nwidth = "15 mm"\n'
        f'thickness = "5 mm"\n[gauge]\nresolution = "0.01 mm"\n{"".join(steps)}[readings]\nbefore = "0.02 mm"\n'
        f'after = ["5 s", "20 s", "40 s", "60 s"]\nreading = [{", ".join(f"[{row}]" for row in readings)}]\n'
    )
    stop = creep_stop(fitted(read_run(path)), window="1 h", by="1 h")
    assert stop.stopped == "no"
    assert "between 200 s and 255 s the reading changed by 0.04 mm" in stop.sentence


def test_the_material_has_stopped(creep_run, truth):
    still = truth(share=0.0, n=0.1, kelvin=0.05, tau=HOUR)
    run = creep_run(still, unload=None, noise=0.002, resolution=0.001, seed=2)
    stop = creep_stop(fitted(run, priors=Priors(discrepancy=0.0)), threshold="0.1 mm")
    assert stop.stopped == "material"
    assert stop.still_to_come.high < 0.1


def test_a_bar_at_rest_after_two_days_that_was_read_on_finely_has_stopped(creep_run, truth):
    times = [MINUTE, 10 * MINUTE, HOUR, 3 * HOUR, 6 * HOUR, 12 * HOUR, *(k * DAY for k in range(1, 11))]
    still = truth(share=0.0, kelvin=0.15, tau=10 * HOUR)
    result = fitted(creep_run(still, unload=None, times=times, noise=0.001, resolution=0.001, seed=1))
    assert result.mixture.weight_of("zener") > 0.5  # between the nodes of a coarse grid its likelihood was overlooked
    stop = creep_stop(result)
    assert stop.stopped == "material"
    assert stop.still_to_come.median == 0.0  # not 6e-12 mm
    assert "e-" not in stop.sentence


def test_neither_can_be_told(creep_run, truth):
    times = [*np.geomspace(MINUTE, 4 * DAY, 7), 4.2 * DAY]
    slow = truth(share=0.002, n=0.05)
    stop = creep_stop(fitted(creep_run(slow, unload=None, times=times)))
    assert stop.stopped == "cannot be told"
    assert stop.still_to_come.low <= stop.threshold <= stop.still_to_come.high


def test_what_is_to_come_is_never_negative_and_ageing_never_makes_it_less(creep_run):
    young, unknown = (creep_stop(fitted(creep_run(age=age))) for age in (2 * DAY, None))
    assert young.still_to_come.low >= 0.0
    assert young.still_to_come.high >= 0.999 * unknown.still_to_come.high


def test_without_initial_reading(creep_run):
    stop = creep_stop(fitted(creep_run(initial=0)))
    assert "no initial reading" in stop.threshold_from
    assert stop.still_to_come.median > 0.0


@pytest.mark.parametrize(
    ("given", "words"),
    [
        ({"window": "0 d"}, "window"),
        ({"threshold": "0 mm"}, "threshold"),
        ({"threshold": "1 d"}, "threshold"),
        ({"by": "1 h"}, "after the last reading under load, 5 d"),
    ],
)
def test_what_cannot_be_asked(creep_run, given, words):
    with pytest.raises(InputError, match=words):
        creep_stop(fitted(creep_run()), **given)


def test_dictionary(creep_run):
    answer = creep_stop(fitted(creep_run())).to_dict()
    assert list(answer)[:5] == ["format", "version", "seed", "level", "run"]
    stop = answer["creep_stop"]
    assert {"threshold", "window_h", "time_h", "why", "still_to_come"} <= set(stop)
    assert stop["still_to_come"]["by_h"] == pytest.approx(YEAR / HOUR)
    assert {"low", "median", "high", "unit"} <= set(stop["still_to_come"])


def test_the_next_day_and_week_are_said_first_in_the_testers_terms(creep_run):
    result = creep_stop(fitted(creep_run()), window="7 d")
    day, week = result.pace
    assert (day.window, week.window, day.probability) == (DAY, 7 * DAY, 0.95)
    assert 0.0 < day.below < week.below < result.still_to_come.high
    assert result.sentence.startswith("From the last reading under load on it moves less than ")
    assert result.contents()["pace"][1] == {
        "window_h": 168.0, "less_than": week.below, "unit": "mm", "probability": 0.95,
    }  # fmt: skip
