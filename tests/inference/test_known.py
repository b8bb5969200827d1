"""Known runs: the answer is the tested specimen's, a longer run of its material says how it goes on; what is refused."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.stats import norm

from creepfit.answers.doubts.known import known_doubts
from creepfit.answers.specimen.with_known import WithKnown
from creepfit.errors import InputError
from creepfit.inference.belonging import SeveralSets, run_sets
from creepfit.inference.columns import observations
from creepfit.inference.components import UnitCreep, members_of, nodes_of
from creepfit.inference.fitting import fit
from creepfit.inference.hindcast import Hindcast
from creepfit.inference.known import DEPARTURE, KnownFit, fit_known
from creepfit.inference.mixture import Draws, Mixture
from creepfit.inference.priors import Priors
from creepfit.inference.tested import LATE, late_columns, steeper_column
from creepfit.mechanics.loading import Array, LoadHistory
from creepfit.mechanics.long_history import Superposition
from creepfit.mechanics.specimen import Direct
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, HOUR

# generous beyond the data, as a run must be that has nothing but itself
ALONE = Priors(weights={"power-family": 1.0}, discrepancy=0.025)
SHORT = np.array([60.0, 600.0, HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY])
LONG = np.array([60.0, HOUR, DAY, 3 * DAY, 10 * DAY, 30 * DAY, 60 * DAY, 120 * DAY, 200 * DAY])
NOISE = 5e-6
ENDS = np.array([200.0, 400.0]) * DAY


def strain(times: Array, whole: float = 1.0, creep: float = 1.0, n: float = 0.15, flow: float = 0.0) -> Array:
    """0.5 % at once, a quarter of a per cent by the fifth day, and flow in per cent of the first a day."""
    grown = ((1.0 + times) ** n - 1.0) / ((1.0 + 5 * DAY) ** n - 1.0)
    return np.asarray(0.005 * whole * (1.0 + creep * (0.5 * grown + flow / 100.0 * times / DAY)))


def run_of(
    name: str,
    times: Array,
    seed: int = 0,
    load: float = 10.0,
    fields: dict[str, Any] | None = None,
    noise: float = NOISE,
    **how: float,
) -> Run:
    rng = np.random.default_rng(seed)
    shown = strain(times, **how) * load / 10.0 + noise * rng.standard_normal(times.size)
    readings = (Reading(-60.0, 0.0), *(Reading(float(t), float(y)) for t, y in zip(times, shown, strict=True)))
    gauge = Gauge(noise / 20.0, noise, "as given", drift=0.0)
    return Run("PETG", Direct("strain"), gauge, (LoadStep(0.0, load),), readings, name=name, **(fields or {}))


def ends(found: Any, at: Array = ENDS) -> Array:
    """Low, median, high at times, shape (3, T)."""
    drawn = found.draws.deformation(LoadHistory.held(10.0), at)
    return np.asarray(np.quantile(drawn, [0.05, 0.5, 0.95], axis=0))


@pytest.fixture(scope="module")
def taught() -> KnownFit:
    """A bar 12 % softer than the known one, with a twelfth more creep besides."""
    return fit_known(run_of("new", SHORT, whole=1.12, creep=1.08), [run_of("old", LONG, 1)], priors=ALONE)


def test_a_known_run_with_the_name_of_the_new_one_is_of_another_bar(taught: KnownFit) -> None:
    """A copied file keeps its specimen's name: that ended in a fault, as no specimen was left to learn from."""
    assert taught.stacked is not None
    new, old = taught.run, taught.known[0].run
    alike = fit_known(new, [replace(old, name=new.name)], priors=ALONE)
    np.testing.assert_allclose(ends(alike), ends(taught), rtol=1e-9)
    assert [c.code for c in known_doubts(alike)] == ["known-named-alike"]
    assert not list(known_doubts(taught))


def test_ways_to_depart_are_one_a_decade_after_the_last_reading() -> None:
    """A larger exponent by the slope of the power family in n; late growth by its series, of next to nothing before."""
    last = 5 * DAY
    times = last * np.array([0.001, 0.1, 1.0, 10.0, 100.0])
    held = Superposition(LoadHistory.held(1.0), times)

    def grown(n: float) -> Array:
        return np.asarray(((1.0 + times) ** n - 1.0) / ((1.0 + last) ** n - 1.0))

    slope = grown(0.16 + 1e-5) - grown(0.16 - 1e-5)
    column = steeper_column(held, last)
    assert column == pytest.approx(slope / slope[3], rel=2e-3, abs=1e-9)
    assert column[1] < column[2] == 0.0
    late, flow = late_columns(held, last)
    assert (late[3], flow[3]) == (pytest.approx(1.0), pytest.approx(1.0))
    x = 0.2
    assert late[1] == pytest.approx(x**3 / 6.0 / np.log(21.0), rel=0.2)
    assert flow[1] == pytest.approx(x**2 / 2.0 / 19.0, rel=0.1)
    assert flow[4] == pytest.approx(199.0 / 19.0)


def test_the_answer_is_the_tested_specimens_and_narrower(taught: KnownFit) -> None:
    assert "known-overrides" not in {c.code for c in known_doubts(taught)}
    truth = strain(ENDS, whole=1.12, creep=1.08)
    low, median, high = ends(taught)
    alone = ends(taught.alone)
    assert ((low < truth) & (truth < high)).all()
    assert np.abs(median / truth - 1.0).max() < 0.02
    assert ((high - low) < alone[2] - alone[0]).all()
    assert not taught.draws.scatter.any()
    # within its own readings it is its own curve, not an average of both
    own = ends(taught, np.array([5 * DAY]))
    assert own[1] == pytest.approx(strain(np.array([5 * DAY]), whole=1.12, creep=1.08), rel=0.003)
    assert own[2] - own[0] < 0.02 * own[1]


def test_what_no_model_has_is_taken_from_the_known_run() -> None:
    """Flow that five days do not show and two hundred do: the power family has none."""
    new = run_of("new", SHORT, flow=0.1)
    found = fit_known(new, [run_of("old", LONG, 1, whole=0.95, flow=0.1)], priors=ALONE)
    truth = strain(ENDS, flow=0.1)
    assert (ends(found.alone)[2] < truth).all()
    raised = {c.code: c.text for c in known_doubts(found)}
    assert "old overrides what this specimen's own 5 d say: 200 d after loading" in raised["known-overrides"]
    low, _, high = ends(found)
    assert low[0] < truth[0] < high[0]
    # as far again as the known run went, what it owes to flow and what to a steeper power is open
    assert 0.98 * low[1] < truth[1] < high[1]


@pytest.mark.parametrize("n", [0.13, 0.17])
def test_a_specimen_with_an_exponent_of_its_own_goes_on_by_it(n: float) -> None:
    """The known run has 0.15, by which it would have 4 % more or less after 400 d."""
    found = fit_known(run_of("new", SHORT, n=n), [run_of("old", LONG, 1)], priors=ALONE)
    low, median, high = ends(found)
    truth = strain(ENDS, n=n)
    assert found.used
    assert ((low < truth) & (truth < high)).all()
    assert median == pytest.approx(truth, rel=0.01)


def test_readings_of_the_specimen_are_its_own(taught: KnownFit) -> None:
    """Further readings are asked about on the tested specimen, so its draws know of its readings only."""
    assert taught.draws.observed.times.size == SHORT.size + 1
    assert taught.draws.observed.span.last == LONG[-1]


def test_a_known_run_that_contradicts_has_no_weight() -> None:
    new = run_of("new", SHORT)
    found = fit_known(new, [run_of("other", LONG, 1, n=0.6)], priors=ALONE)
    assert [k.contradicts for k in found.known] == [True]
    assert found.used == ()
    np.testing.assert_array_equal(found.draws.instant, found.alone.draws.instant)
    both = fit_known(new, [run_of("other", LONG, 1, n=0.6), run_of("old", LONG, 2)], priors=ALONE)
    assert [k.name for k in both.used] == ["old"]
    assert both.pooled is not None


def test_a_known_run_loses_its_weight_by_and_by() -> None:
    """The steeper the known run the less of the answer is from it; between, draws are of both, each as by itself.

    A hindcast says that it misleads before the readings contradict it.
    """
    new = run_of("new", SHORT)
    found = [fit_known(new, [run_of("old", LONG, 1, n=n)], priors=ALONE) for n in (0.2, 0.28, 0.31, 0.4)]
    weights = [f.weight for f in found]
    assert weights[0] == 1.0 > weights[1] > weights[2] > weights[3] == 0.0
    between = found[1]
    assert between.used
    said = ["".join(caution.text for caution in known_doubts(f)) for f in found]
    assert said[0] == ""
    assert said[1].startswith("Knowing old, a forecast from the first 1 h")
    assert re.search(r"old contradicts these readings: .* It counts by \d+ %, and the rest", said[2])
    assert said[3].endswith("It has no weight in the answer.")
    counts = [WithKnown(f, f.level, ()).to_dict()["runs"][0]["counts"] for f in found]
    assert counts == [True, True, True, False]
    assert between.weight == pytest.approx(between.known[0].belongs)
    assert between.pooled is not None
    check_parts(between, {between.weight: between.pooled.draws(), 1.0 - between.weight: between.alone.draws})
    names = between.mixture.priors.weights_by_name()
    assert sum(between.mixture.weight_of(name) for name in names) == pytest.approx(1.0)
    own = between.mixture.posteriors[0]
    by_law = between.mixture.with_members([own], np.ones(1)).draws()
    assert np.isin(by_law.noise, own.noise).all()  # nothing of what the other sets have


def check_parts(found: KnownFit, parts: dict[float, Draws]) -> None:
    """Draws over several sets are of each as often as it is likely, at all times and beyond all data."""
    held, at = LoadHistory.held(10.0), np.array([DAY, 20 * DAY, *ENDS, 2000 * DAY])
    drawn = found.draws.deformation(held, at)
    each = [(share, draws.deformation(held, at)) for share, draws in parts.items()]
    for level in np.quantile(drawn, [0.05, 0.5, 0.95], axis=0):
        together = sum(share * (of_one < level).mean(axis=0) for share, of_one in each)
        assert together == pytest.approx((drawn < level).mean(axis=0), abs=0.02)


def test_what_no_model_has_begins_where_the_data_of_each_set_end() -> None:
    """A steep run of 200 d that may not belong beside one of 30 d that does."""
    known = [run_of("a", LONG[LONG <= 30 * DAY], 1), run_of("b", LONG, 2, n=0.28)]
    found = fit_known(run_of("new", SHORT), known, priors=ALONE)
    assert found.pooled is not None
    ends_of = {other.observed.span.last for _, other in found.others} | {found.pooled.observed.span.last}
    assert ends_of == {LONG[-1], 30 * DAY}
    shares = [share for share, _ in found.others]
    assert found.weight == 1.0 > 1.0 - sum(shares) > min(shares)
    check_parts(found, {1.0 - sum(shares): found.pooled.draws()} | {share: other.draws() for share, other in found.others})


@pytest.mark.parametrize("flow", [0.0, 0.3])
def test_readings_tell_whether_the_models_miss_anything_of_a_known_run(flow: float) -> None:
    """The power family made the first; plain flow is beyond it."""
    found = fit_known(run_of("new", SHORT), [run_of("old", LONG, 1, flow=flow)], priors=ALONE)
    assert found.pooled is not None
    assert found.pooled.tested is not None
    assert found.pooled.tested.late == LATE[0 if flow == 0.0 else 1]
    assert sum(share for share, _ in found.others) < 0.2


def test_readings_choose_how_far_a_specimen_departs() -> None:
    """One whose readings show the known exponent departs less than stated, one a long way from it more."""
    sizes = []
    for n in (0.15, 0.27):
        found = fit_known(run_of("new", SHORT, n=n), [run_of("old", LONG, 1)], priors=ALONE)
        assert found.pooled is not None
        tested = found.pooled.tested
        assert tested is not None
        assert tested.departure == pytest.approx(DEPARTURE)
        tells, along = np.full(2000, 1e4), np.full(2000, 1e4 * (n - 0.15) / 0.03 * DEPARTURE)
        sizes.append(tested._size(tells, along, (np.arange(2000) + 0.5) / 2000))
    # by a sum over a fine grid of sizes
    fine = DEPARTURE * np.exp(np.linspace(-2.5, 2.5, 2001))
    for drawn, shown in zip(sizes, (0.0, 4.0 * DEPARTURE), strict=True):
        density = norm.pdf(np.log(fine / DEPARTURE), scale=0.7) * norm.pdf(shown, scale=np.hypot(fine, 0.01))
        assert np.log(drawn).mean() == pytest.approx(np.average(np.log(fine), weights=density), abs=0.05)
    assert np.median(sizes[0]) < DEPARTURE < np.median(sizes[1])


def test_sets_of_known_runs() -> None:
    """By arithmetic; sets that are less likely than one in forty are left out."""
    assert [(s.runs, s.probability) for s in run_sets([0.98])] == [((0,), 1.0)]
    assert [(s.runs, pytest.approx(s.probability)) for s in run_sets([0.6])] == [((0,), 0.6), ((), 0.4)]
    found = run_sets([0.6, 0.9])
    assert [s.runs for s in found] == [(0, 1), (1,), ()]
    assert [s.probability for s in found] == pytest.approx([0.54, 0.36, 0.1])
    assert [s.runs for s in run_sets([0.001, 0.01])] == [()]


def test_nodes_over_another_span_are_the_same_curves() -> None:
    """Shares of flow and of set are of the creep in the test: over a longer one they are others."""
    run = replace(run_of("new", SHORT), readings=(*run_of("new", SHORT).readings, Reading(6 * DAY, 1e-3)))
    run = replace(run, steps=(*run.steps, LoadStep(5.5 * DAY, 0.0)))
    observed = observations(run)
    history, times = run.history, np.array([HOUR, 3 * DAY, 5 * DAY, 7 * DAY, 60 * DAY])
    short, long = observed.span, replace(observed.span, last=200 * DAY)
    members = members_of(observed, Priors(), None)
    assert any(m.set_growth for m in members)
    assert any(m.model.flows for m in members)
    for member in members:
        nodes = nodes_of(member).every
        own, other = UnitCreep(member, short), UnitCreep(member, long)
        there, factor = own.over(other, nodes)
        assert there.shares.sum(axis=1) == pytest.approx(1.0)
        assert factor[:, None] * other.columns(there, history, times) == pytest.approx(own.columns(nodes, history, times))


def test_under_another_load_half_of_ones_own_exponent_goes_on() -> None:
    """What its readings show beside 0.15 counts in full under the known run's load."""
    truth, beside = strain(ENDS, n=0.18), strain(ENDS)
    known = [run_of("old", LONG, 1, load=load) for load in (10.0, 5.0)]
    same, other = (ends(fit_known(run_of("new", SHORT, n=0.18), [k], priors=ALONE))[1] for k in known)
    assert same == pytest.approx(truth, rel=0.01)
    assert (other - beside) / (truth - beside) == pytest.approx(0.5, abs=0.2)


def test_known_runs_that_agree_leave_less_open() -> None:
    """Three known runs that go on alike, and three whose late creep differs."""
    new = run_of("new", SHORT)
    alike = [run_of(f"a{i}", LONG, i, whole=w) for i, w in enumerate((0.95, 1.0, 1.06))]
    apart = [run_of(f"b{i}", LONG, i, whole=w, flow=f) for i, (w, f) in enumerate(((0.95, 0.0), (1.0, 0.06), (1.06, 0.12)))]
    narrow, wide = (fit_known(new, known, priors=ALONE) for known in (alike, apart))
    assert narrow.departure < 0.9 * DEPARTURE
    assert wide.departure > 1.3 * narrow.departure
    assert "3 known" in wide.departure_source
    spans = [np.diff(ends(f)[[0, 2]], axis=0)[0, 0] for f in (narrow, wide)]
    assert spans[1] > spans[0]


def test_other_conditions_need_anyway_and_widen() -> None:
    new = run_of("new", SHORT, fields={"temperature": 23.0})
    warm = run_of("warm", LONG, 1, fields={"temperature": 43.0})
    with pytest.raises(InputError, match=r"temperature 23 °C of new and 43 °C of warm.*--anyway"):
        fit_known(new, [warm], priors=ALONE)
    found = fit_known(new, [warm], anyway=True, priors=ALONE)
    assert found.known[0].differences == ("temperature 23 °C of new and 43 °C of warm",)
    assert found.departure == pytest.approx(np.hypot(DEPARTURE, 0.08))


def test_another_temperature_may_bend_the_curve() -> None:
    """n of 0.31 beside 0.15 contradicts at one temperature and may be at another 40 K away, by what is usual there."""
    new = run_of("new", SHORT, fields={"temperature": 23.0}, n=0.15)
    steeper = [run_of("old", LONG, 1, fields={"temperature": t}, n=0.31) for t in (23.0, 63.0)]
    same, warm = (fit_known(new, [old], anyway=True, priors=ALONE).known[0] for old in steeper)
    assert same.contradicts
    assert not warm.contradicts
    assert warm.misfit.chi_square < same.misfit.chi_square


def test_another_stress_widens_by_what_it_shows(taught: KnownFit) -> None:
    """Compliance 30 % up at another load: the interval allows for going on differently too."""
    near = fit_known(run_of("new", SHORT), [run_of("old", LONG, 1)], priors=ALONE)
    far = fit_known(run_of("new", SHORT, whole=1.3), [run_of("old", LONG, 1, load=5.0)], priors=ALONE)
    widths = [float((ends(f)[2] - ends(f)[0])[0] / ends(f)[1][0]) for f in (near, far)]
    assert widths[1] > 1.5 * widths[0]


def test_what_cannot_be_known_is_told_in_one_line() -> None:
    new, old = run_of("new", SHORT), run_of("old", LONG, 1)
    for anyway in (False, True):
        with pytest.raises(InputError, match=r"old is of PLA, the new run of PETG"):
            fit_known(new, [replace(old, material="PLA")], anyway=anyway)
    with pytest.raises(InputError, match="teaches nothing beyond the new run"):
        fit_known(old, [new])
    with pytest.raises(InputError, match="a list of known runs"):
        fit(new, known=old)  # type: ignore[call-overload]
    with pytest.raises(InputError, match="known runs beside several"):
        fit([new, old], known=[old])  # type: ignore[call-overload]
    millimetres = replace(old, specimen=Direct())
    with pytest.raises(InputError, match="no common measure"):
        fit_known(new, [millimetres])
    assert type(fit(new, known=[], models=["power-family"])) is not KnownFit


def test_a_known_run_that_a_coarse_gauge_cannot_contradict_is_said_to_mislead(taught: KnownFit) -> None:
    """Its readings leave a steep known run nearly all of its weight, but not what these say of its first hours."""
    times = np.array([60.0, 600.0, HOUR, 6 * HOUR, DAY, 2 * DAY, 3 * DAY, 4 * DAY, 5 * DAY, 6 * DAY, 8 * DAY, 10 * DAY])
    bad = fit_known(run_of("new", times, 3, noise=5e-5), [run_of("old", LONG, 1, n=0.35, noise=5e-5)], priors=ALONE)
    assert bad.weight > 0.9
    (caution,) = known_doubts(bad)
    assert caution.code == "known-misleads"
    past = bad.hindcast_with
    assert isinstance(past, Hindcast)
    assert f"Knowing old, a forecast from the first 1 h of this run would have held {past.inside} of 9" in caution.text
    assert "It counts all the same" in caution.text
    assert list(known_doubts(taught)) == []


def test_hindcast_with_the_known_run(taught: KnownFit) -> None:
    assert "later readings" in taught.hindcast_with.text


def test_models_weigh_as_in_all_sets_of_known_runs() -> None:
    """A run that may not belong flows, the other does not: what flows weighs, and is drawn, as often as in both."""
    known = [run_of("a", LONG[LONG <= 30 * DAY], 1), run_of("b", LONG, 2, n=0.28)]
    some = Priors(weights={"power-family": 0.6, "power-flow": 0.3, "stretched-exponential": 0.1})
    mixed = fit_known(run_of("new", SHORT), known, priors=some).mixture
    assert isinstance(mixed, SeveralSets)
    own = 1.0 - sum(share for share, _ in mixed.others)
    alone = Mixture(mixed.posteriors, mixed.weights, mixed.observed, mixed.priors)
    for name in mixed.priors.weights_by_name():
        expected = own * alone.weight_of(name) + sum(share * other.weight_of(name) for share, other in mixed.others)
        assert mixed.weight_of(name) == pytest.approx(expected)
        drawn = sum(group.rows.size for group in mixed.draws().groups if group.member.model.name == name) / 4000
        assert drawn == pytest.approx(expected, abs=0.005)
        part = mixed.of_members(lambda m, name=name: m.model.name == name)  # type: ignore[misc]
        assert isinstance(part, SeveralSets)
        for (share, other), (kept, _) in zip(mixed.others, part.others, strict=True):
            assert kept == pytest.approx(share * other.weight_of(name) / expected)
