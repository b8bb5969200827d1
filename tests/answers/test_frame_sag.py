"""Sag of frames: one elastic solution times the compliance, and the doubts that only frames raise."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from creepfit.answers.part.sag import Sag, sag
from creepfit.inference.fitting import Fit, fit
from creepfit.records.part_files import build_part
from creepfit.records.run import Run
from creepfit.report.text.part import render_sag

pytestmark = pytest.mark.few_draws

BAR = {"section": "rectangle", "width": "14 mm", "thickness": "8 mm"}
STRUT = BAR | {"from": {"y": "-60 mm"}, "to": "80 mm"}


@pytest.fixture(scope="module")
def petg(creep_run: Callable[..., Run]) -> Fit:
    return fit(creep_run())


def part(support: str = "cantilever", length: float = 120.0, load: str = "5 N", **tables: Any) -> Any:
    own = {"part": {"support": support} | tables.pop("part", {}), "segment": [BAR | {"length": f"{length} mm"}]}
    return build_part({"format": 1} | own | {"load": [{"force": load, "at": "end"}]} | tables, None)


def codes(result: Sag) -> set[str]:
    return {c.code for c in result.cautions}


def test_forces_do_not_change_with_time_so_all_parts_creep_alike(petg: Fit) -> None:
    times = ["1 h", "30 d"]
    plain, braced = (sag(p, petg, times, specimen_scatter=0.0) for p in (part(), part(brace=[STRUT])))
    growth = [r.rows[1].interval.median / r.rows[0].interval.median for r in (plain, braced)]
    assert growth[1] == pytest.approx(growth[0], rel=1e-6)
    assert braced.rows[0].interval.median < 0.4 * plain.rows[0].interval.median


def test_shares_names_and_thickness_hold_for_braces_too(petg: Fit) -> None:
    result = sag(part(brace=[STRUT | {"name": "strut"}]), petg, "30 d", limit="0.2 mm")
    assert [s.name for s in result.segments] == ["segment 1", "strut"]
    assert sum(s.share for s in result.segments) == pytest.approx(1.0)
    assert result.design is not None
    sizes = result.design.thickness.sizes
    assert [s.label for s in sizes] == ["segment 1, thickness", "strut, thickness"]
    assert "Where the sag comes from" in render_sag(result)


def test_a_rest_that_would_have_to_pull_is_told(petg: Fit) -> None:
    rests = {"supports": ["0 mm", "60 mm", "100 mm"]}
    lifted = sag(part("overhanging", part=rests, load="1 N"), petg, "1 h")
    assert "rest-lifts" in codes(lifted)
    assert "rest-lifts" not in codes(sag(part("overhanging", part=rests | {"held_down": True}), petg, "1 h"))
    pressed = sag(part("overhanging", part={"supports": ["0 mm", "60 mm", "120 mm"], "read_at": "90 mm"}), petg, "1 h")
    assert "rest-lifts" not in codes(pressed)


def test_a_slim_strut_may_buckle(petg: Fit) -> None:
    slim = STRUT | {"thickness": "2 mm", "width": "6 mm"}
    assert "brace-may-buckle" in codes(sag(part(brace=[slim], load="20 N"), petg, "30 d"))
    assert "brace-may-buckle" not in codes(sag(part(brace=[STRUT], load="2 N"), petg, "30 d"))
    pulled = slim | {"from": {"y": "60 mm"}}
    assert "brace-may-buckle" not in codes(sag(part(brace=[pulled], load="20 N"), petg, "30 d"))


def test_screws_on_an_upright_are_explained(petg: Fit) -> None:
    screws = [{"at": "-10 mm"}, {"at": "-50 mm"}]
    bracket = part("screws", screw=screws, upright=[BAR | {"length": "60 mm"}])
    assert "screwed-upright" in codes(sag(bracket, petg, "1 h"))
    assert "screwed-upright" not in codes(sag(part(brace=[STRUT]), petg, "1 h"))
