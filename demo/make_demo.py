"""Invents the readings of the demo files, from stated models, with noise, rounded to what each gauge shows.

Run it in any folder: ``python demo/make_demo.py``. The same seed gives the same files. It uses nothing of creepfit, so
that the demo data do not know how they will be judged: no model that creepfit fits is the one that made them.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent
SEED = 4711
GRAVITY = 9.80665  # m/s^2
MIN, HOUR, DAY = 1.0 / 60.0, 1.0, 24.0  # everything here is in hours, N, mm, MPa

Load = tuple[float, float]  # at [h], change of load [N]


@dataclass(frozen=True)
class Plastic:
    """An invented material: D(t) = (1 + slow (t/h)^n + delayed (1 - exp(-t/tau)) + flow t/(100 h)) / modulus.

    A power law for what starts at once and never quite ends, one delayed spring, and a little that is never given back.
    """

    modulus: float
    slow: float
    n: float
    delayed: float
    tau: float
    flow: float

    def compliance(self, t: float) -> float:
        """Compliance in 1/MPa, t in h; nothing before the load."""
        if t <= 0.0:
            return 0.0
        growth = self.slow * t**self.n - self.delayed * math.expm1(-t / self.tau) + self.flow * t / 100.0
        return (1.0 + growth) / self.modulus


PETG = Plastic(modulus=1950.0, slow=0.068, n=0.19, delayed=0.015, tau=18.0, flow=0.008)
PLA = Plastic(modulus=3080.0, slow=0.030, n=0.22, delayed=0.012, tau=30.0, flow=0.006)


def cantilever(length: float, width: float, thickness: float) -> float:
    """Deflection per force and compliance at the loaded end of a clamped strip: L^3/(3 I), shear left out (0.3 %)."""
    return length**3 / (3.0 * width * thickness**3 / 12.0)


def three_point(span: float, width: float, thickness: float) -> float:
    """The same for the middle of a bar on two supports: L^3/(48 I)."""
    return span**3 / (48.0 * width * thickness**3 / 12.0)


def u_shape(leg: float, radius: float, width: float, thickness: float) -> float:
    """Opening of a U at the ends of its legs: integral of (lever arm)^2 ds / I over legs and half circle."""
    legs = 2.0 * leg**3 / 3.0
    bend = radius * (math.pi * leg**2 + 4.0 * leg * radius + math.pi * radius**2 / 2.0)
    return (legs + bend) / (width * thickness**3 / 12.0)


def readings(
    plastic: Plastic,
    geometry: float,
    loads: Sequence[Load],
    times: Sequence[float],
    start: float,
    noise: float,
    step: float,
    rng: np.random.Generator,
) -> list[float]:
    """What the gauge shows at `times` [h]: start + superposed deflection + noise [mm], rounded to `step` [mm]."""
    shown = []
    for t in times:
        deflection = geometry * sum(change * plastic.compliance(t - at) for at, change in loads)
        shown.append(round((start + deflection + noise * rng.standard_normal()) / step) * step)
    return shown


def write_table(name: str, unit: str, times: Sequence[float], values: Sequence[float], comma: bool = False) -> None:
    """Write one CSV table; `comma` as a spreadsheet with decimal commas does."""
    places = 3 if name == "petg-steps.csv" else 2
    rows = [[f"{t:.5g}", f"{v:.{places}f}"] for t, v in zip(times, values, strict=True)]
    if comma:
        rows = [[cell.replace(".", ",") for cell in row] for row in rows]
    with (HERE / name).open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file, delimiter=";" if comma else ",", lineterminator="\n")
        table.writerow([f"time [{unit}]", "reading [mm]"])
        table.writerows(rows)


def petg_strip(rng: np.random.Generator) -> None:
    force, off = 0.4 * GRAVITY, 121.0
    times = [-10 * MIN, MIN, 10 * MIN, 1.5, 23.8, 48.5, 71.9, 97.2, 120.9]
    times += [off + after for after in (MIN, HOUR, 24.4, 48.1)]
    geometry = cantilever(75.0, 14.0, 5.0)
    shown = readings(PETG, geometry, [(0.0, force), (off, -force)], times, 3.42, 0.005, 0.01, rng)
    write_table("petg-strip.csv", "h", times, shown)


def pla_strip(rng: np.random.Generator) -> None:
    force, off = 0.5 * GRAVITY, 120.0
    times = [-0.1, MIN, HOUR, 24.0, 48.0, 72.3, 96.0, 119.9]
    times += [off + after for after in (MIN, HOUR, 24.0, 48.0)]
    geometry = cantilever(75.0, 14.0, 4.9)
    shown = readings(PLA, geometry, [(0.0, force), (off, -force)], times, 1.87, 0.005, 0.01, rng)
    write_table("pla-strip.csv", "h", times, shown, comma=True)


def petg_steps(rng: np.random.Generator) -> None:
    step = 0.5 * GRAVITY
    loads = [(-2 * MIN, -0.6), *((k * 6 * MIN, step) for k in range(4)), (24 * MIN, -4 * step)]
    minutes = [-1.0]
    for k in range(4):
        minutes += [6.0 * k + after for after in (0.5, 1.0, 2.0, 5.5)]
    minutes += [24.5, 25.0, 27.0, 34.0]
    geometry = three_point(100.0, 15.0, 5.0)
    shown = readings(PETG, geometry, loads, [m * MIN for m in minutes], 0.214, 0.002, 0.001, rng)
    write_table("petg-steps.csv", "min", minutes, shown)


def petg_hook(rng: np.random.Generator) -> None:
    begun, force, off = datetime(2031, 3, 3, 8, 30), 0.25 * GRAVITY, 72.5
    times = [-0.25, 2 * MIN, 20 * MIN, 2.0, 7.5, 24.0, 31.5, 48.25, 71.0]
    times += [off + after for after in (2 * MIN, HOUR, 7.0, 24.0)]
    geometry = u_shape(30.0, 20.0, 10.0, 4.0)
    shown = readings(PETG, geometry, [(0.0, force), (off, -force)], times, 40.06, 0.015, 0.01, rng)
    when = [f'"{begun + timedelta(hours=t):%Y-%m-%d %H:%M}"' for t in times]
    path = HERE / "petg-hook.toml"
    head = path.read_text(encoding="utf-8").split("[readings]\n")[0]
    lines = ["[readings]", "when = [", *_wrapped(when), "]", "reading = ["]
    lines += [*_wrapped([f'"{value:.2f} mm"' for value in shown]), "]"]
    path.write_text(head + "\n".join(lines) + "\n", encoding="utf-8")


def petg_long(rng: np.random.Generator) -> None:
    """A strip of another spool day, a little stiffer and with a little less creep; nobody had it in a daily round."""
    plastic = replace(
        PETG, modulus=1.05 * PETG.modulus, **{k: 0.93 * getattr(PETG, k) for k in ("slow", "delayed", "flow")}
    )
    days = [-0.01, 1 / 1440, 1 / 24, 1.0, 2.1, 5.0, 9.2, 20.0, 41.3, 75.0, 118.0, 160.4, 200.0]
    times = [d * DAY for d in days]
    shown = readings(plastic, cantilever(75.0, 14.0, 5.1), [(0.0, 0.4 * GRAVITY)], times, 2.08, 0.005, 0.01, rng)
    write_table("petg-long.csv", "d", days, shown)


def petg_warm(rng: np.random.Generator) -> None:
    """A sister of strip 1 at 34 degC: 10 % softer at once, with a third more creep; no clock runs faster."""
    plastic = replace(
        PETG, modulus=PETG.modulus / 1.10, **{k: 1.22 * getattr(PETG, k) for k in ("slow", "delayed", "flow")}
    )
    force, off = 0.4 * GRAVITY, 120.0
    times = [-10 * MIN, MIN, 15 * MIN, 2.0, 24.2, 47.8, 72.0, 96.5, 119.8]
    times += [off + after for after in (MIN, HOUR, 24.0, 47.5)]
    geometry = cantilever(75.0, 14.0, 5.0)
    shown = readings(plastic, geometry, [(0.0, force), (off, -force)], times, 3.05, 0.005, 0.01, rng)
    write_table("petg-warm.csv", "h", times, shown)


def _wrapped(items: Sequence[str]) -> list[str]:
    return ["    " + ", ".join(items[i : i + 4]) + "," for i in range(0, len(items), 4)]


def main() -> None:
    """Write all files; each has its own stream of noise, so one can be changed without the others."""
    streams = [np.random.default_rng(seed) for seed in np.random.SeedSequence(SEED).spawn(6)]
    for make, rng in zip((petg_strip, pla_strip, petg_steps, petg_hook, petg_long, petg_warm), streams, strict=True):
        make(rng)


if __name__ == "__main__":
    main()
