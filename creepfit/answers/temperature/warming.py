"""Answers for another temperature than the test's: a fit in a climate."""

from __future__ import annotations

from dataclasses import replace

from creepfit.answers.temperature.dependence import (
    NEAR,
    TemperatureDependence,
    asked_temperature,
)
from creepfit.answers.temperature.reach import WIDENS_FROM, check_reach
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.tested_temperature import stepped, temperature_known, tested_temperature, transition_of
from creepfit.inference.warmth import GrowthSource, UsualGrowth, Warming
from creepfit.mechanics.temperature import Climate
from creepfit.records.part import Part


def at_temperature(
    fit: Fit,
    temperature: str | float | Climate,
    dependence: TemperatureDependence | None = None,
    *,
    key: str = "temperature",
    file: str | None = None,
) -> Fit:
    """The same fit for another temperature: every answer made from it is for that.

    Parameters
    ----------
    fit : Fit
        Of a run whose temperature is known.
    temperature : str, float or Climate
        "35 degC", degC, or a course of temperature from first loading on.
    dependence : TemperatureDependence, optional
        Of runs of the same material at two temperatures or more. Without it what is usual counts, with its doubt: per
        10 K a factor of 1.10, 0.98 to 1.30 with 90 %.
    key, file : str, optional
        Where the temperature was named, for messages.

    Raises
    ------
    InputError
        A run without a temperature, or a temperature that is out of reach of the tested ones.

    Notes
    -----
    Within 3 K of the test nothing changes.
    """
    if stepped(fit.run):
        raise InputError(
            "a run through steps of temperature says what warmth does, and is no test at one temperature",
            file=fit.run.file,
            key=key,
            found=fit.run.label,
            expected="a run at one temperature; this one stands with temperature, or after --warm",
        )
    climate = temperature if isinstance(temperature, Climate) else Climate.constant(asked_temperature(temperature, key))
    tested = tested_temperature(fit.run)
    known = [tested] if dependence is None else [tested, *dependence.temperatures]
    others = () if dependence is None else dependence.fits
    for extreme in (climate.highest, climate.lowest):
        check_reach(extreme, known, transition_of(f.run for f in (fit, *others)), key, file)
    if max(abs(climate.highest - tested), abs(climate.lowest - tested)) <= NEAR:
        return fit
    source: GrowthSource
    shapes = None
    if dependence is None:
        away = max(abs(climate.highest - tested), abs(climate.lowest - tested))
        source = UsualGrowth(max(1.0, away / WIDENS_FROM))
    else:
        source, shapes = dependence, dependence.others_than(fit)
    return replace(fit, warming=Warming(climate, tested, source, shapes))


def for_part(part: Part, fit: Fit, dependence: TemperatureDependence | None = None) -> Fit:
    """The fit at the temperature that a part's file gives; as it is where that or the test's is not known.

    Raises
    ------
    InputError
        As `at_temperature`.
    """
    if fit.warming is not None:
        return fit
    given = part.temperature if part.climate is None else part.climate
    if given is None or not temperature_known(fit.run):
        return fit
    key = "part.temperature" if part.climate is None else "climate"
    return at_temperature(fit, given, dependence, key=key, file=part.file)
