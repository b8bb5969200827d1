"""Mutants: one operator, comparison, number or condition in a function changed, and whether a test notices.

    python tests/benchmarks/mutants.py creepfit/mechanics/loading.py --tests tests/mechanics/test_loading.py --count 30

Mutants are drawn with a fixed seed. The tests run once as they are, then in a forked process for each mutant until the
first fails; the changed function's code is put into the modules that are loaded already, so that a mutant costs the tests
alone. Numbers outside functions (what was judged or chosen) are left alone. Survivors are printed with their line: each is
the same function in other words, or a test that is missing.
"""

from __future__ import annotations

import argparse
import ast
import copy
import gc
import importlib
import os
import random
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import CodeType, FunctionType

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
MOST_SECONDS = 300
"""After so long a mutant counts as noticed: it runs for ever."""

Function = ast.FunctionDef | ast.AsyncFunctionDef


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


def put_in(tree: ast.Module, path: Path) -> int:
    """Give the functions that are loaded from a file the code of a changed tree; return how many were."""
    new: dict[tuple[str, int], CodeType] = {}

    def gather(code: CodeType) -> None:
        for const in code.co_consts:
            if isinstance(const, CodeType):
                new[const.co_qualname, const.co_firstlineno] = const
                gather(const)

    gather(compile(tree, str(path), "exec"))
    count = 0
    for found in gc.get_objects():
        if isinstance(found, FunctionType) and found.__code__.co_filename == str(path):
            code = new.get((found.__code__.co_qualname, found.__code__.co_firstlineno))
            if code is not None and code.co_freevars == found.__code__.co_freevars:
                found.__code__ = code
                count += 1
    return count


def noticed(tree: ast.Module, path: Path, tests: list[str]) -> bool:
    """Whether a test fails, in a process of its own."""
    child = os.fork()
    if child == 0:
        quiet = os.open(os.devnull, os.O_WRONLY)
        os.dup2(quiet, 1)
        os.dup2(quiet, 2)
        signal.alarm(MOST_SECONDS)
        put_in(tree, path)
        os._exit(int(pytest.main(["-x", "-q", "-p", "no:cacheprovider", *tests])))
    return os.waitpid(child, 0)[1] != 0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("files", nargs="+", type=Path)
    parser.add_argument("--tests", nargs="+", required=True)
    parser.add_argument("--count", type=int, default=30)
    parser.add_argument("--first", type=int, default=0, help="of the drawn ones, so many were tried before")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    trees, every = {}, []
    for path in sorted(p.resolve() for f in options.files for p in (f.rglob("*.py") if f.is_dir() else [f])):
        trees[path] = ast.parse(path.read_text(encoding="utf-8"))
        for which, function in enumerate(functions(trees[path])):
            every += [(path, which, *change) for change in changes(function)]
        importlib.import_module(".".join(path.relative_to(Path.cwd()).with_suffix("").parts))
    if pytest.main(["-q", "-p", "no:cacheprovider", *options.tests]):
        sys.exit("the tests fail as they are")
    chosen = random.Random(options.seed).sample(every, min(len(every), options.first + options.count))[options.first :]
    survived, start = 0, time.monotonic()
    for number, (path, which, place, how) in enumerate(chosen, start=1):
        tree, line, says = changed(trees[path], which, place, how)
        if not noticed(tree, path, options.tests):
            survived += 1
            print(f"{path.relative_to(Path.cwd())}:{line}: {says}", flush=True)
        if number % 10 == 0:
            print(f"{number} of {len(chosen)}, {survived} survived, {time.monotonic() - start:.0f} s", flush=True)
    print(f"{len(chosen)} of {len(every)} mutants tried, {survived} survived")


if __name__ == "__main__":
    main()
