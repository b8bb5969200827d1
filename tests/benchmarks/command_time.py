"""What commands cost beside the bare imports of numpy, scipy.optimize, lmfit and pandas.

    python tests/benchmarks/command_time.py [--times 7] [--against OTHER_COPY]

Each command is a process of its own on the demo's strip, in turns with the others; printed are the least processor times
and their ratios to that of the imports, which depend less on what else the machine is doing. Compiled files are kept, as
they are wherever the package is installed, and a first round that writes them is not counted. With --against the same
commands of another copy of the sources take their turns too. The aims are 0.65 for `fit` and 0.6 for `check`; the exit code
is 1 where one is missed.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).parents[2]
BARE = "import numpy, scipy.optimize, lmfit, pandas"
START = "from creepfit.cli.commands import main; main()"
COMMANDS = {"fit": ["fit"], "check": ["check"], "forecast": ["forecast", "--at", "1 year"]}
AIMS = {"fit": 0.65, "check": 0.6}


def processor_time(code: str, arguments: list[str], copy: Path, compiled: str) -> float:
    """Processor time in s of one process."""
    env = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    env |= {"PYTHONPYCACHEPREFIX": compiled, "OPENBLAS_NUM_THREADS": "1"}
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    # with -c the folder it is called in comes first among those that are looked through
    subprocess.run([sys.executable, "-c", code, *arguments], check=True, stdout=subprocess.DEVNULL, env=env, cwd=copy)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=7)
    parser.add_argument("--against", type=Path)
    asked = parser.parse_args()
    strip = str(HERE / "demo" / "petg-strip.toml")
    jobs: dict[str, tuple[str, list[str], Path]] = {"imports": (BARE, [], HERE)}
    for name, (command, *options) in COMMANDS.items():
        jobs[name] = (START, [command, strip, *options], HERE)
        if asked.against is not None:
            jobs[f"{name}, other"] = (START, [command, strip, *options], asked.against.resolve())
    least = dict.fromkeys(jobs, float("inf"))
    with tempfile.TemporaryDirectory() as compiled:
        for turn in range(asked.times + 1):
            for name, job in jobs.items():
                took = processor_time(*job, compiled)
                least[name] = min(least[name], took) if turn else least[name]
    for name, took in least.items():
        print(f"{name:<16} {took:5.2f} s  {took / least['imports']:.2f}")
    sys.exit(any(least[name] > aim * least["imports"] for name, aim in AIMS.items()))


if __name__ == "__main__":
    main()
