"""How well a forecast holds that knows a long run of the same material.

    python tests/benchmarks/known_runs.py curves PATH/long_run_curves.csv [--every 1] [--into FILE]
    python tests/benchmarks/known_runs.py simulate [--pairs 100] [--first 0]

Curves: within a material and a temperature the middle load's published curve to 10 000 h is the known run, and 1, 10 and
100 h of each other load's are the new one; scored at 10 000 h. The file of results is gone on with, so that a run may be
stopped. Five folds by material, the departure chosen on four by log score, reported on the fifth; and materials of odd and
of even number. The tables may have been smoothed across loads by their makers, which would make such forecasts look better
than between two bars of a workshop; hence the second part.

Simulated: two specimens of one material, n = 0.15, with 10 % of scatter in stiffness and in creep, independent, and n that
differs between specimens; the known one read sparsely over 200 d, the new one for five days; scored at 200 d,
10 000 h and 3 years. By the power family alone, which made the truth.

What it measured is in README.md.
"""

from __future__ import annotations

import argparse
import csv
import json
from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from creepfit.errors import CreepfitError
from creepfit.inference.belonging import SeveralSets
from creepfit.inference.departing import DEPARTURE_PER_DIFFERENCE, REVERTS
from creepfit.inference.known import KnownFit, fit_known
from creepfit.inference.mixture import Mixture
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import LoadHistory
from creepfit.mechanics.specimen import Direct
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, HOUR

Array = NDArray[np.float64]
HOURS = np.array([1.0, 10.0, 100.0, 1000.0, 10000.0]) * HOUR
QUANTILES = (0.05, 0.25, 0.5, 0.75, 0.95)
SETTINGS = (*product((0.12, 0.16, 0.18, 0.2), (0.5,)), (0.12, 0.75), (0.16, 0.75))
"""Departures per difference, and by how much of the way what is a specimen's own goes back."""

OURS = SETTINGS.index((DEPARTURE_PER_DIFFERENCE, REVERTS))
DRAWS = 2000
ALONE = Priors(weights={"power-family": 1.0})


def run_of(times: Array, strain: Array, stress: float, noise: float, name: str) -> Run:
    # tables give strain from zero; several readings of it would count as readings that can speak for a model
    readings = (Reading(-60.0, 0.0), *(Reading(float(t), float(y)) for t, y in zip(times, strain, strict=True)))
    gauge = Gauge(noise / 20.0, noise, "as given", drift=0.0)
    return Run("X", Direct("strain"), gauge, (LoadStep(0.0, stress),), readings, name=name)


def pairs_of(path: Path) -> list[tuple[dict[str, str], dict[str, str]]]:
    """Known and new curve of each pair."""
    groups: dict[tuple[str, str], list[dict[str, str]]] = {}
    for row in csv.DictReader(path.open()):
        groups.setdefault((row["material"], row["T_C"]), []).append(row)
    found = []
    for group in groups.values():
        ordered = sorted(group, key=lambda r: float(r["stress_MPa"]))
        middle = ordered[len(ordered) // 2]
        found += [(middle, row) for row in ordered if row is not middle]
    return found


def curve(row: dict[str, str]) -> tuple[Array, float]:
    strain = np.array([float(row[f"strain_pct_{h}h"]) for h in (1, 10, 100, 1000, 10000)]) / 100.0
    return strain, float(row["stress_MPa"])


def score(found: KnownFit, load: float, at: float, truth: float, seed: int) -> tuple[list[list[float]], list[float]]:
    """Quantiles over truth (settings, 5) and log scores (settings,) for every departure tried."""
    quantiles, scores = [], []
    for per_difference, reverts in SETTINGS:
        mixture = under(found.mixture, per_difference, reverts)
        drawn = mixture.draws(DRAWS, seed).deformation(LoadHistory.held(load), np.array([at]))[:, 0] / truth
        quantiles.append([float(q) for q in np.quantile(drawn, QUANTILES)])
        logs = np.log(np.maximum(drawn, 1e-9))
        width = 1.06 * min(logs.std(), float(np.ptp(np.quantile(logs, [0.25, 0.75]))) / 1.35) * DRAWS**-0.2 + 1e-4
        kernel = np.exp(-0.5 * (logs / width) ** 2) / width / np.sqrt(2.0 * np.pi)
        scores.append(float(np.log(kernel.mean() + 1e-6)))
    return quantiles, scores


def under(mixture: Mixture, per_difference: float, reverts: float) -> Mixture:
    """The mixture of known runs, and all that are mixed with it, with another departure."""
    if isinstance(mixture, SeveralSets):
        others = tuple((p, under(other, per_difference, reverts)) for p, other in mixture.others)
        mixture = replace(mixture, others=others)
    if mixture.tested is None:
        return mixture
    apart = mixture.tested.reverts / REVERTS
    tested = replace(mixture.tested, per_difference=apart * per_difference, reverts=apart * reverts)
    return replace(mixture, tested=tested)


def curves(path: Path, every: int, into: Path) -> None:
    """Work out what is not yet in the file `into`, in an order of chance so that any part of it is a sample, and report."""
    pairs = list(enumerate(pairs_of(path)))[::every]
    done = {json.loads(line)["pair"] for line in into.open()} if into.exists() else set()
    for place in np.random.default_rng(1).permutation(len(pairs)):
        number, (middle, row) = pairs[place]
        if number in done:
            continue
        (known, known_load), (new, load) = curve(middle), curve(row)
        noise = [float(np.mean(0.0018 * s + 3e-5)) for s in (new[:3], known)]
        try:
            found = fit_known(
                replace(run_of(HOURS[:3], new[:3], load, noise[0], "new"), conditioning=row["state"]),
                [replace(run_of(HOURS, known, known_load, noise[1], "known"), conditioning=middle["state"])],
                anyway=True,
                models=("power-family",),
            )
        except CreepfitError as error:
            print(row["material"], row["T_C"], row["stress_MPa"], error)
            continue
        quantiles, scores = score(found, load, HOURS[-1], float(new[-1]), number)
        ratio = new[2] / new[4] * known[4] / known[2]
        with into.open("a") as out:
            line = {"pair": number, "material": row["material"], "weight": found.weight, "ratio": float(ratio)}
            out.write(json.dumps(line | {"quantiles": quantiles, "scores": scores}) + "\n")
    told(into)


def told(into: Path) -> None:
    """What is in a file of results: by halves and folds of materials, and all together."""
    rows = [json.loads(line) for line in into.open()]
    whole, logs = np.array([r["quantiles"] for r in rows]), np.array([r["scores"] for r in rows])
    names, errors = np.array([r["material"] for r in rows]), np.abs(np.array([r["ratio"] for r in rows]) - 1.0)
    print(f"{len(rows)} curves; least weight of the known one {min(r['weight'] for r in rows):.2f}")
    print(f"plain ratio: median {100.0 * np.median(errors):.2f} %, 90th {100.0 * np.quantile(errors, 0.9):.1f} %")
    odd = np.array([int(m.lstrip("M")) % 2 == 1 for m in names])
    for half, label in ((odd, "materials of odd number"), (~odd, "of even number"), (np.ones_like(odd), "all")):
        print(report(whole[half, OURS], names[half], f"today's, {label}"))
    folds = {m: k % 5 for k, m in enumerate(np.random.default_rng(5).permutation(np.unique(names)))}
    fold = np.array([folds[m] for m in names])
    chosen = np.empty_like(whole[:, 0])
    for k in range(5):
        best = int(np.argmax(logs[fold != k].sum(axis=0)))
        print(f"fold {k}: per difference, reverts {SETTINGS[best]}")
        chosen[fold == k] = whole[fold == k, best]
    print(report(chosen, names, "five folds"))
    for i, setting in enumerate(SETTINGS):
        print(report(whole[:, i], names, f"{setting}") + f"; log score {logs[:, i].sum():.1f}")


def report(q: Array, groups: Sequence[str] | NDArray[np.str_], label: str) -> str:
    error = np.abs(q[:, 2] - 1.0)
    holds = []
    for low, high in ((1, 3), (0, 4)):
        hits = ((q[:, low] <= 1.0) & (q[:, high] >= 1.0)).astype(float)
        sums = np.array([(hits[np.asarray(groups) == g] - hits.mean()).sum() for g in np.unique(groups)])
        holds.append(f"{100.0 * hits.mean():.1f} ± {100.0 * np.sqrt(np.sum(sums**2)) / hits.size:.1f}")
    return (
        f"{label}: median {100.0 * np.median(error):.2f} %, 90th {100.0 * np.quantile(error, 0.9):.1f} %, "
        f"90 % width {np.median(q[:, 4] - q[:, 0]):.3f}, 50 % holds {holds[0]}, 90 % holds {holds[1]}; "
        f"above {100.0 * (q[:, 4] < 1.0).mean():.1f} %"
    )


def simulate(seeds: range, differences: Sequence[float]) -> None:
    new_times = np.array([60.0, 600.0, HOUR, *(DAY * k for k in range(1, 6))])
    known_times = DAY * np.array([60.0 / DAY, 1.0 / 24.0, 1.0, 3.0, 7.0, 14.0, 30.0, 60.0, 100.0, 150.0, 200.0])
    ends = np.array([200.0 * DAY, 10000.0 * HOUR, 1095.0 * DAY])

    def strain(times: Array, n: float, whole: float, creep: float) -> Array:
        grown = ((1.0 + times) ** n - 1.0) / ((1.0 + 5 * DAY) ** n - 1.0)
        return np.asarray(0.005 * whole * (1.0 + 0.5 * creep * grown))

    for apart in differences:
        quantiles = []
        for seed in seeds:
            rng = np.random.default_rng(seed)
            factors = np.exp(0.1 * rng.standard_normal((2, 2)))
            n = 0.15 + apart * rng.standard_normal(2) / np.sqrt(2.0)
            runs = []
            for i, times in enumerate((new_times, known_times)):
                shown = strain(times, n[i], *factors[i]) + 2e-5 * rng.standard_normal(times.size)
                runs.append(run_of(times, shown, 10.0, 2e-5, f"bar {i}"))
            found = fit_known(runs[0], runs[1:], models=("power-family",), priors=ALONE)
            truth = strain(ends, n[0], *factors[0])
            drawn = found.mixture.draws(DRAWS, seed).deformation(LoadHistory.held(10.0), ends)
            quantiles.append(np.quantile(drawn, QUANTILES, axis=0) / truth)
        for k, end in enumerate(ends):
            text = f"n apart by {apart:g} (sd of the difference), {end / DAY:.0f} d"
            print(report(np.array(quantiles)[:, :, k], [str(i) for i in seeds], text), flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    commands = parser.add_subparsers(dest="command", required=True)
    of_curves = commands.add_parser("curves")
    of_curves.add_argument("path", type=Path)
    of_curves.add_argument("--every", type=int, default=1)
    of_curves.add_argument(
        "--into", type=Path, default=Path("known_runs.jsonl"), help="results, one a line; goes on with it"
    )
    simulated = commands.add_parser("simulate")
    simulated.add_argument("--pairs", type=int, default=100)
    simulated.add_argument("--first", type=int, default=0, help="seed of the first pair")
    simulated.add_argument("--apart", type=float, nargs="+", default=[0.03, 0.01], help="sd of how far n is apart")
    given = parser.parse_args()
    if given.command == "curves":
        curves(given.path, given.every, given.into)
    else:
        simulate(range(given.first, given.first + given.pairs), given.apart)


if __name__ == "__main__":
    main()
