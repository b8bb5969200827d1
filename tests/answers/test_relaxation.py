"""The force of parts that are held bent: against closed forms, with the sag of the same part, and in words."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import creepfit as cf
from creepfit.answers.part.relaxation import Relaxation, relax
from creepfit.answers.part.sag import sag
from creepfit.cli import main
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.records.part_files import build_part
from creepfit.records.run import Run
from creepfit.report.text.relaxation import relax_text
from creepfit.units import DAY, HOUR

BAR = {"section": "rectangle", "length": "100 mm", "width": "12 mm", "thickness": "8 mm"}
STIFFNESS = 3.0 * 12.0 * 8.0**3 / 12.0 / 100.0**3
"""N/mm per MPa of the bar, bending alone."""


@pytest.fixture(scope="module")
def petg(creep_run: Callable[..., Run], lean: Callable[[Fit], Fit]) -> Fit:
    return lean(fit(creep_run()))


@pytest.fixture(scope="module")
def aged(creep_run: Callable[..., Run], lean: Callable[[Fit], Fit]) -> Fit:
    return lean(fit(creep_run(age=2.0 * DAY)))


def clip(held: dict[str, Any] | None = None, **tables: Any) -> Any:
    data = {"format": 1, "part": {"name": "clip", "shear_ratio": 1e-9}, "segment": [BAR]}
    return build_part(data | {"held": {"deflection": "1.5 mm"} | (held or {})} | tables, None)


def codes(result: Relaxation) -> set[str]:
    return {c.code for c in result.cautions}


def test_force_times_compliance_stays_just_under_the_deflection(petg: Fit) -> None:
    """E(t) D(t) lies between sin(n pi)/(n pi), 0.94 for n = 0.2, and 1, draw by draw; so do medians, nearly."""
    times = [HOUR, 30 * DAY]
    result = relax(clip(), petg, times, specimen_scatter=0.0)
    sags = sag(clip(load=[{"force": "1 N", "at": "end"}]), petg, times, specimen_scatter=0.0)
    for row, held in zip(sags.rows, result.rows, strict=True):
        assert 0.97 < held.force.median * row.interval.median / 1.5 < 1.0005
    assert result.first.median == pytest.approx(1.5 * STIFFNESS * 2000.0, rel=0.03)
    assert result.rows[0].share.median == pytest.approx(result.rows[0].force.median / result.first.median, rel=2e-3)
    assert result.rows[1].share.high < result.rows[0].share.low


def test_a_spring_in_series_takes_its_share_and_keeps_more(petg: Fit) -> None:
    alone = relax(clip(), petg, "30 d")
    soft = relax(clip({"series_compliance": f"{1.0 / (STIFFNESS * 2000.0)!r} mm/N"}), petg, "30 d")
    assert soft.first.median == pytest.approx(alone.first.median / 2.0, rel=0.02)
    lost, kept = 1.0 - alone.rows[0].share.median, 1.0 - soft.rows[0].share.median
    assert 1.0 - kept == pytest.approx(2.0 / (1.0 + 1.0 / (1.0 - lost)), rel=0.01)  # quasi-elastic
    assert soft.checks.strain == pytest.approx(alone.checks.strain / 2.0, rel=0.02)
    assert "rigid-counterpart" in codes(alone) - codes(soft)


def test_twice_the_bend_is_twice_the_force_and_half_is_left(petg: Fit) -> None:
    ask: dict[str, Any] = {"release_at": "5 d", "after_release": ["1 min", "5 d"]}
    once, twice = (relax(clip({"deflection": d}), petg, "30 d", **ask) for d in ("1.5 mm", "3 mm"))
    assert twice.rows[0].force.low == pytest.approx(2.0 * once.rows[0].force.low, rel=1e-9)
    assert twice.rows[0].share.median == pytest.approx(once.rows[0].share.median, rel=1e-9)
    assert twice.released[1].interval.high == pytest.approx(2.0 * once.released[1].interval.high, rel=1e-9)
    soon, late = (r.interval for r in once.released)
    assert 0.0 < late.median < soon.median < 1.5 * (1.0 - once.rows[0].share.low)


def test_an_analysis_made_elsewhere_relaxes_as_the_beam_it_is_of(petg: Fit) -> None:
    elastic = {"deflection": f"{4.0 / (STIFFNESS * 900.0)!r} mm", "modulus": "900 MPa", "largest_stress": "3.125 MPa"}
    data = {"format": 1, "part": {"name": "clip"}, "held": {"deflection": "1.5 mm"}, "elastic": elastic}
    analysed = relax(build_part(data | {"load": [{"force": "4 N"}]}, None), petg, "30 d")
    drawn = relax(clip(), petg, "30 d")
    assert analysed.rows[0].force.low == pytest.approx(drawn.rows[0].force.low, rel=1e-9)
    assert analysed.checks.stress == pytest.approx(drawn.checks.stress, rel=1e-9)
    assert analysed.checks.strain == pytest.approx(drawn.checks.strain, rel=1e-9)
    with pytest.raises(InputError, match="how much force the deflection of the analysis takes is not said"):
        relax(build_part(data, None), petg, "30 d")


def test_ageing_never_keeps_more_force_than_the_plain_clock(aged: Fit, creep_run: Callable[..., Run]) -> None:
    plain = fit(creep_run(age=None))
    assert relax(clip(), aged, "100 d").rows[0].force.low <= 1.01 * relax(clip(), plain, "100 d").rows[0].force.low


def test_words_and_table(petg: Fit) -> None:
    result = relax(
        clip(part={"name": "clip", "support": "cantilever", "temperature": "30 degC"}),
        petg,
        ["1 d", "1 year"],
        release_at="1 d",
    )
    text = relax_text(result)
    assert "After 1 year, held bent by 1.5 mm at 30 °C (tested at 23 °C), the force will be" in " ".join(text.split())
    assert "Bend that is left, let go at 1 d" in text
    assert {"far-beyond-test", "warmth-assumed", "not-a-strength-check"} <= codes(result)
    assert max(map(len, text.splitlines())) <= 100
    assert list(result.table()["time_h"]) == [24.0, 8766.0]
    far = relax_text(relax(clip({"deflection": "20 mm"}), petg, "100 years"))
    assert "cannot be forecast" in far
    assert "OUTSIDE THE TEST" in far


def test_command_and_its_json(tmp_path: Path, short: Path) -> None:
    part = tmp_path / "clip.toml"
    part.write_text(
        'format = 1\n[part]\nname = "clip"\n[held]\ndeflection = "1.5 mm"\nseries_compliance = "0.01 mm/N"\n'
        '[[segment]]\nlength = "60 mm"\nsection = "round"\ndiameter = "6 mm"\n'
    )
    done = CliRunner().invoke(main, ["relax", str(part), "--material", str(short), "--at", "1 h", "--at", "30 d", "--json"])
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert [row["time_h"] for row in found["relax"]] == [1.0, 720.0]
    row = found["relax"][1]
    assert row["low"] < row["median"] < row["high"] < found["first"]["high"]
    assert 0.0 < row["share"]["low"] < row["share"]["median"] < row["share"]["high"] < 1.0
    assert found["unit"] == "N"
    assert {"format", "version", "seed", "level", "run"} <= set(found)
    same = cf.relax(cf.read_part(str(part)), cf.fit(cf.read_run(str(short))), at=["30 d"])
    assert same.rows[0].force.median == pytest.approx(row["median"], rel=2e-3)


@pytest.mark.parametrize(
    ("held", "says"),
    [
        ({"deflection": "0 mm"}, "held.deflection"),
        ({"deflection": "1 mm", "series_compliance": "-1 mm/N"}, "held.series_compliance"),
        ({"deflexion": "1 mm"}, 'unknown key "deflexion" (did you mean "deflection"?)'),
    ],
)
def test_mistakes_are_one_line(held: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError) as error:
        build_part({"format": 1, "part": {}, "segment": [BAR], "held": held}, None)
    assert says in str(error.value)


def test_a_part_that_is_not_held_or_not_loaded_says_what_is_missing(petg: Fit) -> None:
    loaded = build_part({"format": 1, "part": {}, "segment": [BAR], "load": [{"force": "1 N", "at": "end"}]}, None)
    with pytest.raises(InputError, match="held: missing"):
        relax(loaded, petg, "1 d")
    with pytest.raises(InputError, match="creepfit relax says how the force"):
        sag(clip(), petg, "1 d")


def test_shares_of_many_draws_are_of_each_draw(petg: Fit) -> None:
    """Scatter of the part's stiffness cancels in the share."""
    tight, wide = (relax(clip(), petg, "30 d", specimen_scatter=s) for s in (0.0, 0.3))
    assert wide.rows[0].share.median == pytest.approx(tight.rows[0].share.median, rel=1e-3)
    assert np.log(wide.first.high / wide.first.low) > 3.0 * np.log(tight.first.high / tight.first.low)


@pytest.mark.usefixtures("undrawn")
def test_page_shows_the_force(tmp_path: Path, short: Path) -> None:
    part = tmp_path / "clip.toml"
    part.write_text(
        'format = 1\n[part]\nname = "clip"\n[held]\ndeflection = "1.5 mm"\n'
        '[[segment]]\nlength = "60 mm"\nsection = "round"\ndiameter = "6 mm"\n'
    )
    page = tmp_path / "page.html"
    done = CliRunner().invoke(main, ["report", str(short), "--part", str(part), "--at", "1 d", "-o", str(page)])
    assert done.exit_code == 0, done.output
    text = page.read_text()
    assert "clip, held bent" in text
    assert 'alt="Force over time' in text or "Force over time" in text
    # a part that only carries a load, and has no limit
    part.write_text(part.read_text().replace('[held]\ndeflection = "1.5 mm"', '[[load]]\nforce = "1 N"\nat = "end"'))
    done = CliRunner().invoke(main, ["report", str(short), "--part", str(part), "-o", str(page), "--force"])
    assert done.exit_code == 0, done.output


def test_a_clip_is_held_where_and_as_it_is_read(petg: Fit) -> None:
    """A C-clip spread between its faces, and an arm held sideways: the force is along the reading."""
    bend = {"section": "rectangle", "radius": "20 mm", "angle": "180 deg", "width": "10 mm", "thickness": "4 mm"}
    part = build_part(
        {"format": 1, "part": {"between_faces": True}, "segment": [bend], "held": {"deflection": "1 mm"}}, None
    )
    first = relax(part, petg, "1 d").first.median
    assert first == pytest.approx(modulus_of(petg) / part.influence(part.reading).per_compliance, rel=0.03)
    turned = clip(part={"read_direction": "90 deg", "shear_ratio": 1e-9})
    upward = relax(turned, petg, "1 d").rows[0].force.median
    assert upward == pytest.approx(relax(clip(), petg, "1 d").rows[0].force.median, rel=1e-9)


def modulus_of(petg: Fit) -> float:
    """Instantaneous modulus, MPa."""
    return float(1.0 / np.median(petg.draws.instant / petg.draws.observed.load / petg.draws.observed.factor))


def test_a_load_with_a_tolerance_beside_it_is_left_out(petg: Fit) -> None:
    loads = [{"force": "1 N", "at": "50 mm"}, {"force": "2.0 +- 0.2 N", "at": "60 +- 1 mm"}]
    found = relax(clip(load=loads), petg, "1 d")
    assert "loads-left-out" in codes(found)
    assert found.rows[0].force.low == pytest.approx(relax(clip(), petg, "1 d").rows[0].force.low, rel=1e-9)


def test_a_warm_part_loses_more_and_its_force_times_its_sag_stays_the_deflection(petg: Fit) -> None:
    """10 K above the test a clip sags more under a force and keeps less of it; that E(t) D(t) <= 1 holds there too."""
    warm = {"part": {"name": "clip", "shear_ratio": 1e-9, "temperature": "33 degC"}}
    cold, hot = (relax(clip(**t), petg, 30 * DAY, specimen_scatter=0.0) for t in ({}, warm))
    assert hot.rows[0].force.median < 0.95 * cold.rows[0].force.median
    assert hot.rows[0].share.high - hot.rows[0].share.low > cold.rows[0].share.high - cold.rows[0].share.low
    loaded = clip(**warm, load=[{"force": "1 N", "at": "end"}])
    there = sag(loaded, petg, 30 * DAY, specimen_scatter=0.0).rows[0].interval.median
    assert 0.96 < hot.rows[0].force.median * there / 1.5 < 1.005
    assert {"warmth-assumed"} <= codes(hot)
    assert "at 33 °C (tested at 23 °C)" in relax_text(hot)
    assert "warmth-assumed" not in codes(cold)


def test_a_climate_takes_the_force_of_its_hottest_moment(petg: Fit) -> None:
    part = {"name": "clip", "shear_ratio": 1e-9}
    swing = clip(part=part, climate={"daily": ["20 degC", "33 degC"]})
    always = clip(part=part | {"temperature": "33 degC"})
    one, other = (relax(p, petg, 30 * DAY, specimen_scatter=0.0).rows[0].force for p in (swing, always))
    assert one.median == pytest.approx(other.median, rel=0.01)


def test_flow_that_was_not_seen_takes_off_force(petg: Fit) -> None:
    late = next(c for c in relax(clip(), petg, ["1 year"]).cautions if c.code == "unseen-flow")
    assert "off the force that is said here: it is rather overstated" in late.text
    assert "unseen-flow" not in codes(relax(clip(), petg, ["5 d"]))
