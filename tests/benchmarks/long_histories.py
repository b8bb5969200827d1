"""What ten years of hourly load changes cost, and how exact they are: one pass against direct summation.

    python tests/benchmarks/long_histories.py [--steps 1000,10000,87600,1000000] [--draws 4000] [--direct 100000]

A five-day run is simulated, all members of its mixture are fitted and drawn from. The deformation of every draw is
worked out at 200 times under loads that change every hour: 160 times under load, 40 of recovery from a second to
two years after the last unloading. "pass" is the best of three, with the making of the load history left out and
everything else in; "memory" is the peak above what was there before, result included.

"direct" is the same draws by direct summation at 5 of the 200 times, its time scaled to 200: summing all of them
would take minutes. It is a favourable account of it: draws with the same shape share their columns, and set columns
take the fast way. "direct", "a change" and "ratio" are in processor time, which depends less on what else the machine
is doing. Errors are those at the 5 times, relative to each draw's largest deformation there.
"""

from __future__ import annotations

import argparse
import time
import tracemalloc
from collections import Counter
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.columns import Observations
from creepfit.inference.mixture import Draws, mixture
from creepfit.inference.noise import Noise
from creepfit.inference.priors import priors_for
from creepfit.mechanics import long_history
from creepfit.mechanics.loading import LoadHistory, superpose
from creepfit.models.findley import PurePower
from creepfit.models.model import Span

HOUR, DAY, YEAR = 3600.0, 86400.0, 365.25 * 86400.0
TIMES, RECOVERY = 200, 40
CHECKED = (80, 159, 160, 180, 199)
WIDTHS = (9, 9, 10, 10, 8, 10, 7, 9)

Array = NDArray[np.float64]


def five_day_run(seed: int) -> Observations:
    """Invented readings: 1 mm at once, 0.6 mm more in five days by a power law, 0.01 mm noise, two days of recovery."""
    times = np.array([-60.0, 60.0, *DAY * np.arange(1, 6), 5 * DAY + 60, 5 * DAY + HOUR, 6 * DAY, 7 * DAY])
    history = LoadHistory.from_steps([(0.0, 0.0, 1.0), (5 * DAY, 0.0, 0.0)])
    creep = 0.23 * superpose(PurePower(), history, times, np.array([0.2]))[0]
    scatter = 0.01 * np.random.default_rng(seed).standard_normal(times.size)
    readings = history.at(times) + creep + scatter
    noise = Noise(0.01, 5.0, np.eye(times.size), 0, "")
    return Observations(
        times, readings, np.ones((times.size, 1)), history, 1.0, 1.0, noise, Span(60.0, 5 * DAY), True, True
    )


def hourly(steps: int) -> tuple[LoadHistory, Array]:
    """Load changes every hour, the last one to nothing, and the times asked for."""
    loads = np.random.default_rng(7).uniform(0.1, 1.0, steps)
    loads[-1] = 0.0
    at = HOUR * np.arange(steps)
    history = LoadHistory(at, at, np.diff(loads, prepend=0.0))
    under = np.linspace(0.0, at[-1], TIMES - RECOVERY + 1)[1:]
    return history, np.concatenate([under, at[-1] + np.geomspace(1.0, 2 * YEAR, RECOVERY)])


def passed(draws: Draws, steps: int) -> tuple[float, float, float]:
    """Wall time and processor time in s (best of three), peak memory in MB."""
    wall, processor = [], []
    for _ in range(3):
        history, times = hourly(steps)
        begin, begin_cpu = time.perf_counter(), time.process_time()
        draws.deformation(history, times)
        wall.append(time.perf_counter() - begin)
        processor.append(time.process_time() - begin_cpu)
    history, times = hourly(steps)
    tracemalloc.start()
    draws.deformation(history, times)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return min(wall), min(processor), peak / 1e6


def direct(draws: Draws, steps: int) -> tuple[float, float]:
    """Processor time of direct summation scaled to all times, and the largest error relative to a draw's peak."""
    history, times = hourly(steps)
    quick = draws.deformation(history, times)[:, CHECKED]
    begin = time.process_time()
    with patch.object(long_history, "DIRECT_LIMIT", 10**9):
        exact = draws.deformation(history, times[list(CHECKED)])
    elapsed = time.process_time() - begin
    error = np.abs(quick - exact) / np.abs(exact).max(axis=1, keepdims=True)
    return elapsed * TIMES / len(CHECKED), float(error.max())


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--steps", default="1000,10000,87600,1000000", help="numbers of load changes")
    parser.add_argument("--draws", type=int, default=4000)
    parser.add_argument("--direct", type=int, default=100_000, help="most load changes to sum directly as well")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    draws = mixture(five_day_run(asked.seed), priors_for(None), age=2 * DAY).draws(asked.draws)
    members: Counter[str] = Counter()
    for group in draws.groups:
        clock = "" if group.member.rate is None else f", clock of rate {group.member.rate:.2g}"
        members[f"{group.member.model.name}{clock}"] += group.rows.size
    print(f"{asked.draws} draws:", "; ".join(f"{count} {name}" for name, count in members.items()))
    print(f"{TIMES} times; direct summation timed at {len(CHECKED)} of them and scaled\n")
    heads = zip(("changes", "pass", "processor", "a change", "memory", "direct", "ratio", "error"), WIDTHS, strict=True)
    print(" ".join(f"{head:>{width}}" for head, width in heads))
    for steps in map(int, asked.steps.split(",")):
        wall, processor, memory = passed(draws, steps)
        line = f"{steps:9d} {wall:7.3f} s {processor:8.3f} s {1e6 * processor / steps:7.2f} us {memory:5.0f} MB"
        if steps <= asked.direct:
            summed, error = direct(draws, steps)
            line += f" {summed:8.1f} s {summed / processor:7.0f} {error:9.1e}"
        print(line, flush=True)


if __name__ == "__main__":
    main()
