"""How well intervals hold at another temperature than the test's: simulated bars of one material at 23 and 43 degC (and 33
where asked for), the first of them asked about at a service temperature between.

    python tests/benchmarks/temperature_calibration.py simulate --runs 60
    python tests/benchmarks/temperature_calibration.py curves PATH/long_run_curves.csv

Simulated truths: growth of both parts on plain time; a shifted clock; both; each with a flow; and three that no law here
has: an exponent that grows with temperature, growth that itself grows, and creep that only begins above 30 degC. Bars
differ by 5 % in stiffness and 8 % in creep. With one tested temperature (--tested 23) by what is usual. Printed: per cent
of 90 % intervals that hold the specimen's own deformation, at 5 d and a year, per cent with the truth above, and the median
width over it.

Curves: of the published materials with three temperatures or more, each curve at a middle one is forecast to 10 000 h from
its own 1, 10 and 100 h, alone and with the curves to 10 000 h of the next cooler and the next warmer temperature (of the
stress nearest to its own) as known runs. They are four materials only, so the standard errors, clustered by material, are
large.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import joblib
import numpy as np
from known_runs import HOURS, QUANTILES, Array, curve, report, run_of

from creepfit.answers.temperature.dependence import temperature_dependence
from creepfit.answers.temperature.warming import at_temperature
from creepfit.inference.fitting import fit
from creepfit.inference.known import fit_known
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Cantilever
from creepfit.mechanics.temperature import arrhenius_shift
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import Measure

Row = dict[str, str]

HOUR, DAY, YEAR = 3600.0, 86400.0, 365.25 * 86400.0
TIMES = np.array([-60.0, 60.0, 600.0, 3600.0, *(DAY * np.arange(1, 6)), 5 * DAY + 60.0, 5 * DAY + 3600.0, 6 * DAY, 7 * DAY])
ASKED = np.array([5 * DAY, YEAR])
Curve = Callable[[float, np.ndarray], tuple[float, np.ndarray]]
"""Instantaneous part and creep [mm] at a temperature [degC] and times since loading [s]."""


def law(
    instant: float, creep: float, activation: float = 0.0, steeper: float = 0.0, bend: float = 0.0, flow: float = 0.0
) -> Curve:
    """Growth of both parts per K, a clock [kJ/mol], and a flow [mm/h at 23 degC] that grows as the creep does."""

    def at(degrees: float, t: np.ndarray) -> tuple[float, np.ndarray]:
        above = degrees - 23.0
        felt = np.maximum(t, 0.0) * float(arrhenius_shift(np.array(degrees), 23.0, activation)) / HOUR
        n = 0.12 + steeper * above
        grown = np.exp(creep * above + bend * above**2) * (0.15 * felt**n + flow * felt)
        return float(np.exp(instant * above + bend * above**2)), grown

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
    # of the creep in 5 d at 35 degC: faint flow is a fiftieth, plain flow a tenth
    "clock, 200 kJ/mol, faint flow": law(0.0, 0.0, 200.0, flow=2.7e-6),
    "clock, 200 kJ/mol, plain flow": law(0.0, 0.0, 200.0, flow=1.4e-5),
    "growth, faint flow": law(0.008, 0.018, flow=4.4e-5),
    "growth, plain flow": law(0.008, 0.018, flow=2.2e-4),
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


def one(label: str, seed: int, tested: tuple[float, ...], service: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Ends of the intervals, truth, and probability of a shift."""
    rng = np.random.default_rng([seed, 11])
    factors = np.exp(rng.standard_normal((len(tested), 2)) * [0.05, 0.08])
    runs = [bar(TRUTHS[label], t, *f, rng, f"bar {k}") for k, (t, f) in enumerate(zip(tested, factors, strict=True))]
    fits = [fit(r) for r in runs]
    found = temperature_dependence(fits) if len(tested) > 1 else None
    warm = at_temperature(fits[0], service, found)
    draws = warm.draws.deformation(LoadHistory.held(4.0), ASKED)
    instant, grown = TRUTHS[label](service, ASKED)
    truth = factors[0, 0] * (instant + factors[0, 1] * grown)
    shift = np.nan if found is None else found.posterior.probability_shift
    return np.quantile(draws, [0.05, 0.95], axis=0), truth, np.array(shift)


def neighbours_of(path: Path) -> list[tuple[Row, Row, Row]]:
    """Each curve at a middle temperature, with the cooler and the warmer one of the nearest stress."""
    groups: dict[tuple[str, ...], dict[float, list[Row]]] = {}
    for row in csv.DictReader(path.open()):
        key = tuple(row[name] for name in ("material", "state", "filler_fraction"))
        groups.setdefault(key, {}).setdefault(float(row["T_C"]), []).append(row)
    found = []
    for group in groups.values():
        degrees = sorted(group)
        for cool, middle, warm in zip(degrees, degrees[1:], degrees[2:], strict=False):
            for row in group[middle]:
                cooler, warmer = (min(group[t], key=lambda r, row=row: stress_apart(r, row)) for t in (cool, warm))  # type: ignore[misc]
                found.append((row, cooler, warmer))
    return found


def stress_apart(row: Row, other: Row) -> float:
    return abs(float(np.log(float(row["stress_MPa"]) / float(other["stress_MPa"]))))


def published(row: Row, hours: int) -> tuple[Run, float]:
    """The first so many readings of a curve as a run, and its strain at 10 000 h."""
    strain, stress = curve(row)
    noise = float(np.mean(0.0018 * strain[:hours] + 3e-5))
    run = run_of(HOURS[:hours], strain[:hours], stress, noise, f"{row['material']} at {row['T_C']} degC, {stress:g} MPa")
    return replace(run, temperature=float(row["T_C"])), float(strain[-1])


def curves(path: Path, every: int) -> None:
    quantiles: dict[str, list[Array]] = {"alone": [], "with both": []}
    materials = []
    for row, cooler, warmer in neighbours_of(path)[::every]:
        run, truth = published(row, 3)
        known = [published(r, 5)[0] for r in (cooler, warmer)]
        found = fit_known(run, known, anyway=True)
        for label, one in (("alone", found.alone), ("with both", found)):
            drawn = one.draws.deformation(LoadHistory.held(run.working_load), HOURS[-1:])[:, 0] / truth
            quantiles[label].append(np.quantile(drawn, QUANTILES))
        materials.append(row["material"])
        ends = [f"{label} {q[-1][0]:.3f} to {q[-1][4]:.3f}, median {q[-1][2]:.3f}" for label, q in quantiles.items()]
        print(f"{run.name}: {'; '.join(ends)}; {len(found.used)} of 2 known count", flush=True)
    for label, q in quantiles.items():
        print(report(np.array(q), materials, label))


def simulate(given: argparse.Namespace) -> None:
    tested = tuple(given.tested)
    for label in (name for name in TRUTHS if (given.only or "") in name):
        done = joblib.Parallel(given.jobs)(joblib.delayed(one)(label, s, tested, given.service) for s in range(given.runs))
        ends, truth = np.array([d[0] for d in done]), np.array([d[1] for d in done])
        holds = 100 * ((ends[:, 0] <= truth) & (truth <= ends[:, 1])).mean(axis=0)
        above = 100 * (truth > ends[:, 1]).mean(axis=0)
        width = np.median((ends[:, 1] - ends[:, 0]) / truth, axis=0)
        shift = np.median([d[2] for d in done])
        print(
            f"{label:29} {tested} at {given.service:g}: "
            f"holds {holds[0]:.0f}, {holds[1]:.0f} %; above {above[0]:.0f}, {above[1]:.0f} %; "
            f"width {width[0]:.3f}, {width[1]:.3f}; median probability of a shift {shift:.2f}",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="command", required=True)
    of_curves = commands.add_parser("curves")
    of_curves.add_argument("path", type=Path)
    of_curves.add_argument("--every", type=int, default=1)
    simulated = commands.add_parser("simulate")
    simulated.add_argument("--runs", type=int, default=60)
    simulated.add_argument("--jobs", type=int, default=1)
    simulated.add_argument("--only", help="truths whose names hold this")
    simulated.add_argument("--tested", type=float, nargs="+", default=[23.0, 43.0])
    simulated.add_argument("--service", type=float, default=33.0)
    given = parser.parse_args()
    if given.command == "curves":
        curves(given.path, given.every)
    else:
        simulate(given)


if __name__ == "__main__":
    main()
