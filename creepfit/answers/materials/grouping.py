"""Which runs are of one material, printed alike, and are taken together where materials are asked about."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

from creepfit.records.run import Run

MOST = 12
"""Runs of one material that are pooled without being asked to: of more it takes long."""


def material_of(run: Run) -> Hashable:
    """What runs of one material share: its name, and how it was printed."""
    printed = frozenset((key, value.casefold()) for key, value in run.print_data)
    return (run.material.casefold(), printed)


def groups_of(runs: Sequence[Run]) -> list[list[int]]:
    """Places of the runs of each material, in the order in which materials come first."""
    groups: dict[Hashable, list[int]] = {}
    for place, run in enumerate(runs):
        groups.setdefault(material_of(run), []).append(place)
    return list(groups.values())


def worth_grouping(groups: Sequence[Sequence[int]]) -> bool:
    """Whether runs say more of their materials together: several materials, and one of them with several runs."""
    return len(groups) > 1 and any(1 < len(group) <= MOST for group in groups)
