"""Truths for simulated five-day runs: what the material does, how the run was made, and what is declared of it.

Every truth deforms 2 mm at 1 min and by 16 % more at five days; the shares are of the creep between those two times.
Kept apart: truths that no prior weight or allowance was chosen on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations
from creepfit.inference.noise import DEFAULT_DRIFT, Noise
from creepfit.mechanics.clock import AgeingClock
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.mechanics.specimen import Direct
from creepfit.models.model import Span
from creepfit.records.run import Gauge, LoadStep, Reading, Run

Array = NDArray[np.float64]
Curve = Callable[[Array], Array]
MINUTE, HOUR, DAY, YEAR = 60.0, 3600.0, 86400.0, 365.25 * 86400.0
AT_ONCE, CREEP = 2.0, 0.32
ROUNDED_TO = 0.01


def power(n: float) -> Curve:
    return lambda t: np.asarray((t / HOUR) ** n)


def flow(t: Array) -> Array:
    return np.asarray(t / HOUR)


def kelvin(hours: float) -> Curve:
    return lambda t: np.asarray(-np.expm1(-t / (hours * HOUR)))


def stretched(beta: float, hours: float) -> Curve:
    return lambda t: np.asarray(-np.expm1(-((t / (hours * HOUR)) ** beta)))


def spectrum(hours: float, decades: float) -> Curve:
    """Retardation times spread log-normally around `hours`, standard deviation in decades."""
    at = np.linspace(-4.0, 4.0, 161)
    weight = np.exp(-0.5 * at**2)
    weight /= weight.sum()
    tau = hours * HOUR * 10.0 ** (decades * at)
    return lambda t: np.asarray(-np.expm1(-np.asarray(t)[..., None] / tau) @ weight)


def bounded(n: float) -> Curve:
    """1 - (1 + t/1 s)^n for n < 0."""
    return lambda t: np.asarray(-np.expm1(n * np.log1p(t)))


@dataclass(frozen=True)
class _Function:
    """Any function of time as a creep function (steps only)."""

    function: Curve

    def value(self, t: Array, shape: Array | None) -> Array:
        return self.function(t)

    def integral(self, t: Array, shape: Array | None) -> Array:
        raise NotImplementedError


@dataclass(frozen=True)
class Truth:
    """A material: shares of functions of time; an ageing clock by age [s] and rate, where it ages."""

    parts: tuple[tuple[float, Curve], ...]
    age: float | None = None
    rate: float = 0.0

    def response(self, history: LoadHistory, times: Array) -> Array:
        """Deformation in mm under a load history whose working load is 1."""
        clock = None if self.age is None else AgeingClock(self.age, self.rate)
        ends = np.array([MINUTE, 5 * DAY])
        if clock is not None:
            history, at, ends = history.warped(clock), clock(times), clock(ends)
            loads = superpose(_Function(np.ones_like), history, at)
        else:
            at, loads = times, history.at(times)
        instant, creep = AT_ONCE, np.zeros(times.size)
        for share, function in self.parts:
            size = CREEP * share / float(np.diff(function(ends))[0])
            instant -= size * float(function(ends[:1])[0])
            creep = creep + size * superpose(_Function(function), history, at)
        return np.asarray(instant * loads + creep)


@dataclass(frozen=True)
class Case:
    """A truth and the run made of it.

    `days` of load, then readings to two days after unloading where `unloaded`; `slip` [mm] on day `slipped`; `walk` and
    `declared` are the gauge's drift and what the file says of it [mm per root day]; `age` [s] as declared; `stated` is
    the repeatability in the file over the true one `sd`.
    """

    truth: Truth
    days: int = 5
    unloaded: bool = True
    sd: float = 0.005
    stated: float = 1.0
    rounded: float = ROUNDED_TO
    first: float = MINUTE
    few: bool = False
    slip: float = 0.0
    slipped: float = 2.0
    walk: float = 0.0
    declared: float | None = None
    age: float | None = None
    apart: bool = False
    plain: bool = False

    @property
    def history(self) -> LoadHistory:
        """The load of the run."""
        off = [(self.days * DAY, 0.0, 0.0)] if self.unloaded else []
        return LoadHistory.from_steps([(0.0, 0.0, 1.0), *off])

    def times(self) -> Array:
        """Zero, 1 min, 10 min, 1 h, daily; 1 min, 1 h, 1 d and 2 d after unloading; `few`: every other day."""
        early = [t for t in (MINUTE, 10 * MINUTE, HOUR) if t >= self.first] if not self.few else []
        daily = [DAY * d for d in range(1, self.days + 1, 2 if self.few else 1)]
        off = self.days * DAY
        after = [off + t for t in (MINUTE, HOUR, DAY, 2 * DAY)] if self.unloaded else []
        return np.array([-MINUTE, *early, *daily, *after])

    def observed(self, rng: np.random.Generator) -> Observations:
        """One run, as `fit` sees it."""
        times = self.times()
        values = self.truth.response(self.history, times) + self.sd * rng.standard_normal(times.size)
        walk = self.walk * np.sqrt(np.diff(times) / DAY) * rng.standard_normal(times.size - 1)
        values[1:] += np.cumsum(walk)
        values = values + np.where(times > (self.slipped - 0.5) * DAY, self.slip, 0.0)
        values = np.round(values / self.rounded) * self.rounded
        stated = float(np.hypot(self.stated * self.sd, self.rounded / np.sqrt(12.0)))
        drift = DEFAULT_DRIFT * stated if self.declared is None else self.declared
        since = (times - times[0]) / DAY
        correlation = np.eye(times.size) + (drift / stated) ** 2 * np.minimum(since[:, None], since[None, :])
        noise = Noise(stated, 5.0, correlation, drift, "benchmark")
        loaded = times[(times > 0.0) & (times <= self.days * DAY)]
        span = Span(float(loaded[0]), float(loaded[-1]))
        zero = np.ones((times.size, 1))
        return Observations(times, values, zero, self.history, 1.0, 1.0, noise, span, True, self.unloaded)

    def run(self, rng: np.random.Generator) -> Run:
        """The same as `observed`, as it is read from a file."""
        seen = self.observed(rng)
        steps = [LoadStep(0.0, 1.0), *([LoadStep(self.days * DAY, 0.0)] if self.unloaded else [])]
        gauge = Gauge(self.rounded, self.stated * self.sd, "benchmark", drift=self.declared)
        pairs = zip(seen.times, seen.values, strict=True)
        readings = tuple(Reading(float(t), float(v), row=i) for i, (t, v) in enumerate(pairs))
        return Run("X", Direct(), gauge, tuple(steps), readings, age=self.age)

    def changed(self, **changes: object) -> Case:
        """The same with other circumstances."""
        return replace(self, **changes)  # type: ignore[arg-type]


def _case(*parts: tuple[float, Curve], **circumstances: object) -> Case:
    return Case(Truth(parts)).changed(**circumstances)


def _never(case: Case) -> Case:
    return case.changed(unloaded=False)


_FLOWING = _case((0.844, power(0.2)), (0.156, flow))
_FAINT = _case((0.969, power(0.2)), (0.031, flow))
_PLAIN = _case((1.0, power(0.2)), plain=True)
_LATE = _case((0.7, power(0.1)), (0.3, kelvin(1000)))

CASES: dict[str, Case] = {
    # a plain power of time
    "n 0.1": _case((1.0, power(0.1)), plain=True),
    "n 0.2": _PLAIN,
    "n 0.3": _case((1.0, power(0.3)), plain=True),
    "n 0.1, never unloaded": _never(_case((1.0, power(0.1)), plain=True)),
    "n 0.2, never unloaded": _never(_PLAIN),
    "n 0.3, never unloaded": _never(_case((1.0, power(0.3)), plain=True)),
    "n 0.2, first reading 1 d, few": _PLAIN.changed(first=DAY, few=True, plain=False),
    "n 0.2, caliper of 0.05 mm": _PLAIN.changed(sd=0.05, plain=False),
    "n 0.2, noise twice the stated": _PLAIN.changed(sd=0.01, stated=0.5, plain=False),
    "n 0.2, drift not declared": _PLAIN.changed(walk=0.01, plain=False),
    "logarithmic": _case((1.0, np.log1p), plain=True),
    # flow beside a power of time
    "n 0.2 + flow 0.156": _FLOWING,
    "n 0.2 + flow 0.156, 30 d": _FLOWING.changed(days=30),
    "n 0.2 + flow 0.156, never unloaded": _never(_FLOWING),
    "n 0.2 + flow 0.1 %/d": _FAINT,
    "n 0.2 + flow 0.1 %/d, never unloaded": _never(_FAINT),
    "n 0.15 + flow 0.1": _case((0.9, power(0.15)), (0.1, flow)),
    "n 0.3 + flow 0.1": _case((0.9, power(0.3)), (0.1, flow)),
    "n 0.2 + flow 0.156, noise twice the stated": _FLOWING.changed(sd=0.01, stated=0.5),
    "n 0.1 + flow 0.3": _case((0.7, power(0.1)), (0.3, flow), apart=True),
    "n 0.25 + flow 0.25, never unloaded": _never(_case((0.75, power(0.25)), (0.25, flow), apart=True)),
    "n 0.1 + flow 0.06": _case((0.94, power(0.1)), (0.06, flow), apart=True),
    "n 0.15 + flow 0.05 %/d, never unloaded": _never(_case((0.984, power(0.15)), (0.016, flow), apart=True)),
    "n 0.25 + flow 0.04": _case((0.96, power(0.25)), (0.04, flow), apart=True),
    # two powers
    "n 0.1 + 0.3 of t^0.5": _case((0.7, power(0.1)), (0.3, power(0.5))),
    "n 0.1 + 0.3 of t^0.7": _case((0.7, power(0.1)), (0.3, power(0.7))),
    "n 0.05 + 0.5 of t^0.4": _case((0.5, power(0.05)), (0.5, power(0.4))),
    "n 0.15 + 0.2 of t^0.6": _case((0.8, power(0.15)), (0.2, power(0.6)), apart=True),
    # a late unit
    "n 0.1 + Kelvin 1000 h": _LATE,
    "n 0.1 + Kelvin 1000 h, never unloaded": _never(_LATE),
    "n 0.15 + Kelvin 500 h": _case((0.7, power(0.15)), (0.3, kelvin(500))),
    "n 0.2 + Kelvin 2000 h, never unloaded": _never(_case((0.8, power(0.2)), (0.2, kelvin(2000)), apart=True)),
    # spectra that end
    "log-normal, 100 h, 2 decades": _case((1.0, spectrum(100, 2.0))),
    "log-normal, 2000 h, 1.5 decades": _case((1.0, spectrum(2000, 1.5))),
    "log-normal, 500 h, 1 decade, never unloaded": _never(_case((1.0, spectrum(500, 1.0)), apart=True)),
    "stretched 0.4, 120 h": _case((1.0, stretched(0.4, 120))),
    "stretched 0.3, 500 h": _case((1.0, stretched(0.3, 500))),
    "stretched 0.5, 50 h, never unloaded": _never(_case((1.0, stretched(0.5, 50)), apart=True)),
    "bounded power -0.1": _case((1.0, bounded(-0.1))),
    "Zener 10 h": _case((1.0, kelvin(10))),
    "Kelvin 5, 60 and 1500 h": _case((0.4, kelvin(5)), (0.4, kelvin(60)), (0.2, kelvin(1500))),
    # Burgers
    "Burgers 20 h, flow 0.3, never unloaded": _never(_case((0.7, kelvin(20)), (0.3, flow))),
    "Burgers 20 h, flow 0.2": _case((0.8, kelvin(20)), (0.2, flow)),
    "Burgers 200 h, flow 0.2": _case((0.8, kelvin(200)), (0.2, flow)),
    "Burgers 5 h, flow 0.15": _case((0.85, kelvin(5)), (0.15, flow), apart=True),
    # ageing
    "ageing, n 0.3, age 7 d given": Case(Truth(((1.0, power(0.3)),), 7 * DAY, 0.9), age=7 * DAY),
    "ageing, n 0.2 + flow 0.1, age 7 d given": Case(
        Truth(((0.9, power(0.2)), (0.1, flow)), 7 * DAY, 0.8), age=7 * DAY, apart=True
    ),
    # slips of the bench, not noticed
    "slip -0.05 mm on day 2, never unloaded": _never(_PLAIN.changed(slip=-0.05, plain=False)),
    "slip -0.05 mm on day 2": _PLAIN.changed(slip=-0.05, plain=False),
    "slip +0.05 mm on day 3": _PLAIN.changed(slip=0.05, slipped=3.0, plain=False),
    "slip -0.03 mm on day 4, n 0.1": _case((1.0, power(0.1)), slip=-0.03, slipped=4.0, apart=True),
}

FINE = {
    name: case.changed(sd=0.0005, rounded=0.0005)
    for name, case in {
        "Kelvin 5, 60 and 1500 h": CASES["Kelvin 5, 60 and 1500 h"],
        "the same, never unloaded": _never(CASES["Kelvin 5, 60 and 1500 h"]),
        "Kelvin 5, 60 and 1500 h, a tenth": _case((0.45, kelvin(5)), (0.45, kelvin(60)), (0.1, kelvin(1500))),
        "Kelvin 5, 60 and 600 h": _case((0.4, kelvin(5)), (0.4, kelvin(60)), (0.2, kelvin(600))),
        "Kelvin 2, 30 and 800 h": _case((0.4, kelvin(2)), (0.4, kelvin(30)), (0.2, kelvin(800))),
        "Kelvin 5 and 60 h, flow 0.1": _case((0.45, kelvin(5)), (0.45, kelvin(60)), (0.1, flow)),
        "Kelvin 0.3, 3 and 30 h, flow 0.1": _case(*((0.3, kelvin(h)) for h in (0.3, 3, 30)), (0.1, flow)),
        "log-normal, 10 h, 1 decade + 0.2 of Kelvin 1500 h": _case((0.8, spectrum(10, 1.0)), (0.2, kelvin(1500))),
        "stretched 0.4, 120 h + 0.15 of Kelvin 2000 h": _case((0.85, stretched(0.4, 120)), (0.15, kelvin(2000))),
        "stretched 0.4, 120 h, flow 0.1": _case((0.9, stretched(0.4, 120)), (0.1, flow)),
        "stretched 0.5, 20 h + 0.2 of Kelvin 1000 h": _case((0.8, stretched(0.5, 20)), (0.2, kelvin(1000))),
        "stretched 0.5, 20 h, flow 0.1, never unloaded": _never(_case((0.9, stretched(0.5, 20)), (0.1, flow))),
        "Kelvin 50 h, 30 d": _case((1.0, kelvin(50))).changed(days=30),
    }.items()
}
"""Truths read with a gauge of 0.0005 mm, for which models of a few functions are few: what such a gauge rules out leaves
nothing to doubt by. Those of `CASES` are asked with it too."""


def questions(case: Case) -> tuple[LoadHistory, Array]:
    """What is asked of every case: the deformation at 30 d and a year under the load held."""
    return LoadHistory.held(1.0), np.array([30 * DAY, YEAR])


def names(words: Sequence[str]) -> list[str]:
    """Cases whose name holds one of the words; all without words."""
    return [name for name in CASES if not words or any(w in name for w in words)]
