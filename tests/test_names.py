"""One name, one thing: no class and no named type stands in two modules."""

from __future__ import annotations

import ast
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
