"""What the sag of a part of ten segments costs: its tolerances, the sag alone, and what keeps a limit.

    python tests/benchmarks/part_time.py [--times 5] [--against OTHER_COPY]

The part is a cantilever that zigzags a little, each segment with a width and a thickness of its own and tolerances of
both, under its own weight, a load at its end and one in between. `stiff` sags by a hundredth of its length, `soft` so far
that its bent shape is followed. Printed are the least processor times in ms after the fit of the demo's strip, which is
not counted; with --against those of another copy of the sources, in turns with them. The aim is 50 ms for the sag alone;
the exit code is 1 where it is missed.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).parents[2]
AIM = 50.0
AT = ("30 d", "1 year")
PART = """\
format = 1
[part]
support = "cantilever"
temperature = "22 degC"
density = "1.27 g/cm^3"
[[load]]
mass = "0.05 +- 0.002 kg"
at = "end"
[[load]]
force = "0.2 N"
at = "200 +- 1 mm"
"""
SEGMENT = """\
[[segment]]
length = "{length} +- 0.5 mm"
section = "rectangle"
width = "{width:.1f} +- 0.1 mm"
thickness = "{thickness:.1f} +- 0.1 mm"
turn = "{turn} deg"
"""
LIMIT = '[limit]\nsag = "12 mm"\nlife = "1 year"\n'


def part_text(thickest: float, limit: bool) -> str:
    """A part file; `thickest` [mm] is the thickness at the root, from where it goes down by half a millimetre a segment."""
    rows = [
        SEGMENT.format(length=40 + 2 * i, width=14.0 + 0.2 * i, thickness=thickest - 0.5 * i, turn=5 if i % 2 else -5)
        for i in range(10)
    ]
    return PART + "".join(rows) + (LIMIT if limit else "")


def least(work: Callable[[Path], object], file: Path, times: int) -> float:
    """Least processor time in ms."""
    took = []
    for _ in range(times):
        before = time.process_time()
        work(file)
        took.append(time.process_time() - before)
    return 1e3 * min(took)


def measured(times: int) -> dict[str, float]:
    """Each kind of part by the sources that this process has."""
    import creepfit as cf
    from creepfit.answers.part.response import part_response

    fit = cf.fit(cf.read_run(HERE / "demo" / "petg-strip.toml"))
    out = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, thickest in (("stiff", 22.0), ("soft", 12.0)):
            files = [Path(folder) / f"{name}-{limit}.toml" for limit in (False, True)]
            for limit, file in enumerate(files):
                file.write_text(part_text(thickest, bool(limit)), encoding="utf-8")
            cf.sag(cf.read_part(files[1]), fit, AT)  # draws of the fit, and what is only imported now
            # read anew each time: a part remembers what its loads do
            out[f"{name}: tolerances"] = least(lambda file: part_response(cf.read_part(file), fit), files[0], times)
            out[f"{name}: sag"] = least(lambda file: cf.sag(cf.read_part(file), fit, AT), files[0], times)
            out[f"{name}: sag with a limit"] = least(lambda file: cf.sag(cf.read_part(file), fit, AT), files[1], times)
    return out


def of_copy(copy: Path, times: int) -> dict[str, float]:
    """The same by a copy of the sources, in a process of its own."""
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    env |= {"PYTHONPATH": str(copy), "OMP_NUM_THREADS": "1"}
    command = [sys.executable, __file__, "--here", "--times", str(times)]
    done = subprocess.run(command, check=True, capture_output=True, text=True, env=env, cwd=copy)
    found: dict[str, float] = json.loads(done.stdout)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--times", type=int, default=5)
    parser.add_argument("--against", type=Path)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.here:
        print(json.dumps(measured(asked.times)))
        return
    copies = [HERE] if asked.against is None else [HERE, asked.against.resolve()]
    rounds = [[of_copy(copy, 2) for copy in copies] for _ in range(asked.times)]
    for name in rounds[0][0]:
        print(f"{name:<24}" + "".join(f" {min(r[i][name] for r in rounds):6.0f} ms" for i in range(len(copies))))
    sys.exit(min(r[0]["stiff: sag"] for r in rounds) > AIM)


if __name__ == "__main__":
    main()
