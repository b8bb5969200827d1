"""How often a run's own trial counts against its forecast, what that widens and what it catches.

    python tests/benchmarks/trials.py --runs 12

Truths of `truths.py` as they are and with three times their creep, and bars that give way by a power of time and by water.
"""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

import joblib
import numpy as np
from numpy.typing import NDArray
from simulated_runs import of_draws
from truths import CASES, CREEP, DAY, HOUR, MINUTE, YEAR, Case, Truth

from creepfit.answers.doubts.trial import trial_doubts
from creepfit.inference.columns import observations
from creepfit.inference.priors import priors_for
from creepfit.inference.run_fit import Fit
from creepfit.mechanics.loading import LoadHistory

Array = NDArray[np.float64]
HELD, AT = LoadHistory.held(1.0), np.array([YEAR])
DRAWS = 2000


@dataclass(frozen=True)
class Softened(Truth):
    """A power of time, times what water takes off: `softer` by as much in the end, with a time of `hours`."""

    softer: float = 0.0
    hours: float = 1.0

    def response(self, history: LoadHistory, times: Array) -> Array:
        """Deformation in mm under a load held from nought on."""
        t = np.maximum(times, 0.0) / HOUR
        return np.asarray((times > 0.0) * 2.2 * (1.0 + 0.06 * t**0.2) * (1.0 - self.softer * np.expm1(-t / self.hours)))


@dataclass(frozen=True)
class More(Truth):
    """A truth with three times the creep."""

    def response(self, history: LoadHistory, times: Array) -> Array:
        """Deformation in mm: what the truth itself adds to its deformation at 1 min, three times."""
        plain = Truth(self.parts, self.age, self.rate)
        first = float(plain.response(HELD, np.array([MINUTE]))[0])
        at_once = first * history.at(times) * (times >= 0.0)
        return np.asarray(at_once + 3.0 * (plain.response(history, times) - at_once))


class Daily(Case):
    """Read at 1 min, 1 h, 8 h and every day, and never unloaded."""

    def times(self) -> Array:
        """Zero, and those."""
        return np.array([-MINUTE, MINUTE, HOUR, 8 * HOUR, *(DAY * d for d in range(1, self.days + 1))])


def sets() -> dict[str, list[Case]]:
    """Cases by what they show."""
    family = list(CASES.values())
    wet = [
        Daily(Softened((), softer=s, hours=h), days=d, unloaded=False, sd=0.006)
        for d in (7, 10, 14)
        for h in (50.0, 100.0)
        for s in (0.3, 0.8)
    ]
    more = [c.changed(truth=More(c.truth.parts)) for c in family if c.truth.age is None]
    return {"truths": family, f"creep of {3 * CREEP:.2f} mm": more, "softened by water": wet}


def tried(case: Case, seed: int) -> list[float]:
    """Whether the trial counts, whether that is said; truth above and below a year's interval, without and with it; its
    upper end with it over that without."""
    run = case.run(np.random.default_rng(seed))
    fit = Fit(run, observations(run), {}, priors_for(None), 0.9, seed)
    truth = float(case.truth.response(HELD, AT)[0])
    low, high = of_draws(fit.mixture.draws(DRAWS, seed), HELD, AT)[0][[0, 4], 0]
    plain = replace(fit.mixture, missed=0.0)
    before, upper = of_draws(plain.draws(DRAWS, seed), HELD, AT)[0][[0, 4], 0] if fit.mixture.missed else (low, high)
    said = bool(list(trial_doubts(fit, YEAR)))
    slack = 1e-4
    above, below = truth > upper * (1 + slack), truth < before * (1 - slack)
    return [fit.mixture.missed > 0, said, above, truth > high * (1 + slack), below, truth < low * (1 - slack), high / upper]


def main() -> None:
    """Print a row for each set of truths."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--runs", type=int, default=12)
    parser.add_argument("--jobs", type=int, default=2)
    given = parser.parse_args()
    print(
        "runs of | number | trial counts | is said | above, without it | above | below, without it | below | upper end over"
    )
    for name, cases in sets().items():
        work = (joblib.delayed(tried)(case, seed) for seed in range(given.runs) for case in cases)
        found = np.array(joblib.Parallel(given.jobs)(work), dtype=float)
        shares = " | ".join(f"{100.0 * share:.1f} %" for share in found[:, :6].mean(axis=0))
        print(f"{name} | {len(found)} | {shares} | mean {found[:, 6].mean():.3f}, most {found[:, 6].max():.2f}")


if __name__ == "__main__":
    main()
