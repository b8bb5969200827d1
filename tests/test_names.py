"""One name, one thing: no class and no named type stands in two modules; and names that DEVELOPERS.md leads by exist."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import creepfit

PACKAGE = Path(creepfit.__file__ or "").parent


def types_named_in(tree: ast.Module) -> Iterator[str]:
    """Classes, and names such as `Place = float | tuple[float, float]`; constants are all capitals."""
    for node in tree.body:
        if isinstance(node, ast.ClassDef):
            yield node.name
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            yield from (t.id for t in targets if isinstance(t, ast.Name) and t.id[0].isupper() and not t.id.isupper())


def test_a_type_s_name_stands_in_one_module() -> None:
    homes: dict[str, list[str]] = defaultdict(list)
    for path in sorted(PACKAGE.rglob("*.py")):
        for name in types_named_in(ast.parse(path.read_text(encoding="utf-8"))):
            homes[name].append(str(path.relative_to(PACKAGE)))
    assert len(homes) > 300
    assert {name: where for name, where in homes.items() if len(where) > 1} == {}


def test_classes_and_aliases_are_seen_and_constants_and_private_names_are_not() -> None:
    source = "class Run: ...\nPlace = float | int\nLOAD = 1\n_Length = float\nIndices: type = list\ndef f():\n    Inner = 1"
    assert list(types_named_in(ast.parse(source))) == ["Run", "Place", "Indices"]


def test_the_path_of_a_reading_is_eleven_files_that_hold_the_names_beside_them() -> None:
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text(encoding="utf-8")
    path = text.partition("To follow one reading")[2].partition("What they call on the way")[0]
    steps = re.findall(r"`([a-z_/]+)` \(((?:`[\w.]+`(?:,\s)?)+)\)", path)
    assert len(steps) == len({file for file, _ in steps}) == 11
    for file, names in steps:
        tree = ast.parse((PACKAGE / f"{file}.py").read_text(encoding="utf-8"))
        defined = {node.name: node for node in ast.walk(tree) if isinstance(node, ast.ClassDef | ast.FunctionDef)}
        for name in re.findall(r"`([\w.]+)`", names):
            outer, _, inner = name.partition(".")
            assert outer in defined, f"{file}: {name}"
            assert not inner or inner in {n.name for n in defined[outer].body if isinstance(n, ast.FunctionDef)}, name
