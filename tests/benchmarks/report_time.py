"""What a report costs: the whole process for one run of five days, and for a page of forty materials.

    python tests/benchmarks/report_time.py [--times 5] [--materials 40]

Each is the command `creepfit report` in a process of its own, from its start to the written page. The first call is not
counted: it compiles and fills the file cache. Printed are the best and the middle of the wall-clock times, and the
processor time of the process with its workers, which depends less on what else the machine is doing. The aims are 1.5 s
for one run and 20 s for forty on two quiet cores, and 1.5 MB for either page; the exit code is 1 where one is missed.
"""

from __future__ import annotations

import argparse
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from batch import write_runs

DEMO = Path(__file__).parents[2] / "demo"
START = "from creepfit.cli.commands import main; main()"
ONE, FORTY, WEIGHT = 1.5, 20.0, 1.5e6


def timed(arguments: list[str]) -> tuple[float, float]:
    """Wall-clock and processor time in s of one call."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    # compiled files are kept, as they are wherever the package is installed
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run([sys.executable, "-c", START, "report", *arguments], check=True, stderr=subprocess.DEVNULL, env=env)
    wall, after = time.perf_counter() - start, resource.getrusage(resource.RUSAGE_CHILDREN)
    return wall, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def measure(what: str, source: Path, times: int, aim: float, folder: Path) -> bool:
    """Print the times of one kind of page; say whether the aims are met."""
    page = folder / "report.html"
    arguments = [str(source), "-o", str(page), "--force"]
    timed(arguments)
    walls, works = zip(*(timed(arguments) for _ in range(times)), strict=True)
    weight = page.stat().st_size
    print(
        f"{what:<14} best {min(walls):5.2f} s, middle {statistics.median(walls):5.2f} s (aim {aim:g} s), "
        f"processor {min(works):5.2f} s, page {weight / 1e6:.2f} MB"
    )
    return min(walls) <= aim and weight <= WEIGHT


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--materials", type=int, default=40)
    asked = parser.parse_args()
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        runs = folder / "runs"
        write_runs(runs, asked.materials)
        met = [
            measure("one run", DEMO / "petg-strip.toml", asked.times, ONE, folder),
            measure(f"{asked.materials} materials", runs, max(1, asked.times // 3), FORTY * asked.materials / 40, folder),
        ]
    sys.exit(0 if all(met) else 1)


if __name__ == "__main__":
    main()
