"""Inputs nobody would think of: files of every kind and options, spoilt in structure or in bytes, on the command line.

    nice python tests/benchmarks/fuzz.py --count 20000 --seed 1 --jobs 2 --into done.jsonl

Each input is a valid one with up to three things wrong, often none, and one command with options for it. Warnings are
errors. A fault is: an exit code other than 0 and 2, a traceback or "a fault of ours", a message of no line or of endless
ones, numbers that are none, a low above a median above a high, a deflection against the load, a minute of a core. Faults
are printed with their number, and `--only N` runs that one input again with its traceback; its files stay in the folder
printed. What is in the file `--into` is not done again, so that a run goes on where it was stopped; `--again` does those
anew that had a fault or took more than ten seconds. `--extremes` draws sound inputs with numbers far out.

`tests/test_fuzz.py` runs a hundred of them in the suite.
"""

from __future__ import annotations

import argparse
import contextlib
import copy
import io
import json
import math
import multiprocessing
import os
import random
import re
import signal
import tempfile
import time
import warnings
import zipfile
import zlib
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fuzz_commands import OUT, TYPED, words_for
from fuzz_extremes import extreme_words

ODD_NUMBERS = (
    "0",
    "-0",
    "1e-320",
    "1e-9",
    "1e9",
    "1e300",
    "1e999",
    "-1",
    "nan",
    "inf",
    "0x10",
    "1_000",
    "1,5",
    "1,000",
    "½",
)
ODD_UNITS = ("mm", "kg", "N", "d", "s", "min", "h", "%", "MPa", "degC", "years", "furlong", "m m", "", "Mm", "µm", "km/h")
ODD_TEXTS = ("", " ", "=1+1", "-", "a" * 300, "\u202e", "名前", "\\", "'", "é", "[x]", "{", "nan", "true", "1", "\x07")
ODD_VALUES: tuple[Any, ...] = (
    True,
    False,
    0,
    -1,
    3.5,
    10**20,
    [],
    {},
    [[]],
    "x",
    "5 d",
    "2 mm",
    "0.2 kg",
    "2031-05-04 16:30",
)


MOST_SECONDS = 60.0
"""Of a core for one input: the largest pools of runs that tell nothing take a third of it."""


SLOW = 10.0
"""Seconds of a core that are told, and no fault."""


NO_NUMBER = re.compile(r"\b(?:nan|inf)\b", re.IGNORECASE)


@dataclass
class Case:
    """One input: its files, by name, and the command; `load` is what its runs pull with at least, N, see `_pull`.

    `since` is the time that their deflection counts from at the latest, s, see `_counts_from`.
    """

    files: dict[str, bytes]
    command: list[str]
    load: float
    typed: str = ""
    since: float = 0.0


def case(seed: int, number: int, slow: bool = True, extremes: bool = False) -> Case:
    """The input of a number; `slow` ones fit, others only read. With `extremes` nothing is spoilt but numbers."""
    rng = random.Random(f"{seed} {number}")
    if extremes:
        return _extreme(rng)
    run = _run(rng)
    wrong = rng.choice((0, 0, 1, 1, 1, 2, 3))
    structure = rng.random() < 0.7
    if structure:
        for _ in range(wrong):
            _spoil(run, rng)
    files: dict[str, bytes] = {}
    form = rng.choice(("inline", "inline", "csv", "csv", "workbook", "saved"))
    name = _write(run, form, rng, files)
    spoil = structure and wrong > 0

    def write(tree: dict[str, Any], as_name: str) -> str:
        tree = json.loads(json.dumps(tree))
        if spoil and not as_name.startswith("other"):
            _spoil(tree, rng)
        files[as_name] = _toml(tree).encode("utf-8", errors="replace")
        return as_name

    runs = [run]

    def another() -> dict[str, Any]:
        runs.append(_run(rng))
        return copy.deepcopy(runs[-1])

    command = words_for(rng, name, write, another, slow)
    if not structure and wrong:
        victim = rng.choice(sorted(files))
        files[victim] = _bytes(files[victim], rng, wrong)
    typed = "\n".join(rng.choice(TYPED) for _ in range(30)) + "\n"
    return Case(files, command, min(map(_pull, runs)), typed, max(map(_counts_from, runs)))


def _extreme(rng: random.Random) -> Case:
    trees: dict[str, dict[str, Any]] = {}

    def write(tree: dict[str, Any], name: str) -> str:
        trees[name] = tree
        return name

    command = extreme_words(rng, write)
    files = {name: _toml(tree).encode() for name, tree in trees.items()}
    runs = [tree for tree in trees.values() if "readings" in tree]
    return Case(files, command, min(map(_pull, runs)), since=max(map(_counts_from, runs)))


def _pull(run: dict[str, Any]) -> float:
    """N that the lightest load pulls with beyond what the plunger presses against it; -inf where it is not known.

    A bar does go against a load that is less than the plunger's force, and more so with time.
    """
    try:
        loads = [str(next(load[key] for key in ("mass", "force", "stress") if key in load)).split() for load in run["load"]]
        pulls = [float(load[0]) * (9.80665 if load[1] == "kg" else 1.0) for load in loads]
        against = "0" if run["gauge"].get("falls") is True else str(run["gauge"].get("force", "0")).split()[0]
        return min(pull for pull in pulls if pull) - float(against)
    except (LookupError, ValueError, TypeError, AttributeError, StopIteration):
        return -math.inf


def _counts_from(run: dict[str, Any]) -> float:
    """Time [s] of the reading that a deflection counts from; inf where it is not known.

    Without one before loading it is the first under load, and at an earlier time a deflection is less than nothing.
    """
    try:
        times = [float(str(time).removesuffix(" s")) for time in run["readings"]["time"]]
        return 0.0 if min(times) < 0.0 else min(time for time in times if time > 0.0)
    except (LookupError, ValueError, TypeError, AttributeError):
        return math.inf


def _run(rng: random.Random) -> dict[str, Any]:
    """A valid run, of any test, with or without unloading, initial reading, repeats, temperature, events."""
    wild = rng.random() < 0.4  # sizes, loads and times at the ends of what is taken
    test = rng.choice(("tension", "compression", "three-point-bending", "four-point-bending", "cantilever", "direct"))
    size = {"width": "12 mm", "thickness": f"{rng.choice((0.001, 0.3, 4, 900, 1e6) if wild else (2, 4, 10))} mm"}
    if test == "three-point-bending":
        size["span"] = "64 mm"
    elif test == "four-point-bending":
        size |= {"span": "90 mm", "load_span": "30 mm", "read_at": rng.choice(("midspan", "load"))}
    elif test != "direct":
        size["length"] = f"{rng.choice((20, 60, 200))} mm"
    specimen = {"test": test} | ({} if test == "direct" else size)
    mass = rng.choice((0.2, 0.4, 2.0, 20.0, 1e-6, 4000.0) if wild else (0.2, 0.4, 2.0, 20.0))
    run: dict[str, Any] = {"format": 1, "run": {"material": rng.choice(("PETG", "PP", "PA6-GF30", "?"))}}
    if rng.random() < 0.4:
        run["run"] |= {"age": rng.choice(("2 d", "1 h", "3 years")), "temperature": "23 degC", "humidity": "50 %"}
    run["specimen"] = specimen
    run["gauge"] = {
        "resolution": rng.choice(("1e-6 mm", "0.01 mm", "10 mm") if wild else ("0.01 mm", "0.001 mm", "0.1 mm"))
    }
    if rng.random() < 0.3:
        run["gauge"] |= {"falls": rng.random() < 0.5, "force": "0.8 N", "drift": "0.002 mm/day^0.5"}
    if rng.random() < 0.2:
        run["rig"] = {"compliance": "0.0002 mm/N", "lever": 5, "preload": "0.05 kg"}
    run["load"] = [{"at": "0 s", "mass": f"{mass} kg"}]
    days = rng.choice((2e-5, 1e-3, 5.0, 3000.0, 36000.0) if wild else (0.01, 1.0, 5.0, 30.0))
    moments = [min(60.0, 0.001 * days * 86400.0), *(days * 86400.0 * x for x in (0.01, 0.1, 0.3, 0.6, 1.0))][
        : rng.choice((2, 4, 6, 6, 6))
    ]
    if rng.random() < 0.3:
        run["load"].append({"at": f"{days / 2} d", "mass": f"{mass * 1.5} kg", "over": "5 s"})
    end = days * 86400.0
    if rng.random() < 0.5:
        run["load"].append({"at": f"{days} d", "mass": "0 kg"})
        moments += [end + 60.0, end + 3600.0, 2.0 * end]
    if rng.random() < 0.2:
        run["event"] = [{"at": f"{days * 0.4} d", "kind": rng.choice(("rezeroed", "bumped", "slipped"))}]
    if rng.random() < 0.7:
        moments = [-60.0, *moments]
    stiff, n = rng.choice((1e-4, 0.05, 20.0, 1e4) if wild else (0.05, 1.0, 20.0)), rng.choice((0.05, 0.2, 0.5))
    falls = -1.0 if run["gauge"].get("falls") else 1.0
    noise = rng.choice((0.0, 0.01, 0.3, 5.0) if wild else (0.0, 0.01, 0.3))
    if wild and rng.random() < 0.3:
        moments.append(rng.choice(moments))
    readings = []
    for t in moments:
        held = 1.0 + 0.5 * max(t / end, 0.0) ** n if t > 0.0 else 0.0
        gone = 1.0 + 0.5 * (t / end - 1.0) ** n if t > end and run["load"][-1]["mass"] == "0 kg" else 0.0
        readings.append(f"{10.0 + falls * stiff * (held - gone) + noise * stiff * rng.gauss(0, 1):.3f} mm")
    run["readings"] = {"time": [f"{t} s" for t in moments], "reading": readings}
    return run


def _spoil(tree: Any, rng: random.Random) -> None:
    """Change one thing somewhere in a tree of tables and lists."""
    places = [(holder, key) for holder, key in _places(tree) if key != "format" or rng.random() < 0.05]
    if not places:
        return
    holder, key = rng.choice(places)
    old = holder[key]
    kind = rng.randrange(7)
    if kind == 0 and not isinstance(holder, list):
        del holder[key]
    elif kind == 1 and isinstance(old, str) and old.split() and any(c.isdigit() for c in old):
        holder[key] = f"{rng.choice(ODD_NUMBERS)} {' '.join(old.split()[1:])}"
    elif kind == 2 and isinstance(old, str) and old.split():
        holder[key] = f"{old.split()[0]} {rng.choice(ODD_UNITS)}"
    elif kind == 3:
        holder[key] = rng.choice(ODD_TEXTS)
    elif kind == 4:
        holder[key] = copy.deepcopy(rng.choice(ODD_VALUES))  # lists are spoilt further: never the ones all inputs share
    elif kind == 5 and isinstance(holder, dict):
        holder[key + rng.choice("sx_ ")] = holder.pop(key)
    elif isinstance(holder, list) and holder:
        holder.insert(rng.randrange(len(holder)), copy.deepcopy(rng.choice(holder)))


def _places(tree: Any) -> Iterator[tuple[Any, Any]]:
    items = tree.items() if isinstance(tree, dict) else enumerate(tree) if isinstance(tree, list) else ()
    for key, value in list(items):
        yield tree, key
        yield from _places(value)


def _write(run: dict[str, Any], form: str, rng: random.Random, files: dict[str, bytes]) -> str:
    """Write a run in one of its forms; return the name to give to a command."""
    readings = run.get("readings")
    plain = isinstance(readings, dict) and all(isinstance(v, list) for v in readings.values()) and bool(readings)
    rest = {k: v for k, v in run.items() if k != "readings"}
    if form == "csv" and plain and isinstance(readings, dict):
        part = rng.choice((",", ";", "\t"))
        length = max((len(v) for v in readings.values()), default=0)
        rows = [[str(v[i]) if i < len(v) else "" for v in readings.values()] for i in range(length)]
        lines = [list(map(str, readings)), *rows]
        files["r.csv"] = "\n".join(part.join(row) for row in lines).encode("utf-8", errors="replace")
        files["run.toml"] = (_toml(rest) + '[readings]\nfile = "r.csv"\n').encode()
        return "run.toml"
    if form == "workbook" and plain and isinstance(readings, dict):
        files["run.xlsx"] = _workbook(rest, readings)
        return "run.xlsx"
    if form == "saved":
        rows = []
        if plain and isinstance(readings, dict):
            for t, r in zip(readings.get("time", ()), readings.get("reading", ()), strict=False):
                rows.append([_first(t), [_first(r)], "length", None, "row"])
        options = {"models": ["findley", "zener"], "level": 0.9, "seed": 1}
        content = {"creepfit": "saved result", "format": 1, "version": "0.1.0", "run": {"tables": rest, "readings": rows}}
        content |= {"options": options, "summary": {"models": [], "forecast": [], "unit": "mm"}}
        if rng.random() < 0.5:
            _spoil(content, rng)
        files["run.json"] = json.dumps(content, default=str).encode()
        return "run.json"
    files["run.toml"] = _toml(run).encode("utf-8", errors="replace")
    return "run.toml"


def _first(text: Any) -> Any:
    try:
        return float(str(text).split()[0])
    except (ValueError, IndexError):
        return text


def _toml(tree: dict[str, Any]) -> str:
    def value(v: Any) -> str:
        if isinstance(v, bool):
            return str(v).lower()
        if isinstance(v, str):
            return json.dumps(v, ensure_ascii=False).replace("\x7f", "\\u007f")
        if isinstance(v, list):
            return "[" + ", ".join(map(value, v)) + "]"
        if isinstance(v, dict):
            return "{" + ", ".join(f"{json.dumps(k)} = {value(x)}" for k, x in v.items()) + "}"
        return repr(v)

    top = [f"{json.dumps(k)} = {value(v)}" for k, v in tree.items() if not isinstance(v, dict) and not _tables(v)]
    for key, v in tree.items():
        for table in [v] if isinstance(v, dict) else v if _tables(v) else []:
            top.append(f"[{json.dumps(key)}]" if isinstance(v, dict) else f"[[{json.dumps(key)}]]")
            top += [f"{json.dumps(k)} = {value(x)}" for k, x in table.items()]
    return "\n".join(top) + "\n"


def _tables(v: Any) -> bool:
    return isinstance(v, list) and bool(v) and all(isinstance(x, dict) for x in v)


def _workbook(rest: dict[str, Any], readings: dict[str, Any]) -> bytes:
    import openpyxl

    def cell(v: Any) -> Any:
        return v if isinstance(v, bool | int | float) and abs(v) < 1e15 else "".join(c for c in str(v) if c.isprintable())

    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["creepfit run", cell(rest.get("format", ""))])
    for table, keys in rest.items():
        for i, entry in enumerate(keys if _tables(keys) else []):
            if i == 0:
                sheet.append([f"[{cell(table)}]"])
                sheet.append([cell(k) for k in entry])
            sheet.append([cell(v) for v in entry.values()])
        if _tables(keys):
            sheet.append([])
        for key, v in (keys if isinstance(keys, dict) else {}).items():
            sheet.append([f"{cell(table)}.{cell(key)}", cell(v)])
    sheet.append(["[readings]"])
    sheet.append([cell(k) for k in readings])
    for i in range(max((len(v) for v in readings.values()), default=0)):
        sheet.append([cell(v[i]) if i < len(v) else None for v in readings.values()])
    for row in sheet.iter_rows():
        for c in row:
            if isinstance(c.value, str):
                c.data_type = "s"
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _bytes(content: bytes, rng: random.Random, times: int) -> bytes:
    for _ in range(times):
        i = rng.randrange(len(content) + 1)
        kind = rng.randrange(5)
        if kind == 0:
            content = content[:i]
        elif kind == 1:
            content = content[:i] + bytes([rng.randrange(256)]) + content[i:]
        elif kind == 2:
            content = content[:i] + bytes([rng.randrange(256)]) + content[i + 1 :]
        elif kind == 3:
            content = content[:i] + content[i : i + 40] * 3 + content[i + 40 :]
        else:
            content = content[:i] + content[i + rng.randrange(20) :]
    return content


def faults(found: Case, folder: Path, debug: bool = False) -> list[str]:
    """Run one input in a folder and say what is wrong with what came out."""
    from click.testing import CliRunner

    from creepfit.cli.commands import main

    for name, content in found.files.items():
        (folder / name).write_bytes(content)
    words = [str(folder / w) if w and (w in found.files or w in OUT) else w for w in found.command]
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        done = CliRunner().invoke(main, [*words, *(["--debug"] if debug else [])], input=found.typed)
    said = done.stderr
    wrong: list[str] = []
    if done.exit_code not in (0, 2) or (done.exception is not None and not isinstance(done.exception, SystemExit)):
        wrong.append(f"exit code {done.exit_code}: {said[-3000 if debug else -300 :].strip()} {done.exception!r}")
    if "fault of ours" in said and not wrong:
        wrong.append(said.strip()[-300:])
    if done.exit_code == 2 and not said.strip():
        wrong.append("exit code 2 without a word")
    if (len(said) > 4000 or said.count("\n") > 30) and found.command[0] != "new":  # which asks until it knows enough
        wrong.append(f"a message of {len(said)} characters")
    if done.exit_code == 0 and "--json" in found.command:
        try:
            answer = json.loads(done.stdout, parse_constant=lambda c: wrong.append(f"{c} in the answer"))
        except ValueError:
            wrong.append(f"no JSON: {done.stdout[:200]}")
        else:
            wrong += _nonsense(answer, found)
    elif done.exit_code == 0 and not any(NO_NUMBER.search(text) for text in _given(found)):
        wrong += [f"{x} in the answer" for x in NO_NUMBER.findall(done.stdout)[:1]]
    return wrong


def _given(found: Case) -> list[str]:
    """All that was typed, also what a workbook holds compressed."""
    contents = list(found.files.values())
    for content in found.files.values():
        with contextlib.suppress(zipfile.BadZipFile, zlib.error, ValueError, NotImplementedError, EOFError):
            book = zipfile.ZipFile(io.BytesIO(content))
            contents += [book.read(part) for part in book.namelist()]
    return [*(content.decode("latin-1") for content in contents), *found.command, found.typed]


def _nonsense(answer: Any, found: Case) -> Iterator[str]:
    if isinstance(answer, list):
        for item in answer:
            yield from _nonsense(item, found)
    elif isinstance(answer, dict):
        low, median, high = (answer.get(key) for key in ("low", "median", "high"))
        if all(isinstance(x, int | float) for x in (low, median, high)) and not low <= median <= high:
            yield f"low {low}, median {median}, high {high}"
        if found.command[0] == "forecast" and "forecast" in answer and not {"--load", "--history"} & set(found.command):
            for row in answer["forecast"] if found.load > 0.0 else ():
                if isinstance(row.get("high"), int | float) and row["high"] < 0.0 and 3600.0 * row["time_h"] >= found.since:
                    yield f"a deflection against the load: {row}"
        for item in answer.values():
            yield from _nonsense(item, found)


Task = tuple[int, int, bool]
"""Seed, number, and whether of extremes."""


def _one(task: Task) -> tuple[int, list[str], float]:
    seed, number, extremes = task
    start = time.process_time()
    signal.signal(signal.SIGPROF, _give_up)
    signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
    with tempfile.TemporaryDirectory() as folder:
        try:
            found = faults(case(seed, number, extremes=extremes), Path(folder))
        except _TooSlowError:
            found = [f"slow: more than {MOST_SECONDS} s of a core"]
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0.0)
    return number, found, time.process_time() - start


class _TooSlowError(BaseException):
    """An input took too long; no `except Exception` of the command line may take it for a fault of its own."""


def _give_up(*_: object) -> None:
    raise _TooSlowError


def _each(work: Callable[[Task], Any], tasks: list[Task], jobs: int) -> Iterator[Any]:
    if jobs == 1:
        yield from map(work, tasks)
        return
    with multiprocessing.get_context("spawn").Pool(jobs, maxtasksperchild=2000) as pool:
        yield from pool.imap_unordered(work, tasks, chunksize=20)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--only", type=int)
    parser.add_argument("--into", type=Path, default=Path(os.devnull), help="a line for each input that was done")
    parser.add_argument("--again", action="store_true", help="those of --into that had a fault")
    parser.add_argument("--extremes", action="store_true", help="sound inputs with numbers as far out as they may be")
    parser.add_argument("--seconds", type=float, default=math.inf, help="stop after so long")
    options = parser.parse_args()
    if options.only is not None:
        folder = Path(tempfile.mkdtemp())
        found = case(options.seed, options.only, extremes=options.extremes)
        print(folder, found.command)
        print("\n".join(faults(found, folder, debug=True)) or "no fault")
        return
    earlier = [json.loads(line) for line in options.into.read_text().splitlines()] if options.into.exists() else []
    last = {number: (faulty, took) for number, faulty, took in earlier}
    tasks = [(options.seed, options.first + i, options.extremes) for i in range(options.count)]
    if options.again:
        tasks = [
            (options.seed, number, options.extremes) for number, (faulty, took) in last.items() if faulty or took > SLOW
        ]
    else:
        tasks = [task for task in tasks if task[1] not in last]
    start = time.monotonic()
    with options.into.open("a") as into:
        for number, faulty, took in _each(_one, tasks, options.jobs):
            last[number] = faulty, took
            into.write(json.dumps([number, faulty, round(took, 4)]) + "\n")
            into.flush()
            for line in [*faulty, *([f"slow: {took:.0f} s"] if took > SLOW else [])]:
                print(number, line, flush=True)
            if time.monotonic() - start > options.seconds:
                break
    kinds = Counter(line.split(":")[0][:40] for faulty, _ in last.values() for line in faulty)
    cpu = sum(took for _, took in last.values())
    print(f"{len(last)} inputs, {kinds.total()} faults, {cpu:.0f} s of a core, {cpu / len(last):.3f} each: {dict(kinds)}")


if __name__ == "__main__":
    main()
