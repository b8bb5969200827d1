"""How often creep is said to be seen between readings, where there is some and where there is none.

    python tests/benchmarks/seen_creep.py [--runs 120]

Invented bars of 2.2 mm read to 0.01 mm over 30 h, 3, 5 and 14 d: with creep by a power of time (n of 0.1 to 0.3, 5 to 35 %
in five days), or at rest since the first minutes (a Kelvin unit of 0.02 to 0.2 h). The noise is 0.004 mm, or 0.01 mm, twice
what the gauge is said to have. For each the share of runs in which the last two readings, and the third and the last, are
said to differ upward by the rule of `increments` and `over_a_decade`, and the standard error over the true one.

What it measured is in README.md.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable

import numpy as np

from creepfit.answers.specimen.increments import _between
from creepfit.inference.fitting import fit
from creepfit.mechanics.specimen import Cantilever
from creepfit.records.run import Gauge, LoadStep, Reading, Run
from creepfit.units import DAY, HOUR, MINUTE, Measure

STEP = 0.01
BAR = Cantilever(length=Measure(60.0), width=Measure(12.0), thickness=Measure(4.0))
TIMES = {
    "30 h": [MINUTE, HOUR, 6 * HOUR, 24 * HOUR, 30 * HOUR],
    "3 d": [MINUTE, HOUR, DAY, 2 * DAY, 3 * DAY],
    "5 d": [MINUTE, HOUR, *(k * DAY for k in range(1, 6))],
    "14 d": [MINUTE, 10 * MINUTE, HOUR, 8 * HOUR, *(k * DAY for k in range(1, 15))],
}
Law = Callable[[float], float]


def creeping(rng: np.random.Generator) -> Law:
    n, share = rng.uniform(0.1, 0.3), rng.uniform(0.05, 0.35)
    return lambda t: 2.2 * (1.0 + share * (t / (5 * DAY)) ** n)


def at_rest(rng: np.random.Generator) -> Law:
    tau, share = rng.uniform(0.02, 0.2) * HOUR, rng.uniform(0.02, 0.2)
    return lambda t: 2.2 * (1.0 - share * float(np.expm1(-t / tau)))


def run_of(times: list[float], law: Law, seed: int, noise: float) -> Run:
    rng = np.random.default_rng(seed)
    true = [12.4, *(12.4 + law(t) for t in times)]
    shown = [round((x + noise * rng.standard_normal()) / STEP) * STEP for x in true]
    readings = tuple(Reading(float(t), float(y)) for t, y in zip([-60.0, *times], shown, strict=True))
    return Run("PETG", BAR, Gauge(STEP, 0.5 * STEP, "a dial gauge's"), (LoadStep(0.0, 3.92),), readings, temperature=22.0)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=120)
    count = parser.parse_args().runs
    print("test  bar       noise  last two  since the third  error over the true one")
    for length, times in TIMES.items():
        for name, make in (("creeping", creeping), ("at rest", at_rest)):
            for noise in (0.004, 0.01):
                seen, errors = np.zeros(2), []
                for seed in range(count):
                    result = fit(run_of(times, make(np.random.default_rng([seed, 7])), seed, noise))
                    for which, start in enumerate((len(times) - 1, 2)):
                        row = _between(result, start, len(times), result.level)
                        seen[which] += bool(row.distinguishable) and (row.change or 0.0) > 0.0
                    errors.append((row.std_error or 0.0) / np.sqrt(2.0 * (noise**2 + STEP**2 / 12.0)))
                two, since = seen / count
                print(f"{length:5} {name:9} {noise:5}  {two:8.2f}  {since:15.2f}  {np.median(errors):.2f}")


if __name__ == "__main__":
    main()
