"""What a run file says is what the run holds, in internal units and on one clock."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from creepfit.errors import InputError
from creepfit.mechanics.specimen import Cantilever, Direct, FourPointBending, Segments, Tension
from creepfit.records.build_run import run_from_source
from creepfit.records.defaults import default_material_kind, default_repeatability
from creepfit.records.files import read_run
from creepfit.records.run import Run
from creepfit.records.templates import run_template
from creepfit.units import STANDARD_GRAVITY, Measure

HEAD = 'format = 1\n[run]\nmaterial = "PETG"\n'
CANTILEVER = '[specimen]\ntest = "cantilever"\nlength = "60 mm"\nwidth = "12 mm"\nthickness = "4.00 +- 0.03 mm"\n'
GAUGE = '[gauge]\nresolution = "0.01 mm"\n'
LOADS = '[[load]]\nat = "0 s"\nmass = "0.4 kg"\n[[load]]\nat = "5 d"\nmass = "0 kg"\n'
READINGS = '[readings]\ntime = ["-1 min", "1 min", "1 d"]\nreading = ["12.40 mm", "14.67 mm", "14.95 mm"]\n'


@pytest.fixture
def run_of(tmp_path: Path):
    """Write the parts of a run file, and a table of readings beside it, and read them."""

    def read(*tables: str, csv: str | bytes = b"") -> Run:
        (tmp_path / "run.toml").write_text("".join(tables), encoding="utf-8")
        (tmp_path / "r.csv").write_bytes(csv.encode() if isinstance(csv, str) else csv)
        return read_run(tmp_path / "run.toml")

    return read


def test_the_template_reads_back(tmp_path: Path) -> None:
    (tmp_path / "t.toml").write_text(run_template(), encoding="utf-8")
    run = read_run(tmp_path / "t.toml")
    assert (run.label, run.kind, run.temperature, run.humidity) == ("PETG P-03", "glassy", 23.0, 0.5)
    assert run.age == 2 * 86400.0
    assert run.print_data == (("orientation", "flat"), ("infill", "100 %"))
    assert run.specimen == Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(4.0, 0.03))
    assert [(s.at, s.value) for s in run.steps] == [(0.0, 0.4 * STANDARD_GRAVITY), (432000.0, 0.0)]
    assert len(run.readings) == 14
    assert run.unloading == 432000.0
    assert len(run.initial) == 1
    assert run_from_source(run.source, run.file) == run


def test_the_template_shows_what_such_a_plastic_would(tmp_path: Path) -> None:
    # 6 F L / (b h^2) = 7.35 MPa; the modulus of PETG is some 2 GPa (common practice, no source)
    (tmp_path / "t.toml").write_text(run_template(), encoding="utf-8")
    run = read_run(tmp_path / "t.toml")
    geometry = run.specimen.geometry
    assert geometry.stress_per_load * run.peak_load == pytest.approx(7.355, abs=0.001)
    deflection = run.readings[1].value - run.readings[0].value
    assert 1800.0 < run.peak_load * geometry.reading_per_compliance / deflection < 2100.0


def test_loads_through_lever_and_preload(run_of) -> None:
    rig = '[rig]\nlever = 5\npreload = "0.3 kg"\ncompliance = "2 um/N"\n'
    run = run_of(HEAD, CANTILEVER, GAUGE, rig, LOADS, READINGS)
    assert run.steps[0].value == pytest.approx(0.4 * 9.80665 * 5)
    assert run.rig.preload == pytest.approx(0.3 * 9.80665 * 5)
    assert run.rig.compliance == pytest.approx(0.002)
    force = run_of(
        HEAD,
        CANTILEVER,
        GAUGE,
        rig.replace("0.3 kg", "3 N"),
        LOADS.replace('mass = "0.4 kg"', 'force = "4 N"'),
        READINGS,
    )
    assert (force.steps[0].value, force.rig.preload) == (4.0, 3.0)


def test_time_counts_from_the_first_load_that_pulls(run_of) -> None:
    loads = (
        '[[load]]\nat = "-1 h"\nmass = "0 kg"\n[[load]]\nat = "10 min"\nmass = "0.4 kg"\nover = "5 s"\n'
        '[[load]]\nat = "2 d"\nmass = "0.8 kg"\n'
    )
    event = '[[event]]\nat = "1 h"\nkind = "bumped"\n'
    run = run_of(HEAD, CANTILEVER, GAUGE, loads, event, READINGS.replace('"1 min"', '"10 min"'))
    assert [(s.at, s.over) for s in run.steps] == [(0.0, 5.0), (2 * 86400.0 - 600.0, 0.0)]
    assert [r.time for r in run.readings] == [-660.0, 0.0, 86400.0 - 600.0]
    assert [r.row for r in run.initial] == [1, 2]  # a reading at exactly the load's time was taken before it
    assert (run.events[0].at, run.events[0].ends_run) == (3000.0, False)


@pytest.mark.parametrize(
    ("first", "second", "times"),
    [
        ("2031-05-04T10:00:00", '"2031-05-09 10:00"', '["2031-05-04 09:59", "4.5.2031 10:01", "2031-05-05T10:00"]'),
        ('"4.05.2031 10:00"', "2031-05-09T10:00:00", "[2031-05-04T09:59:00, 2031-05-04T10:01:00, 2031-05-05T10:00:00]"),
        ('"2031-05-04T10:00+02:00"', '"5 d"', '["2031-05-04T07:59Z", "2031-05-04T08:01Z", "2031-05-05T08:00Z"]'),
        ('"2031-05-04 10:00"', '"5 d"', '["-1 min", "1 min", "1 d"]'),
    ],
)
def test_date_times(run_of, first: str, second: str, times: str) -> None:
    loads = LOADS.replace('"0 s"', first).replace('"5 d"', second)
    readings = READINGS.replace('["-1 min", "1 min", "1 d"]', times)
    run = run_of(HEAD, CANTILEVER, GAUGE, loads, readings)
    assert [r.time for r in run.readings] == [-60.0, 60.0, 86400.0]
    assert [s.at for s in run.steps] == [0.0, 432000.0]
    assert run_from_source(run.source, run.file) == run


def test_a_file_may_name_the_moment_its_times_count_from(run_of) -> None:
    start = 'start = "2031-05-04 08:00"\n'
    loads = LOADS.replace('"0 s"', '"2 h"')
    readings = READINGS.replace('"-1 min", "1 min", "1 d"', '"2031-05-04 09:59", "2031-05-04 10:01", "26 h"')
    run = run_of(HEAD, start, CANTILEVER, GAUGE, loads, readings)
    assert [r.time for r in run.readings] == [-60.0, 60.0, 86400.0]


@pytest.mark.parametrize(
    "csv",
    [
        "time [h],reading [mm]\n-0.5,12.40\n0.25,14.67\n24,14.95\n",
        "time [h];reading [mm]\n-0,5;12,40\n0,25;14,67\n24;14,95\n",
        '\ufefftime [h],reading [mm]\r\n"-0,5","12,40"\r\n"0,25","14,67"\r\n24,"14,95"\r\n',
        "time [min]\treading [um]\n-30\t12400\n15\t14670\n1440\t14950\n",
        'sep=;\n"time [h]";"reading [mm]";note\n-0,5;12,40;before\n\n0,25;14,67;"a; b"\n24;14,95\n',
        "# a bar\ntime,reading\n-30 min,12.40 mm\n15 min,14.67 mm\n1 d,14.95 mm\n",
        "Time (h) , Reading (mm)\n-0.5,12.40\n0.25,14.67\n24,14.95\n25,\n",
        "time [h],reading [mm]\n24,14.95\n-0.5,12.40\n0.25,14.67\n",
    ],
)
def test_tables_as_spreadsheets_write_them(run_of, csv: str) -> None:
    run = run_of(HEAD, CANTILEVER, GAUGE, LOADS, '[readings]\nfile = "r.csv"\n', csv=csv)
    assert [r.time for r in run.readings] == [-1800.0, 900.0, 86400.0]
    assert [r.value for r in run.readings] == pytest.approx([12.40, 14.67, 14.95], rel=1e-12)
    assert all(r.where.startswith("row ") for r in run.readings)


def test_rows_are_named_and_keep_their_order(run_of) -> None:
    csv = "# one\n\ntime [h],reading [mm]\n24,14.95\n\n-0.5,12.40\n0.25,14.67\n"
    run = run_of(HEAD, CANTILEVER, GAUGE, LOADS, '[readings]\nfile = "r.csv"\n', csv=csv)
    assert [(r.where, r.row) for r in run.readings] == [("row 6", 2), ("row 7", 3), ("row 4", 1)]


def test_several_readings_a_row_and_temperatures(run_of) -> None:
    csv = (
        "when;reading 1 [mm];reading 2 [mm];reading 3 [mm];temperature [degC]\n"
        "4.5.2031 10:00;12,40;12,42;12,41;22,5\n4.5.2031 10:01;14,67;;;\n"
    )
    loads = '[[load]]\nat = "2031-05-04 10:00"\nmass = "0.4 kg"\n'
    run = run_of(HEAD, CANTILEVER, GAUGE, loads, '[readings]\nfile = "r.csv"\n', csv=csv)
    first, second = run.readings
    assert (first.repeats, first.temperature, second.repeats, second.spread) == (3, 22.5, 1, None)
    assert first.value == pytest.approx(12.41)
    assert first.spread == pytest.approx(0.01)  # standard deviation of 12.40, 12.42, 12.41
    assert second.temperature is None
    assert run_from_source(run.source, run.file) == run


def test_inline_repeats(run_of) -> None:
    readings = (
        '[readings]\ntime = ["-1 min", "1 min"]\nreading = [["12.4 mm", "12.6 mm"], "14.6 mm"]\n'
        'temperature = ["23 degC", "297.15 K"]\n'
    )
    run = run_of(HEAD, CANTILEVER, GAUGE, LOADS, readings)
    assert [r.value for r in run.readings] == pytest.approx([12.5, 14.6])
    assert [r.temperature for r in run.readings] == pytest.approx([23.0, 24.0])


def test_direct_runs_in_strain_and_in_mm(run_of) -> None:
    direct = '[specimen]\ntest = "direct"\n'
    csv = "time [h],reading [%]\n0.1,0.40\n1,0.45\n"
    strain = run_of(
        HEAD,
        direct,
        '[gauge]\nresolution = "0.001 %"\ndrift = "0.01 %/day^0.5"\n',
        '[[load]]\nat = "0 s"\nstress = "10 MPa"\n',
        '[readings]\nfile = "r.csv"\n',
        csv=csv,
    )
    assert strain.specimen == Direct(quantity="strain")
    assert [r.value for r in strain.readings] == pytest.approx([0.004, 0.0045])
    assert (strain.gauge.resolution, strain.gauge.drift, strain.steps[0].value) == (1e-5, 1e-4, 10.0)
    length = run_of(HEAD, direct, GAUGE, LOADS, READINGS)
    assert length.specimen == Direct(quantity="length")
    assert length.steps[0].value == pytest.approx(3.92266)


def test_specimens_of_other_tests(run_of) -> None:
    tension = '[specimen]\ntest = "tension"\nlength = "50 mm"\ndiameter = "4 mm"\n'
    assert run_of(HEAD, tension, GAUGE, LOADS, READINGS).specimen == Tension(length=Measure(50.0), diameter=Measure(4.0))
    four = (
        '[specimen]\ntest = "four-point-bending"\nspan = "64 mm"\nload_span = "21 mm"\nwidth = "10 mm"\n'
        'thickness = "4 mm"\nread_at = "load"\nwalls = "1.2 mm"\ncore_stiffness = 0.1\npoisson = 0.35\n'
    )
    specimen = run_of(HEAD, four, GAUGE, LOADS, READINGS).specimen
    assert isinstance(specimen, FourPointBending)
    assert (specimen.read_at, specimen.walls, specimen.core_stiffness, specimen.poisson) == (
        "load",
        Measure(1.2),
        0.1,
        0.35,
    )


def test_a_hook_drawn_by_segments(run_of) -> None:
    # A half ring is opened by a pair of forces at its ends by (pi/2) F R^3 / (E I) in bending alone (Castigliano); with
    # a radius of six times the depth shear and axial force add little.
    specimen = '[specimen]\ntest = "segments"\nbetween_faces = true\n'
    ring = (
        '[[segment]]\nsection = "rectangle"\nwidth = "10 mm"\nthickness = "4.0 +- 0.1 mm"\n'
        'radius = "24 mm"\nangle = "180 deg"\n'
    )
    run = run_of(HEAD, specimen, ring, GAUGE, LOADS, READINGS)
    assert isinstance(run.specimen, Segments)
    bending = math.pi / 2.0 * 24.0**3 / (10.0 * 4.0**3 / 12.0)
    assert run.specimen.geometry.reading_per_compliance == pytest.approx(bending, rel=0.03)
    # G goes as 1/h^3 by bending: three times the relative tolerance over sqrt(3) (JCGM 100:2008, 4.3.7)
    assert run.specimen.geometry.relative_sd == pytest.approx(3 * 0.1 / 4.0 / math.sqrt(3.0), rel=0.03)


def test_gauge_and_its_stated_default(run_of) -> None:
    gauge = (
        '[gauge]\nresolution = "0.01 mm"\nrepeatability = "0.008 mm"\nfalls = true\nforce = "0.8 N"\nrange = "0 mm"\n'
        'drift = "0.002 mm/day^0.5"\n'
    )
    given = run_of(HEAD, CANTILEVER, gauge, LOADS, READINGS).gauge
    assert (given.repeatability, given.repeatability_source, given.sign) == (0.008, "as given", -1.0)
    assert (given.force, given.range, given.drift) == (0.8, 0.0, 0.002)
    named = run_of(HEAD, CANTILEVER, GAUGE + 'instrument = "Dial gage"\n', LOADS, READINGS).gauge
    assert named.repeatability == 0.005
    assert named.repeatability_source == "usual for a dial gauge, or half a division (common practice, no source)"
    unknown = run_of(HEAD, CANTILEVER, GAUGE, LOADS, READINGS).gauge
    assert unknown.repeatability == 0.01
    assert "one division" in unknown.repeatability_source


@pytest.mark.parametrize(
    ("instrument", "resolution", "spreads", "value", "words"),
    [
        ("caliper", 0.01, [], 0.02, "caliper"),
        ("calliper", 0.01, [], 0.02, "caliper"),
        ("dial gauge", 0.1, [], 0.05, "half a division"),
        ("theodolite", 0.01, [], 0.01, "no instrument known as 'theodolite'"),
        (None, 0.01, [(0.03, 3), (0.05, 3)], math.sqrt((2 * 0.03**2 + 2 * 0.05**2) / 4), "scatter of repeated"),
        (None, 0.01, [(0.001, 3)], 0.01, "one division"),
    ],
)
def test_default_repeatability(instrument, resolution, spreads, value, words) -> None:
    found, source = default_repeatability(instrument, resolution, spreads, "length")
    assert found == pytest.approx(value)
    assert words in source


@pytest.mark.parametrize(
    ("material", "kind"),
    [
        ("PETG", "glassy"),
        ("PLA", "glassy"),
        ("PC/ABS", "glassy"),
        ("PA6", "semicrystalline"),
        ("PA 12", "semicrystalline"),
        ("PE-HD", "semicrystalline"),
        ("POM copolymer", "semicrystalline"),
        ("PA6-GF30", "fibre-filled"),
        ("PETG CF", "fibre-filled"),
        ("PA6CF", "fibre-filled"),
        ("PC/PBT", None),
        ("green bottle", None),
        ("TPU", None),
    ],
)
def test_kind_of_material_by_its_symbol(material: str, kind: str | None) -> None:
    assert default_material_kind(material) == kind


def test_events_end_the_run(run_of) -> None:
    event = '[[event]]\nat = "1 h"\nkind = "slipped"\n'
    run = run_of(HEAD, CANTILEVER, GAUGE, LOADS, event, READINGS)
    assert [r.value for r in run.used] == [12.40, 14.67]


def test_a_broken_saved_run_is_refused() -> None:
    for text in ("", "{}", '{"tables": {}, "readings": [1]}', "[]"):
        with pytest.raises(InputError, match="a saved run that was changed by hand or cut short"):
            run_from_source(text, "a.json")


WORDS = [
    '"0 s"',
    '"60 mm"',
    "60",
    '"nan mm"',
    "[]",
    "{}",
    '"-1 kg"',
    "true",
    '"%"',
    '"2031-05-04 10:00"',
    "nan",
    '""',
    "[[1]]",
    "1e999",
]


@given(st.lists(st.tuples(st.integers(0, 200), st.sampled_from(WORDS)), min_size=1, max_size=3))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_value_for_any_key_is_a_run_or_one_line(run_of, changes) -> None:
    lines = run_template().split("\n")
    keys = [i for i, line in enumerate(lines) if " = " in line and not line.lstrip().startswith(("#", "time", "reading"))]
    for place, value in changes:
        i = keys[place % len(keys)]
        lines[i] = f"{lines[i].split(' = ')[0]} = {value}"
    try:
        run = run_of("\n".join(lines))
        values, message = [r.value for r in run.readings], ""
    except InputError as error:
        values, message = [], str(error)
    assert np.all(np.isfinite(values))
    assert message.isprintable()


@given(st.binary(max_size=60), st.integers(0, 200))
@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_bytes_in_a_table_are_readings_or_one_line(run_of, noise: bytes, place: int) -> None:
    csv = b"time [h],reading [mm],temperature [degC]\n-0.5,12.40,23\n0.25,14.67,23\n24,14.95,23\n"
    place %= len(csv)
    try:
        run = run_of(HEAD, CANTILEVER, GAUGE, LOADS, '[readings]\nfile = "r.csv"\n', csv=csv[:place] + noise + csv[place:])
        values, message = [r.value for r in run.readings], ""
    except InputError as error:
        values, message = [], str(error)
    assert np.all(np.isfinite(values))
    assert message.isprintable()
