"""What a batch costs: runs a second on one and two workers, memory, growth with the number of runs; and refits.

    python tests/benchmarks/batch.py [--runs 60] [--grow 100,300] [--kept 1000,10000] [--refits 2000]
    python tests/benchmarks/batch.py --many 10000 --folder FOLDER [--jobs 2]

Run files are simulated: five days under load, eleven readings, two of them after unloading, each with a material of its
own. "runs a second" is of whole batches into an empty folder, workers started and warm. "memory" is the peak of this
process, and of the largest worker. "grow" fits batches of growing size on two workers; "kept" asks again for batches of
which every result is there already, which is all that a batch costs besides fitting: reading, comparing, naming. The
time of 10 000 runs is scaled from the largest batch that was fitted, with the cost of keeping 10 000 measured.

"many" is one batch of so many runs in a folder that stays, and nothing else: every 500 runs a line with wall time and
processor time a run (of this process and its workers, since the line before) and peak memory. Stopped and started again it
goes on; what is there already is counted as kept. At its end a shelf of the first 1000 results and one of all are timed:
nothing of them is to be fitted again.

"refits" sets one model's best fits to simulated readings of one run, all at once, against a loop of scipy's curve_fit on
the same data, started at the truth: without bounds, its quickest way (Levenberg and Marquardt in MINPACK), and with the
bounds that refits keep. Residual sums are compared where the first lies within the bounds. All is in processor time,
which depends less on what else the machine is doing.
"""

from __future__ import annotations

import argparse
import contextlib
import json
import os
import resource
import shutil
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import OptimizeWarning, curve_fit

from creepfit.answers.materials.batch import Batch, fit_all
from creepfit.answers.materials.shelf import shelf
from creepfit.inference.columns import observations
from creepfit.inference.model_fit import fit_model
from creepfit.inference.refit import refit
from creepfit.models.findley import Findley
from creepfit.records.files import read_run

Array = NDArray[np.float64]
HOURS = np.array([1 / 60, 0.5, 2.0, 24.0, 48.0, 72.0, 96.0, 120.0])
AFTER = np.array([1 / 60, 24.0])

RUN = """\
format = 1
[run]
material = "M{number}"
temperature = "23 degC"
[specimen]
test = "cantilever"
length = "80 mm"
width = "12 mm"
thickness = "5 mm"
[gauge]
resolution = "0.01 mm"
repeatability = "0.01 mm"
[[load]]
at = "0 s"
mass = "0.2 kg"
[[load]]
at = "5 d"
mass = "0 kg"
[readings]
time = {times}
reading = {readings}
"""


def write_runs(folder: Path, count: int, seed: int = 0, recovery: bool = True) -> None:
    """Simulated run files."""
    rng = np.random.default_rng(seed)
    folder.mkdir()
    hours = np.concatenate([[-1 / 60], HOURS, 120.0 + AFTER]) if recovery else np.concatenate([[-1 / 60], HOURS])
    since, off = np.maximum(hours, 0.0), np.maximum(hours - 120.0, 0.0)
    for number in range(count):
        instant, share, n = 2.0 * np.exp(0.3 * rng.standard_normal()), rng.uniform(0.05, 0.3), rng.uniform(0.08, 0.3)
        moved = instant * (((hours > 0.0) & (off == 0.0)) + share * (since**n - np.where(off > 0.0, off**n, 0.0)))
        shown = np.round(12.4 + moved + 0.01 * rng.standard_normal(hours.size), 2)
        times, readings = [f"{60.0 * h:.6g} min" for h in hours], [f"{r:.2f} mm" for r in shown]
        text = RUN.format(number=number, times=json.dumps(times), readings=json.dumps(readings))
        (folder / f"run-{number:05d}.toml").write_text(text, encoding="utf-8")


def timed(runs: Path, into: Path, jobs: int) -> tuple[float, Batch]:
    begin = time.perf_counter()
    done = fit_all([runs], into, jobs)
    return time.perf_counter() - begin, done


def memory() -> str:
    """Peak resident memory so far, of this process and of its largest child that is alive (Linux)."""
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    peaks = []
    for status in Path("/proc").glob("[0-9]*/status"):
        with contextlib.suppress(OSError):
            facts = dict(line.split(":", 1) for line in status.read_text().splitlines() if ":" in line)
            if facts["PPid"].strip() == str(os.getpid()) and "VmHWM" in facts:
                peaks.append(int(facts["VmHWM"].split()[0]) / 1024)
    return f"peak {own:.0f} MB" + (f", largest worker {max(peaks):.0f} MB" if peaks else "")


def processor_time() -> float:
    """Of this process and its children that are alive or ended, s (Linux)."""
    own = time.process_time() + sum(resource.getrusage(resource.RUSAGE_CHILDREN)[:2])
    for stat in Path("/proc").glob("[0-9]*/stat"):
        with contextlib.suppress(OSError):
            fields = stat.read_text().rpartition(")")[2].split()
            if fields[1] == str(os.getpid()):
                own += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return own


def many(place: Path, count: int, jobs: int) -> None:
    """One batch of so many runs, resumed where it was stopped."""
    if not (place / "runs").exists():
        place.mkdir(parents=True, exist_ok=True)
        write_runs(place / "runs-unfinished", count)
        (place / "runs-unfinished").rename(place / "runs")
    done, since, used = 0, time.perf_counter(), processor_time()
    begin, begin_used = since, used

    def step() -> None:
        nonlocal done, since, used
        done += 1
        if done % 500 == 0:
            now, cpu = time.perf_counter(), processor_time()
            wall, each = 2.0 * (now - since), 2.0 * (cpu - used)
            print(f"{done:6d}: {wall:6.1f} ms a run on {jobs} workers, {each:6.1f} ms of a core, {memory()}", flush=True)
            since, used = now, cpu

    batch = fit_all([place / "runs"], place / "results", jobs, step=step)
    wall, cpu = time.perf_counter() - begin, processor_time() - begin_used
    each = 1e3 / max(len(batch.saved), 1)
    print(f"{batch.headline}: {wall:.0f} s, {each * wall:.1f} ms a run fitted, {each * cpu:.1f} ms of a core", flush=True)
    for some in (batch.files[:1000], batch.files):
        begin, begin_used = time.perf_counter(), processor_time()
        table = shelf(some, jobs)
        wall, cpu = time.perf_counter() - begin, processor_time() - begin_used
        print(f"shelf of {len(table.rows)}: {wall:.2f} s, {cpu:.2f} s of a core, {memory()}", flush=True)


def workers(place: Path, count: int) -> None:
    """Runs a second on one and on two workers, and whether they come to the same files."""
    write_runs(place / "runs", count)
    write_runs(place / "warm", 4, seed=9)
    results = {}
    for jobs in (1, 2):
        timed(place / "warm", place / f"warm-{jobs}", jobs)
        elapsed, done = timed(place / "runs", place / f"out-{jobs}", jobs)
        results[jobs] = {Path(f).name: Path(f).read_bytes() for f in done.saved}
        name = "1 worker: " if jobs == 1 else f"{jobs} workers:"
        print(f"{name} {count / elapsed:6.2f} runs a second ({elapsed:.1f} s), {memory()}", flush=True)
    print("results the same to the last byte:", results[1] == results[2])


def growth(place: Path, sizes: list[int], kept: list[int]) -> None:
    """Seconds a run as batches grow, and what it costs to find that all is done."""
    rate = float("nan")
    for count in sizes:
        write_runs(place / f"grow-{count}", count, seed=count)
        elapsed, _ = timed(place / f"grow-{count}", place / f"grown-{count}", 2)
        rate = elapsed / count
        print(f"{count:6d} runs fitted: {elapsed:7.1f} s, {1e3 * rate:6.1f} ms a run, {memory()}", flush=True)
    for count in kept:
        runs, results = place / f"kept-{count}", place / f"there-{count}"
        write_runs(runs, count, seed=1)
        first = json.loads(Path(timed_one(runs, place)).read_text(encoding="utf-8"))
        results.mkdir()
        for file in sorted(runs.iterdir()):
            content = first | {"run": json.loads(read_run(file).source)}
            (results / f"{file.stem}.json").write_text(json.dumps(content), encoding="utf-8")
        elapsed, done = timed(runs, results, 2)
        assert len(done.kept) == count, done.failed[:1]
        total = f"; {count} fitted would take {count * rate / 60:.0f} min (scaled)" if sizes else ""
        each = f"{1e3 * elapsed / count:6.2f} ms a run"
        print(f"{count:6d} runs kept:   {elapsed:7.1f} s, {each}, {memory()}{total}", flush=True)


def timed_one(runs: Path, place: Path) -> str:
    """A result to copy."""
    shutil.rmtree(place / "one", ignore_errors=True)
    return fit_all([min(runs.iterdir())], place / "one", 1).saved[0]


def refits(place: Path, count: int) -> None:
    """Refits of one model at once against a loop of curve_fit."""
    write_runs(place / "refit", 1, seed=4, recovery=False)
    run = read_run(place / "refit" / "run-00000.toml")
    observed = observations(run)
    found = fit_model(Findley(), observed, run)
    root = np.linalg.cholesky(observed.noise.correlation)
    noise = np.random.default_rng(1).standard_normal((count, observed.times.size)) @ root.T
    values = observed.values - found.residuals + 0.005 * noise
    refit(found.model, observed, values)  # so that neither pays for imports and first pages of memory
    begin = time.process_time()
    many = refit(found.model, observed, values)
    at_once = time.process_time() - begin

    hours, loaded = np.maximum(observed.times, 0.0) / 3600.0, (observed.times > 0.0).astype(float)
    size = observed.factor * observed.load
    whiten = np.linalg.inv(root)

    def whitened(_: Array, zero: float, instant: float, creep: float, n: float) -> Array:
        return np.asarray(whiten @ (zero + loaded * (instant + creep * hours**n)))

    start = (float(values[0, 0]), size * found.amplitudes[0], size * found.amplitudes[1], found.shape[0])
    targets = values @ whiten.T
    quick, sums, inside = looped(whitened, hours, targets, start, {})
    bounds = {"bounds": ([-np.inf, 0.0, 0.0, 0.005], [np.inf, np.inf, np.inf, 0.95])}
    bounded, _, _ = looped(whitened, hours, targets[:: max(count // 200, 1)], start, bounds)
    apart = np.abs(many.residual_sums[inside] / sums[inside] - 1.0)
    print(
        f"{count} refits: at once {1e6 * at_once / count:.0f} us each; curve_fit without bounds {1e6 * quick:.0f} us "
        f"({quick * count / at_once:.0f} times), with the bounds that the refits keep {1e6 * bounded:.0f} us "
        f"({bounded * count / at_once:.0f} times, on every tenth); residual sums of {inside.sum()} differ by "
        f"{apart.max():.1e}"
    )


def looped(
    model: Callable[..., Array], hours: Array, targets: Array, start: tuple[float, ...], more: dict[str, Any]
) -> tuple[float, Array, NDArray[np.bool_]]:
    """Processor time of curve_fit on one set of readings, residual sums, and where they lie within the bounds."""
    sums, inside = np.full(targets.shape[0], np.nan), np.zeros(targets.shape[0], dtype=bool)
    begin = time.process_time()
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", OptimizeWarning)
        for i, target in enumerate(targets):
            with contextlib.suppress(RuntimeError):  # it gives up after some hundred steps
                best, _ = curve_fit(model, hours, target, start, **more)
                rest = target - model(hours, *best)
                sums[i], inside[i] = rest @ rest, best[1] > 0.0 and best[2] > 0.0 and 0.005 < best[3] < 0.95
    return (time.process_time() - begin) / targets.shape[0], sums, inside


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, default=60, help="runs in the batch that one and two workers do; 0 for none")
    parser.add_argument("--grow", default="100,300", help="sizes of batches that are fitted; empty for none")
    parser.add_argument("--kept", default="1000,10000", help="sizes of batches that are there already; empty for none")
    parser.add_argument("--refits", type=int, default=2000, help="0 for none")
    parser.add_argument("--many", type=int, default=0, help="runs of one batch in a folder that stays, and nothing else")
    parser.add_argument("--folder", default="", help="where; a batch that was stopped there goes on")
    parser.add_argument("--jobs", type=int, default=2)
    asked = parser.parse_args()
    if asked.many:
        many(Path(asked.folder), asked.many, asked.jobs)
        return
    with tempfile.TemporaryDirectory() as folder:
        if asked.refits:
            refits(Path(folder), asked.refits)
        if asked.runs:
            workers(Path(folder), asked.runs)
        growth(Path(folder), *([int(n) for n in text.split(",") if n] for text in (asked.grow, asked.kept)))


if __name__ == "__main__":
    main()
