"""Quantities to internal units and back to text. Factors are definitions (SI brochure; the inch, the pound)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from creepfit.errors import InputError
from creepfit.units import (
    DAY,
    YEAR,
    Kind,
    Measure,
    measure,
    number,
    quantity,
    show_number,
    show_time,
    show_with_error,
    unit_factor,
)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("5 d", "time", 432000.0),
        ("-1 min", "time", -60.0),
        ("5 d 1 min", "time", 432060.0),
        ("-1 h 30 min", "time", -5400.0),
        ("1 year", "time", 365.25 * 86400.0),
        ("0", "time", 0.0),
        ("2,5 kg", "mass", 2.5),
        ("250 g", "mass", 0.25),
        ("1 lb", "mass", 0.45359237),
        ("0.8 N", "force", 0.8),
        ("1 kgf", "force", 9.80665),
        ("1e-2 kN", "force", 10.0),
        ("60mm", "length", 60.0),
        ("10 µm", "length", 0.01),
        ("1 in", "length", 25.4),
        (".5 mm", "length", 0.5),
        ("2 GPa", "stress", 2000.0),
        ("4 N/mm²", "stress", 4.0),
        ("145.0377377302092 psi", "stress", 1.0),
        ("23 degC", "temperature", 23.0),
        ("23 °C", "temperature", 23.0),
        ("296.15 K", "temperature", 23.0),
        ("73.4 degF", "temperature", 23.0),
        ("1.27 g/cm^3", "density", 1270.0),
        ("1.27 g/cm3", "density", 1270.0),
        ("180 deg", "angle", math.pi),
        ("0.002 mm/N", "compliance", 0.002),
        ("0.001 rad/(N m)", "rotation", 1e-6),
        ("0.001 rad/(N mm)", "rotation", 1e-3),
        ("0.2 kN/m", "force_per_length", 0.2),
        ("50 %", "humidity", 0.5),
        ("0.08", "fraction", 0.08),
        ("8 %", "fraction", 0.08),
        ("0.5 %", "strain", 0.005),
        ("0.002 mm/day^0.5", "drift", 0.002),
        ("2 um/sqrt(d)", "drift", 0.002),
        (0, "force", 0.0),
    ],
)
def test_quantities(text: object, kind: Kind, value: float) -> None:
    assert quantity(text, kind) == pytest.approx(value, rel=1e-12, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("1 yard", "length", 914.4),  # not a furlong, whose foot is the survey's or the international one by pint's version
        ("1 thou", "length", 0.0254),
        ("1 kN/cm^2", "stress", 10.0),
        ("3 N*m/mm", "force", 3000.0),
        ("2 um/kN", "compliance", 2e-6),
    ],
)
def test_rare_units_are_asked_from_pint(text: str, kind: Kind, value: float) -> None:
    assert quantity(text, kind) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "kind", "message"),
    [
        ("60 kg", "length", '"kg" is the unit of a mass; found \'60 kg\'; expected a length such as "60 mm"'),
        ("5 parsec", "time", '"parsec" is no unit of time; found \'5 parsec\'; expected a time such as "5 d"'),
        ("30 dd", "time", 'unknown unit "dd" (did you mean "d"?); found \'30 dd\'; expected a time such as "5 d"'),
        ("5 hh", "time", 'unknown unit "hh" (did you mean "hr"?); found \'5 hh\'; expected a time such as "5 d"'),
        (
            "60 mmm",
            "length",
            'unknown unit "mmm" (did you mean "mm"?); found \'60 mmm\'; expected a length such as "60 mm"',
        ),
        (
            "6 mPa",
            "stress",
            'unknown unit "mPa" (did you mean "MPa"?); found \'6 mPa\'; expected a stress such as "10 MPa"',
        ),
        (
            "60 Mm",
            "length",
            'unknown unit "Mm" (did you mean "mm"?); found \'60 Mm\'; expected a length such as "60 mm"',
        ),
        ("400 gr", "mass", 'unknown unit "gr" (did you mean "g"?); found \'400 gr\'; expected a mass such as "0.2 kg"'),
        (
            "4 Gramm",
            "mass",
            'unknown unit "Gramm" (did you mean "g"?); found \'4 Gramm\'; expected a mass such as "0.2 kg"',
        ),
        ("2 kilo", "mass", 'unknown unit "kilo" (did you mean "kg"?); found \'2 kilo\'; expected a mass such as "0.2 kg"'),
        ("1 mm^9999", "length", 'unknown unit "mm^9999"; found \'1 mm^9999\'; expected a length such as "60 mm"'),
        ("nan mm", "length", "found 'nan mm'; expected a length such as \"60 mm\""),
        ("inf mm", "length", "found 'inf mm'; expected a length such as \"60 mm\""),
        ("1e400 mm", "length", "too large a number; found '1e400 mm'; expected a length such as \"60 mm\""),
        ("1e308 m", "length", "too large a number; found '1e308 m'; expected a length such as \"60 mm\""),
        ("1.2.3 mm", "length", "found '1.2.3 mm'; expected a length such as \"60 mm\""),
        (
            "1,000 g",
            "mass",
            'the comma could part decimals or thousands; found \'1,000 g\'; expected "1000 g" or "1 g"',
        ),
        ("1 min 5 d", "time", 'found \'1 min 5 d\'; expected a time such as "5 d" or "5 d 1 min"'),
        ("1 d 1 d", "time", 'found \'1 d 1 d\'; expected a time such as "5 d" or "5 d 1 min"'),
        ("60", "length", "the unit is missing; found '60'; expected a length such as \"60 mm\""),
        (60, "length", "the unit is missing; found '60'; expected a length such as \"60 mm\""),
        ("0", "temperature", "the unit is missing; found '0'; expected a temperature such as \"23 degC\""),
        ("50 deg", "fraction", '"deg" is the unit of an angle; found \'50 deg\'; expected a fraction such as "8 %"'),
        (True, "length", 'found True; expected a length such as "60 mm"'),
        (None, "length", 'expected a length such as "60 mm"'),
        ("", "length", "found ''; expected a length such as \"60 mm\""),
        (
            "4 +- 1 mm",
            "length",
            "no tolerance is understood here; found '4 +- 1 mm'; expected a length such as \"60 mm\"",
        ),
    ],
)
def test_quantities_that_are_none(text: object, kind: Kind, message: str) -> None:
    with pytest.raises(InputError) as caught:
        quantity(text, kind, file="a.toml", key="b.c")
    assert str(caught.value) == f"a.toml, b.c: {message}"


@given(st.floats(-1e3, 1e3), st.sampled_from(["mm", "m", "um", "in", "cm"]))
def test_a_written_length_comes_back(value: float, unit: str) -> None:
    factor, _ = unit_factor(unit, "length")
    assert quantity(f"{value!r} {unit}", "length") == value * factor
    if value % 1.0:  # "1,000 mm" is refused, as the comma could part thousands
        assert quantity(f"{value!r} {unit}".replace(".", ","), "length") == value * factor


@given(st.text(max_size=20), st.sampled_from(["time", "length", "mass", "temperature", "strain"]))
def test_any_text_is_a_finite_number_or_one_line(text: str, kind: Kind) -> None:
    try:
        value, message = quantity(text, kind), ""
    except InputError as error:
        value, message = 0.0, str(error)
    assert math.isfinite(value)
    assert message.isprintable()


@pytest.mark.parametrize(
    ("text", "value", "tolerance"),
    [
        ("4.00 +- 0.03 mm", 4.0, 0.03),
        ("4.00 ± 0.03 mm", 4.0, 0.03),
        ("4,00±0,03 mm", 4.0, 0.03),
        ("4 mm +/- 30 um", 4.0, 0.03),
        ("4 mm ± 1 %", 4.0, 0.04),
        ("4 mm", 4.0, 0.0),
    ],
)
def test_measures(text: str, value: float, tolerance: float) -> None:
    assert measure(text, "length") == Measure(pytest.approx(value), pytest.approx(tolerance))


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("4 +- mm", "found '4 +- mm'"),
        ("4 +- 1 kg", "\"kg\" is the unit of a mass; found '4 +- 1 kg'"),
        ("4 +- -1 mm", "negative tolerance; found '4 +- -1 mm'"),
        ("4 +- 1", "the unit is missing; found '4 +- 1'"),
        ("4 +- 1 +- 1 mm", "found '4 +- 1 +- 1 mm'"),
    ],
)
def test_measures_that_are_none(text: str, problem: str) -> None:
    with pytest.raises(InputError) as caught:
        measure(text, "length")
    assert str(caught.value) == f'{problem}; expected a length such as "60 mm" or "4.00 +- 0.03 mm"'


def test_plain_numbers() -> None:
    assert number(" 12,5 ") == 12.5
    assert number(-3) == -3.0
    with pytest.raises(InputError, match="found 'abc'; expected a number"):
        number("abc")


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0 s"),
        (60.0, "1 min"),
        (90.0, "90 s"),
        (61.2, "61.2 s"),  # once "1.02 min", of a time typed as 0.017 h
        (6 * 3600.0, "6 h"),
        (5 * DAY, "5 d"),
        (5 * DAY + 60.0, "5 d 1 min"),
        (-60.0, "-1 min"),
        (YEAR, "1 year"),
        (1.5 * YEAR, "1.5 years"),
        (10 * YEAR, "10 years"),
        (400 * DAY, "400 d"),
        (1000 * 3600.0, "1000 h"),
        (100 * 3600.0, "100 h"),
        (570 * 60.0, "9 h 30 min"),
        (95 * 3600.0 + 50 * 60.0, "3 d 23 h 50 min"),
        (121 * 3600.0, "5 d 1 h"),
        (241 * 3600.0, "10 d 1 h"),
        (123456.0, "1.43 d"),
        (1e9, "31.7 years"),
        (0.001, "0.001 s"),
        (math.inf, "unknown"),
    ],
)
def test_times_shown(seconds: float, text: str) -> None:
    assert show_time(seconds) == text


@given(st.integers(1, 400), st.sampled_from(["s", "min", "h", "d"]))
def test_a_shown_time_reads_back(count: int, unit: str) -> None:
    seconds = quantity(f"{count} {unit}", "time")
    assert quantity(show_time(seconds), "time") == pytest.approx(seconds, rel=1e-12)


@pytest.mark.parametrize(
    ("value", "error", "text"),
    [
        (1234.5, None, "1230"),
        (0.0123456, None, "0.0123"),
        (9.996, None, "10"),
        (0.0, None, "0"),
        (12345678.0, None, "1.23e+07"),
        (None, 0.1, "unknown"),
        (math.nan, 0.1, "unknown"),
        (2.4137, 0.052, "2.414 ± 0.052"),
        (1234.0, 56.0, "1234 ± 56"),
        (1.5, 0.0996, "1.50 ± 0.10"),
        (-0.0001, 0.1, "0.00 ± 0.10"),
        (2.4137, math.nan, "2.41"),
    ],
)
def test_numbers_shown(value: float | None, error: float | None, text: str) -> None:
    assert show_with_error(value, error) == text
    assert show_number(value, error=error) == text.split(" ±")[0]
