"""[elastic]: a part known by the result of an elastic analysis made elsewhere, instead of being drawn."""

from __future__ import annotations

from typing import Any

from creepfit.errors import InputError
from creepfit.mechanics.analysed import Analysed
from creepfit.records.fields import Poisson, PositiveLength, Schema, Stress, Text, dotted, validated
from creepfit.records.frame_tables import FRAME_TABLES

DRAWN = ("segment", "upright", "root", *FRAME_TABLES)
"""Tables of a part that is drawn."""

PLACED = (
    "support",
    "supports",
    "read_at",
    "heading",
    "upright_heading",
    "poisson",
    "shear_ratio",
    "density",
    "core_density",
)
"""Keys of [part] that say something of a drawn part only."""

KEPT: dict[str, tuple[str, ...]] = {
    "elastic": (), "coil": ("poisson", "shear_ratio"), "crank": ("poisson", "shear_ratio"), "plate": ("poisson", "density"),
}  # fmt: skip
"""Those of them that count beside a table that stands for the whole part."""


class ElasticTable(Schema):
    """[elastic]: what the analysis found, and for what."""

    deflection: PositiveLength
    modulus: Stress
    largest_stress: Stress
    poisson: Poisson | None = None
    load: Text = ""
    read_at: Text = ""


def read_elastic(data: dict[str, Any], file: str | None) -> Analysed:
    """Read [elastic] of a part file.

    Raises
    ------
    InputError
        Any mistake in it, or keys beside it that belong to a part that is drawn.
    """
    refuse_drawn(data, "elastic", file)
    checked = validated(ElasticTable, data["elastic"], file=file, key="elastic")
    try:
        return Analysed(
            checked.deflection, checked.modulus, checked.largest_stress, checked.poisson, checked.load, checked.read_at
        )
    except InputError as error:
        key = dotted("elastic", error.key or "")
        raise InputError(error.problem, file=file, key=key, found=error.found, expected=error.expected) from None


def refuse_drawn(data: dict[str, Any], name: str, file: str | None) -> None:
    """Refuse what belongs to a part that is drawn beside the table `name`, which stands for the whole part."""
    for table in DRAWN:
        if table in data:
            expected = f"one of them: a part is drawn, or known by [{name}]"
            raise InputError(file=file, key=table, found=f"[{name}] and {table}", expected=expected)
    for key in PLACED:
        if key in data.get("part", {}) and key not in KEPT[name]:
            raise InputError(f"not with [{name}]: {_why_not(key)}", file=file, key=f"part.{key}", found=data["part"][key])


def _why_not(key: str) -> str:
    if key in ("density", "core_density"):
        return "the part's own weight belongs among the loads of the analysis"
    if key in ("read_at", "poisson"):
        return "it stands in [elastic] under this name"
    return "the analysis has it in already"
