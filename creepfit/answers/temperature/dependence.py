"""What warmth does to a material: growth of compliance per 10 K, and whether it is a clock that runs faster."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np

from creepfit.answers.doubts.temperature import dependence_doubts
from creepfit.answers.heading import heading
from creepfit.answers.interval import Caution, Interval, interval
from creepfit.answers.temperature.reach import check_reach
from creepfit.asked import asked_level, asked_times, tails
from creepfit.errors import InputError
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws
from creepfit.inference.other_temperatures import OtherRun, OtherRuns
from creepfit.inference.temperature import (
    TemperatureData,
    TemperaturePosterior,
    temperature_posterior,
)
from creepfit.inference.tested_temperature import reading_temperatures, stepped, tested_temperature, transition_of
from creepfit.inference.warmth import CLOCKS, Growth, Warming
from creepfit.limits import check_warming
from creepfit.mechanics.loading import Array
from creepfit.mechanics.temperature import ARRHENIUS, KELVIN, Climate, ShiftLaw
from creepfit.shown import Tabled
from creepfit.units import DAY, HOUR, MINUTE, YEAR, quantity

LawVerdict = Literal["supported", "not supported", "open"]

DECIDED = 0.95
"""Probability from which on a law counts as shown."""

NEAR = 3.0
"""Temperatures this close, K, count as one."""

TEN = 10.0

DEFAULT_TIMES = (MINUTE, DAY, YEAR)


@dataclass(frozen=True)
class ShiftFactor:
    """Shift of the clock at a temperature [degC] against the reference: log10 of a_T, the ratio of times."""

    temperature: float
    log_factor: Interval

    @property
    def inverse_kelvin(self) -> float:
        """1/T in 1/K."""
        return 1.0 / (self.temperature + KELVIN)

    def to_dict(self) -> dict[str, Any]:
        return {
            "temperature_degC": self.temperature,
            "inverse_K": self.inverse_kelvin,
            "log10_aT": self.log_factor.to_dict(),
        }


@dataclass(frozen=True)
class ComplianceAt:
    """Compliance [1/MPa, or mm/N] at a time [s] and a temperature [degC]; `tested` where a run was made there."""

    temperature: float
    time: float
    compliance: Interval
    tested: bool
    decades_beyond: float

    def to_dict(self) -> dict[str, Any]:
        return {
            "temperature_degC": self.temperature,
            "time_h": self.time / HOUR,
            **self.compliance.to_dict(),
            "tested": self.tested,
            "decades_beyond": self.decades_beyond,
        }


@dataclass(frozen=True, eq=False, repr=False)
class TemperatureDependence(Tabled):
    """What runs of one material at two temperatures or more say of warmth.

    Attributes
    ----------
    fits : tuple of Fit
        One a run, coolest first.
    temperatures : tuple of float
        Those tested, degC, ascending, each once.
    posterior : TemperaturePosterior
    reference : float
        degC to which shift factors belong: the coolest tested.
    curves : tuple of ComplianceAt
    level : float
        Probability of the intervals.
    """

    fits: tuple[Fit, ...]
    temperatures: tuple[float, ...]
    posterior: TemperaturePosterior = field(repr=False)
    reference: float
    times: tuple[float, ...]
    to: tuple[float, ...]
    level: float

    @property
    def headline(self) -> str:
        tested = ", ".join(f"{t:g}" for t in self.temperatures)
        return f"{self.material}, {len(self.fits)} runs at {tested} degC; a clock that runs faster: {self.verdict}"

    @property
    def material(self) -> str:
        return self.fits[0].run.material

    @property
    def verdict(self) -> LawVerdict:
        """Whether a clock that runs faster, rather than growth on plain time, is what the readings show."""
        p = self.posterior.probability_shift
        return "supported" if p >= DECIDED else "not supported" if p <= 1.0 - DECIDED else "open"

    def growth(self, count: int, seed: int) -> Growth:
        """Draws of what warmth does: with a clock only where the readings show one."""
        if self.verdict == "supported":
            return self.posterior.draws(count, seed)
        return self.posterior.rise.draws(count, seed)

    @cached_property
    def _drawn(self) -> Growth:
        return self.growth(self.fits[0].draws.count, self.fits[0].seed)

    def others_than(self, fit: Fit) -> OtherRuns | None:
        """What the runs at other temperatures than a fit's say of the shape of its draws; None where there are none."""
        data, tested = self.posterior.rise.data, tested_temperature(fit.run)
        own, others = [], []
        for run, observed, climate in zip(data.runs, data.observed, data.climates, strict=True):
            if run in fit.runs:
                own.append(OtherRun.of(observed, climate, run.age, data.priors))
            elif max(climate.highest - tested, tested - climate.lowest) > NEAR:
                others.append(OtherRun.of(observed, climate, run.age, data.priors))
        return OtherRuns.of(others, own, replace(fit, warming=None).mixture) if others else None

    def _in_climate(self, fit: Fit) -> Draws:
        """Draws of a fit that know of the other temperatures, for any climate to be put in."""
        if fit.label not in self._kept:
            climate = Climate.constant(tested_temperature(fit.run))
            warming = Warming(climate, tested_temperature(fit.run), self, self.others_than(fit))
            self._kept[fit.label] = replace(fit, warming=warming).draws
        return self._kept[fit.label]

    @cached_property
    def _kept(self) -> dict[str, Draws]:
        return {}

    def per_ten_kelvin(self, time: float) -> Interval:
        """Factor on the compliance by 10 K at a time [s], from 5 K below the middle of the tested range to 5 K above."""
        fit = self.nearest(self.middle)
        if not fit.observed.has_initial:
            raise InputError("no reading before loading", key="run", file=fit.run.file, expected="an initial reading")
        cool, warm = (self._compliance(fit, self.middle + s * 0.5 * TEN, np.array([time]))[:, 0] for s in (-1.0, 1.0))
        return interval(warm / cool, self.level)

    @property
    def middle(self) -> float:
        return 0.5 * (self.temperatures[0] + self.temperatures[-1])

    @property
    def law(self) -> ShiftLaw:
        """By which a clock runs faster, if one does."""
        return self.posterior.rise.data.law

    @property
    def strength(self) -> Interval | None:
        """Of the clock: apparent activation energy in kJ/mol, or by WLF the multiple of the universal c1.

        None where a clock is not supported.
        """
        if self.verdict != "supported":
            return None
        return Interval(*(float(np.exp(self.posterior.shift.strength.quantile(p))) for p in tails(self.level)))

    @property
    def beside_the_clock(self) -> Interval:
        """Factor by 10 K on what is there at once, which a shift along the time axis leaves."""
        return interval(np.exp(TEN * self._drawn.instant), self.level)

    @property
    def activation(self) -> Interval | None:
        """Apparent activation energy in kJ/mol, None where a clock is not supported or not Arrhenius's."""
        return self.strength if self.law == ARRHENIUS else None

    @property
    def shift_factors(self) -> tuple[ShiftFactor, ...]:
        """At each tested temperature; none where a clock is not supported."""
        size = self.strength
        if size is None:
            return ()
        rows = []
        for t in self.temperatures:
            speeds = [self.law.speed(np.array(t), self.reference, s) for s in (size.low, size.median, size.high)]
            logs = sorted(-float(np.log10(speed)) for speed in speeds)
            rows.append(ShiftFactor(t, Interval(*logs)))
        return tuple(rows)

    def nearest(self, temperature: float) -> Fit:
        """The fit of the run that was tested nearest to a temperature [degC]."""
        return min(self.fits, key=lambda f: (abs(tested_temperature(f.run) - temperature), f.run.label))

    @cached_property
    def curves(self) -> tuple[ComplianceAt, ...]:
        """Compliance at each tested temperature, and at those asked for besides."""
        longest = max(f.run.test_length for f in self.fits)
        asked = [(t, True) for t in self.temperatures] + [(t, False) for t in self.to]
        rows = []
        for temperature, tested in sorted(asked):
            fit = self.nearest(temperature)
            if not fit.observed.has_initial:
                continue
            draws = self._compliance(fit, temperature, np.array(self.times))
            for k, time in enumerate(self.times):
                beyond = max(float(np.log10(time / longest)), 0.0)
                rows.append(ComplianceAt(temperature, time, interval(draws[:, k], self.level), tested, beyond))
        return tuple(rows)

    def band_at(self, fit: Fit, temperature: float, times: Array) -> tuple[Array, Array, Array]:
        """Low, median and high of the compliance of one fit's specimen at a temperature [degC] and times (T,) in s."""
        low, median, high = np.quantile(self._compliance(fit, temperature, times), tails(self.level), axis=0)
        return low, median, high

    def _compliance(self, fit: Fit, temperature: float, times: Array) -> Array:
        """Draws (N, T) of the compliance of one fit's specimen, had it been at a temperature [degC]."""
        if stepped(fit.run):  # its own fit knows nothing of the steps
            law = self.posterior.shift.fits[CLOCKS // 2] if self.verdict == "supported" else self.posterior.rise
            own = replace(law.pool.mixture, average=True).draws(fit.draws.count, fit.seed)
            draws = own.warmed(Climate.constant(temperature), law.data.reference, self._drawn)
            return np.asarray(np.maximum(draws.compliance(times), 1e-12))
        tested = tested_temperature(fit.run)
        if abs(temperature - tested) < 1e-9:
            return np.asarray(np.maximum(fit.draws.compliance(times), 1e-12))
        draws = self._in_climate(fit)
        assert draws.warmth is not None
        draws = draws.warmed(Climate.constant(temperature), tested, draws.warmth.growth)
        return np.asarray(np.maximum(draws.compliance(times), 1e-12))

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What is doubtful about it."""
        return tuple(dependence_doubts(self.fits, self.temperatures, self.to, self.verdict))

    def _rows(self) -> list[dict[str, Any]]:
        """One row a temperature and time: compliance and its interval."""
        return [row.to_dict() for row in self.curves]

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        energy, strength = self.activation, self.strength
        return {
            **heading(self.fits[0], self.level),
            "material": self.material,
            "runs": [f.label for f in self.fits],
            "temperatures_degC": list(self.temperatures),
            "per_10_K": [
                {"time_h": t / HOUR, **self.per_ten_kelvin(t).to_dict()} for t in self.times if self.stiffness_known
            ],
            "shift": {
                "verdict": self.verdict,
                "probability": self.posterior.probability_shift,
                "law": "Arrhenius" if self.law == ARRHENIUS else "WLF",
                "activation": None if energy is None else {**energy.to_dict(), "unit": "kJ/mol"},
                "times_universal_c1": None if strength is None or energy is not None else strength.to_dict(),
                "why": None if strength is not None else WHY[self.verdict],
                "reference_degC": self.reference,
                "factors": [s.to_dict() for s in self.shift_factors],
            },
            "compliance_unit": self.compliance_unit,
            "compliance": [row.to_dict() for row in self.curves],
            "cautions": [c.to_dict() for c in self.cautions],
        }

    @property
    def compliance_unit(self) -> str:
        return "1/MPa" if self.fits[0].run.specimen.geometry.stress_per_load is not None else "mm/N"

    @property
    def stiffness_known(self) -> bool:
        """Whether the run nearest to the middle of the temperatures has an initial reading, so that it has a compliance."""
        return self.nearest(self.middle).observed.has_initial


WHY: dict[LawVerdict, str] = {
    "supported": "the curves overlap, and a shift along the time axis explains them",
    "not supported": "growth on plain time explains the readings, and a shift does not: one would be a guess",
    "open": "a shift along the time axis and growth on plain time explain these readings alike: a shift would be a guess",
}


def temperature_dependence(
    fits: Sequence[Fit],
    at: Sequence[str | float] | str | float = DEFAULT_TIMES,
    to: Sequence[str | float] | str | float = (),
    level: str | float | None = None,
) -> TemperatureDependence:
    """Say what warmth does, from runs of one material at two temperatures or more, or one run through steps of temperature.

    Parameters
    ----------
    fits : sequence of Fit
        Of runs whose temperature is known.
    at : times
        For which compliances are given: texts such as "1 year", or s.
    to : temperatures, optional
        Further ones for the compliances: texts such as "35 degC", or degC.
    level : float, optional
        Probability of the intervals, the first fit's own if not given.

    Raises
    ------
    InputError
        A run without a temperature, fewer than two temperatures, or a temperature that is out of reach.
    """
    if isinstance(fits, Fit):
        fits = [fits]
    ordered = tuple(sorted(fits, key=lambda f: tested_temperature(f.run)))
    known = _different([float(t) for f in ordered for t in np.unique(reading_temperatures(f.run))])
    check_warming(known)
    if len(known) < 2:
        raise InputError(
            "runs at one temperature",
            key="temperature",
            found=f"{known[0]:.3g} degC",
            expected=f"two temperatures that are {NEAR:g} K apart or more",
        )
    listed = [to] if isinstance(to, str | int | float) else list(to)
    wanted = tuple(asked_temperature(t, "to") for t in listed)
    run_level = ordered[0].level if level is None else asked_level(level)
    reference = known[0]
    data = TemperatureData.of([f.run for f in ordered], ordered[0].priors, float(np.mean([known[0], known[-1]])))
    dependence = TemperatureDependence(
        ordered,
        tuple(known),
        temperature_posterior(data),
        reference,
        tuple(asked_times(at, "at").tolist()),
        wanted,
        run_level,
    )
    for temperature in wanted:
        check_reach(temperature, known, transition_of(f.run for f in ordered), "to")
    return dependence


def asked_temperature(value: str | float, key: str) -> float:
    """A temperature in degC from a text such as "35 degC" or a number."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        degrees = float(value)
    else:
        degrees = quantity(value, "temperature", key=key)
    if not -KELVIN < degrees < 1000.0:
        raise InputError(key=key, found=value, expected='a temperature such as "35 degC"')
    return degrees


def _different(degrees: Sequence[float]) -> list[float]:
    """Temperatures that are apart, ascending: the mean of each group."""
    groups: list[list[float]] = []
    for t in sorted(degrees):
        if not groups or t - groups[-1][0] > NEAR:
            groups.append([])
        groups[-1].append(t)
    return [float(np.mean(g)) for g in groups]
