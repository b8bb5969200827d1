"""Doubts about a part: each is raised by its case, says which way the sag is wrong, and is silent without the case."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from creepfit.answers.doubts.collected import about_forecast
from creepfit.answers.doubts.part import part_doubts
from creepfit.answers.interval import Caution
from creepfit.answers.part import checks as part_checks
from creepfit.answers.part.checks import check_part, slenderness, worst_stress
from creepfit.answers.part.loads import courses_of
from creepfit.answers.part.response import part_response
from creepfit.answers.part.sag import sag
from creepfit.answers.specimen.forecast import forecast
from creepfit.inference.fitting import Fit, fit
from creepfit.records.files import read_run
from creepfit.records.part_files import build_part
from creepfit.records.run import LoadStep
from creepfit.report.text.part import render_sag
from creepfit.units import Measure

pytestmark = pytest.mark.few_draws

DEMO = Path(__file__).parents[2] / "demo"
DAY = 86400.0
ALWAYS = {"rigid-mounting", "not-a-strength-check"}


@pytest.fixture(scope="module")
def strip() -> Fit:
    """The demo's strip: 22 degC, 50 %, 3 d old, printed flat, five days under 5.04 MPa."""
    return fit(read_run(DEMO / "petg-strip.toml"), models=["findley"])


def data_of(**tables: Any) -> dict[str, Any]:
    """A part in the circumstances of the strip; `tables` are put in place of its own, or into its [part]."""
    data: dict[str, Any] = {
        "format": 1,
        "part": {"name": "arm", "age": "3 d", "temperature": "22 degC", "humidity": "50 %"},
        "print": {"orientation": "flat", "walls": "4", "infill": "100 %", "layer": "0.2 mm", "annealed": False},
        "segment": [{"section": "rectangle", "length": "100 mm", "width": "14 mm", "thickness": "8 mm"}],
        "load": [{"force": "5 N", "at": "end"}],
    }
    for name, table in tables.items():
        data[name] = data[name] | table if name in ("part", "print") else table
    return data


def doubts(of: Fit, at: float = 30 * DAY, **tables: Any) -> dict[str, Caution]:
    result = sag(build_part(data_of(**tables), None), of, at=at)
    return {caution.code: caution for caution in result.cautions}


def test_a_part_like_its_specimen_raises_only_what_always_holds(strip: Fit) -> None:
    found = doubts(strip)
    assert set(found) == ALWAYS
    assert "a third of their short-term strength" in found["not-a-strength-check"].text


CASES: list[tuple[str, str, dict[str, Any]]] = [
    ("stress-not-tested", "OUTSIDE THE TEST", {"load": [{"force": "12 N", "at": "end"}]}),
    ("stress-well-below-test", "overstated", {"load": [{"force": "1 N", "at": "end"}]}),
    ("humidity", "understated", {"part": {"humidity": "80 %"}}),
    ("humidity", "overstated", {"part": {"humidity": "20 %"}}),
    ("age", "understated", {"part": {"age": "1 d"}}),
    ("age", "overstated", {"part": {"age": "30 d"}}),
    ("circumstances-unsaid", "age at loading", {"part": {"age": None}}),
    ("print-orientation", "understated", {"print": {"orientation": "upright"}}),
    ("print-orientation", "if the load pulls across the layers", {"print": {"orientation": "edge"}}),
    ("print-walls", "understated", {"print": {"walls": "2"}}),
    ("print-walls", "overstated", {"print": {"walls": "6"}}),
    ("print-infill", "understated", {"print": {"infill": "20 %"}}),
    ("print-annealed", "overstated", {"print": {"annealed": True}}),
    ("print-layer", "either direction", {"print": {"layer": "0.3 mm"}}),
    ("print-unsaid", "dried", {"print": {"dried": True}}),
    ("stocky", "rather too small", {"segment": [
        {"section": "rectangle", "length": "100 mm", "width": "14 mm", "thickness": "25 mm"}
    ]}),
    ("tight-bend", "1.15 times", {"segment": [
        {"section": "rectangle", "length": "60 mm", "width": "14 mm", "thickness": "8 mm"},
        {"section": "rectangle", "radius": "20 mm", "angle": "-90 deg", "width": "14 mm", "thickness": "8 mm"},
    ]}),
    ("lifts-off", "held down with 2.5 N", {
        "part": {"support": "overhanging", "supports": ["0 mm", "60 mm"]}, "load": [{"force": "5 N", "at": "90 mm"}]
    }),
    ("plate", "2.9 times as wide as its span", {"part": {"support": "simply-supported"}, "segment": [
        {"section": "rectangle", "length": "100 mm", "width": "290 mm", "thickness": "3 mm"}
    ], "load": [{"force": "5 N", "at": "middle"}]}),
    ("elastic-mounting", "understated", {"root": {"rotation": "0.001 rad/(N m)"}}),
    ("opposed-loads", "no upper bound", {"load": [{"force": "5 N", "at": "end"}, {"force": "-1 N", "at": "50 mm"}]}),
]  # fmt: skip


@pytest.mark.parametrize(("code", "words", "case"), CASES, ids=lambda value: value if isinstance(value, str) else "")
def test_each_doubt_is_raised_by_its_case(strip: Fit, code: str, words: str, case: dict[str, Any]) -> None:
    if case.get("part", {}).get("age", "") is None:
        data = data_of()
        del data["part"]["age"]
        found = {c.code: c for c in sag(build_part(data, None), strip, at=30 * DAY).cautions}
    else:
        found = doubts(strip, **case)
    assert code in found
    assert words.casefold() in found[code].text.casefold()


def test_strain_is_held_to_half_a_per_cent_and_to_one(strip: Fit) -> None:
    half = doubts(strip, load=[{"force": "15 N", "at": "end"}])
    assert "beyond 0.5 %" in half["strain"].text
    one = doubts(strip, load=[{"force": "30 N", "at": "end"}])
    assert "beyond 1 %" in one["strain"].text


def test_times_beyond_ten_and_a_hundred_times_the_test(strip: Fit) -> None:
    assert "preferred tenfold" in doubts(strip, at=365 * DAY)["far-beyond-test"].text
    assert "hundredfold" in doubts(strip, at=3650 * DAY)["far-beyond-test"].text
    # the weight is off: "readings up to 40 d" of a bar that nobody can read under load any more
    settled = doubts(strip, at=365 * DAY)["far-beyond-test"].settled_by
    assert "a next run that stays under load" in str(settled)
    of_the_specimen = {c.code: c.settled_by for c in about_forecast(strip, [365 * DAY])}
    assert of_the_specimen["beyond-ten-times"] == settled  # rounded up to 40 d in one of them


def test_a_large_rotation_is_followed_and_said(strip: Fit) -> None:
    cane = [
        {"section": "rectangle", "length": "100 mm", "width": "10 mm", "thickness": "4 mm"},
        {"section": "rectangle", "radius": "15 mm", "angle": "-180 deg", "width": "10 mm", "thickness": "4 mm"},
    ]
    found = doubts(strip, part={"heading": "90 deg"}, segment=cane, load=[{"force": "4 N", "at": "end"}])
    assert "more than by the shape as made" in found["large-rotation"].text
    assert "large-rotation" not in doubts(strip)


def test_a_post_that_will_buckle_says_when(strip: Fit) -> None:
    post = [{"section": "rectangle", "length": "200 mm", "width": "14 mm", "thickness": "8 mm"}]

    def under(force: str) -> dict[str, Caution]:
        return doubts(strip, part={"heading": "88 deg"}, segment=post, load=[{"force": force, "at": "end"}])

    assert not {"buckling", "near-buckling"} & set(under("5 N"))
    assert "That is not reached within" in under("30 N")["near-buckling"].text
    assert "BUCKLES" in under("100 N")["buckling"].text
    assert next(iter(under("100 N"))) == "buckling"


def test_infill_counted_twice_or_not_at_all(strip: Fit) -> None:
    hollow = [
        {"section": "rectangle", "length": "100 mm", "width": "14 mm", "thickness": "8 mm"}
        | {"walls": "1.6 mm", "core_stiffness": 0.1}
    ]
    sparse = replace(strip.run, print_data=(("infill", "20 %"),))
    of_sparse = replace(strip, run=sparse)
    assert "overstated" in doubts(of_sparse, segment=hollow)["infill-twice"].text
    assert "infill-smeared" in doubts(of_sparse)
    # of the same strip described by its walls, a solid part with infill leaves the infill out
    thin = Measure(1.0)
    shell = replace(strip.run.specimen, walls=thin, core_stiffness=0.1)  # type: ignore[call-arg]
    of_shell = replace(strip, run=replace(sparse, specimen=shell))
    assert "understated" in doubts(of_shell, print={"infill": "20 %"})["infill-not-counted"].text
    assert not {"infill-twice", "infill-not-counted", "infill-smeared"} & set(doubts(of_shell, segment=hollow))


def test_factors_that_were_given_are_said_to_be_in(strip: Fit) -> None:
    found = doubts(strip, print={"orientation": "upright"}, allowance={"layer_direction": 1.3})
    assert "The factor of 1.3 that was given for it is in." in found["print-orientation"].text


def test_recovery_that_was_not_read_matters_where_loads_come_off(strip: Fit) -> None:
    loaded = tuple(r for r in strip.run.readings if r.time <= 121 * 3600.0)
    blind = fit(replace(strip.run, readings=loaded, steps=strip.run.steps[:1]), models=["findley"])
    duty = [{"force": "5 N", "at": "end", "duty": {"on": "8 h", "off": "16 h"}}]
    assert "recovery-not-read" in doubts(blind, load=duty)
    assert "recovery-not-read" not in doubts(blind)
    assert "recovery-not-read" not in doubts(strip, load=duty)
    arm = build_part(data_of(), None)
    unloaded = {c.code for c in sag(arm, blind, at="30 d", after_unloading="1 d").cautions}
    assert {"recovery-not-read", "no-own-weight"} <= unloaded


def test_doubts_about_the_run_stand_behind_and_none_twice(strip: Fit) -> None:
    off = max((r for r in strip.run.readings if r.time < 30 * 3600.0), key=lambda r: r.time)
    moved = replace(off, value=off.value + 0.3)
    typed = replace(strip.run, readings=tuple(moved if r is off else r for r in strip.run.readings))
    codes = [c.code for c in sag(build_part(data_of(), None), fit(typed, models=["findley"]), at="30 d").cautions]
    assert codes.index("outlier") > codes.index("not-a-strength-check")
    assert len(codes) == len(set(codes))


def test_stress_is_that_of_the_worst_combination_of_loads() -> None:
    lifting = {"force": "-5 N", "at": "end", "duty": {"on": "8 h", "off": "16 h"}}
    courses = courses_of(build_part(data_of(load=[{"force": "5 N", "at": "end"}, lifting]), None))
    assert worst_stress(courses).value == pytest.approx(5.0 * 100.0 * 6.0 / (14.0 * 8.0**2))  # the lift is off
    falling = {"schedule": [["0 h", "5 N"], ["5 h", "-8 N"]], "at": "end"}
    courses = courses_of(build_part(data_of(load=[falling]), None))
    assert worst_stress(courses).value == pytest.approx(8.0 * 100.0 * 6.0 / (14.0 * 8.0**2))


def test_tested_stresses_are_those_of_the_runs_own_loads(strip: Fit) -> None:
    several = replace(strip.run, steps=(LoadStep(0.0, 1.0), LoadStep(60.0, 3.0), LoadStep(120.0, 0.0)))
    per_load = strip.run.specimen.geometry.stress_per_load
    assert per_load == pytest.approx(6.0 * 75.0 / (14.0 * 25.0))
    assert part_checks.tested_stresses(several) == pytest.approx((1.0 * per_load, 3.0 * per_load))


def test_slenderness_counts_the_stretch_that_bends() -> None:
    beam = build_part(data_of(), None).beam
    assert slenderness(beam) == 100.0 / 8.0
    over = data_of(part={"support": "overhanging", "supports": ["20 mm", "60 mm"]})
    assert slenderness(build_part(over, None).beam) == 40.0 / 8.0
    post = [{"section": "rectangle", "length": "30 mm", "width": "14 mm", "thickness": "10 mm"}]
    assert slenderness(build_part(data_of(upright=post), None).beam) == 3.0


def test_checks_can_be_made_without_an_answer(strip: Fit) -> None:
    response = part_response(build_part(data_of(), None), strip)
    checks = check_part(response, 30 * DAY, 0.9)
    assert {c.code for c in part_doubts(response, checks)} == ALWAYS
    assert checks.strain.low < checks.strain.median < checks.strain.high < 0.005


def test_a_part_that_is_held_down_or_weighed_down_does_not_tip(strip: Fit) -> None:
    over = {"support": "overhanging", "supports": ["0 mm", "60 mm"]}
    at_the_end = {"force": "1 N", "at": "90 mm"}
    assert "lifts-off" in doubts(strip, part=over, load=[at_the_end])
    assert "lifts-off" not in doubts(strip, part=over | {"held_down": True}, load=[at_the_end])
    weight = {"force": "2 N", "at": "30 mm"}
    assert "lifts-off" not in doubts(strip, part=over, load=[at_the_end, weight])
    # while the weight is off for the night nothing holds it
    coming = weight | {"duty": {"on": "8 h", "off": "16 h"}}
    assert "0.5 N" in doubts(strip, part=over, load=[at_the_end, coming])["lifts-off"].text


def test_a_narrow_or_a_spread_load_makes_no_plate(strip: Fit) -> None:
    wide = [{"section": "rectangle", "length": "100 mm", "width": "290 mm", "thickness": "3 mm"}]
    rests = {"support": "simply-supported"}
    assert "plate" not in doubts(strip, part=rests, segment=wide, load=[{"per_length": "0.05 N/mm"}])
    assert "plate" not in doubts(strip, part=rests, load=[{"force": "5 N", "at": "middle"}])


def test_of_a_part_that_tips_no_limit_is_answered(strip: Fit) -> None:
    data = data_of(part={"support": "overhanging", "supports": ["0 mm", "60 mm"]}, load=[{"force": "1 N", "at": "90 mm"}])
    tipping = sag(build_part(data, None), strip, at=30 * DAY, limit="5 mm")
    assert tipping.design is None
    assert render_sag(tipping).splitlines()[2].startswith("No sag can be promised")
    data["part"]["held_down"] = True
    assert sag(build_part(data, None), strip, at=30 * DAY, limit="5 mm").design is not None


def test_an_opening_is_called_one(strip: Fit) -> None:
    ring = [{"section": "rectangle", "radius": "20 mm", "angle": "300 deg", "width": "14 mm", "thickness": "4 mm"}]
    load = [{"force": "2 N", "at": "end", "between_faces": True}]
    clip = sag(build_part(data_of(part={"between_faces": True}, segment=ring, load=load), None), strip, at=30 * DAY)
    assert "the part will have opened" in " ".join(render_sag(clip).split())


@pytest.mark.parametrize(
    ("part", "load", "said"),
    [
        ({"support": "simply-supported"}, {"at": "end"}, "it stands on what holds the part. Was another place meant?"),
        ({}, {"at": "end", "direction": "0 deg"}, "it pulls or pushes along the part. Was a direction of -90 degrees"),
    ],
)
def test_a_load_that_bends_nothing_is_asked_about_in_place_of_a_sag_of_nothing(strip, part, load, said) -> None:
    """The sag was 1.41e-18 mm, and its limit kept with a probability above 0.99."""
    data = data_of(part=part, load=[{"force": "5 N"} | load])
    result = sag(build_part(data, None), strip, at="30 d", limit="2 mm")
    assert result.falls is not None
    assert said in result.falls.text
    assert result.falls.text in " ".join(render_sag(result).split())
    assert result.nothing_promised == "nothing is promised, as no load bends the part"
    size = result.rows[0].interval
    assert (size.low, size.median, size.high) == (0.0, 0.0, 0.0)


def test_one_load_of_several_that_bends_nothing_is_named_and_the_others_count(strip: Fit) -> None:
    loads = [{"force": "5 N", "at": "end"}, {"force": "3 N", "at": "0 mm"}]
    found = doubts(strip, load=loads)
    assert found["one-load-bends-nothing"].text.startswith("3 N at")
    assert "bends-nothing" not in found


def test_loads_that_lift_are_said_before_the_sag_and_promise_nothing(strip: Fit) -> None:
    data = data_of(load=[{"force": "5 N", "at": "end", "direction": "90 deg"}])
    result = sag(build_part(data, None), strip, at="30 d", limit="2 mm")
    assert result.nothing_promised == "nothing is promised, as the loads lift the part"
    text = " ".join(render_sag(result).split())
    assert text.index("THE LOADS LIFT") < text.index("After 30 d under 5 N")
    mixed = [{"force": "5 N", "at": "end"}, {"force": "1 N", "at": "end", "direction": "90 deg"}]
    assert "load-lifts" not in doubts(strip, load=mixed)


def test_a_sag_that_is_mostly_the_mounting_is_asked_about_with_its_unit(strip: Fit) -> None:
    stiff, soft = (doubts(strip, root={"rotation": f"{size} rad/(N m)"}) for size in (0.001, 1.0))
    assert "mostly-mounting" not in stiff
    assert "Was the rotation meant in rad/(N m)" in soft["mostly-mounting"].text


def test_a_limit_longer_than_the_part_is_asked_about(strip: Fit) -> None:
    part = build_part(data_of(), None)
    codes = [{c.code for c in sag(part, strip, at="30 d", limit=limit).cautions} for limit in ("2 mm", "2 m")]
    assert ["limit-beyond-the-size" in found for found in codes] == [False, True]
    own = [{c.code for c in forecast(strip, ["30 d"], limit=limit).cautions} for limit in ("3 mm", "3 m")]
    assert ["limit-beyond-the-size" in found for found in own] == [False, True]


def test_no_sag_is_both_overstated_and_understated(strip: Fit) -> None:
    """A part under a fifth of the stress that is strained less than the specimen was: "understated" stood there, too."""
    light = doubts(strip, load=[{"force": "1 N", "at": "end"}])
    assert "overstated" in light["stress-well-below-test"].text
    assert "strain" not in light
    heavy = doubts(strip, load=[{"force": "12 N", "at": "end"}])
    assert "stress-well-below-test" not in heavy
    assert "understated" in heavy["strain"].text
