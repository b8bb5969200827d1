"""Drawings of parts and specimens as described: what is in them, and what cannot be drawn."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from creepfit.cli import main
from creepfit.errors import InputError
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.specimen import ThreePointBending
from creepfit.records.files import read_run
from creepfit.records.part_files import build_part, read_part
from creepfit.report.figures.described import described_figure
from creepfit.report.figures.sketch import brace_outlines, outline, sketch_figure, sketch_of
from creepfit.report.figures.style import svg
from creepfit.units import Measure

DEMO = Path(__file__).parents[2] / "demo"
BAR = {"section": "rectangle", "width": "14 mm", "thickness": "8 mm"}
BRACKET: dict[str, Any] = {
    "format": 1,
    "part": {"name": "braced bracket", "support": "screws", "density": "1.2 g/cm^3"},
    "screw": [{"at": "-12 mm"}, {"at": "-68 mm"}],
    "upright": [BAR | {"length": "80 mm"}],
    "segment": [BAR | {"length": "140 mm", "name": "shelf arm"}],
    "brace": [BAR | {"from": "-60 mm", "to": "95 mm"}],
    "load": [{"mass": "1.5 kg", "at": "end"}, {"per_length": "0.1 N/mm", "from": "0 mm", "to": "90 mm"}],
}


def test_a_bracket_shows_its_loads_sizes_and_what_holds_it() -> None:
    drawing = sketch_figure(sketch_of(build_part(BRACKET, None)))
    text = svg(drawing)
    sizes = ("2  shelf arm: 140 mm, 14 mm wide, 8 mm thick", "3  brace: 112 mm, 14 mm wide, 8 mm thick, pinned ends")
    for words in ("1.5 kg at the end", "0.1 N/mm from 0 to 90 mm", "its own weight", "sag read here", *sizes):
        assert words in text
    assert "Held by screw at -12 mm, screw at -68 mm" in drawing.alt


def test_outlines_are_the_part() -> None:
    beam = build_part(BRACKET, None).beam
    assert isinstance(beam, Frame)
    shape = outline(beam, 50)
    assert shape.min(axis=1) == pytest.approx([-4.0, 0.0])
    assert shape.max(axis=1) == pytest.approx([140.0, 84.0])
    (strip,) = brace_outlines(beam)
    assert strip.mean(axis=1) == pytest.approx([47.5, 50.0])
    assert float(np.hypot(*(strip[:, 0] - strip[:, 3]))) == pytest.approx(8.0)


@pytest.mark.parametrize("name", ["petg-hook.toml", "petg-strip.toml"])
def test_specimens_of_the_demo(name: str) -> None:
    text = svg(sketch_figure(sketch_of(read_run(DEMO / name))))
    assert "gauge reads here" in text


def test_a_bar_on_two_supports_is_no_arm() -> None:
    bar = ThreePointBending(span=Measure(100.0, 0.0), width=Measure(15.0, 0.0), thickness=Measure(5.0, 0.0))
    lying = replace(read_run(DEMO / "petg-strip.toml"), specimen=bar)
    assert "bar: 100 mm, 15 mm wide, 5 mm thick" in svg(sketch_figure(sketch_of(lying)))
    assert "arm: 75 mm" in svg(sketch_figure(sketch_of(read_run(DEMO / "petg-strip.toml"))))


def test_a_held_clip_and_a_moment(tmp_path: Path) -> None:
    clip = {"format": 1, "part": {}, "segment": [BAR | {"length": "60 mm"}], "held": {"deflection": "1.5 mm"}}
    assert "held bent by 1.5 mm" in svg(sketch_figure(sketch_of(build_part(clip, None))))


def test_command(tmp_path: Path) -> None:
    target = tmp_path / "bracket.svg"
    run = CliRunner().invoke
    done = run(main, ["draw", str(DEMO / "bracket.toml"), "-o", str(target)])
    assert done.exit_code == 0, done.output
    assert "planter bracket, to scale" in target.read_text()
    again = run(main, ["draw", str(DEMO / "bracket.toml"), "-o", str(target)])
    assert again.exit_code == 2
    assert run(main, ["draw", str(DEMO / "petg-hook.toml"), "-o", str(tmp_path / "hook.png")]).exit_code == 0
    assert (tmp_path / "hook.png").read_bytes()[:4] == b"\x89PNG"
    wrong = run(main, ["draw", str(DEMO / "bracket.toml"), "-o", str(tmp_path / "bracket.jpg")])
    assert wrong.exit_code == 2
    assert "a name ending in .svg or .png" in wrong.stderr


def test_what_has_no_shape_is_refused(short: Path) -> None:
    elastic = {"deflection": "1 mm", "modulus": "1 GPa", "largest_stress": "1 MPa"}
    with pytest.raises(InputError, match="an analysis made elsewhere has no shape to draw"):
        sketch_of(build_part({"format": 1, "part": {}, "elastic": elastic}, None))
    with pytest.raises(InputError, match="there is nothing to draw"):
        sketch_of(read_run(short))


def test_sag_draws_the_bent_part(tmp_path: Path, short: Path) -> None:
    target = tmp_path / "bent.svg"
    words = ["sag", str(DEMO / "bracket.toml"), "--material", str(short), "--at", "1 d", "--figure", str(target)]
    done = CliRunner().invoke(main, words)
    assert done.exit_code == 0, done.output
    assert "0.9 kg at the end" in target.read_text()
    assert read_part(DEMO / "bracket.toml").name in done.stdout


def test_a_hook_bent_out_of_its_plane_is_drawn_from_two_sides() -> None:
    rod = {"section": "round", "diameter": "8 mm"}
    bend = rod | {"radius": "20 mm", "angle": "90 deg", "out": "90 deg", "name": "bend"}
    load = [{"mass": "0.5 kg", "at": "end"}]
    hook = {"format": 1, "part": {"name": "hook"}, "segment": [rod | {"length": "60 mm"}, bend], "load": load}
    drawing = described_figure(build_part(hook, None))
    text = svg(drawing)
    for words in (
        "hook from the side",
        "hook from above",
        "0.5 kg at the end",
        "turned 90° about its axis",
        "sag read here",
    ):
        assert words in text, words
    assert "Clamped at its beginning" in drawing.alt


def test_a_panel_is_drawn_from_above() -> None:
    plate = {"span": "200 mm", "width": "300 mm", "thickness": "4 mm", "rests_on": "two sides"}
    panel = {"format": 1, "part": {"name": "lid"}, "plate": plate, "load": [{"mass": "1 kg", "at": "all over"}]}
    text = svg(described_figure(build_part(panel, None)))
    for words in ("lid from above", "1 kg all over", "the two sides drawn thick", "4 mm thick"):
        assert words in text, words


def test_springs_and_rods_stand_among_the_sizes() -> None:
    rod = {"section": "round", "diameter": "3 mm", "from": {"y": "-60 mm"}, "to": "60 mm", "modulus": "200 GPa"}
    held = BRACKET | {"rest": [{"at": "90 mm", "stiffness": "12 N/mm"}], "brace": [rod]}
    text = svg(sketch_figure(sketch_of(build_part(held, None))))
    assert "on a spring of 12 N/mm" in text
    assert "200 GPa, does not creep" in text


def test_corners_are_whole_and_words_stand_clear_of_the_part() -> None:
    # before: the outer corner cut off, the inner one a bow-tie, "its own weight" on a screw and through an edge
    part = build_part({**{k: v for k, v in BRACKET.items() if k != "brace"}}, None)
    shape = outline(part.beam, 200).T
    for corner in ((-4.0, 84.0), (4.0, 76.0)):
        assert float(np.hypot(*(shape - corner).T).min()) == pytest.approx(0.0, abs=1e-9)
    inside = (shape[:, 0] > 4.0 + 1e-9) & (shape[:, 1] < 76.0 - 1e-9)
    assert not inside.any()
    assert not ((shape[:, 0] > -4.0 + 1e-9) & (shape[:, 0] < 4.0 - 1e-9) & (shape[:, 1] > 1.0) & (shape[:, 1] < 83.9)).any()
    (ax, *_) = sketch_figure(sketch_of(part)).figure.axes
    weight, read = (next(t for t in ax.texts if t.get_text() == words) for words in ("its own weight", "sag read here"))
    assert weight.xy[1] == pytest.approx(80.0)  # on the arm
    below = ax.transData.transform((140.0, 76.0))[1]
    assert read.get_window_extent().y1 < below
