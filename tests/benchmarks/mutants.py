"""Mutants: one operator, comparison, number or condition in a function changed, and whether a test notices.

    python tests/benchmarks/mutants.py map MAP --tests tests/models tests/mechanics/test_loading.py
    python tests/benchmarks/mutants.py try MAP creepfit/models creepfit/mechanics/loading.py --count 30

`map` runs test files as they are and writes down which lines of creepfit each test runs and how long it takes. `try` draws
mutants with a fixed seed and tries each in a forked process on the tests that run its line, the fastest first, until one
fails; the changed function's code is put into the modules that are loaded already, so that a mutant costs the tests alone.
Both go on where they were stopped: what was tried is in MAP.tried. Numbers outside functions (what was judged or chosen)
are left alone. Survivors are printed with their line: each is the same function in other words, or a test that is missing.
"""

from __future__ import annotations

import argparse
import ast
import copy
import functools
import gc
import importlib
import json
import os
import random
import signal
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FrameType, FunctionType
from typing import Any

import pytest

SWAPPED: dict[type[ast.AST], type[ast.AST]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.Pow: ast.Mult,
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.And: ast.Or,
    ast.Or: ast.And,
}
MOST_SECONDS = 120
"""After so long a mutant counts as noticed: it runs for ever."""

CALLS = 3
"""Calls of a function that are looked at line by line in each test."""

ENOUGH = 8.0
"""Seconds of tests, as they took with nothing changed, after which a mutant counts as a survivor."""

Function = ast.FunctionDef | ast.AsyncFunctionDef
Place = tuple[str, int]


def functions(tree: ast.Module | ast.ClassDef) -> Iterator[Function]:
    """Functions of a module and methods of its classes, without those inside them."""
    for node in tree.body:
        if isinstance(node, Function):
            yield node
        elif isinstance(node, ast.ClassDef):
            yield from functions(node)


def changes(function: Function) -> list[tuple[int, str]]:
    """Places in a function that can be changed: number of the node as `ast.walk` of its body meets it, and how."""
    found: list[tuple[int, str]] = []
    said = {id(n) for node in ast.walk(function) if isinstance(node, ast.Raise | ast.JoinedStr) for n in ast.walk(node)}
    for i, node in enumerate(_inside(function)):
        if id(node) in said:
            continue
        if isinstance(node, ast.BinOp | ast.BoolOp) and type(node.op) in SWAPPED:
            found.append((i, "swap"))
        elif isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPPED:
            found.append((i, "swap"))
            if isinstance(node.ops[0], ast.Lt | ast.LtE | ast.Gt | ast.GtE):
                found.append((i, "turn"))
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not | ast.USub):
            found.append((i, "drop"))
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            found.append((i, "number"))
        elif isinstance(node, ast.If | ast.IfExp | ast.While):
            found.append((i, "negate"))
    return found


def _inside(function: Function) -> Iterator[ast.AST]:
    for statement in function.body:
        yield from ast.walk(statement)


def changed(tree: ast.Module, which: int, place: int, how: str) -> tuple[ast.Module, int, str]:
    """The module with one change in its function number `which`, the line, and what it says now."""
    tree = copy.deepcopy(tree)
    function = list(functions(tree))[which]
    node = list(_inside(function))[place]
    if isinstance(node, ast.BinOp | ast.BoolOp):
        node.op = SWAPPED[type(node.op)]()  # type: ignore[assignment]
    elif isinstance(node, ast.Compare) and how == "swap":
        node.ops[0] = SWAPPED[type(node.ops[0])]()  # type: ignore[call-overload]
    elif isinstance(node, ast.Compare):
        node.ops[0] = ast.Gt() if isinstance(node.ops[0], ast.Lt | ast.LtE) else ast.Lt()
    elif isinstance(node, ast.Constant):
        node.value = node.value + 1 if isinstance(node.value, int) else 1.5 * node.value or 1.0
    elif isinstance(node, ast.UnaryOp):
        node.op = ast.UAdd() if isinstance(node.op, ast.USub) else node.op
        if isinstance(node.op, ast.Not):
            node.operand = ast.copy_location(ast.UnaryOp(ast.Not(), node.operand), node)
    elif isinstance(node, ast.If | ast.IfExp | ast.While):
        node.test = ast.copy_location(ast.UnaryOp(ast.Not(), node.test), node.test)
    shown = node.test if isinstance(node, ast.If | ast.While) else node
    return ast.fix_missing_locations(tree), shown.lineno, f"{function.name}: {how}: {ast.unparse(shown)[:90]}"


def code_of(tree: ast.Module, path: Path) -> dict[Place, CodeType]:
    """The code of all functions of a tree, by their names and first lines."""
    found: dict[Place, CodeType] = {}

    def gather(code: CodeType) -> None:
        for const in code.co_consts:
            if isinstance(const, CodeType):
                found[const.co_qualname, const.co_firstlineno] = const
                gather(const)

    gather(compile(tree, str(path), "exec"))
    return found


class Watched:
    """A plugin that writes down, for each test file, the lines of the package that each test runs, and its time."""

    def __init__(self, into: Path) -> None:
        self.into, self.lines, self.calls = into, defaultdict[str, set[int]](set), Counter[CodeType]()
        self.failed: set[str] = set()
        self.written: list[str] = []

    @pytest.hookimpl(hookwrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        self.lines.clear()
        self.calls.clear()
        start = time.process_time()
        sys.settrace(self._call)
        yield
        sys.settrace(None)
        if item.nodeid not in self.failed:
            lines = {name: sorted(numbers) for name, numbers in self.lines.items()}
            self.written.append(json.dumps([item.nodeid, round(time.process_time() - start, 3), lines]) + "\n")

    def pytest_sessionfinish(self) -> None:
        with self.into.open("a") as into:
            into.writelines(self.written)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if not report.passed:
            self.failed.add(report.nodeid)

    def _call(self, frame: FrameType, *_: object) -> Any:
        code = frame.f_code
        if not code.co_filename.startswith(PACKAGE):
            return None
        self.calls[code] += 1
        if self.calls[code] > CALLS:
            return None
        lines = self.lines[code.co_filename.removeprefix(PACKAGE)]
        lines.add(code.co_firstlineno)  # where a change is in no line of its own, the tests of the function stand for it

        def line(frame: FrameType, event: str, _: object) -> Any:
            if event == "line":
                lines.add(frame.f_lineno)
            return line

        return line


class Tried:
    """A plugin that tries mutants on tests that were collected, in place of running them."""

    def __init__(self, mutants: list[Mutant], into: Path, until: float) -> None:
        self.mutants, self.into, self.until, self.failed = mutants, into, until, False

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        self.failed = self.failed or report.failed

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        items = {item.nodeid: item for item in session.items}
        loaded = defaultdict[str, list[FunctionType]](list)
        gc.unfreeze()  # what the suite keeps out of garbage collection would not be found
        for found in gc.get_objects():
            if isinstance(found, FunctionType):
                loaded[found.__code__.co_filename].append(found)
        for mutant in self.mutants:
            start = time.monotonic()
            if start > self.until:
                break
            tests = [items[name] for name in mutant.tests if name in items]
            assert loaded[str(mutant.path)], f"no function of {mutant.path} is loaded: nothing would be changed"
            noticed = self._noticed(mutant, tests, loaded[str(mutant.path)]) if tests else False
            took = time.monotonic() - start
            with self.into.open("a") as into:
                into.write(json.dumps([mutant.name, noticed, mutant.says, len(tests), round(took, 1)]) + "\n")
            if not noticed:
                print(f"\n{mutant.says}: survived {len(tests)} tests", flush=True)
        return True

    def _noticed(self, mutant: Mutant, tests: list[pytest.Item], loaded: list[FunctionType]) -> bool:
        child = os.fork()
        if child == 0:
            quiet = os.open(os.devnull, os.O_WRONLY)
            os.dup2(quiet, 1)
            os.dup2(quiet, 2)
            signal.alarm(MOST_SECONDS)
            new = code_of(mutant.tree(), mutant.path)
            for function in loaded:
                code = new.get((function.__code__.co_qualname, function.__code__.co_firstlineno))
                if code is not None and code.co_freevars == function.__code__.co_freevars:
                    function.__code__ = code
            for test in tests:
                test.ihook.pytest_runtest_protocol(item=test, nextitem=None)
                if self.failed:
                    os._exit(1)
            os._exit(0)
        return os.waitpid(child, 0)[1] != 0


class Mutant:
    """One change in one function."""

    def __init__(self, path: Path, which: int, place: int, how: str) -> None:
        self.path, self.change = path, (which, place, how)
        self.name = f"{path.relative_to(PACKAGE)} {which} {place} {how}"
        _, self.line, says = changed(tree_of(path), *self.change)
        self.says = f"{path.relative_to(PACKAGE)}:{self.line}: {says}"
        function = list(functions(tree_of(path)))[which]
        self.first = min(node.lineno for node in (function, *function.decorator_list))
        self.tests: list[str] = []

    def tree(self) -> ast.Module:
        return changed(tree_of(self.path), *self.change)[0]


@functools.cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


PACKAGE = str(Path("creepfit").resolve()) + os.sep
PYTEST = ["-q", "-p", "no:cacheprovider", "-p", "no:xdist"]


def watch(into: Path, tests: list[str]) -> None:
    """Map each test file in a process of its own, so that none has fits that another made."""
    seen = {json.loads(line)[0].split("::")[0] for line in into.read_text().splitlines()} if into.exists() else set()
    for file in sorted(p for t in map(Path, tests) for p in (t.rglob("test_*.py") if t.is_dir() else [t])):
        if str(file) not in seen:
            child = os.fork()
            if child == 0:
                os._exit(int(pytest.main([*PYTEST, str(file)], plugins=[Watched(into)])))
            os.waitpid(child, 0)


def attempt(into: Path, files: list[Path], count: int, seed: int, seconds: float) -> None:
    """Try so many mutants of the files, without those tried before."""
    tried = into.with_suffix(".tried")
    before = {json.loads(line)[0] for line in tried.read_text().splitlines()} if tried.exists() else set()
    every = [
        (path, which, *change)
        for path in sorted(p.resolve() for f in files for p in (f.rglob("*.py") if f.is_dir() else [f]))
        for which, function in enumerate(functions(tree_of(path)))
        for change in changes(function)
    ]
    mutants = [Mutant(*one) for one in random.Random(seed).sample(every, min(count, len(every)))]
    mutants = [mutant for mutant in mutants if mutant.name not in before]
    tests = [json.loads(line) for line in into.read_text().splitlines()]
    for mutant in mutants:
        name = str(mutant.path).removeprefix(PACKAGE)
        of_line = sorted((took, test) for test, took, lines in tests if mutant.line in lines.get(name, ()))
        of_function = sorted((took, test) for test, took, lines in tests if mutant.first in lines.get(name, ()))
        spent = 0.0
        for took, test in dict.fromkeys([*of_line, *of_function]):
            spent += took
            if spent < ENOUGH or not mutant.tests:
                mutant.tests.append(test)
        importlib.import_module(".".join(("creepfit", *mutant.path.relative_to(PACKAGE).with_suffix("").parts)))
    wanted = sorted({test.split("::")[0] for mutant in mutants for test in mutant.tests})
    if wanted:
        pytest.main([*PYTEST, "-s", *wanted], plugins=[Tried(mutants, tried, time.monotonic() + seconds)])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("map", "try"))
    parser.add_argument("map", type=Path)
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument("--tests", nargs="+", default=[])
    parser.add_argument("--count", type=int, default=30, help="drawn of the files")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    options = parser.parse_args()
    if options.what == "map":
        watch(options.map, options.tests)
    else:
        attempt(options.map, options.files, options.count, options.seed, options.seconds)


if __name__ == "__main__":
    main()
