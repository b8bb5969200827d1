"""A bar under a small load in an oven that warms: where it softens, and the temperature at a chosen deflection.

Below softening a loaded bar moves along a line: thermal expansion of bar and rig and a modulus that falls a little with
each degree. Softening bends the curve away from it. The curve is a line plus one softening function of a width or an
onset, so for a given shape it is a linear problem; the shape is integrated over a grid.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from typing import Any

import numpy as np
from scipy.special import logsumexp

from creepfit.answers.doubts.catalogue import several as words
from creepfit.answers.doubts.temperature import fast_oven_doubts
from creepfit.answers.heading import heading_without_fit
from creepfit.answers.interval import Caution, Interval, ends_of
from creepfit.answers.outlook import first_crossing
from creepfit.answers.temperature.oven_readings import check_warmed, oven_readings, up_to
from creepfit.asked import asked_level, asked_size, tails
from creepfit.errors import InputError
from creepfit.inference.tested_temperature import THERMOMETER
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.shown import Tabled
from creepfit.units import MINUTE, show_number

Bend = Callable[[Array], Array]

DRAWS = 4000
SEED = 20240229
WIDTHS = (0.7, 40.0)
"""Range of the width of an exponential softening, K."""

CELLS = 40
LAG = (0.0, 90.0)
"""Seconds that a thermometer runs ahead of the bar where nothing is said of it, all as likely (judgement: a bar of 4 mm in
air takes a minute or more to follow; unknown is never zero)."""

BEYOND = 3.0
"""Times the chosen deflection up to which the curve is followed."""

SEEN = 3.0
"""Gauge noises by which a curve must have left its line to be seen to."""

BELOW = 20.0
"""K below the temperature at a chosen deflection at which a lasting load should stay (common practice, no source)."""

ALIKE = 0.05
"""By what part stresses may differ that count as one."""


@dataclass(frozen=True)
class Reached:
    """Temperature [degC] at which a deflection [mm] is reached; None where it was not, and `why`."""

    deflection: float
    strain: float | None
    temperature: Interval | None
    why: str | None = None

    def to_dict(self) -> dict[str, Any]:
        return {
            "deflection": self.deflection,
            "unit": "mm",
            "strain": self.strain,
            "temperature_degC": ends_of(self.temperature),
            "why": self.why,
        }


@dataclass(frozen=True, eq=False)
class Course:
    """Further deflection [mm] over temperature [degC]: as read (T,), and curve and line (G,) so far as it was followed."""

    degrees: Array
    moved: Array
    grid: Array
    low: Array
    median: Array
    high: Array
    line: Array


@dataclass(frozen=True, eq=False, repr=False)
class Softening(Tabled):
    """What one bar in a warming oven shows.

    Attributes
    ----------
    run : Run
    rate : float
        Heating rate, K/min.
    onset : Interval or None
        degC at which the curve has left its line by three gauge noises; None where it has not.
    reached : Reached
    level : float
        Probability of the intervals: gauge, shape of the curve, the thermometer's error and its lag are in.
    hottest : float
        degC.
    draws : ndarray, shape (N,)
        Of the temperature at the deflection, degC; NaN where it is not reached.
    course : Course
        By the thermometer.
    """

    run: Run
    rate: float
    onset: Interval | None
    reached: Reached
    level: float
    hottest: float
    draws: Array
    course: Course

    @property
    def headline(self) -> str:
        onset = "unknown" if self.onset is None else f"{self.onset.median:.3g} degC"
        return f"{self.run.label}, leaves its line at {onset}, level {self.level:g}"

    @property
    def load(self) -> float:
        """The one load that was on, N, or MPa where the specimen takes a stress."""
        return self.run.peak_load

    @property
    def stress(self) -> float | None:
        """Its largest stress, MPa; None without sizes."""
        per_load = self.run.specimen.geometry.stress_per_load
        return None if per_load is None else abs(self.load * per_load)

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        """What is doubtful about it."""
        return (words.NOT_A_SERVICE_TEMPERATURE(below=BELOW), *fast_oven_doubts(self.rate))

    def _rows(self) -> list[dict[str, Any]]:
        """One row: the temperature at the deflection, and the onset."""
        return [{**self.reached.to_dict(), "rate_K_per_min": self.rate}]

    def to_dict(self) -> dict[str, Any]:
        """What --json prints."""
        return {
            **heading_without_fit(self.run.label, self.level, SEED),
            "load": {"value": self.load, "unit": "MPa" if self.run.unit == "1" else "N"},
            "stress_MPa": self.stress,
            "rate_K_per_min": self.rate,
            "hottest_degC": self.hottest,
            "onset_degC": None if self.onset is None else self.onset.to_dict(),
            "reached": self.reached.to_dict(),
            "cautions": [c.to_dict() for c in self.cautions],
        }


def softening(
    run: Run,
    *,
    strain: str | float | None = None,
    deflection: str | float | None = None,
    lag: str | float | None = None,
    level: str | float = 0.9,
) -> Softening:
    """Work out where a bar softens.

    Parameters
    ----------
    run : Run
        Of one load, read with its temperature while an oven warms.
    strain : str or float, optional
        Of the outer fibre that the added deflection stands for: "0.2 %" if neither is given (as ISO 75 states a temperature
        of deflection under load in flexure, from memory; this is no test to that standard).
    deflection : str or float, optional
        In its place the added deflection itself, "0.32 mm" or mm.
    lag : str or float, optional
        By how much the thermometer runs ahead of the bar: "30 s" or s. Without it anything from 0 to 90 s is as likely.
    level : float

    Raises
    ------
    InputError
        A run without the readings, temperatures or sizes that this takes.
    """
    level = asked_level(level)
    degrees, moved, times, noise = oven_readings(run)
    wanted, as_strain = _wanted(run, strain, deflection)
    rng = np.random.default_rng(SEED)
    near = up_to(moved, BEYOND * wanted)
    check_warmed(run, degrees[:near], BEYOND * wanted)
    curves, line, grid = _curves(degrees[:near], moved[:near], noise, rng)
    rate = float(np.polyfit(times, degrees, 1)[0]) * MINUTE
    seconds = rng.uniform(*LAG, DRAWS) if lag is None else np.full(DRAWS, asked_lag(lag))
    behind = seconds * rate / MINUTE + rng.uniform(-THERMOMETER, THERMOMETER, DRAWS)
    start = curves[:, :1]
    temperature = _first(curves - start, grid, wanted) - behind
    # where a curve begins to bend hangs on its shape, and the readings show it only from one to the next
    apart = float(np.median(np.diff(degrees)))
    onset = _first(curves - line, grid, SEEN * noise) - behind + rng.uniform(-apart, apart, DRAWS)
    hottest = float(degrees.max())
    why = None
    if np.isnan(temperature).mean() > 0.5 - level / 2.0:
        so_far = float(np.median(curves[:, -1] - start[:, 0]))  # of all readings, as none is beyond
        why = f"not reached by {show_number(hottest)} °C: {show_number(so_far, digits=2)} mm so far"
    reached = Reached(wanted, as_strain, None if why else _interval(temperature, level), why)
    seen = np.isnan(onset).mean() <= 0.5 - level / 2.0
    low, median, high = np.quantile(curves - start, tails(level), axis=0)
    course = Course(degrees, moved, grid, low, median, high, np.median(line - start, axis=0))
    return Softening(run, rate, _interval(onset, level) if seen else None, reached, level, hottest, temperature, course)


def probability_hotter(one: Softening, other: Softening) -> float | None:
    """That one bar reaches the deflection at a higher temperature than the other; None where either did not.

    Bars differ: one of each material says nothing of the next ones.
    """
    if one.reached.temperature is None or other.reached.temperature is None:
        return None
    apart = one.draws - np.random.default_rng(SEED).permutation(other.draws)
    return float(np.mean(apart[np.isfinite(apart)] > 0.0))


def asked_lag(given: str | float) -> float:
    """A lag in s, zero or more."""
    if given == 0 or (isinstance(given, str) and given.strip() in ("0", "0 s")):
        return 0.0
    return asked_size(given, "time", "lag")


def _wanted(run: Run, strain: str | float | None, deflection: str | float | None) -> tuple[float, float | None]:
    """The added deflection [mm] and the strain it stands for."""
    if strain is not None and deflection is not None:
        raise InputError(key="deflection", found="also a strain", expected="one of them")
    per_reading = run.specimen.geometry.strain_per_reading
    if deflection is not None:
        size = asked_size(deflection, "length", "deflection")
        return size, None if per_reading is None else size * per_reading
    wanted = 0.002 if strain is None else asked_size(strain, "strain", "strain")
    if per_reading is None:
        raise InputError(
            "without the specimen's sizes a strain is no deflection",
            key="specimen",
            file=run.file,
            expected='a deflection such as "0.32 mm"',
        )
    return wanted / per_reading, wanted


def _curves(degrees: Array, moved: Array, noise: float, rng: np.random.Generator) -> tuple[Array, Array, Array]:
    """Draws of the curve and of its line on a grid of temperatures, both (N, G), and the grid."""
    low, high = float(degrees.min()), float(degrees.max())
    grid = np.linspace(low, high, 400)
    widths = np.geomspace(*WIDTHS, CELLS)
    starts = np.linspace(low, high - 0.05 * (high - low), CELLS)
    bends: list[Bend] = [partial(_exponential, high=high, width=float(w)) for w in widths]
    bends += [partial(_square, start=float(s), whole=high - low) for s in starts]
    fits = [_linear(degrees, moved, bend, noise) for bend in bends]
    logs = np.array([f[2] for f in fits])
    counts = rng.multinomial(DRAWS, np.exp(logs - logsumexp(logs)))
    lines, curves = [], []
    for bend, (mean, root, _), count in zip(bends, fits, counts, strict=True):
        if not count:
            continue
        drawn = mean + rng.standard_normal((count, 3)) @ root.T
        drawn[:, 2] = np.maximum(drawn[:, 2], 0.0)
        line = drawn[:, :1] + drawn[:, 1:2] * (grid - low)
        lines.append(line)
        curves.append(line + drawn[:, 2:] * bend(grid))
    return np.concatenate(curves), np.concatenate(lines), grid


def _exponential(x: Array, high: float, width: float) -> Array:
    return np.asarray(np.exp((x - high) / width))


def _square(x: Array, start: float, whole: float) -> Array:
    return np.asarray((np.maximum(x - start, 0.0) / whole) ** 2)


def _linear(degrees: Array, moved: Array, bend: Bend, noise: float) -> tuple[Array, Array, float]:
    """Coefficients of line and bend, the root of their covariance, and the logarithm of the shape's probability.

    The noise is the larger of the gauge's and the residuals'; a bend that points against the load has no probability.
    """
    x = np.stack([np.ones_like(degrees), degrees - degrees.min(), bend(degrees)], axis=1)
    gram = x.T @ x + 1e-12 * np.eye(3)
    mean = np.linalg.solve(gram, x.T @ moved)
    rest = float(np.sum((moved - x @ mean) ** 2))
    free = max(degrees.size - 4, 1)
    scale = max(noise**2, rest / free)
    degrees_of_noise = 5.0
    spread = degrees_of_noise * noise**2 + rest
    log = -0.5 * (free + degrees_of_noise) * float(np.log(spread)) - 0.5 * float(np.linalg.slogdet(gram)[1])
    log += 0.5 * float(np.log(gram[2, 2]))  # a bend is as large as what it adds, not as its coefficient
    root = np.asarray(np.linalg.cholesky(scale * np.linalg.inv(gram)))
    return mean, root, log if mean[2] > 0.0 else log - 8.0


def _first(curves: Array, grid: Array, wanted: float) -> Array:
    """Temperature at which each draw first reaches a size, (N,); NaN where it does not."""
    reached = np.maximum(first_crossing(curves, grid, wanted), grid[0])
    return np.where(np.isinf(reached), np.nan, reached)


def _interval(draws: Array, level: float) -> Interval:
    """Interval of those that are known; the others lie above."""
    ends = np.quantile(np.where(np.isnan(draws), np.inf, draws), tails(level), method="lower")
    return Interval(*map(float, ends))


def compared(bars: Sequence[Softening]) -> str | None:
    """The difference between the bars that reached the deflection highest and next, in words; None without two."""
    known = sorted((f for f in bars if f.reached.temperature is not None), key=lambda f: -float(np.nanmedian(f.draws)))
    if len(known) < 2:
        return None
    chance = probability_hotter(known[0], known[1])
    assert chance is not None
    verdict = "holds longer" if chance >= 0.95 else "cannot be told apart from the next"
    first, second = known[:2]
    return (
        f"{first.run.label} {verdict}: with probability {min(chance, 0.99):.2f} it reaches the deflection at a higher "
        f"temperature than {second.run.label}. That is of these two bars{_unlike(first, second)}; others of the same "
        "material differ."
    )


def _unlike(one: Softening, other: Softening) -> str:
    """Under which stresses two bars were read where those differ: the higher one softens a bar at a lower temperature."""
    a, b = one.stress, other.stress
    if a is None or b is None or abs(a - b) <= ALIKE * max(a, b):
        return ""
    return f" under unlike stresses, {show_number(a)} and {show_number(b)} MPa, of which the higher one bends a bar sooner"
