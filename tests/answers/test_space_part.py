"""Hooks bent out of their plane as parts: the crank, loads at points, words, and mistakes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from creepfit.answers.part.sag import sag
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit, fit
from creepfit.records.part_files import build_part
from creepfit.records.run import Run
from creepfit.report.text.part import render_sag

ROD = {"section": "round", "diameter": "8 mm"}
ARM = ROD | {"length": "40 mm", "out": "90 deg", "turn": "90 deg"}


@pytest.fixture(scope="module")
def petg(creep_run: Callable[..., Run]) -> Fit:
    return fit(creep_run())


def hook(load: dict[str, Any] | None = None, last: dict[str, Any] | None = None, **part: Any) -> dict[str, Any]:
    loads = [{"force": "3 N", "at": "end"} if load is None else load]
    return {
        "format": 1,
        "part": {"name": "hook"} | part,
        "segment": [ROD | {"length": "60 mm"}, last or ARM],
        "load": loads,
    }


def median(data: dict[str, Any], known: Fit) -> float:
    return sag(build_part(data, None), known, "10 d", specimen_scatter=0.0).rows[0].interval.median


def test_a_corner_out_of_the_plane_is_the_crank(petg: Fit) -> None:
    shaft = {"crank": {"shaft_length": "60 mm", "arm_length": "40 mm", "shaft": ROD}}
    known = {"format": 1, "part": {}, "load": [{"force": "3 N"}]} | shaft
    assert median(hook(), petg) == pytest.approx(median(known, petg), rel=1e-6)


def test_without_a_bend_out_it_is_the_plane_part(petg: Fit) -> None:
    """Straight on, whether turned about its axis or not."""
    straight = ROD | {"length": "40 mm"}
    assert median(hook(last=straight | {"out": "90 deg"}), petg) == pytest.approx(
        median(hook(last=straight), petg), rel=0.01
    )


def test_where_and_which_way_and_words(petg: Fit) -> None:
    at_corner = {"force": "3 N", "at": "60 mm"}
    assert median(hook(at_corner), petg) < 0.5 * median(hook(), petg)
    assert median(hook(read_at="60 mm"), petg) == pytest.approx(median(hook(at_corner), petg), rel=1e-6)
    sideways = hook({"force": "3 N", "at": "end", "direction": "0 deg"}, read_direction="0 deg")
    assert 0.0 < median(sideways, petg) < median(hook(), petg)
    text = " ".join(render_sag(sag(build_part(hook(), None), petg, "10 d")).split())
    assert "3 N at the end" in text
    assert "a bar bent out of its plane" in text


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (hook(density="1.2 g/cm^3"), "part.density"),
        (hook(support="simply-supported"), "part.support"),
        (hook(between_faces=True), "part.between_faces"),
        (hook(read_at="900 mm"), "part.read_at"),
        (hook({"force": "1 N"}), "load 1.at: missing"),
        (hook({"force": "1 N", "at": "500 mm"}), "load 1.at: found '500 mm'"),
        (hook({"per_length": "1 N/mm", "from": "0 mm"}), "only forces at points"),
        (hook({"force": "1 N", "at": "end", "direction": "perpendicular"}), "load 1.direction"),
        (hook({"force": "1 N", "at": "end", "direction": "0 deg"}, ROD | {"length": "9 mm", "out": "9 deg"}), "moves it"),
        (hook() | {"rest": [{"at": "20 mm"}]}, "rest: only of a part in one plane"),
        (hook() | {"upright": [ROD | {"length": "20 mm"}]}, "upright: only"),
        (hook(last=ARM | {"diameter": ["8 mm", "6 mm"]}), "segment 2: a bar bent"),
        (hook(last={"section": "I", "width": "9 mm", "height": "9 mm", "flange": "1 mm", "web": "1 mm", "length": "9 mm",
                    "out": "9 deg"}), "segment 2.section"),
    ],
)  # fmt: skip
def test_mistakes_are_one_line(data: dict[str, Any], says: str) -> None:
    with pytest.raises(InputError, match=says) as caught:
        build_part(data, None)
    assert "\n" not in str(caught.value)
