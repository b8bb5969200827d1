"""What else holds a part: [[screw]], [[rest]] and [[clamp]] along its axis, [[brace]] between two points or to the wall."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import Field

from creepfit.errors import InputError
from creepfit.mechanics.holds import Brace, Hold, HoldKind, Joint, Place
from creepfit.mechanics.tolerance import Tolerance
from creepfit.records.beam_tables import SECTIONS, SectionKind, SectionTable, size_tolerances, uniform_section
from creepfit.records.fields import Distance, Expected, Rotation, Schema, Stiffness, Stress, Text, dotted, validated
from creepfit.records.schema import table_list
from creepfit.units import quantity

HOLDS: tuple[HoldKind, ...] = ("screw", "rest", "clamp")
FRAME_TABLES = (*HOLDS, "brace")
SCREWS = "screws"
"""The support of a part that is held by these tables alone."""

_JOINTS: tuple[Joint, ...] = ("pinned", "rigid")
_JOINTED = '"pinned" or "rigid", or both ends such as ["rigid", "pinned"]'
_WHERE = 'a distance along the part such as "90 mm", or a point of the wall such as { x = "0 mm", y = "-60 mm" }'


class HoldTable(Schema):
    """[[screw]], [[rest]] or [[clamp]]: where along the axis; below zero on the upright; and what gives way there."""

    at: Distance
    name: Text = ""
    stiffness: Stiffness | None = None
    rotation: Rotation = 0.0


class PointTable(Schema):
    """A point of the wall: sideways and up from where the arm begins."""

    x: Distance = 0.0
    y: Distance = 0.0


EndOfBrace = Annotated[Any, Expected.shaped(_WHERE, "list", PointTable)]


class BetweenTable(Schema):
    """From where to where a brace goes, whether its ends can turn, and its modulus where it does not creep."""

    start: Annotated[EndOfBrace, Field(alias="from")] = None
    to: EndOfBrace = None
    joints: Annotated[Any, Expected.shaped(_JOINTED, "list")] = "pinned"
    name: Text = ""
    modulus: Stress | None = None


class BraceTable(SectionTable, BetweenTable):
    """[[brace]]; without a section its ends lie on one another and are joined."""

    section: SectionKind | None = None  # type: ignore[assignment]


@dataclass(frozen=True)
class Supports:
    """What else holds a part; the tolerances' paths begin at the frame."""

    holds: tuple[Hold, ...]
    braces: tuple[Brace, ...]
    tolerances: tuple[Tolerance, ...]

    def __bool__(self) -> bool:
        return bool(self.holds or self.braces)


def read_held(data: dict[str, Any], file: str | None, together: bool = True) -> Supports:
    """Read the tables of what else holds a part.

    `together` where sizes of one print err together.

    Raises
    ------
    InputError
        Any mistake in one, with its number and key.
    """
    holds: list[Hold] = []
    for kind in HOLDS:
        for number, written in enumerate(table_list(data, kind, file), start=1):
            checked = validated(HoldTable, written, file=file, key=f"{kind} {number}")
            if checked.rotation and kind != "clamp":
                key = f"{kind} {number}.rotation"
                problem = f"a {kind} lets the part turn anyhow"
                raise InputError(problem, file=file, key=key, found=written["rotation"], expected="[[clamp]] in its place")
            give = 0.0 if checked.stiffness is None else 1.0 / checked.stiffness
            holds.append(Hold(checked.at, kind, give, checked.rotation))
    braces: list[Brace] = []
    tolerances: list[Tolerance] = []
    for number, written in enumerate(table_list(data, "brace", file), start=1):
        key = f"brace {number}"
        if not isinstance(written, dict):
            raise InputError(file=file, key=key, found=written, expected="a table [[brace]]")
        try:
            brace, own = _brace(written, number - 1, together)
        except InputError as error:
            place = dotted(key, error.key) if error.key else key
            raise InputError(error.problem, file=file, key=place, found=error.found, expected=error.expected) from None
        braces.append(brace)
        tolerances.extend(own)
    return Supports(tuple(holds), tuple(braces), tuple(tolerances))


def _brace(written: dict[str, Any], number: int, together: bool) -> tuple[Brace, list[Tolerance]]:
    if "material" in written:
        raise InputError(
            "a brace of another plastic shares the load as both creep, each in its own way: that takes a fit of both, and "
            "is not worked out here",
            key="material",
            found=written["material"],
            expected='modulus = "200 GPa" where it does not creep, as metal or glass; without it the part\'s own material',
        )
    for key in ("length", "radius", "angle", "turn", "out"):
        if key in written:
            raise InputError("a brace is as long as its ends are apart", key=key, found=written[key])
    table = validated(BraceTable, written, file=None, key="")
    ends = [_place(value, key) for key, value in (("from", table.start), ("to", table.to))]
    joints = _joints(table.joints)
    if not any(key in written for key in SectionTable.model_fields):
        return Brace(ends[0], ends[1], None, joints, table.name, table.modulus), []
    if table.section is None:
        raise InputError("missing", key="section", expected=f"one of {', '.join(SECTIONS)}")
    section = uniform_section(table, "a brace has one section along its length")
    brace = Brace(ends[0], ends[1], section, joints, table.name, table.modulus)
    # what is of another material was made in another way, and errs on its own
    return brace, size_tolerances(table, ("braces", number), together and table.modulus is None)


def _place(value: Any, key: str) -> Place:
    if isinstance(value, dict):
        point = validated(PointTable, value, file=None, key=key)
        return point.x, point.y
    if value is None:
        raise InputError("missing", key=key, expected=_WHERE)
    try:
        return quantity(value, "length")
    except InputError as error:
        raise InputError(error.problem, key=key, found=value, expected=_WHERE) from None


def _joints(value: Any) -> tuple[Joint, Joint]:
    both = value if isinstance(value, list) else [value, value]
    if len(both) != 2 or any(joint not in _JOINTS for joint in both):
        raise InputError(key="joints", found=value if isinstance(value, str) else str(value), expected=_JOINTED)
    return both[0], both[1]


def holds_of(support: str, supports: tuple[float, ...], length: float) -> tuple[Hold, ...]:
    """The rests of a part that is not clamped, as holds: the first one holds both ways."""
    places = (0.0, length) if support == "simply-supported" else supports
    return tuple(Hold(at, "screw" if i == 0 else "rest") for i, at in enumerate(places))
