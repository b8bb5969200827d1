"""Figures: what they show is what was read and answered, doubt never looks lighter, and they are fit to stand in a page."""

from __future__ import annotations

import re
import warnings
import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from io import BytesIO

import numpy as np
import pytest
from matplotlib.collections import PolyCollection
from matplotlib.image import imread

import creepfit as cf
from creepfit.answers.materials.comparison import compare
from creepfit.answers.part.sag import Sag
from creepfit.inference.fitting import fit
from creepfit.inference.hindcast import Hindcast
from creepfit.report.figures.drawings import Drawing, inline, png, svg, with_part, with_run
from creepfit.report.figures.rate import rate_figure
from creepfit.report.figures.style import INK, MUTED, NAMES, TEXT, look, sheet
from creepfit.report.figures.ticks import few_pieces
from creepfit.report.figures.timeline import _levels, _Name
from creepfit.report.figures.together import values_figure
from creepfit.report.page.findings import Findings, find


def named(drawn: list[Drawing], name: str) -> Drawing:
    return next(d for d in drawn if d.name == name)


def points(drawing: Drawing, axes: int = 0) -> list[tuple[np.ndarray, np.ndarray]]:
    """Every set of markers in an axes."""
    lines = drawing.figure.axes[axes].lines
    return [(np.asarray(x.get_xdata()), np.asarray(x.get_ydata())) for x in lines if x.get_marker() == "o"]


def hatched(drawing: Drawing, axes: int = 0) -> list[PolyCollection]:
    return [c for c in drawing.figure.axes[axes].collections if isinstance(c, PolyCollection) and c.get_hatch()]


@pytest.fixture(scope="module")
def drawn(strip: Findings) -> list[Drawing]:
    return with_run(strip)


@pytest.fixture(scope="module")
def daily_drawn(daily: Findings) -> list[Drawing]:
    return with_run(daily)


@pytest.fixture(scope="module")
def part_drawn(bracket: Sag) -> list[Drawing]:
    return with_part(bracket)


class TestWhatIsShown:
    def test_all_readings_stand_in_the_first_figure(self, drawn: list[Drawing], strip: Findings) -> None:
        shown = np.concatenate([y for _, y in points(named(drawn, "readings"))])
        values = strip.fit.observed.values
        np.testing.assert_allclose(np.sort(shown), np.sort(values - values[0]), atol=1e-12)

    def test_the_gauges_own_first_and_last_number_under_load_are_named(self, drawn: list[Drawing]) -> None:
        text = svg(named(drawn, "readings"))
        assert "gauge 3.42 mm" in text
        assert "gauge 5.74 mm" in text

    def test_the_line_ends_at_the_forecast(self, drawn: list[Drawing], strip: Findings) -> None:
        ax = named(drawn, "readings").figure.axes[0]
        blue = max((line for line in ax.lines if line.get_color() == "#0072b2"), key=lambda line: line.get_linewidth())
        answer = strip.forecast.rows[-1]
        assert blue.get_xdata()[-1] == answer.time
        assert blue.get_ydata()[-1] == answer.interval.median

    def test_increments_are_filled_where_told_from_zero_and_hollow_where_not(self, pla: Findings) -> None:
        rows = [r for r in pla.summary.increments if r.change is not None and r.change > 0.0]
        filled, _ = points(named(with_run(pla), "increments"))
        rates = [86400.0 * r.change / (r.end - r.start) for r in rows if r.distinguishable]
        np.testing.assert_allclose(filled[1], rates)

    def test_the_threshold_is_a_rate_as_the_changes_are(self, drawn: list[Drawing], strip: Findings) -> None:
        # a threshold per 7 d over changes of minutes and of days said "stopped" beside a text that says it has not
        ax = named(drawn, "increments").figure.axes[0]
        line = next(line for line in ax.lines if line.get_color() == "#d55e00")
        stop = strip.summary.stop
        assert line.get_ydata()[0] == pytest.approx(stop.threshold / (stop.window / 86400.0))
        assert (ax.get_xscale(), ax.get_yscale()) == ("log", "log")
        filled, _ = points(named(drawn, "increments"))
        assert stop.stopped != "no" or filled[1][-1] > line.get_ydata()[0]

    def test_shares_fill_the_bar(self, drawn: list[Drawing], strip: Findings) -> None:
        ax = named(drawn, "shares").figure.axes[0]
        widths = [patch.get_width() for patch in ax.patches]
        assert sum(widths) == pytest.approx(100.0 * len(strip.forecast.rows))

    def test_the_bent_shape_is_to_scale(self, part_drawn: list[Drawing]) -> None:
        for ax in named(part_drawn, "shape").figure.axes:
            box = ax.get_window_extent()
            (left, right), (low, high) = ax.get_xlim(), ax.get_ylim()
            assert box.width / (right - left) == pytest.approx(box.height / (high - low), rel=0.01)

    def test_what_is_unknown_has_no_figure(self, daily_drawn: list[Drawing], unsized: Findings) -> None:
        assert [d.name for d in daily_drawn] == ["readings", "timeline", "history", "increments", "shares"]
        assert "modulus" not in [d.name for d in with_run(unsized)]


class TestCreepHasRoom:
    def test_a_reading_typed_twice_has_no_rate(self, daily: Findings) -> None:
        run = daily.fit.run
        twice = find(fit(replace(run, readings=(*run.readings, run.readings[-1])), models=["findley"]), points=5)
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            drawn = rate_figure(twice)
        assert drawn is not None
        assert len(points(drawn)[0][0]) + len(points(drawn)[1][0]) == len(run.readings) - 1

    def test_creep_alone_has_a_panel_at_a_scale_of_its_own(self, drawn: list[Drawing], strip: Findings) -> None:
        # on an axis from 0 on five days of creep got a tenth of the height
        creep, figure = strip.creep, named(drawn, "readings").figure
        assert creep is not None
        (_, shown) = points(named(drawn, "readings"), 1)[0]
        np.testing.assert_allclose(shown, creep.readings)
        room, own = (np.ptp(axes.get_ylim()) for axes in figure.axes[:2])
        assert own < 0.7 * room  # the forecast's upper end, and not the readings, says how much less
        whole = strip.forecast.rows[-1].interval.median
        assert creep.curve.median[-1] == pytest.approx(whole - strip.fit.observed.deformation[1], abs=0.02)

    def test_where_nothing_else_was_read_there_is_no_second_panel(self, daily: Findings) -> None:
        assert daily.creep is None

    def test_a_hindcast_is_seen_reading_by_reading(self, drawn: list[Drawing], strip: Findings) -> None:
        past = strip.forecast.hindcast
        assert isinstance(past, Hindcast)
        assert len(past.foretold) == past.readings
        assert sum(f.inside for f in past.foretold) == past.inside
        assert min(f.time for f in past.foretold) > past.fitted_to
        hollow = points(named(drawn, "hindcast"), 1)[0]
        np.testing.assert_allclose(hollow[1], [f.reading - f.median for f in past.foretold if f.inside])

    def test_the_line_of_time_holds_every_reading_and_what_to_read_next(
        self, daily_drawn: list[Drawing], strip: Findings, daily: Findings
    ) -> None:
        for found in (strip, daily):
            line = named(with_run(found), "timeline").figure.axes[0].lines[0]
            assert line.get_xdata().size == len(found.fit.run.used)
        assert "leave the load on and read at 45 d" in named(daily_drawn, "timeline").alt

    def test_letters_stand_out_from_white(self) -> None:
        def luminance(colour: str) -> float:
            parts = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)])
            linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
            return float(linear @ np.array([0.2126, 0.7152, 0.0722]))

        for colour in (*TEXT.values(), MUTED, INK):
            assert 1.05 / (luminance(colour) + 0.05) >= 4.5, colour

    def test_names_of_lines_are_set_in_these_letters(self, drawn: list[Drawing], part_drawn: list[Drawing]) -> None:
        for drawing in (*drawn, *part_drawn):
            for ax in drawing.figure.axes:
                for text in ax.texts:
                    assert text.get_color() in {*TEXT.values(), MUTED, INK, "#000000"}, (drawing.name, text.get_text())


class TestDoubtNeverLooksLighter:
    def test_the_band_is_hatched_from_ten_times_the_test_on(
        self, drawn: list[Drawing], part_drawn: list[Drawing], strip: Findings
    ) -> None:
        for drawing in (named(drawn, "readings"), named(drawn, "modulus"), part_drawn[1]):
            (area,) = hatched(drawing)
            places = area.get_paths()[0].vertices[:, 0]
            assert places.min() == pytest.approx(10.0 * strip.test, rel=1e-6)
            assert places.max() == pytest.approx(strip.curve.times[-1], rel=1e-6)

    def test_the_tone_beneath_is_the_same_near_and_far(self, drawn: list[Drawing], strip: Findings) -> None:
        ax = named(drawn, "readings").figure.axes[0]
        toned = [c for c in ax.collections if isinstance(c, PolyCollection) and not c.get_hatch()]
        whole = next(c for c in toned if c.get_paths()[0].vertices[:, 0].max() == strip.curve.times[-1])
        assert whole.get_paths()[0].vertices[:, 0].min() == strip.curve.times[0]
        assert whole.get_facecolor().shape[0] == 1

    def test_side_by_side_a_run_far_beyond_its_test_is_hatched(self, strip: Findings, pla: Findings) -> None:
        for at, count in (("1 year", 2), ("30 d", 0)):
            drawing = values_figure(compare([strip.fit, pla.fit], at))
            bars = drawing.figure.axes[0].patches
            assert sum(bool(bar.get_hatch()) for bar in bars) == count
            assert ("hatched" in drawing.alt) is (count > 0)

    def test_every_band_says_its_level(self, drawn: list[Drawing], part_drawn: list[Drawing]) -> None:
        shown = {d.name: svg(d) for d in drawn + part_drawn}
        whole = {
            "readings",
            "timeline",
            "history",
            "increments",
            "hindcast",
            "modulus",
            "recovery",
            "shares",
            "shape",
            "sag",
        }
        assert set(shown) == whole
        for name in set(shown) - {"shares", "shape", "timeline"}:  # which have no band
            assert "90 %" in shown[name], name


class TestForThoseWhoCannotSeeIt:
    def test_every_figure_says_its_message_with_its_numbers(
        self, drawn: list[Drawing], daily_drawn: list[Drawing], part_drawn: list[Drawing], unsized: Findings
    ) -> None:
        for drawing in drawn + daily_drawn + with_run(unsized) + part_drawn:
            assert drawing.alt.endswith(".")
            assert len(drawing.alt) > 60
            assert drawing.name == "history" or re.search(r"\d", drawing.alt), drawing.name
            for word in ("nan", "inf", "None", "unknown mm"):
                assert word not in drawing.alt

    def test_the_message_holds_the_answer(self, drawn: list[Drawing]) -> None:
        assert "2." in named(drawn, "readings").alt
        assert "1 year" in named(drawn, "readings").alt
        assert "hatched" in named(drawn, "readings").alt


class TestInAPage:
    def test_ids_are_unique_and_every_reference_is_met(self, drawn: list[Drawing], part_drawn: list[Drawing]) -> None:
        ids: list[str] = []
        for drawing in drawn + part_drawn:
            text = inline(drawing, f"run1-{drawing.name}", "message")
            own = re.findall(r'\sid="([^"]*)"', text)
            assert set(re.findall(r"""(?:url\(#|href="#)([^)"]+)""", text)) == set(own)
            assert all(i.startswith(f"run1-{drawing.name}-") for i in own)
            ids += own
        assert len(ids) == len(set(ids))

    def test_it_is_well_formed_and_its_colours_are_left_to_the_style_sheet(self, drawn: list[Drawing]) -> None:
        for drawing in drawn:
            text = inline(drawing, "a", "message")
            root = ElementTree.fromstring(text.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1))
            assert root.attrib["role"] == "img"
            assert root.attrib["aria-label"] == "message"
            assert "style=" not in text
            for colour in NAMES:
                assert colour not in text

    def test_numbers_in_labels_are_left_as_they_are(self, drawn: list[Drawing]) -> None:
        text = inline(named(drawn, "readings"), "a", "message")
        assert ">gauge 5.74 mm<" in text

    def test_the_same_numbers_give_the_same_file(self, drawn: list[Drawing], strip: Findings) -> None:
        assert svg(drawn[0]) == svg(with_run(strip)[0])

    def test_a_file_of_its_own_stands_on_white(self, drawn: list[Drawing]) -> None:
        content = png(drawn[0], dpi=50)
        assert content.startswith(b"\x89PNG\r\n")
        np.testing.assert_array_equal(imread(BytesIO(content))[0, 0], [1.0, 1.0, 1.0, 1.0])


@pytest.mark.parametrize("drawing", range(8))
def test_ticks_in_few_pieces_look_as_matplotlib_draws_them(drawn: list[Drawing], drawing: int) -> None:
    few = imread(BytesIO(png(drawn[drawing], dpi=120)))
    figure = drawn[drawing].figure
    many = BytesIO()
    with look():
        figure.patch.set_alpha(1.0)
        figure.savefig(many, format="png", dpi=120, facecolor="white")
        figure.patch.set_alpha(0.0)
    np.testing.assert_array_equal(few, imread(BytesIO(many.getvalue())))


def test_axes_with_more_than_plain_ticks_are_left_to_matplotlib() -> None:
    with look():
        figure, (fine, shared, named, plain) = sheet(4.0, (1.0, 1.0, 1.0, 1.0))
        fine.minorticks_on()
        shared.plot([0.0, 1.0], [1e-9, 2e-9])
        named.set_ylabel("upright")
        other, beside = plain.twinx(), figure.add_axes((0.9, 0.9, 0.1, 0.1))
        with few_pieces(figure):
            seen = [ax.yaxis.get_visible() for ax in (fine, shared, named, other, beside, plain)]
        assert seen == [True, True, True, True, True, False]
        assert plain.yaxis.get_visible()
        assert not plain.lines


def test_a_pool_is_drawn_with_the_readings_of_its_first_run(strip: Findings) -> None:
    """Residuals of all runs stood beside the times of one: a fault of ours on the command line."""
    run = strip.fit.run
    other = replace(run, name="T-2", readings=tuple(replace(r, value=r.value + 0.003) for r in run.readings))
    pool = cf.fit([run, other], pool=True)
    beneath = cf.plot(pool).axes[2]
    (points,) = [line for line in beneath.lines if line.get_marker() == "o"]
    np.testing.assert_array_equal(
        points.get_ydata(), next(iter(pool.models.values())).residuals[: pool.observed.times.size]
    )


def test_names_above_the_line_of_time_cover_no_other() -> None:
    # before: "broke", "read 10 d" and "read 14 d" over one another
    day = 86400.0
    names = [_Name(60.0, "before", "#000"), *(_Name(t * day, f"read {t} d", "#000", ends=True) for t in (10, 14, 45))]
    assert _levels(names, 33.0, 60.0 * day) == [0, 0, 1, 0]
    far_apart = [_Name(t, "read", "#000", ends=True) for t in (600.0, day, 45.0 * day)]
    assert _levels(far_apart, 33.0, 60.0 * day) == [0, 0, 0]
