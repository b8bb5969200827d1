"""A bar in a warming oven: a known curve comes back, what was not reached is said, and mistakes are one line."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import creepfit as cf
from creepfit.answers.doubts.collected import check_run
from creepfit.answers.materials.shelf_row import row_of
from creepfit.answers.temperature.softening import _linear, _square, _wanted, compared, probability_hotter
from creepfit.cli.commands import main
from creepfit.desk.due import dues_of_run
from creepfit.errors import InputError
from creepfit.mechanics.specimen import Direct, ThreePointBending
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.report.figures.style import look
from creepfit.units import Measure

BAR = ThreePointBending(span=Measure(64.0, 0.0), width=Measure(10.0, 0.0), thickness=Measure(4.0, 0.0))
RATE = 2.0 / 60.0
COLUMNS = {"time": "min", "reading": "mm", "temperature": "degC"}
HEAD = """format = 1
[run]
material = "PETG"
[specimen]
test = "three-point-bending"
span = "100 mm"
width = "10 mm"
thickness = "4 mm"
[gauge]
resolution = "0.01 mm"
[[load]]
at = "0 s"
mass = "0.3 kg"
[readings]
"""
DEFLECTION = 0.002 / BAR.geometry.strain_per_reading
"""0.2 % strain in three-point bending: strain L^2 / (6 h), and 1.3 % more by shear."""


def moved(degrees: np.ndarray, softens: float) -> np.ndarray:
    """0.8 um/K of expansion and stiffness, and a softening that no curve of the fit has: it slows down again."""
    bent = np.exp((degrees - softens) / 4.0)
    return np.asarray(0.0008 * (degrees - 23.0) + 0.5 * bent / (1.0 + 0.1 * bent))


def oven(softens: float = 75.0, top: float = 90.0, seed: int = 0, name: str = "1", lag: float = 0.0) -> Run:
    """Read every 1.7 K at 2 K/min; the bar's own temperature is that of `lag` seconds before."""
    degrees = np.linspace(23.0, top, 40)
    times = (degrees - 23.0) / RATE + 60.0
    values = 5.3 + moved(degrees - lag * RATE, softens) + 0.003 * np.random.default_rng(seed).standard_normal(degrees.size)
    readings = [Reading(0.0, 5.0, temperature=23.0, row=1)]
    readings += [
        Reading(float(t), round(float(v), 2), temperature=float(d), row=k)
        for k, (t, v, d) in enumerate(zip(times, values, degrees, strict=True), start=2)
    ]
    return Run("PETG", BAR, Gauge(0.01, 0.003, "given"), (LoadStep(0.0, 5.0),), tuple(readings), name=name)


def true_temperature(softens: float = 75.0) -> float:
    grid = np.linspace(23.0, 100.0, 50_000)
    curve = moved(grid, softens)
    return float(grid[np.argmax(curve - curve[0] >= DEFLECTION)])


def read_at(degrees: np.ndarray, every: float) -> Run:
    """The bar in the oven with other temperatures, read every so many seconds."""
    run = oven()
    one = run.readings[1]
    under = [replace(one, time=60.0 + every * k, temperature=float(d), row=k + 2) for k, d in enumerate(degrees)]
    return replace(run, readings=(run.readings[0], *under))


def test_a_run_in_an_oven_is_judged_as_one_and_not_as_creep() -> None:
    assert [c.code for c in check_run(oven())] == ["oven-run"]
    fast = read_at(np.linspace(23.0, 90.0, 40), every=15.0)
    assert [c.code for c in check_run(fast)] == ["oven-run", "oven-too-fast"]
    fitted = cf.fit(oven(), models=["power-family"])
    answer = cf.forecast(fitted, at=["1 year"], limit="3 mm")
    assert answer.withheld is not None
    assert "shows where it softens and not how it creeps" in answer.withheld
    assert answer.nothing_promised is not None
    assert "Not a forecast: a run in an oven." in cf.text(answer)  # what the models come to stood unmarked beside a slip
    assert [c.code for c in answer.cautions] == ["oven-run"]  # not what a forecast that is not given leaves open
    bracket = cf.read_part(Path(__file__).parents[2] / "demo" / "bracket.toml")
    of_part = [c.code for c in cf.sag(bracket, fitted, at=["1 year"]).cautions]
    assert of_part == ["oven-run", "warmth-assumed"]  # the part is kept warmer; how far it creeps is doubted no further
    assert row_of(fitted, "").modulus is None
    assert not dues_of_run(oven())  # "read 6 h after loading" stood on its card
    assert cf.check(fitted).schedule.why == "none: where the bar softens, and not how it creeps, is what such a run tells"


@pytest.mark.parametrize(
    ("degrees", "every"),
    [
        (np.repeat([23.0, 35.0, 45.0, 55.0], 8), 3600.0),  # warmed in steps, to creep at each
        (23.0 + 12.0 * np.sin(np.linspace(0.0, 12.0, 40)), 7200.0),  # a greenhouse by day and by night
        (np.linspace(15.0, 33.0, 20), 86400.0),  # a room in spring
        (np.linspace(22.0, 30.0, 20), 60.0),  # a workshop that is heated up
        (np.array([22.0, *np.linspace(60.0, 63.0, 12)]), 600.0),  # put into an oven that is warm
    ],
)
def test_other_runs_that_warm_are_none(degrees: np.ndarray, every: float) -> None:
    assert "oven-run" not in {c.code for c in check_run(read_at(degrees, every))}


def test_the_temperature_at_a_strain_holds_the_truth_as_often_as_it_says() -> None:
    hits = 0
    for seed in range(20):
        found = cf.softening(oven(seed=seed), lag=0).reached
        assert found.deflection == pytest.approx(0.002 * 64.0**2 / (6.0 * 4.0), rel=0.02)
        assert found.temperature is not None
        hits += found.temperature.low <= true_temperature() <= found.temperature.high
        assert found.temperature.high - found.temperature.low < 2.5
    assert hits >= 16  # 90 % of 20, less one and a half standard errors


def test_a_lag_is_taken_off_and_an_unknown_one_widens() -> None:
    late = oven(lag=45.0)
    taken_off, at_once = cf.softening(late, lag="45 s"), cf.softening(oven(), lag=0)
    assert taken_off.onset is not None
    assert at_once.onset is not None
    assert taken_off.onset.median == pytest.approx(at_once.onset.median, abs=0.5)  # the lag is 1.5 K
    known, unknown = taken_off.reached.temperature, cf.softening(late).reached.temperature
    assert known is not None
    assert unknown is not None
    assert known.low <= true_temperature() <= known.high
    assert unknown.low <= true_temperature() <= unknown.high
    assert unknown.high - unknown.low > known.high - known.low


def test_the_onset_comes_before_the_deflection_and_after_the_line() -> None:
    found = cf.softening(oven(), lag=0)
    assert found.onset is not None
    assert found.reached.temperature is not None
    # three gauge noises above the line, which is what the bar reaches at 75 + 4 ln(0.009/0.5) degC; the curves of the fit,
    # which bend on where the bar slows down, leave the line early
    true = 75.0 + 4.0 * np.log(3.0 * 0.003 / 0.5)
    assert true - 2.5 < found.onset.median < true + 0.5
    assert found.onset.median < found.reached.temperature.median - 3.0
    assert found.rate == pytest.approx(2.0)


def test_the_onset_of_a_curve_that_no_fit_has_is_mostly_held() -> None:
    true = 75.0 + 4.0 * np.log(3.0 * 0.003 / 0.5)  # three gauge noises above the line
    found = [cf.softening(oven(seed=seed), lag=0).onset for seed in range(10)]
    held = [f is not None and f.low <= true <= f.high for f in found]
    assert sum(held) >= 7


def test_what_was_not_reached_is_said() -> None:
    found = cf.softening(oven(top=50.0))
    assert found.reached.temperature is None
    assert "not reached by 50 °C" in str(found.reached.why)
    assert found.to_dict()["reached"]["temperature_degC"]["median"] is None
    assert found.onset is None


def test_two_bars_are_compared_with_a_probability() -> None:
    good, worse, same = oven(75.0), oven(70.0, seed=1, name="2"), oven(75.0, seed=2, name="3")
    a, b, c = (cf.softening(r) for r in (good, worse, same))
    assert probability_hotter(a, b) == pytest.approx(1.0, abs=0.02)
    assert 0.1 < float(probability_hotter(a, c) or 0.0) < 0.9
    assert "holds longer" in str(compared([b, a]))
    assert "cannot be told apart" in str(compared([a, c]))
    assert compared([a]) is None


@pytest.mark.parametrize(
    ("change", "options", "said"),
    [
        ({"steps": (LoadStep(0.0, 5.0), LoadStep(900.0, 6.0))}, {}, "2 loads"),
        ({"readings": oven().readings[:5]}, {}, "too little of a warming oven"),
        ({"readings": tuple(replace(r, temperature=None) for r in oven().readings)}, {}, "temperature at each reading"),
        ({}, {"strain": "0.2 %", "deflection": "1 mm"}, "one of them"),
        ({}, {"deflection": "2 kg"}, "deflection"),
        ({}, {"lag": "-5 s"}, "lag"),
    ],
)
def test_mistakes_are_one_line(change, options, said) -> None:
    with pytest.raises(InputError, match=said):
        cf.softening(replace(oven(), **change), **options)


def test_swapped_columns_are_asked_about_and_a_bar_that_bends_cold_is_said() -> None:
    right = oven()
    far = [replace(r, value=r.value + 0.3 * max(i - 20, 0) ** 2) for i, r in enumerate(right.readings)]
    for readings in (right.readings, far):
        swapped = [replace(r, value=float(r.temperature or 0.0), temperature=r.value) for r in readings]
        with pytest.raises(InputError, match="columns of reading and temperature swapped"):
            cf.softening(replace(right, readings=tuple(swapped)))
    cold = read_at(np.array([23.0] * 10 + [*np.linspace(24.0, 90.0, 30)]), every=60.0)
    bent = [replace(r, value=5.3 + 0.9 * min(i, 9)) if i else r for i, r in enumerate(cold.readings)]
    with pytest.raises(InputError, match="bends before the oven warms"):
        cf.softening(replace(cold, readings=tuple(bent)))
    beyond = [r if (r.temperature or 0.0) < 85.0 else replace(r, value=90.0) for r in right.readings]  # fell off its rests
    fell = cf.softening(replace(right, readings=tuple(beyond))).reached.temperature
    assert fell is not None
    assert fell.low <= true_temperature() <= fell.high


def test_on_the_command_line(tmp_path: Path) -> None:
    rows = "\n".join(f"{r.time:.0f},{r.value:.2f},{r.temperature:.1f}" for r in oven().readings)
    (tmp_path / "oven.csv").write_text(f"time [s],reading [mm],temperature [degC]\n{rows}\n", encoding="utf-8")
    path = tmp_path / "oven.toml"
    path.write_text(
        'format = 1\n[run]\nmaterial = "PETG"\nspecimen = "1"\n[specimen]\ntest = "three-point-bending"\nspan = "64 mm"\n'
        'width = "10 mm"\nthickness = "4 mm"\n[gauge]\nresolution = "0.01 mm"\n[[load]]\nat = "0 s"\nforce = "5 N"\n'
        '[readings]\nfile = "oven.csv"\n',
        encoding="utf-8",
    )
    done = CliRunner().invoke(main, ["soften", str(path)])
    assert (done.exit_code, done.stderr) == (0, "")
    assert "It has bent by a further 0.346 mm (0.2 % strain) at 7" in " ".join(done.stdout.split())
    assert "only a creep test there says" in " ".join(done.stdout.split())
    assert CliRunner().invoke(main, ["soften", str(path), "--strain", "0.2 kg"]).exit_code == 2


def test_bars_are_drawn_together() -> None:
    found = [cf.softening(oven(75.0)), cf.softening(oven(70.0, seed=1, name="2"))]
    figure = cf.plot(found)
    (axes,) = figure.axes
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert labels == ["PETG 1", "PETG 2"]
    # each curve passes through its readings near the deflection, whatever the bar does further up
    for one in found:
        course = one.course
        near = course.moved < 3.0 * one.reached.deflection
        curve = np.interp(course.degrees[near], course.grid, course.median)
        assert np.abs(curve - course.moved[near]).max() < 0.06


def test_a_deflection_asked_for_says_its_strain_where_sizes_are_known() -> None:
    size, strain = _wanted(oven(), None, "0.3 mm")
    assert (size, strain) == (pytest.approx(0.3), pytest.approx(0.3 * 0.002 / DEFLECTION))
    assert _wanted(oven(), "0.1 %", None) == (pytest.approx(DEFLECTION / 2.0), pytest.approx(0.001))
    assert _wanted(replace(oven(), specimen=Direct()), None, "0.3 mm") == (pytest.approx(0.3), None)


def test_a_bend_against_the_load_is_less_likely_by_exp_eight() -> None:
    degrees = np.linspace(23.0, 60.0, 20)
    bend = partial(_square, start=30.0, whole=37.0)
    line = 0.001 * (degrees - 23.0) + 1e-4 * np.random.default_rng(1).standard_normal(20)
    with_it, against = (_linear(degrees, line + way * bend(degrees), bend, 1e-3) for way in (0.3, -0.3))
    assert with_it[0][2] == pytest.approx(0.3, rel=0.01)
    assert against[0][2] == pytest.approx(-0.3, rel=0.01)
    assert with_it[2] - against[2] == pytest.approx(8.0, abs=1e-6)


def test_load_and_stress_are_said_and_unlike_ones_named(tmp_path: Path) -> None:
    heavy = replace(oven(name="2"), steps=(LoadStep(0.0, 15.0),))
    bars = [cf.softening(oven()), cf.softening(heavy)]
    stress = 1.5 * 5.0 * 64.0 / (10.0 * 4.0**2)
    assert bars[0].stress == pytest.approx(stress)
    assert bars[0].to_dict()["stress_MPa"] == pytest.approx(stress)
    assert bars[0].to_dict()["load"] == {"value": 5.0, "unit": "N"}
    assert [*bars[0].to_dict()][:5] == ["format", "version", "seed", "level", "run"]  # as in every other answer
    assert cf.text(bars[0]).splitlines()[2] == "three-point bending, span 64 mm, 10 x 4 mm, under 5 N, 3 MPa"
    said = compared(bars)
    assert said is not None
    assert "under unlike stresses, " in said
    alike = compared([bars[0], cf.softening(oven(name="2", seed=1))])
    assert alike is not None
    assert "unlike" not in alike


def test_one_bar_is_not_taken_for_two(tmp_path: Path) -> None:
    path = tmp_path / "oven.toml"
    rows = [(-1.0, 1.0, 23.0), *((float(m), 1.3 + 0.02 * np.exp((m - 37.0) / 4.0), 23.0 + m) for m in range(1, 60, 3))]
    cells = {name: [f"{row[k]:.2f} {unit}" for row in rows] for k, (name, unit) in enumerate(COLUMNS.items())}
    lists = "".join(f"{name} = {values}\n".replace("'", '"') for name, values in cells.items())
    path.write_text(HEAD + lists, encoding="utf-8")
    assert CliRunner().invoke(main, ["soften", str(path)]).exit_code == 0
    twice = CliRunner().invoke(main, ["soften", str(path), str(path)])
    assert twice.exit_code == 2
    assert "the same run twice" in twice.stderr


def test_all_that_its_figure_says_is_on_the_sheet() -> None:
    figure = cf.plot(cf.softening(oven()))
    axes, whole = figure.axes[0], figure.bbox
    with look():
        figure.savefig(io.BytesIO())
        boxes = {text.get_text(): text.get_window_extent() for text in (axes.xaxis.label, *axes.texts)}
    for said, box in boxes.items():
        assert whole.x0 <= box.x0 < box.x1 <= whole.x1, said
        assert whole.y0 <= box.y0 < box.y1 <= whole.y1, said
