"""What a part file says is what the part holds."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from creepfit.errors import InputError
from creepfit.mechanics.beam_axis import Arc, Straight
from creepfit.mechanics.beam_loads import EndMoment, FacePair, LineLoad, PointLoad, SelfWeight
from creepfit.mechanics.load_plan import LoadPlan
from creepfit.mechanics.section import ISection, Rectangle, Round, TSection, Tube
from creepfit.records.part import DEFAULT_SCATTER, Part
from creepfit.records.part_files import read_part
from creepfit.records.templates import part_template
from creepfit.units import STANDARD_GRAVITY, YEAR

HEAD = "format = 1\n[part]\n"
ARM = '[[segment]]\nlength = "120 mm"\nsection = "rectangle"\nwidth = "14 mm"\nthickness = "10 mm"\n'
LOAD = '[[load]]\nmass = "0.6 kg"\nat = "end"\n'


@pytest.fixture
def part_of(tmp_path: Path):
    """Write the parts of a part file and read them."""

    def read(*tables: str) -> Part:
        (tmp_path / "part.toml").write_text("".join(tables), encoding="utf-8")
        return read_part(tmp_path / "part.toml")

    return read


def test_the_template_reads_back(part_of) -> None:
    part = part_of(part_template())
    assert (part.name, part.temperature, part.age) == ("shelf bracket", 23.0, 2 * 86400.0)
    assert part.print_data == (("orientation", "flat"), ("infill", "100 %"))
    (segment,) = part.beam.segments
    assert (segment.section, segment.end_section) == (Rectangle(14.0, 14.0), Rectangle(14.0, 9.0))
    (load,) = part.loads
    assert (load.load, load.label, load.plan.is_held) == (PointLoad(None), "0.6 kg at the end", True)
    assert load.size == pytest.approx(0.6 * STANDARD_GRAVITY)
    assert (part.limit.sag, part.limit.life, part.read_at) == (2.0, YEAR, None)
    assert (part.allowance.scatter, part.allowance.factor) == (DEFAULT_SCATTER, 1.0)


def test_every_line_of_the_template_can_be_switched_on(part_of) -> None:
    text = part_template()
    for off in (
        "poisson",
        "shear_ratio",
        "read_at",
        "[root]",
        "rotation",
        "walls",
        "core_stiffness",
        "duty",
        "[allowance]",
    ):
        assert f"# {off}" in text
        text = text.replace(f"# {off}", off, 1)
    for off in ("scatter", "layer_direction", "print_settings"):
        text = text.replace(f"# {off}", off, 1)
    part = part_of(text)
    assert (part.beam.poisson, part.beam.shear_ratio, part.read_at) == (0.38, 2.8, 100.0)
    assert part.beam.root_compliance == pytest.approx(1e-6)
    assert part.beam.segments[0].section == Rectangle(14.0, 14.0, 1.6, 0.08)
    assert part.loads[0].plan == LoadPlan.duty(1.0, 8 * 3600.0, 16 * 3600.0)
    assert part.allowance.factor == pytest.approx(1.15 * 1.1)
    assert part.allowance.scatter_source == "as given"


def test_an_arm_on_an_upright(part_of) -> None:
    # F L^3/(3 E I) of the arm and, as the upright's end turns by (F L) H/(E I), L times that: worked by hand
    upright = '[[upright]]\nlength = "60 mm"\nsection = "round"\ndiameter = "12 mm"\n'
    part = part_of(HEAD, upright, ARM, LOAD)
    assert [type(s) for s in part.beam.upright] == [Straight]
    influence = part.beam.influence(part.loads[0].load, part.read_at)
    own, below = 120.0**3 / 3.0 / (14.0 * 10.0**3 / 12.0), 120.0**2 * 60.0 / (math.pi / 64.0 * 12.0**4)
    assert sum(influence.bending) == pytest.approx(own + below, rel=1e-9)


@pytest.mark.parametrize(
    ("sizes", "section"),
    [
        ('section = "round"\ndiameter = "9 mm"', Round(9.0)),
        ('section = "tube"\ndiameter = "9 mm"\nwall = "1 mm"', Tube(9.0, 1.0)),
        (
            'section = "I"\nwidth = "9 mm"\nheight = "12 mm"\nflange = "2 mm"\nweb = "1 mm"',
            ISection(9.0, 12.0, 2.0, 1.0),
        ),
        (
            'section = "T"\nwidth = "9 mm"\nheight = "12 mm"\nflange = "2 mm"\nweb = "1 mm"',
            TSection(9.0, 12.0, 2.0, 1.0),
        ),
    ],
)
def test_sections(part_of, sizes: str, section: object) -> None:
    part = part_of(HEAD, f'[[segment]]\nlength = "120 mm"\n{sizes}\n', LOAD)
    assert part.beam.segments[0].section == section


def test_arcs_turns_and_tolerances(part_of) -> None:
    arc = (
        '[[segment]]\nname = "bend"\nradius = "30 +- 0.5 mm"\nangle = "90 deg"\nturn = "-10 deg"\n'
        'section = "rectangle"\nwidth = "14 +- 0.2 mm"\nthickness = ["10 mm", "8 +- 0.1 mm"]\n'
    )
    part = part_of(HEAD, ARM, arc, LOAD)
    bend = part.beam.segments[1]
    assert isinstance(bend, Arc)
    assert (bend.name, bend.radius, bend.angle, bend.turn) == ("bend", 30.0, pytest.approx(90.0), pytest.approx(-10.0))
    assert {t.path: t.half_width for t in part.tolerances} == {
        ("body", "segments", 1, "radius"): 0.5,
        ("body", "segments", 1, "section", "width"): 0.2,
        ("body", "segments", 1, "end_section", "width"): 0.2,
        ("body", "segments", 1, "end_section", "thickness"): 0.1,
    }


def test_supports_and_where_the_sag_is_read(part_of) -> None:
    assert part_of(HEAD, 'support = "simply-supported"\n', ARM, LOAD.replace("end", "middle")).read_at == 60.0
    two = part_of(HEAD, 'support = "overhanging"\nsupports = ["20 mm", "90 mm"]\n', ARM, LOAD)
    assert (two.beam.support.at, two.read_at) == ((20.0, 90.0), None)
    assert part_of(HEAD, 'read_at = "30 mm"\n', ARM, LOAD).read_at == 30.0


def test_loads_along_a_length_and_own_weight(part_of) -> None:
    line = '[[load]]\nper_length = "0.2 N/mm"\nfrom = "10 mm"\nto = "60 mm"\n'
    part = part_of(HEAD, 'density = "1.27 g/cm^3"\ncore_density = 0.2\n', ARM, line, LOAD.replace('"end"', '"45 mm"'))
    assert [load.load for load in part.all_loads] == [LineLoad(10.0, 60.0), PointLoad(45.0), SelfWeight(0.2)]
    assert [load.label for load in part.all_loads] == [
        "0.2 N/mm from 10 to 60 mm",
        "0.6 kg at 45 mm",
        "its own weight",
    ]
    # 1270 kg/m^3 times 9.80665 m/s^2, in N/mm^3
    assert part.full_load[2][1] == pytest.approx(1270e-9 * 9.80665)
    assert part_of(HEAD, 'density = "1.27 g/cm^3"\n', ARM).loads == ()


def test_a_duty_goes_on_and_off_until_the_end(part_of) -> None:
    duty = 'duty = { on = "8 h", off = "16 h" }\n'
    (load,) = part_of(HEAD, ARM, LOAD, duty).loads
    history = load.plan.until(2.5 * 86400.0)
    assert history.start == pytest.approx([0.0, 28800.0, 86400.0, 115200.0, 172800.0, 201600.0])
    assert history.change == pytest.approx([1.0, -1.0] * 3)
    assert load.plan.until(60.0).change == pytest.approx([1.0])
    assert not load.plan.is_held
    assert load.plan.changes(50 * 3600.0) == [32 * 3600.0, 48 * 3600.0]


def test_a_duty_of_seconds_for_years_is_refused(part_of) -> None:
    (load,) = part_of(HEAD, ARM, LOAD, 'duty = { on = "1 s", off = "1 s" }\n').loads
    with pytest.raises(InputError) as caught:
        load.plan.until(YEAR)
    assert str(caught.value) == (
        "duty: a cycle of 2 s repeats 15778800 times in 1 year; expected at most 2000000 load changes; a longer cycle with "
        "the same share on sags much alike"
    )


def test_a_schedule(part_of) -> None:
    schedule = LOAD.replace('mass = "0.6 kg"', 'schedule = [["0 h", "0.6 kg"], ["30 d", "2 N"], ["60 d", "0 kg"]]')
    (load,) = part_of(HEAD, ARM, schedule).loads
    assert load.size == pytest.approx(0.6 * STANDARD_GRAVITY)
    loads = load.size * load.plan.until(YEAR).at(np.array([86400.0, 31 * 86400.0, 61 * 86400.0]))
    assert loads == pytest.approx([load.size, 2.0, 0.0], abs=1e-12)
    assert load.label == "a schedule of up to 0.6 kg at the end"
    assert not load.plan.is_held


WORDS = [
    '"0 mm"',
    '"60 mm"',
    "60",
    '"nan mm"',
    "[]",
    "{}",
    '"-1 kg"',
    "true",
    '"%"',
    '["1 mm", "2 mm"]',
    "nan",
    '""',
    "1e999",
]


@given(st.lists(st.tuples(st.integers(0, 200), st.sampled_from(WORDS)), min_size=1, max_size=3))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_value_for_any_key_is_a_part_or_one_line(part_of, changes) -> None:
    lines = part_template().split("\n")
    keys = [i for i, line in enumerate(lines) if " = " in line]
    for place, value in changes:
        i = keys[place % len(keys)]
        lines[i] = f"{lines[i].lstrip('# ').split(' = ')[0]} = {value}"
    try:
        sizes, message = [load.size for load in part_of("\n".join(lines)).loads], ""
    except InputError as error:
        sizes, message = [], str(error)
    assert np.all(np.isfinite(sizes))
    assert message.isprintable()


def test_loads_any_way(part_of) -> None:
    part = part_of(
        HEAD,
        ARM,
        '[[load]]\nforce = "5 +- 0.5 N"\nat = "60 +- 1 mm"\ndirection = "30 deg"\n',
        '[[load]]\nmoment = "0.2 N m"\nat = "end"\nover = "2 h"\n',
        '[[load]]\nforce = "1 N"\nbetween_faces = true\nat = "end"\nopposite_at = "5 mm"\n',
        '[[load]]\nper_length = "0.1 N/mm"\nfrom = "10 +- 2 mm"\ndirection = "0 deg"\n',
        '[[load]]\nat = "end"\nschedule = [["0 h", "0.6 kg", "1 d"], ["30 d", "0 kg"]]\n',
        '[[load]]\nmass = "1 +- 0.1 kg"\nat = "middle"\nduty = { on = "183 d", off = "182.25 d", starts = "90 d" }\n',
    )
    inclined, moment, pair, line, ramp, summer = part.loads
    assert inclined.load == PointLoad(60.0, pytest.approx(30.0))
    assert inclined.label == "5 +- 0.5 N at 60 mm, at 30° above the horizontal"
    assert (moment.load, moment.size, moment.plan.steps[0].over) == (EndMoment(None), pytest.approx(200.0), 7200.0)
    assert not moment.plan.is_held
    assert pair.load == FacePair(5.0, None)
    assert line.load == LineLoad(10.0, None, 0.0)
    assert ramp.plan.steps[0].over == 86400.0
    assert summer.plan == LoadPlan.duty(1.0, 183 * 86400.0, 182.25 * 86400.0, 90 * 86400.0)
    assert {t.path: t.half_width for t in part.tolerances} == {
        ("loads", 0, "size"): 0.5,
        ("loads", 0, "load", "at"): 1.0,
        ("loads", 3, "load", "start"): 2.0,
        ("loads", 5, "size"): pytest.approx(0.1 * STANDARD_GRAVITY),
    }


def test_a_duty_begins_when_it_is_said_to(part_of) -> None:
    day = 86400.0
    summer = part_of(HEAD, ARM, LOAD + 'duty = { on = "2 d", off = "3 d", starts = "1 d" }\n').loads[0]
    history = summer.plan.until(12 * day)
    assert history.start / day == pytest.approx([1.0, 3.0, 6.0, 8.0, 11.0, 13.0][: history.start.size])
    assert history.at(np.array([0.5, 2.0, 4.0, 7.0]) * day) == pytest.approx([0.0, 1.0, 0.0, 1.0])
    # what changed within the last period up to a time, never beyond it
    assert np.array(summer.plan.changes(7 * day)) / day == pytest.approx([3.0, 6.0])
    assert np.array(summer.plan.changes(3 * day)) / day == pytest.approx([1.0, 3.0])
    assert summer.plan.changes(0.5 * day) == []


def test_tolerances_together_or_not(part_of) -> None:
    half = ARM.replace("120 mm", "60 mm").replace('"10 mm"', '"10 +- 0.1 mm"')
    shared = part_of(HEAD, half, half, LOAD).tolerances
    assert {t.shared for t in shared} == {"thickness"}
    apart = part_of(HEAD + 'tolerances = "independent"\n', half, half, LOAD).tolerances
    assert len({t.shared for t in apart}) == 2


def test_an_opening_is_read_between_faces(part_of) -> None:
    clip = '[[segment]]\nradius = "20 mm"\nangle = "300 deg"\nsection = "rectangle"\nwidth = "9 mm"\nthickness = "3 mm"\n'
    load = '[[load]]\nforce = "2 N"\nat = "end"\nbetween_faces = true\n'
    part = part_of(HEAD + "between_faces = true\n", clip, load)
    pair = FacePair(0.0, None)
    assert part.influence(part.loads[0].load).per_compliance == pytest.approx(part.beam.opening(pair).per_compliance)


def test_supports_with_tolerances_that_hold_down(part_of) -> None:
    text = HEAD + 'support = "overhanging"\nsupports = ["20 +- 0.5 mm", "100 mm"]\nheld_down = true\n'
    part = part_of(text, ARM, LOAD)
    assert (part.beam.support.at, part.beam.support.held_down) == ((20.0, 100.0), True)
    assert [(t.path, t.half_width) for t in part.tolerances] == [(("body", "support", "at", 0), 0.5)]


@pytest.mark.parametrize(
    ("lines", "key", "words"),
    [
        ('mass = "1 kg"\nat = "end"\ndirection = "30 deg"', "direction", "a weight pulls downward"),
        ('force = "1 N"\nat = "end"\ndirection = "sideways"', "direction", "an angle above the horizontal"),
        ('moment = "1 N m"\nat = "end"\ndirection = "30 deg"', "direction", "no direction"),
        ('moment = "1 N"\nat = "end"', "moment", "0.2 N m"),
        ('force = "1 N"\nat = "end"\nopposite_at = "5 mm"', "opposite_at", "between_faces = true"),
        ('force = "1 N"\nat = "end"\nover = "1 h"\nduty = { on = "1 h", off = "1 h" }', "over", "without a duty"),
        ('at = "end"\nschedule = [["0 h", "1 kg", "2 h"], ["1 h", "2 kg"]]', "schedule entry 2", "out of order"),
    ],
)
def test_mistakes_in_loads(part_of, lines: str, key: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        part_of(HEAD, ARM, "[[load]]\n" + lines + "\n")
    assert key in str(caught.value)
    assert words in str(caught.value)
