"""How well intervals hold at another temperature than the test's: simulated bars of one material at 23 and 43 degC (and 33
where asked for), the first of them asked about at a service temperature between.

    python tests/benchmarks/temperature_calibration.py --runs 60

Truths: growth of both parts on plain time; a shifted clock; both; and three that no law here has: an exponent that grows
with temperature, growth that itself grows, and creep that only begins above 30 degC. Bars differ by 5 % in stiffness and
8 % in creep. Last, the same answered without any warm run, by what is usual. Printed: per cent of 90 % intervals that hold
the specimen's own deformation, at 5 d and a year, per cent with the truth above, and the median width over the truth.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import joblib
import numpy as np

from creepfit.answers.temperature.dependence import temperature_dependence
from creepfit.answers.temperature.warming import at_temperature
from creepfit.inference.fitting import fit
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Cantilever
from creepfit.mechanics.temperature import arrhenius_shift
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import Measure

HOUR, DAY, YEAR = 3600.0, 86400.0, 365.25 * 86400.0
TIMES = np.array([-60.0, 60.0, 600.0, 3600.0, *(DAY * np.arange(1, 6)), 5 * DAY + 60.0, 5 * DAY + 3600.0, 6 * DAY, 7 * DAY])
ASKED = np.array([5 * DAY, YEAR])
SERVICE = 33.0

Curve = Callable[[float, np.ndarray], tuple[float, np.ndarray]]
"""Instantaneous part and creep [mm] at a temperature [degC] and times since loading [s]."""


def law(instant: float, creep: float, activation: float = 0.0, steeper: float = 0.0, bend: float = 0.0) -> Curve:
    def at(degrees: float, t: np.ndarray) -> tuple[float, np.ndarray]:
        above = degrees - 23.0
        felt = np.maximum(t, 0.0) * float(arrhenius_shift(np.array(degrees), 23.0, activation)) / HOUR
        n = 0.12 + steeper * above
        return float(np.exp(instant * above + bend * above**2)), 0.15 * np.exp(creep * above + bend * above**2) * felt**n

    return at


def late(degrees: float, t: np.ndarray) -> tuple[float, np.ndarray]:
    instant, creep = law(0.008, 0.005)(degrees, t)
    return instant, creep * (1.0 + 0.04 * max(degrees - 30.0, 0.0))


TRUTHS: dict[str, Curve] = {
    "growth 0.008, 0.018 per K": law(0.008, 0.018),
    "growth 0.003, 0.003 per K": law(0.003, 0.003),
    "clock, 120 kJ/mol": law(0.003, 0.003, 120.0),
    "clock, 200 kJ/mol": law(0.0, 0.0, 200.0),
    "exponent grows 0.003 per K": law(0.008, 0.005, steeper=0.003),
    "growth that grows": law(0.004, 0.006, bend=0.0004),
    "creep that begins above 30": late,
}


def bar(curve: Curve, degrees: float, stiffness: float, creep: float, rng: np.random.Generator, name: str) -> Run:
    def moved(t: np.ndarray) -> np.ndarray:
        instant, grown = curve(degrees, t)
        return np.where(t > 0.0, stiffness * (instant + creep * grown), 0.0)

    values = 5.0 + moved(TIMES) - moved(TIMES - 5 * DAY) + 0.005 * rng.standard_normal(TIMES.size)
    values = np.round(values / 0.01) * 0.01
    sizes = {"length": Measure(75.0, 0.0), "width": Measure(14.0, 0.0), "thickness": Measure(5.0, 0.0)}
    readings = tuple(Reading(float(t), float(v), where=f"row {k}", row=k) for k, (t, v) in enumerate(zip(TIMES, values)))  # noqa: B905
    steps = (LoadStep(0.0, 4.0), LoadStep(5 * DAY, 0.0))
    return Run("PETG", Cantilever(**sizes), Gauge(0.01, 0.005, "given"), steps, readings, name=name, temperature=degrees)


def one(label: str, seed: int, tested: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ends of the intervals, truth, and probability of a shift."""
    rng = np.random.default_rng([seed, 11])
    factors = np.exp(rng.standard_normal((len(tested), 2)) * [0.05, 0.08])
    runs = [bar(TRUTHS[label], t, *f, rng, f"bar {k}") for k, (t, f) in enumerate(zip(tested, factors, strict=True))]
    fits = [fit(r) for r in runs]
    found = temperature_dependence(fits) if len(tested) > 1 else None
    warm = at_temperature(fits[0], SERVICE, found)
    draws = warm.draws.deformation(LoadHistory.held(4.0), ASKED)
    instant, grown = TRUTHS[label](SERVICE, ASKED)
    truth = factors[0, 0] * (instant + factors[0, 1] * grown)
    shift = np.nan if found is None else found.posterior.probability_shift
    return np.quantile(draws, [0.05, 0.95], axis=0), truth, np.array(shift)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--runs", type=int, default=60)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", help="truths whose names hold this")
    parser.add_argument("--tested", type=float, nargs="+", default=[23.0, 43.0])
    given = parser.parse_args()
    tested = tuple(given.tested)
    for label in (name for name in TRUTHS if (given.only or "") in name):
        done = joblib.Parallel(given.jobs)(joblib.delayed(one)(label, s, tested) for s in range(given.runs))
        ends, truth = np.array([d[0] for d in done]), np.array([d[1] for d in done])
        holds = 100 * ((ends[:, 0] <= truth) & (truth <= ends[:, 1])).mean(axis=0)
        above = 100 * (truth > ends[:, 1]).mean(axis=0)
        width = np.median((ends[:, 1] - ends[:, 0]) / truth, axis=0)
        shift = np.median([d[2] for d in done])
        print(
            f"{label:28} {tested}: holds {holds[0]:.0f}, {holds[1]:.0f} %; above {above[0]:.0f}, {above[1]:.0f} %; "
            f"width {width[0]:.3f}, {width[1]:.3f}; median probability of a shift {shift:.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
