"""What the tolerance of sizes does to a number worked out from them.

Sizes sit in trees of frozen dataclasses and tuples (a specimen; a beam with its segments and sections); a path
names one of them. A tolerance is the half width of a uniform distribution. Sizes of one print err together: all
thicknesses by one error, each as far as its own tolerance goes, all widths by another. So it does not matter into how
many segments a bar is drawn.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar, cast

import numpy as np

from creepfit.errors import InputError
from creepfit.mechanics.loading import Array
from creepfit.units import Measure

Tree = TypeVar("Tree")
_STEP = 1e-5
"""Relative step of the central difference: its error is about its square."""


@dataclass(frozen=True)
class Tolerance:
    """Half width of one size (its own unit), and the path to it: ("segments", 0, "section", "width").

    Tolerances with the same `shared` name (not "") are one error.
    """

    path: tuple[str | int, ...]
    half_width: float
    shared: str = ""

    def within(self, *above: str | int) -> Tolerance:
        """The same in a tree that holds this one at `above`."""
        return replace(self, path=(*above, *self.path))


def size_at(tree: object, path: Sequence[str | int]) -> float:
    """Return the size a path leads to, in its own unit."""
    node: Any = tree
    for step in path:
        node = node[step] if isinstance(step, int) else getattr(node, step)
    return node.value if isinstance(node, Measure) else float(node)


def shifted(tree: Tree, path: Sequence[str | int], change: float) -> Tree:
    """Return the tree with one size changed by `change`; the rest is shared.

    Raises
    ------
    InputError
        Where the changed size is not possible.
    """
    changed: Any
    node: Any = tree
    if path:
        step, rest = path[0], path[1:]
        if isinstance(step, int):
            changed = (*node[:step], shifted(node[step], rest, change), *node[step + 1 :])
        else:
            changed = replace(node, **{step: shifted(getattr(node, step), rest, change)})
    elif isinstance(node, Measure):
        changed = replace(node, value=node.value + change)
    else:
        changed = node + change
    return cast("Tree", changed)


def log_sd(numbers: Callable[[Tree], Sequence[float]], tree: Tree, tolerances: Iterable[Tolerance]) -> Array:
    """Standard deviation of the logarithm of numbers worked out from sizes.

    First order: each error adds (d log number / d size) * half width / sqrt(3), in quadrature (JCGM 100:2008, the
    law of propagation and 4.3.7 for the uniform distribution; from memory); sizes that share an error add up with
    their signs first.

    Parameters
    ----------
    numbers : callable
        Tree to positive numbers, always as many.
    tree : frozen dataclass
    tolerances : iterable of Tolerance

    Returns
    -------
    array of shape (numbers,)
    """
    middle = np.log(numbers(tree))
    errors: dict[object, list[Tolerance]] = {}
    for tolerance in tolerances:
        if tolerance.half_width * size_at(tree, tolerance.path) != 0.0:
            errors.setdefault(tolerance.shared or tolerance.path, []).append(tolerance)
    changes = [_change(numbers, tree, middle, together) for together in errors.values()]
    return np.sqrt(sum((change**2 for change in changes), np.zeros(middle.shape)) / 3.0)


def _change(numbers: Callable[[Tree], Sequence[float]], tree: Tree, middle: Array, together: Sequence[Tolerance]) -> Array:
    """Change of the logarithms, in proportion, by an error that moves all its sizes by their half widths at once."""
    part = min(_STEP * abs(size_at(tree, t.path)) / t.half_width for t in together)
    sides, width = [], 0.0
    for sign in (-1.0, 1.0):
        try:
            moved = tree
            for t in together:
                moved = shifted(moved, t.path, sign * part * t.half_width)
            sides.append(np.log(numbers(moved)))
            width += part
        except InputError:  # at the edge of what is possible, as a load span of almost the span: one side
            sides.append(middle)
    if width < 1.5 * part and len(together) > 1:  # the others need not be at an edge
        return np.asarray(sum(_change(numbers, tree, middle, [t]) for t in together))
    return np.asarray((sides[1] - sides[0]) / width) if width else np.zeros(middle.shape)
