"""A part or a specimen as it was described: drawn to scale with wall, screws, rests, loads, gauge and sizes.

Nothing is computed for it, so that what was meant and what was written can be compared before anything is.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.path import Path
from matplotlib.ticker import MaxNLocator

from creepfit.errors import InputError
from creepfit.mechanics.beam import Beam
from creepfit.mechanics.beam_loads import Direction, EndMoment, FacePair, LineLoad, Load, PointLoad, SelfWeight, unit_vector
from creepfit.mechanics.frame import Frame
from creepfit.mechanics.loading import Array
from creepfit.mechanics.section import Section
from creepfit.mechanics.specimen import Cantilever, FourPointBending, Segments, Specimen, ThreePointBending
from creepfit.records.begun import BegunRun
from creepfit.records.part import Part
from creepfit.records.run import Run
from creepfit.report.figures.sketch_words import held_words, size_lines
from creepfit.report.figures.style import BLUE, INK, MUTED, RULE, TEXT, VERMILION, WIDTH, Drawing, look, title
from creepfit.units import show_number

SHARP, FARTHEST_CORNER = 0.05, 8.0
"""Sine of a turn from which on it is a corner, and half depths beyond the axis that a corner reaches at most."""

POINTS = 241
TALLEST = 4.6
"""Height of the drawing, inches; a tall part is drawn smaller, not cut."""

ARROW = 26.0
"""Length of a load's arrow, points."""

DOWN = np.array([0.0, -1.0])

TRIANGLE = Path([(0.0, 0.0), (-0.6, -1.0), (0.6, -1.0), (0.0, 0.0)])
"""A rest, its tip where it touches."""

SPRING = Path(
    [(0.0, -0.45), (-0.14, -0.5), (0.14, -0.58), (-0.14, -0.66), (0.14, -0.74), (-0.14, -0.82), (0.0, -0.87), (0.0, -0.92),
     (-0.25, -0.92), (0.25, -0.92), (0.0, -0.92)]
)  # fmt: skip
"""What a rest or screw stands on where it gives way."""

LINE = 0.15
"""Height of a line of the list beneath, inches."""


@dataclass(frozen=True)
class Sketch:
    """What is drawn: a beam, its loads with their labels, and where and how it is read."""

    name: str
    beam: Beam
    loads: tuple[tuple[Load, str], ...]
    read_at: float
    read_direction: Direction = "vertical"
    opposite_at: float | None = None
    read_words: str = "sag read here"


def sketch_of(what: Part | Run | BegunRun) -> Sketch:
    """What there is to draw of a part or of a run's specimen.

    Raises
    ------
    InputError
        A part known by an analysis made elsewhere, or a specimen that is pulled, pressed or not described.
    """
    return _of_part(what) if isinstance(what, Part) else _of_specimen(what)


def _of_part(part: Part) -> Sketch:
    if part.analysed is not None:
        if part.analysed.formula:
            expected = "segments, [plate] or [elastic]"
            raise InputError(f"{part.analysed.formula} is not drawn", file=part.file, key="part", expected=expected)
        raise InputError("an analysis made elsewhere has no shape to draw", file=part.file, key="elastic")
    loads = [(load.load, load.label) for load in part.all_loads]
    if part.held is not None:
        loads.append((part.reading, f"held bent by {show_number(part.held.deflection)} mm"))
    read = part.beam.axis.locate(part.read_at)
    words = "opening read here" if part.opposite_at is not None else "sag read here"
    return Sketch(part.name or "part", part.beam, tuple(loads), read, part.read_direction, part.opposite_at, words)


def _of_specimen(run: Run | BegunRun) -> Sketch:
    specimen: Specimen = run.specimen
    label = run.load_unit.own(run.peak_load, digits=4) if isinstance(run, Run) else "the load"
    if isinstance(specimen, Segments):
        loads: list[tuple[Load, str]] = [(PointLoad(specimen.load_at, specimen.direction), label)]
        if specimen.between_faces:
            loads = [(FacePair(specimen.opposite_at, specimen.load_at), label)]
        read = specimen.beam.axis.locate(specimen.load_at if specimen.read_at is None else specimen.read_at)
        opposite = (specimen.opposite_at or 0.0) if specimen.between_faces else None
        return Sketch(run.label, specimen.beam, tuple(loads), read, specimen.direction, opposite, "gauge reads here")
    if isinstance(specimen, Cantilever | ThreePointBending | FourPointBending):
        shares = [(load, label if share == 1.0 else f"{share:g} of {label}") for load, share in specimen.loads]
        return Sketch(run.label, specimen.beam, tuple(shares), specimen.read_distance, read_words="gauge reads here")
    raise InputError(
        "there is nothing to draw",
        file=run.file,
        key="specimen.test",
        found=specimen.test,
        expected="a bent specimen: cantilever, three-point-bending, four-point-bending or segments",
    )


def sketch_figure(sketch: Sketch) -> Drawing:
    """The part to scale, as made, with what holds it and what acts on it; its sizes beneath."""
    shape = outline(sketch.beam, POINTS)
    every = np.concatenate([shape, *(strip for strip in brace_outlines(sketch.beam))], axis=1)
    low, high = every.min(axis=1), every.max(axis=1)
    pad = max(0.22 * float((high - low).max()), 1.2 * sketch.beam.segments[0].depth)
    low, high = low - pad, high + pad
    lines = size_lines(sketch.beam)
    left, right, top, bottom = 0.55, 0.15, 0.34, 0.45
    per_mm = min((WIDTH - left - right) / float(high[0] - low[0]), TALLEST / float(high[1] - low[1]))
    wide, tall = per_mm * (high - low)
    height = top + tall + bottom + LINE * (len(lines) + 1)
    with look():
        figure = Figure(figsize=(WIDTH, height))
        figure.patch.set_alpha(0.0)
        ax = figure.add_axes((left / WIDTH, 1.0 - (top + tall) / height, wide / WIDTH, tall / height))
        ax.patch.set_alpha(0.0)
        ax.set_xlim(low[0], high[0])
        ax.set_ylim(low[1], high[1])
        ax.tick_params(length=3, width=0.8, color=RULE)
        ax.xaxis.set_major_locator(MaxNLocator(6))
        ax.yaxis.set_major_locator(MaxNLocator(max(1, min(6, int(tall / 0.3)))))
        for strip in brace_outlines(sketch.beam):
            ax.fill(*strip, facecolor=RULE, edgecolor=INK, linewidth=0.9)
        for strip in segment_strips(sketch.beam):
            ax.fill(*strip, facecolor=RULE, edgecolor="none")
        ax.fill(*shape, facecolor=RULE, edgecolor=INK, linewidth=0.9)
        number_members(ax, sketch.beam)
        if sketch.opposite_at is None:  # what is read between two faces is held anywhere
            draw_supports(ax, sketch.beam)
        draw_loads(ax, sketch)
        draw_reading(ax, sketch)
        title(ax, f"{sketch.name}, to scale [mm]")
        for k, line in enumerate(lines):
            figure.text(left / WIDTH, (LINE * (len(lines) - k) - 0.08) / height, line, fontsize=8.0, color=INK)
    held = held_words(sketch.beam)
    acting = "; ".join(label for _, label in sketch.loads if label)
    alt = f"{sketch.name} drawn to scale: {'; '.join(lines)}. {held}. Loads: {acting or 'none'}. {sketch.read_words}."
    return Drawing("drawing", f"{sketch.name}, as described", alt, figure)


def outline(beam: Beam, points: int) -> Array:
    """Both edges of the chain as made, shape (2, 2 * points): out along one, back the other."""
    axis = beam.axis
    along = np.linspace(axis.start, axis.end, points)
    rest, tangent = axis.position(along), axis.tangent(along)
    across = np.stack([-tangent[1], tangent[0]])
    (depth,) = axis.section_values(along, lambda section: section.depth)
    edges = [_mitred(beam, along, rest + side * across * depth / 2.0, side) for side in (1.0, -1.0)]
    return np.concatenate([edges[0], edges[1][:, ::-1]], axis=1)


def _mitred(beam: Beam, along: Array, edge: Array, side: float) -> Array:
    """An edge (2, points) that goes on to where it meets the next segment's at every sharp corner, and no further."""
    axis, edge = beam.axis, edge.copy()
    for joint in axis.joints[1:-1]:
        before, after = np.array(np.nextafter(joint, axis.start)), np.array(joint)
        ways = np.stack([axis.tangent(before), axis.tangent(after)], axis=1)
        turn = float(ways[0, 0] * ways[1, 1] - ways[1, 0] * ways[0, 1])  # its sine
        if abs(turn) < SHARP:
            continue
        halves = axis.section_values(np.array([float(before), joint]), lambda section: section.depth)[0] / 2.0
        across = side * np.stack([-ways[1], ways[0]]) * halves
        # where the two edges meet: corner + across0 + s0 way0 = corner + across1 + s1 way1
        beyond = np.linalg.solve(np.stack([ways[:, 0], -ways[:, 1]], axis=1), across[:, 1] - across[:, 0])
        if np.abs(beyond).max() > FARTHEST_CORNER * halves.max():
            continue
        corner = axis.position(np.array(joint)) + across[:, 0] + beyond[0] * ways[:, 0]
        ahead = along - joint
        cut = ((ahead < 0.0) & (ahead > beyond[0])) | ((ahead >= 0.0) & (ahead < beyond[1]))
        last = int(np.searchsorted(along, joint))
        cut[[last - 1, last]] = True
        edge[:, cut] = corner[:, None]
    return edge


def segment_strips(beam: Beam) -> list[Array]:
    """Each segment's own edges: what fills the corners between them."""
    joints, points = beam.axis.joints, 61
    strips = []
    for start, end in pairwise(joints):
        along = np.linspace(start, np.nextafter(end, start), points)
        rest, tangent = beam.axis.position(along), beam.axis.tangent(along)
        (depth,) = beam.axis.section_values(along, lambda section: section.depth)
        half = np.stack([-tangent[1], tangent[0]]) * depth / 2.0
        strips.append(np.concatenate([rest + half, (rest - half)[:, ::-1]], axis=1))
    return strips


def brace_outlines(beam: Beam) -> list[Array]:
    """Edges of every brace, shape (2, 4)."""
    outlines = []
    for number, brace in enumerate(beam.braces if isinstance(beam, Frame) else ()):
        if brace.section is not None and isinstance(beam, Frame):
            foot, tip = beam.brace_line(number).T
            along = (tip - foot) / np.hypot(*(tip - foot))
            half = np.array([-along[1], along[0]]) * float(np.asarray(brace.section.depth)) / 2.0
            outlines.append(np.stack([foot + half, tip + half, tip - half, foot - half], axis=1))
    return outlines


def draw_supports(ax: Axes, beam: Beam) -> None:
    """Wall, rests, screws and clamps."""
    axis = beam.axis
    rests = [(at, "screw" if k == 0 else "rest") for k, at in enumerate(beam.rests)]
    clamps = [] if beam.rests else [axis.start]
    if isinstance(beam, Frame):
        rests = [(axis.locate(hold.at), hold.kind) for hold in beam.holds if hold.kind != "clamp"]
        clamps = [axis.start] if beam.clamped else []
        clamps += [axis.locate(hold.at) for hold in beam.holds if hold.kind == "clamp"]
        for number, brace in enumerate(beam.braces):
            if isinstance(brace.start, tuple) or isinstance(brace.end, tuple):
                wall(ax, beam.brace_line(number)[:, 1], np.array([0.0, 1.0]), _depth(brace.section), -1.0)
    for at in clamps:
        sign = -1.0 if at == axis.start else 1.0
        along = axis.tangent(np.array(at))
        (depth,) = axis.section_values(np.array([at]), lambda section: section.depth)
        wall(ax, axis.position(np.array(at)), np.array([-along[1], along[0]]), float(depth[0]), sign)
    plain = not isinstance(beam, Frame)
    on_springs = [axis.locate(h.at) for h in beam.holds if h.give] if isinstance(beam, Frame) else []
    for at, kind in rests:
        point, along = axis.position(np.array(at)), axis.tangent(np.array(at))
        (depth,) = axis.section_values(np.array([min(at, axis.end)]), lambda section: section.depth)
        under = point - np.array([0.0, 0.5 * float(depth[0]) * abs(float(along[0]))])
        if at in on_springs:
            below = point if kind == "screw" else under
            ax.plot(*below, marker=SPRING, markersize=34, markerfacecolor="none", markeredgecolor=INK, zorder=5)
        if kind == "screw" and not plain:
            ax.plot(*point, "o", markersize=8, markerfacecolor="white", markeredgecolor=INK, markeredgewidth=1.1, zorder=6)
            ax.plot(*point, "+", markersize=7, color=INK, markeredgewidth=1.1, zorder=7)
            continue
        face = INK if kind == "screw" else "white"
        ax.plot(*under, marker=TRIANGLE, markersize=16, markerfacecolor=face, markeredgecolor=INK, zorder=6)


def wall(ax: Axes, point: Array, across: Array, depth: float, sign: float) -> None:
    """A hatched line through a point, along `across`, the hatching on the side that `sign` says."""
    size = 1.1 * max(depth, 0.03 * float(np.ptp(ax.get_ylim())))
    behind = sign * np.array([across[1], -across[0]])
    ax.plot(*np.stack([point - size * across, point + size * across], axis=1), color=INK, linewidth=1.6, zorder=5)
    for k in np.linspace(-1.0, 0.75, 8):
        foot = point + k * size * across
        tip = foot + 0.25 * size * across + 0.3 * size * behind
        ax.plot(*np.stack([foot, tip], axis=1), color=INK, linewidth=0.8, zorder=5)


def _depth(section: Section | None) -> float:
    return 0.0 if section is None else float(np.asarray(section.depth))


def draw_loads(ax: Axes, sketch: Sketch) -> None:
    """Every load as an arrow along its direction, with its label."""
    axis = sketch.beam.axis
    for load, label in sketch.loads:
        if isinstance(load, PointLoad):
            at = axis.locate(load.at)
            inside = np.array(at if at == axis.start else np.nextafter(at, axis.start))
            _arrow(ax, axis.position(np.array(at)), unit_vector(axis, load.direction, inside), label)
        elif isinstance(load, FacePair):
            first, last = load.breaks(axis)
            ends = axis.position(np.array(first)), axis.position(np.array(last))
            apart = (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
            _arrow(ax, ends[0], -apart, "", pull=True)
            _arrow(ax, ends[1], apart, label, pull=True)
        elif isinstance(load, LineLoad):
            first, last = load.breaks(axis)
            places = np.linspace(first, last, 9)
            ways = unit_vector(axis, load.direction, places).T
            for k, (place, way) in enumerate(zip(axis.position(places).T, ways, strict=True)):
                _arrow(ax, place, way, label if k == 4 else "", 0.6)
        elif isinstance(load, EndMoment):
            spot = axis.position(np.array(axis.locate(load.at)))
            ax.plot(*spot, marker=r"$\circlearrowright$", markersize=17, color=VERMILION, zorder=8)
            point_label(ax, spot, DOWN, label)
        elif isinstance(load, SelfWeight):
            _arrow(ax, axis.position(np.array(_clear_place(sketch))), DOWN, label, 0.8, MUTED)


def _clear_place(sketch: Sketch) -> float:
    """Where along the axis nothing else is drawn: on a stretch that runs sideways, so that words stand above it."""
    beam, axis = sketch.beam, sketch.beam.axis
    joints = axis.joints if len(axis.joints) > 2 else ()  # one segment has no number
    taken = [sketch.read_at, axis.start, axis.end, *(axis.locate(at) for at in beam.rests)]
    taken += [0.5 * (start + end) for start, end in pairwise(joints)]
    taken += [axis.locate(hold.at) for hold in beam.holds] if isinstance(beam, Frame) else []
    for load, _ in sketch.loads:
        taken += [axis.locate(load.at)] if isinstance(load, PointLoad | EndMoment) else []
        taken += [sum(load.breaks(axis)) / 2.0] if isinstance(load, LineLoad) else []
    places = axis.start + np.linspace(0.1, 0.9, 33) * (axis.end - axis.start)
    spots, others = axis.position(places), axis.position(np.array(taken))
    apart = np.hypot(*(spots[:, :, None] - others[:, None, :])).min(axis=1)
    return float(places[np.argmax(np.where(np.abs(axis.tangent(places)[0]) > 0.5, apart, 0.01 * apart))])


def _arrow(
    ax: Axes, at: Array, way: Array, label: str, size: float = 1.0, colour: str = VERMILION, pull: bool = False
) -> None:
    """An arrow that presses on a point, or that pulls away from it."""
    tail = ARROW * size * way * (1.0 if pull else -1.0)
    style = {
        "arrowstyle": "<|-" if pull else "-|>",
        "color": colour,
        "linewidth": 1.6 * size,
        "shrinkA": 0,
        "shrinkB": 0 if pull else 4,
    }
    point = (float(at[0]), float(at[1]))
    ax.annotate("", xy=point, xytext=tuple(tail), textcoords="offset points", arrowprops=style, zorder=8)
    point_label(ax, at, way if pull else -way, label, ARROW * size, colour)


def point_label(ax: Axes, at: Array, side: Array, label: str, reach: float = 12.0, colour: str = VERMILION) -> None:
    """Words beyond a point, inwards of the drawing where they would leave it."""
    if not label:
        return
    low, high = ax.get_xlim()
    place = (float(at[0]) - low) / (high - low)
    align = "left" if place < 0.35 else "right" if place > 0.65 else "center"
    offset = side * (reach + 3.0)
    vertical = "bottom" if offset[1] > 0.3 * reach else "top" if offset[1] < -0.3 * reach else "center"
    ax.annotate(
        label, xy=(float(at[0]), float(at[1])), xytext=tuple(offset), textcoords="offset points",
        color=TEXT.get(colour, colour),
        fontsize=8.5, ha=align, va=vertical, zorder=9,
    )  # fmt: skip


def draw_reading(ax: Axes, sketch: Sketch) -> None:
    """Where the gauge reads, or the sag is asked for."""
    axis = sketch.beam.axis
    for k, at in enumerate([sketch.read_at, *([] if sketch.opposite_at is None else [sketch.opposite_at])]):
        point = axis.position(np.array(axis.locate(at)))
        ax.plot(*point, "D", markersize=5.5, markerfacecolor=BLUE, markeredgecolor="white", zorder=10)
        if k == 0:
            reach = max(9.0, _points(ax, _half_height(sketch.beam, at)) + 2.0)
            point_label(ax, point, DOWN, sketch.read_words, reach, BLUE)


def _half_height(beam: Beam, at: float) -> float:
    """How far the part reaches down from its axis, mm; nothing where it runs up and down."""
    axis = beam.axis
    inside = np.array([min(axis.locate(at), np.nextafter(axis.end, axis.start))])
    sideways = abs(float(axis.tangent(inside)[0, 0]))
    (depth,) = axis.section_values(inside, lambda section: section.depth)
    return 0.5 * float(depth[0]) / sideways if sideways > 0.5 else 0.0


def _points(ax: Axes, size: float) -> float:
    """A size of the drawing [mm] in points."""
    inches = ax.get_position().height * float(ax.get_figure(root=True).get_size_inches()[1])  # type: ignore[union-attr]
    return 72.0 * size * inches / float(np.ptp(ax.get_ylim()))


def number_members(ax: Axes, beam: Beam) -> None:
    """Numbers of segments and braces, where there are several."""
    spots = []
    joints = beam.axis.joints
    for start, end in pairwise(joints):
        spots.append(beam.axis.position(np.array(0.5 * (start + end))))
    if isinstance(beam, Frame):
        spots += [beam.brace_line(k).mean(axis=1) for k, brace in enumerate(beam.braces) if brace.section is not None]
    if len(spots) < 2:
        return
    for number, spot in enumerate(spots, start=1):
        ax.text(
            float(spot[0]), float(spot[1]), str(number), fontsize=7.0, color=INK, ha="center", va="center", zorder=7,
            bbox={"boxstyle": "circle,pad=0.18", "facecolor": "white", "edgecolor": MUTED, "linewidth": 0.6},
        )  # fmt: skip
