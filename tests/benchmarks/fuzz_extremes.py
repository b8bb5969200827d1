"""Runs for `fuzz.py --extremes`: sound, but that one to four numbers lie anywhere up to what `limits.py` lets in.

What twenty thousand spoilt inputs meet once, a few hundred of these meet: sizes, loads, times, gauge and readings so far
out that sums overflow, cancel or divide by nothing.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Any

from fuzz_commands import CLIP, PARTS

from creepfit.limits import possible

UNITS = {
    "length": "mm", "mass": "kg", "force": "N", "time": "s", "compliance": "mm/N", "drift": "mm/day^0.5", "stress": "MPa",
    "temperature": "degC", "strain": "", "strain_drift": "%/day^0.5",
}  # fmt: skip


def extreme_run(rng: random.Random) -> dict[str, Any]:
    """A run in which one to four numbers are drawn anywhere between the limits of their kind, the others ordinary."""
    far = set(rng.sample(PLACES, rng.choice((1, 1, 2, 2, 3, 4))))

    def number(place: str, kind: str, *ordinary: float) -> float:
        return _anywhere(rng, kind, place in SIZES) if place in far else rng.choice(ordinary)

    def sized(place: str, kind: str, *ordinary: float) -> str:
        return f"{number(place, kind, *ordinary)!r} {UNITS[kind]}"

    test = rng.choice(
        ("tension", "compression", "three-point-bending", "four-point-bending", "cantilever", "direct", "strain")
    )
    specimen = {"test": "direct" if test == "strain" else test}
    if test not in ("direct", "strain"):
        specimen |= {"width": sized("width", "length", 12.0), "thickness": sized("thickness", "length", 2.0, 4.0, 10.0)}
        long = "span" if test.endswith("bending") else "length"
        specimen[long] = sized("length", "length", 64.0, 120.0)
    if test == "four-point-bending":
        specimen["load_span"] = f"{float(specimen['span'].split()[0]) / 3.0!r} mm"
    run: dict[str, Any] = {"format": 1, "run": {"material": "PETG"}, "specimen": specimen}
    run["run"]["temperature"] = sized("temperature", "temperature", 23.0, 35.0)
    if rng.random() < 0.4:
        run["run"]["age"] = sized("age", "time", 172800.0)
    strain, share = test == "strain", 0.01 if test == "strain" else 1.0
    length, drift, moves = ("strain", "strain_drift", "strain") if strain else ("length", "drift", "movement")

    def read(value: float) -> str:
        return f"{100.0 * value!r} %" if strain else f"{value!r} mm"

    gauge: dict[str, Any] = {"resolution": read(number("resolution", moves, 0.01 * share, 0.001 * share))}
    if "repeatability" in far or rng.random() < 0.2:
        gauge["repeatability"] = read(number("repeatability", moves, 0.01 * share))
    if "drift" in far:
        gauge["drift"] = f"{_anywhere(rng, drift)!r} {UNITS[drift]}"
    if not strain and ("force" in far or rng.random() < 0.2):
        gauge |= {"force": f"{number('force', 'plunger', 0.8)!r} N", "falls": rng.random() < 0.5}
    run["gauge"] = gauge
    if not strain and far & {"lever", "preload", "compliance"}:
        run["rig"] = {"compliance": sized("compliance", "compliance", 2e-4), "preload": sized("preload", "mass", 0.05)}
        run["rig"]["lever"] = number("lever", "fraction", 1.0, 5.0)
    kind, loads = ("stress", "stress") if strain else rng.choice((("mass", "mass"), ("force", "force")))
    load = number("load", kind, 0.4, 2.0, 20.0)
    end = number("days", "time", 86400.0, 5 * 86400.0, 30 * 86400.0)
    steps = [(0.0, load)]
    moments = [-60.0, *(end * x for x in (1e-5, 0.001, 0.01, 0.1, 0.3, 0.6, 1.0))][rng.choice((0, 0, 1, 4)) :]
    if "second load" in far or rng.random() < 0.2:
        steps.append((0.5 * end, number("second load", kind, 1.5 * load, 0.5 * load, load if kind == "mass" else -load)))
    if rng.random() < 0.4:
        steps.append((end, 0.0))
        back = number("recovery", "time", 3600.0, end)
        moments += [end + 60.0, end + 0.3 * back, end + back]
    run["load"] = [{"at": f"{at!r} s", loads: f"{size!r} {UNITS[kind]}"} for at, size in steps]
    if rng.random() < 0.2:
        run["event"] = [{"at": f"{0.4 * end!r} s", "kind": rng.choice(("rezeroed", "bumped", "slipped"))}]
    amount = number("moved", moves, 0.05 * share, 1.0 * share, 20.0 * share)
    noise = amount * rng.choice((0.0, 0.01, 0.3)) + (number("noise", moves) if "noise" in far else 0.0)
    zero = number("zero", length, 0.0, 10.0 * share)
    n, falls = rng.choice((0.05, 0.2, 0.5)), -1.0 if gauge.get("falls") else 1.0
    largest = possible(length).largest
    values = []
    for t in moments:
        creep = sum(
            (size - before) / load * (1.0 + 0.5 * ((t - at) / end) ** n)
            for (at, size), before in zip(steps, [0.0, *(s for _, s in steps)], strict=False)
            if t > at
        )
        value = zero + falls * amount * creep + noise * rng.gauss(0.0, 1.0)
        values.append(max(-largest, min(largest, value)))
    run["readings"] = {"time": [f"{t!r} s" for t in moments], "reading": [read(v) for v in values]}
    if "warmth" in far:
        run["readings"]["temperature"] = [f"{_anywhere(rng, 'temperature')!r} degC" for _ in moments]
    return run


def extreme_words(rng: random.Random, write: Callable[[dict[str, Any], str], str]) -> list[str]:
    """The words of a command that takes these runs: rather those that ask of several, where sums go furthest apart."""
    at = [
        x
        for _ in range(rng.choice((1, 2)))
        for x in ("--at", rng.choice(("1 min", "1 d", "1 year", "10 years", "1000 years")))
    ]
    several = ("run.toml", "other.toml", *(["third.toml"] if rng.random() < 0.3 else []))
    words: list[str] = rng.choice(
        (
            ["check", "run.toml"],
            ["fit", "run.toml"],
            ["forecast", "run.toml", *at],
            ["forecast", "run.toml", *at, "--limit", "2 mm", "--life", "1 year"],
            ["forecast", "run.toml", *at, "--load", f"{_anywhere(rng, 'force')!r} N"],
            ["forecast", "run.toml", *at, "--temperature", "34 degC"],
            ["recover", "run.toml", "--after", rng.choice(("1 d", "1000 years"))],
            ["sag", write(rng.choice(PARTS), "part.toml"), "--material", "run.toml", *at],
            ["relax", write(CLIP, "part.toml"), "--material", "run.toml", *at],
            ["soften", "run.toml"],
            ["add", "run.toml", f"{_anywhere(rng, 'length')!r} mm", "--at", "40 d"],
            ["plan", "run.toml", "--within", "30 d"],
            ["compare", *several, *at],
            [
                "compare",
                *several,
                *at,
                "--by",
                rng.choice(("deformation", "increment", "compliance", "recovered", "residual")),
            ],
            ["compare", *several, *at, "--pool"],
            ["forecast", *several, *at, "--pool", "--anyway"],
            ["forecast", "run.toml", *at, "--known", "other.toml", "--anyway"],
            ["stress", *several, *at, "--anyway"],
            ["temperature", *several, *at, "--anyway"],
        )
    )
    write(extreme_run(rng), "run.toml")
    for name in several[1:] if "other.toml" in words else ():
        write(extreme_run(rng), name)
    return [*words, "--json"]


PLACES = (
    "width", "thickness", "length", "age", "temperature", "resolution", "repeatability", "drift", "force", "lever",
    "preload", "compliance", "load", "days", "second load", "recovery", "moved", "moved", "noise", "zero", "warmth",
)  # fmt: skip
"""What may lie far out."""
SIZES = ("width", "thickness", "length")


def _anywhere(rng: random.Random, kind: str, size: bool = False) -> float:
    """A number of a kind: one of its limits, or anything between them, evenly over its decades."""
    low, high = possible(kind).smallest, possible(kind).largest
    low = 1e-3 if kind == "length" and size else low or 1e-12
    return rng.choice((low, high, *(math.exp(rng.uniform(math.log(low), math.log(high))) for _ in range(6))))
