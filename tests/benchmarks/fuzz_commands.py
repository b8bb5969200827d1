"""Commands and their files for `fuzz.py`: every command that reads a run, with every kind of file beside it."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from typing import Any

Tree = dict[str, Any]
Write = Callable[[Tree, str], str]
"""Writes a tree as a TOML file of a name, spoilt or not, and returns the name."""

AT = ("1 d", "30 d", "1 year", "10 years", "1 min", "1000 years", "2000 years", "1e-9 s", "0 d", "x", "5 d 1 min", "1 h")
WARM = ("30 degC", "23 degC", "-40 degC", "0 K", "1e9 degC", "x", "34 degC")
EVENTS = ("rezeroed", "new observer", "bumped", "slipped", "stop reached", "broke", "x")

BAR: Tree = {"section": "rectangle", "width": "14 mm", "thickness": "9 mm"}
PARTS: tuple[Tree, ...] = (
    {
        "format": 1,
        "part": {"name": "bracket", "support": "cantilever", "age": "2 d", "density": "1.27 g/cm^3"},
        "segment": [{"length": "120 mm", "section": "rectangle", "width": "14 mm", "thickness": ["14 mm", "9 mm"]}],
        "load": [{"mass": "0.6 kg", "at": "end", "duty": {"on": "8 h", "off": "16 h"}}],
        "limit": {"sag": "2 mm", "life": "1 year"},
    },
    {
        "format": 1,
        "part": {"support": "screws"},
        "segment": [BAR | {"length": "140 mm"}],
        "upright": [BAR | {"length": "80 mm"}],
        "screw": [{"at": "-12 mm"}, {"at": "-68 mm"}],
        "brace": [BAR | {"from": "-60 mm", "to": "95 mm", "joints": ["rigid", "pinned"]}],
        "load": [{"mass": "1 kg", "at": "end"}],
    },
    {
        "format": 1,
        "part": {"heading": "88 deg"},
        "segment": [BAR | {"length": "100 mm"}, BAR | {"radius": "15 mm", "angle": "-180 deg"}],
        "load": [{"force": "4 N", "at": "end"}],
        "climate": {"daily": ["15 degC", "35 degC"]},
    },
    {
        "format": 1,
        "part": {"name": "clamp"},
        "elastic": {"modulus": "2000 MPa", "deflection": "1.2 mm", "largest_stress": "5 MPa"},
        "load": [{"force": "10 N"}],
    },
)
CLIP: Tree = {
    "format": 1,
    "part": {"name": "clip", "support": "cantilever"},
    "segment": [BAR | {"length": "40 mm", "thickness": "2 mm"}],
    "held": {"deflection": "2 mm"},
}
HISTORIES: tuple[Tree, ...] = (
    {"format": 1, "load": [{"at": "0 s", "mass": "0.3 kg"}, {"at": "30 d", "mass": "0 kg"}]},
    {"format": 1, "duty": {"mass": "0.3 kg", "on": "8 h", "off": "16 h"}},
)
CLIMATES: tuple[Tree, ...] = (
    {"format": 1, "climate": {"daily": ["15 degC", "30 degC"]}},
    {"format": 1, "climate": {"hours": [["30 degC", "200 h"], ["20 degC", "5000 h"]]}},
)

COMMON = ("check", "fit", "forecast", "forecast", "recover", "sag", "compare")
RARE = (
    *("known", "warm", "climate", "pool", "stress", "temperature", "soften", "relax", "draw", "add", "add", "report"),
    *("plan", "plan", "new", "shelf", "batch", "against", "broke", "each"),
)
"""One input in five is of these; some of them take seconds."""
OUT = (
    "out.svg",
    "out.svg",
    "out.png",
    "out.html",
    "out.json",
    "out.csv",
    "out.txt",
    "out",
    "out/of/here.svg",
    "",
    ".",
    "run.toml",
)
"""Where an answer goes, which may be nowhere."""
BEFORE = (
    ("--material", ("PETG", "PP", "?", "", "=1")),
    ("--test", ("cantilever", "cantilever", "three-point-bending", "tension", "direct", "x")),
    ("--size", ("length=60 mm", "length", "length=0 mm", "span=64 mm")),
    ("--size", ("width=12 mm", "width=x", "width=1e9 mm")),
    ("--size", ("thickness=4 mm", "thickness=0.001 mm", "depth=4 mm")),
    ("--gauge", ("dial gauge", "caliper", "x")),
    ("--resolution", ("0.01 mm", "0 mm", "10 mm", "x")),
    ("--load", ("0.4 kg", "10 N", "-1 kg", "1e9 kg")),
    ("--stress", ("4 MPa", "0 MPa", "1e9 MPa")),
    ("--lasts", AT),
    ("--wanted", ("15 %", "0 %", "1 %", "200 %", "x")),
    ("--begin", ("2031-05-05", "1.6.31", "x")),
)
"""Options of a plan before a test, mostly the first value of each."""
TYPED = (
    "PETG",
    "cantilever",
    "1",
    "60 mm",
    "12 mm",
    "4 mm",
    "0.4 kg",
    "0.01 mm",
    "23 degC",
    "2 d",
    "",
    "",
    "",
    "x",
    "-1 mm",
)
"""What is typed where a command asks."""


def words_for(rng: random.Random, name: str, write: Write, run: Callable[[], Tree], slow: bool) -> list[str]:
    """The words of a command about a run, its files written; `slow` ones fit, others only read."""
    if not slow:
        return ["check", name, "--json"]
    kind = rng.choice(RARE) if rng.random() < 0.2 else rng.choice(COMMON)
    at = [x for _ in range(rng.choice((1, 1, 2))) for x in ("--at", rng.choice(AT))]
    words = {
        "forecast": _forecast,
        "recover": lambda *_: ["recover", name, "--after", rng.choice(AT)],
        "sag": _sag,
        "relax": _relax,
        "draw": lambda *_: ["draw", name if rng.random() < 0.3 else write(rng.choice(PARTS), "part.toml"), "-o", "out.svg"],
        "add": _add,
        "report": lambda *_: ["report", name, "-o", rng.choice(("out.html", "out.html", *OUT))],
        "plan": _plan,
        "new": lambda *_: [
            "new",
            rng.choice(("run", "run", "part", "workbook")),
            _mostly(rng, ("out.txt", *OUT)),
            *rng.choice((["--from", name], ["--from", "r.csv"], ["--from", "r.csv"], [])),
        ],
    }.get(kind, _several)(rng, name, at, write, run, kind)
    if kind in ("draw", "add", "report", "new", "batch"):
        return [*words, "--json"] if kind == "add" else words
    if rng.random() < 0.04:
        words += [rng.choice(("--figure", "--save")), rng.choice(OUT), *rng.choice(([], ["--force"]))]
    if rng.random() < 0.2:
        words += ["--level", rng.choice(("0.5", "0.999999", "90 %", "0", "1", "x", "1e-9"))]
    if rng.random() < 0.7:
        return [*words, "--json"]
    return [*words, "--full"] if kind in ("fit", "forecast", "sag") else words  # tables and words have numbers of their own


def _forecast(rng: random.Random, name: str, at: list[str], write: Write, run: Callable[[], Tree], kind: str) -> list[str]:
    words = ["forecast", name, *at]
    more = rng.randrange(6)
    if more == 0:
        words += ["--load", rng.choice(("0.3 kg", "2 N", "1 MPa", "0 kg", "-1 kg", "1e9 kg", "x"))]
    elif more == 1:
        words += ["--limit", rng.choice(("2 mm", "0 mm", "-1 mm", "1e-9 mm", "5 %", "")), "--life", rng.choice(AT)]
    elif more == 2:
        words += ["--reading"]
    elif more == 3:
        words += ["--history", write(rng.choice(HISTORIES), "h.toml")]
    return words


def _sag(rng: random.Random, name: str, at: list[str], write: Write, run: Callable[[], Tree], kind: str) -> list[str]:
    part = rng.choice(PARTS) if rng.random() < 0.5 else PARTS[0]
    words = ["sag", write(part, "part.toml"), "--material", name, *at]
    if rng.random() < 0.3:
        words += ["--scatter", rng.choice(("8 %", "0", "1", "200 %", "x")), "--unload-at", rng.choice(AT)]
    return words


def _relax(rng: random.Random, name: str, at: list[str], write: Write, run: Callable[[], Tree], kind: str) -> list[str]:
    words = ["relax", write(CLIP, "part.toml"), "--material", name, *at]
    if rng.random() < 0.4:
        words += ["--release-at", rng.choice(AT), "--after", rng.choice(AT)]
    return words


def _add(rng: random.Random, name: str, at: list[str], write: Write, run: Callable[[], Tree], kind: str) -> list[str]:
    words = ["add", name, rng.choice(("15.14 mm", "10.2 mm", "1e300 mm", "x", "", "0.3 kg")), *at[:2]]
    return words + rng.choice(
        (
            [],
            ["--note", rng.choice(("door open", "=1+1", "\x07", "a" * 300))],
            ["--temperature", rng.choice(WARM)],
            ["--loaded", rng.choice(("1.6 kg", "0 kg", "x"))],
            ["--unloaded"],
            ["--event", rng.choice(EVENTS)],
            ["--skip", rng.choice(("2", "0", "999", "x")), "--why", "bumped"],
        )
    )


def _mostly(rng: random.Random, values: Sequence[str]) -> str:
    return values[0] if rng.random() < 0.8 else rng.choice(values)


def _plan(rng: random.Random, name: str, at: list[str], write: Write, run: Callable[[], Tree], kind: str) -> list[str]:
    """Of a running test, or before one."""
    words = ["plan", name, "--within", _mostly(rng, ("1 d", *AT)), "--for", rng.choice(("forecast", "set", "limit"))]
    if rng.random() < 0.6:
        often = {"--material": 0.97, "--test": 0.97, "--size": 0.97}
        words = [
            "plan",
            *(x for key, values in BEFORE if rng.random() < often.get(key, 0.4) for x in (key, _mostly(rng, values))),
        ]
        words += rng.choice(([], ["--part", write(rng.choice(PARTS), "part.toml")], ["-o", rng.choice(OUT)]))
    words += rng.choice(
        (
            [],
            [],
            ["--by", _mostly(rng, ("1 year", *AT))],
            ["--hours", _mostly(rng, ("8-17", "17-8", "x", "0-24")), "--weekends"],
        )
    )
    return words + rng.choice(([], [], ["--limit", rng.choice(("2 mm", "0 mm", "1e-9 mm", "x"))], ["--force"]))


def _several(rng: random.Random, name: str, at: list[str], write: Write, run: Callable[[], Tree], kind: str) -> list[str]:
    """Commands of one run alone, and of one beside others."""
    if kind in ("check", "fit"):
        return [kind, name]
    if kind == "climate":
        return ["forecast", name, *at, "--climate", write(rng.choice(CLIMATES), "climate.toml")]
    if kind == "warm":
        return ["forecast", name, *at, "--temperature", rng.choice(WARM)]
    other = run()
    if rng.random() < 0.5:
        other["run"] |= {"temperature": rng.choice(("23 degC", "35 degC"))}
    write(other, "other.toml")
    if kind == "shelf":
        return ["shelf", name, "other.toml", "--jobs", "1", *rng.choice(([], ["-o", rng.choice(OUT)]))]
    if kind == "batch":
        return ["batch", name, "other.toml", "--jobs", "1", "--into", rng.choice(OUT)]
    if kind == "against":
        return ["check", "other.toml", "--against", name]
    if kind == "broke":
        return ["forecast", "other.toml", *at, "--broke", name, "--broke", "other.toml", "--anyway"]
    if kind == "each":
        by = rng.choice(("deformation", "increment", "compliance", "recovered", "residual"))
        return ["compare", name, "other.toml", *at, "--by", by, *rng.choice(([], ["--each"], ["--pool"]))]
    if kind == "known":
        return ["forecast", name, *at, "--known", "other.toml", "--anyway"]
    if kind == "pool":
        return ["forecast", name, "other.toml", "--pool", "--anyway", *at]
    if kind == "soften":
        return ["soften", name, *rng.choice(([], ["--strain", "0.5 %"], ["--deflection", "0.1 mm"], ["--lag", "30 s"]))]
    more = ["--anyway"] if kind in ("stress", "temperature") else []
    return [kind, name, "other.toml", *at, *more]
