"""What runs at several stresses say together: verdict, how the linear law counts, doubts, curves by default."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import islice
from typing import Any

import numpy as np
import pytest

from creepfit.answers.stress.dependence import stress_dependence
from creepfit.answers.stress.laws import DRAWS
from creepfit.answers.stress.levels import levels_of
from creepfit.answers.stress.linearity import Linearity, linearity
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.mechanics.specimen import Direct, Specimen, ThreePointBending
from creepfit.mechanics.stress_law import LoadMap, shown_share, sinh_map, squared_map
from creepfit.records.run import LoadStep, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure

STRAIN = Direct("strain")
BAR = ThreePointBending(span=Measure(80.0), width=Measure(12.0), thickness=Measure(4.0))


def stepped(run: Callable[..., Run], stresses: tuple[float, ...], law: LoadMap | None = None, **options: Any) -> Fit:
    """A run of steps of ten minutes; `law` makes loads of what a linear material would have to carry."""
    specimen: Specimen = options.setdefault("specimen", STRAIN)
    per_load = float(specimen.geometry.stress_per_load or np.nan)
    steps = tuple(LoadStep(10 * MINUTE * k, s / per_load) for k, s in enumerate(stresses))
    felt = steps if law is None else tuple(LoadStep(s.at, float(law(np.array(s.value)))) for s in steps)
    times = [s.at + t for s in steps for t in (15.0, MINUTE, 3 * MINUTE, 6 * MINUTE, 9.5 * MINUTE)]
    options = {"noise": 2e-5, "resolution": 1e-6, "seed": 3, **options}
    return fit(replace(run(steps=felt, times=times, unload=None, **options), steps=steps))


def codes(found: Linearity) -> set[str]:
    return {c.code for c in found.cautions}


# --- the linear law counts ----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def undecided(creep_run: Callable[..., Run]) -> Linearity:
    """A departure of 4 % at the highest stress, of the size of the noise."""
    sigma0 = 12.0 / 0.486
    return linearity([stepped(creep_run, (4.0, 8.0, 12.0), sinh_map(STRAIN, sigma0), noise=2e-4, seed=1)])


def test_every_number_of_the_law_counts_with_the_linear_one(undecided: Linearity) -> None:
    law = undecided.law
    assert law is not None
    linear = law.probability_linear
    assert 0.1 < linear < 0.9
    assert law.factor.low == 1.0  # its own probability is above the tail's
    assert law.factor_if_not_linear.low > 1.0
    assert law.factor.high < law.factor_if_not_linear.high
    assert law.sigma0.high == law.sigma0_at(linear) == np.inf
    assert law.sigma0_at(linear + 1e-3) < np.inf
    counts = [m.draws.count for m in law.members]
    straight = [m.factor(12.0) == 1.0 for m in law.members]
    assert straight == [True] + [False] * 5
    assert counts[0] == pytest.approx(linear * DRAWS, abs=1.0)
    assert sum(counts) == pytest.approx(DRAWS, abs=5.0)
    found = undecided.to_dict()["law"]
    assert found["factor_at_highest"]["low"] == 1.0
    assert found["sigma0"]["high"] is None
    assert "do not rule out" in found["sigma0"]["why"]


def test_a_ratio_has_a_probability_of_its_own(undecided: Linearity) -> None:
    """`probability_softer` is that of a ratio above 1, whatever a law that knows no stiffening makes of it."""
    assert undecided.steps is not None
    (ratio,) = undecided.ratios
    draws = np.exp([undecided.steps.posterior.quantile(p) for p in np.linspace(0.0005, 0.9995, 2000)])
    assert ratio.probability_softer == pytest.approx(np.mean(draws > 1.0), abs=0.002)
    assert ratio.ratio.low == pytest.approx(np.quantile(draws, 0.05), abs=1e-3)


# --- the verdict --------------------------------------------------------------------------------------------------------


def test_stiffening_is_seen_and_is_no_law(creep_run: Callable[..., Run]) -> None:
    """Supports that settle: 3 % more at the lowest load than at the highest. The hyperbolic sine cannot follow it."""
    found = linearity([stepped(creep_run, (4.0, 8.0, 12.0), squared_map(4.0, 12.0, 0.97))])
    assert found.law is not None
    assert found.law.probability_linear > 0.5
    assert found.proportional == "no"
    assert "not in proportion" in found.text
    assert "stiffer-at-higher-stress" in codes(found)
    (ratio,) = found.ratios
    assert ratio.ratio.low < 0.97 < ratio.ratio.high


def test_bending_is_put_on_a_par_with_tension(creep_run: Callable[..., Run]) -> None:
    """The same departure in tension, 9.4 % at 12 MPa: the bar shows a third of it, and the answer is of tension."""
    sigma0 = 12.0 / 0.74
    found = linearity([stepped(creep_run, (4.0, 12.0), sinh_map(BAR, sigma0), specimen=BAR, noise=0.001, resolution=1e-4)])
    true = np.sinh(0.74) / 0.74 - 1.0
    assert found.departure is not None
    assert found.departure.low < true < found.departure.high
    (ratio,) = found.ratios
    assert ratio.ratio.high - 1.0 < 0.5 * true
    assert found.share == pytest.approx(shown_share(BAR))
    (caution,) = (c for c in found.cautions if c.code == "bending-hides-softening")
    assert "36 %" in caution.text
    assert "law" not in caution.text  # two stresses have none


@pytest.mark.parametrize("specimen", [STRAIN, BAR])
def test_stresses_too_close_together_say_what_would_tell(creep_run: Callable[..., Run], specimen: Specimen) -> None:
    """5 % at 10 MPa in tension: hidden between 9 and 10 MPa, and seen at the stress that is advised."""
    law = sinh_map(specimen, 10.0 / 0.544)  # sinh(x)/x = 1.05
    noise = {"noise": 8e-5 if specimen is STRAIN else 0.006, "resolution": 1e-7, "specimen": specimen}
    close = linearity([stepped(creep_run, (9.0, 10.0), law, **noise)])
    assert close.proportional == "cannot be told"
    (caution,) = (c for c in close.cautions if c.code == "stresses-too-close")
    assert close.to_dict()["next_test"] == caution.settled_by
    assert str(caution.settled_by) in close.text
    advised = float(str(caution.settled_by).split("a stress of ")[1].split(" MPa")[0])
    assert 10.0 < advised < 20.0
    told = (
        linearity([stepped(creep_run, (9.0, advised), law, **{**noise, "seed": seed})]).proportional == "no"
        for seed in range(5)
    )
    # four in five, with the luck of five draws; once three have told it no more are tried
    assert len(list(islice(filter(None, told), 3))) == 3


def test_readings_too_coarse_for_any_stress_say_so(creep_run: Callable[..., Run]) -> None:
    found = linearity([stepped(creep_run, (4.0, 8.0), noise=4e-4)])
    assert found.proportional == "cannot be told"
    (caution,) = (c for c in found.cautions if c.code == "readings-too-coarse")
    assert "finer gauge" in str(caution.settled_by)
    bent = linearity([stepped(creep_run, (4.0, 8.0), specimen=BAR, noise=0.1, resolution=0.01)])
    (caution,) = (c for c in bent.cautions if c.code == "readings-too-coarse")
    assert "a bar in tension" in str(caution.settled_by)


def test_a_clear_answer_has_no_next_test(creep_run: Callable[..., Run]) -> None:
    found = linearity([stepped(creep_run, (4.0, 12.0))])
    assert found.proportional == "yes"
    assert found.to_dict()["next_test"] is None
    assert codes(found) == set()


# --- runs, steps, times -------------------------------------------------------------------------------------------------


def test_runs_that_differ_in_something_else_are_doubtful(creep_run: Callable[..., Run]) -> None:
    warm = stepped(creep_run, (4.0,), temperature=40.0)
    found = linearity([stepped(creep_run, (12.0,), name="other"), warm])
    (caution,) = (c for c in found.cautions if c.code == "runs-differ")
    assert "temperature 23 °C of other and 40 °C" in caution.text
    with pytest.raises(InputError, match="no common measure"):
        linearity([warm, fit(creep_run(specimen=Direct()))])


def test_a_reading_during_a_ramp_has_no_stress_of_its_own(creep_run: Callable[..., Run]) -> None:
    steps = (LoadStep(0.0, 4.0, over=60.0), LoadStep(600.0, 8.0, over=60.0), LoadStep(900.0, 8.0))
    run = creep_run(specimen=STRAIN, steps=steps, times=(30.0, 90.0, 500.0, 630.0, 700.0, 1500.0), unload=None)
    low, high = levels_of([fit(run)])
    assert (low.stress, high.stress) == (4.0, 8.0)
    assert low.read == (90.0, 500.0)
    assert high.read == (100.0, 900.0)  # a load written down again is not a new one


def test_times_of_the_curves_follow_the_length_of_the_test(creep_run: Callable[..., Run]) -> None:
    short = stress_dependence([stepped(creep_run, (4.0, 8.0, 12.0))])
    assert short.curves is not None
    assert sorted({p.time for p in short.curves.points}) == [MINUTE, 10 * MINUTE, HOUR, 10 * HOUR]
    assert short.left_out == (100 * HOUR, 1000 * HOUR, 10000 * HOUR)
    asked = stress_dependence([stepped(creep_run, (4.0, 8.0, 12.0))], at=["1000 h"], stresses=["6 MPa"])
    assert asked.curves is not None
    assert [(p.stress, p.interpolated) for p in asked.curves.points] == [
        (4.0, False), (6.0, True), (8.0, False), (12.0, False),
    ]  # fmt: skip
    assert asked.left_out == ()
    assert {c.code for c in asked.cautions} == {"isochronous-forecast"}
    assert len(asked.table()) == 4
    found = json.loads(json.dumps(asked.to_dict(), allow_nan=False))
    assert [row["stress_MPa"] for row in found["isochronous"]] == [4.0, 6.0, 8.0, 12.0]
    long = stress_dependence([stepped(creep_run, (4.0,)), fit(creep_run(specimen=STRAIN, load=8.0, noise=1e-5))])
    assert long.left_out == ()
    assert long.linearity.why is not None


def test_where_no_curve_can_be_had_the_reason_is_given(creep_run: Callable[..., Run]) -> None:
    options: dict[str, Any] = {"specimen": STRAIN, "initial": 0, "noise": 1e-5, "resolution": 1e-6, "unload": None}
    fits = [fit(creep_run(load=s, seed=k, name=f"{s:g}", **options)) for k, s in enumerate((4.0, 8.0, 12.0))]
    found = stress_dependence(fits)
    assert found.curves is None
    assert "no reading was taken before loading" in str(found.why)
    assert found.to_dict()["isochronous"] == []
    assert len(found.table()) == 0
    with pytest.raises(InputError, match="no reading was taken before loading"):
        stress_dependence(fits, at=[DAY])


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"stresses": ["13 MPa"]}, "no more than the highest tested, 12 MPa"),
        ({"stresses": [-1.0]}, "a stress such as .10 MPa., above zero"),
        ({"at": ["5 kg"]}, '"kg" is the unit of a mass'),
        ({"at": [0.0]}, "a time above zero"),
    ],
)
def test_mistakes_are_said(creep_run: Callable[..., Run], options: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says):
        stress_dependence([stepped(creep_run, (4.0, 12.0))], **options)
