"""What else holds a part, as files say it: screws, rests, clamps, braces, three supports; and mistakes in it."""

from __future__ import annotations

from typing import Any

import pytest

from creepfit.errors import InputError
from creepfit.mechanics.beam_loads import PointLoad
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.holds import Brace, Hold
from creepfit.records.part_files import build_part

BAR = {"section": "rectangle", "width": "14 mm", "thickness": "8 mm"}
ARM = BAR | {"length": "140 mm"}
UPRIGHT = BAR | {"length": "80 mm"}
LOAD = {"mass": "1 kg", "at": "end"}
STRUT = BAR | {"from": "-60 mm", "to": "95 mm"}


def part(support: str | None = "screws", **tables: Any) -> Any:
    held = {} if support is None else {"support": support}
    own = {"part": held | tables.pop("part", {}), "segment": [ARM], "load": [LOAD]}
    return build_part({"format": 1} | own | tables, None)


def frame_of(found: Any) -> Frame:
    assert isinstance(found.beam, Frame)
    return found.beam


def test_a_bracket_on_two_screws_with_a_strut() -> None:
    found = part(
        screw=[{"at": "-12 mm"}, {"at": "-68 mm"}], upright=[UPRIGHT], brace=[STRUT | {"joints": ["rigid", "pinned"]}]
    )
    frame = frame_of(found)
    assert not frame.clamped
    assert frame.holds == (Hold(-12.0), Hold(-68.0))
    assert frame.braces[0].joints == ("rigid", "pinned")
    assert (frame.braces[0].start, frame.braces[0].end) == (-60.0, 95.0)


def test_a_strut_to_the_wall_and_a_prop() -> None:
    wall = {"x": "0 mm", "y": "-60 mm"}
    frame = frame_of(part("cantilever", brace=[STRUT | {"from": wall}], rest=[{"at": "140 mm"}]))
    assert frame.clamped
    assert frame.holds == (Hold(140.0, "rest"),)
    assert frame.braces == (Brace((0.0, -60.0), 95.0, frame.segments[0].section),)


@pytest.mark.parametrize(
    ("support", "more"), [("overhanging", {"supports": ["0 mm", "70 mm", "140 mm"]}), ("simply-supported", {})]
)
def test_three_supports_in_two_ways(support: str, more: dict[str, Any]) -> None:
    rests = {} if more else {"rest": [{"at": "70 mm"}]}
    frame = frame_of(part(support, part={"read_at": "35 mm"} | more, **rests))
    assert sorted((h.at, h.kind) for h in frame.holds) == [(0.0, "screw"), (70.0, "rest"), (140.0, "rest")]
    assert frame.reactions(PointLoad(35.0))[0][1] == pytest.approx(13.0 / 32.0, rel=0.06)  # two equal spans, but for shear


def test_a_closed_frame_is_joined_without_a_section() -> None:
    half = {"section": "rectangle", "width": "10 mm", "thickness": "2 mm", "radius": "30 mm", "angle": "180 deg"}
    ends = {"from": "0 mm", "to": f"{60.0 * 3.141592653589793} mm", "joints": "rigid"}
    frame = frame_of(part("cantilever", segment=[half, half], brace=[ends], load=[{"mass": "1 kg", "at": "94.2 mm"}]))
    assert frame.braces[0].section is None
    assert frame.influence(PointLoad(94.2), 94.2).per_compliance < 1e6


def test_tolerances_of_braces_and_supports_count() -> None:
    strut = STRUT | {"from": {"y": "-60 mm"}, "thickness": "8 +- 0.2 mm"}
    found = part("cantilever", brace=[strut])
    assert ("body", "braces", 0, "section", "thickness") in {t.path for t in found.tolerances}
    rests = part("overhanging", part={"supports": ["0 +- 0 mm", "70 +- 1 mm", "140 mm"]})
    assert ("body", "holds", 1, "at") in {t.path for t in rests.tolerances}


@pytest.mark.parametrize(
    ("support", "tables", "says"),
    [
        (None, {"screw": [{"at": "10 mm"}]}, 'part.support: missing; expected support = "screws" where'),
        ("screw", {"screw": [{"at": "10 mm"}]}, 'part.support: unknown support (did you mean "screws"?)'),
        ("screws", {}, "part.support: the part can move"),
        ("screws", {"screw": [{"at": "10 mm"}]}, "part.support: the part can move"),
        ("screws", {"screw": [{"at": "10 mm"}, {"at": "10 mm"}]}, "part.support: held there already; found '10 mm'"),
        ("screws", {"screw": [{"at": "10 mm"}, {"at": "999 mm"}]}, "a distance along the axis"),
        ("screws", {"screw": [{"place": "10 mm"}]}, 'screw 1: unknown key "place"'),
        ("screws", {"screw": {"at": "10 mm"}}, "tables written as [[screw]]"),
        ("cantilever", {"brace": [STRUT | {"joints": "glued"}]}, "brace 1, joints: found 'glued'; expected \"pinned\""),
        ("cantilever", {"brace": [STRUT | {"length": "3 mm"}]}, "brace 1, length: a brace is as long as"),
        ("cantilever", {"brace": [{"to": "9 mm"}]}, "brace 1, from: missing; expected a distance along the part"),
        ("cantilever", {"brace": [{"from": "sky", "to": "9 mm"}]}, "brace 1, from"),
        ("cantilever", {"brace": [STRUT | {"from": {"z": "9 mm"}}]}, 'brace 1, from: unknown key "z"'),
        ("cantilever", {"brace": [{"from": {"y": "-9 mm"}, "to": "9 mm"}]}, "brace: missing; expected the section"),
        ("cantilever", {"brace": [STRUT | {"from": {"y": "-9 mm"}, "thickness": ["8 mm", "5 mm"]}]}, "one section along"),
        ("screws", {"screw": [{"at": "0 mm"}, {"at": "9 mm"}], "root": {"rotation": "1 rad/(N m)"}}, "root: a mounting"),
        ("cantilever", {"brace": ["strut"]}, "brace 1: found 'strut'"),
        ("overhanging", {"part": {"supports": ["0 mm", "70 mm", "60 mm"]}}, "part.supports"),
    ],
)  # fmt: skip
def test_mistakes_are_one_line(support: str | None, tables: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError) as error:
        part(support, **tables)
    assert says in str(error.value)
    assert "\n" not in str(error.value)
