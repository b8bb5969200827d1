"""Runs of a logger: seconds of a core and memory to read, fit and forecast five and a half days of so many readings.

    python tests/benchmarks/logger_runs.py 2000 100000 1000000 4300000
    python tests/benchmarks/logger_runs.py --against-all 500 900 --noises 10

Each size is a process of its own; the readings are invented (Findley, n = 0.2, noise 0.002 mm, a temperature column). With
`--against-all` the answer by averages stands beside that by every reading as it is: how far their ends are apart, in parts
of the interval, and how far those of every reading are by other draws.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

RUN = """\
format = 1
[run]
material = "PETG"
[specimen]
test = "cantilever"
length = "60 mm"
width = "12 mm"
thickness = "4 mm"
[gauge]
resolution = "0.001 mm"
repeatability = "0.002 mm"
[[load]]
at = "0 s"
mass = "0.2 kg"
[[load]]
at = "5 d"
mass = "0 kg"
[readings]
file = "log.csv"
"""
DAY = 86400.0


def creep(t: np.ndarray) -> np.ndarray:
    return np.where(t > 0.0, 1.0 + 0.5 * (np.maximum(t, 0.0) / (5 * DAY)) ** 0.2, 0.0)


def write(folder: Path, count: int, noise: int = 1) -> None:
    rng = np.random.default_rng(noise)
    t = np.linspace(-600.0, 5.5 * DAY, count)
    reading = 5.0 + creep(t) - creep(t - 5 * DAY) + 0.002 * rng.standard_normal(count)
    table = np.column_stack([t, reading, 23.0 + 0.5 * np.sin(2.0 * np.pi * t / DAY)])
    with open(folder / "log.csv", "w", encoding="utf-8") as file:
        file.write("time [s],reading [mm],temperature [degC]\n")
        np.savetxt(file, table, fmt="%.2f,%.3f,%.2f")
    (folder / "run.toml").write_text(RUN, encoding="utf-8")


def measure(folder: Path) -> None:
    import creepfit as cf

    start = time.process_time()
    run = cf.read_run(folder / "run.toml")
    read = time.process_time()
    fitted = cf.fit(run)
    row = cf.forecast(fitted, at=["30 d"]).to_dict()["forecast"][0]
    end = time.process_time()  # of the whole process, imports too
    rows = len(run.readings) if run.logger is None else run.logger.rows
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(
        f"{rows:>9} rows to {len(run.readings):>3}: read {read - start:6.2f} s, fit and forecast {end - read:5.2f} s, "
        f"process {end:5.2f} s, {memory:5.0f} MB; 30 d: {row['low']:.4f} {row['median']:.4f} {row['high']:.4f} mm "
        "(true 1.7155)",
        flush=True,
    )


def against_all(folder: Path) -> None:
    import creepfit as cf
    from creepfit.records import averaged

    answers, seconds = [], []
    for most, seed in ((averaged.MOST, 1), (sys.maxsize, 1), (sys.maxsize, 2)):
        averaged.MOST = most
        start = time.process_time()
        fitted = cf.fit(cf.read_run(folder / "run.toml"), seed=seed)
        rows = cf.forecast(fitted, at=["30 d", "1 year"]).to_dict()["forecast"]
        seconds.append(time.process_time() - start)
        answers.append(np.array([[row[k] for k in ("low", "median", "high")] for row in rows]))
    means, every, again = answers
    apart, drawn = (np.abs(other - every).max(axis=1) / (every[:, 2] - every[:, 0]) for other in (means, again))
    print(
        f"{folder.name}: {seconds[0]:.2f} and {seconds[1]:.2f} s; 30 d {apart[0]:.3f}, 1 year {apart[1]:.3f}; "
        f"by other draws {drawn[0]:.3f}, {drawn[1]:.3f}",
        flush=True,
    )


def main() -> None:
    first, *rest = sys.argv[1:]
    if first in ("--measure", "--compare"):
        (measure if first == "--measure" else against_all)(Path(rest[0]))
        return
    how, counts, noises = "--measure", sys.argv[1:], 1
    if first == "--against-all":
        how, counts = "--compare", rest
    if "--noises" in counts:
        counts, noises = counts[:-2], int(counts[-1])
    for count, noise in ((count, noise) for count in counts for noise in range(1, noises + 1)):
        with tempfile.TemporaryDirectory() as parent:
            folder = Path(parent) / f"{count}, noise {noise}"
            folder.mkdir()
            write(folder, int(count), noise)
            subprocess.run([sys.executable, __file__, how, str(folder)], check=True)


if __name__ == "__main__":
    main()
