"""Fields of the files users write, and how a mistake in one becomes one line.

Every table of a file is a flat pydantic model, checked on its own, so that an error knows its table and key.
The validators raise `InputError` themselves; what is left to pydantic is to find keys that are unknown or missing.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Annotated, Any, ClassVar, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationError

from creepfit.errors import InputError
from creepfit.limits import TOO_LARGE, TOO_SMALL, check_smallest
from creepfit.records.moments import MOMENT_EXAMPLE, Moment, moment
from creepfit.shown import listed
from creepfit.units import Kind, Measure, example_of, measure, number, quantity

SchemaT = TypeVar("SchemaT", bound="Schema")
SMALLEST_SIZE = 1e-3
"""mm; the thinnest films have ten times that."""


class Schema(BaseModel):
    """One table of a file. Frozen, and closed to keys it does not know."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)

    elsewhere: ClassVar[Mapping[str, str]] = {}
    """Keys that stand in another table of the same file, and which."""


Shape = Literal["one", "list", "rows"]
"""Of a value: by itself, perhaps a list of several, or a list of lists."""


class Expected(str):
    """What a field expects, in words; carried as metadata of its type for the message about a missing key.

    `names` are the choices there are, where it is one of a few; `shape` and `table` tell what it may be but one value:
    a list, or a table of its own (with `shape` "list" either of the two, the list being the table's values).
    """

    names: tuple[str, ...] = ()
    shape: Shape = "one"
    table: type[Schema] | None = None

    @classmethod
    def one_of(cls, names: Iterable[str]) -> Expected:
        """Return the expectation of one of several names."""
        names = tuple(names)
        expected = cls(listed(names, "or"))
        expected.names = names
        return expected

    @classmethod
    def shaped(cls, words: str, shape: Shape = "one", table: type[Schema] | None = None) -> Expected:
        """Return the expectation of a list or a table."""
        expected = cls(words)
        expected.shape, expected.table = shape, table
        return expected


def _field(check: Callable[[Any], Any], expected: str) -> tuple[BeforeValidator, Expected]:
    return BeforeValidator(check), Expected(expected)


def _sized(kind: Kind, low: str = "") -> tuple[BeforeValidator, Expected]:
    """A quantity; `low` is "positive" or "not negative" where that is asked for."""

    def check(value: object) -> float:
        result = quantity(value, kind)
        _refuse_low(value, result, kind, low)
        check_smallest(result, kind, value, example_of(kind))
        return result

    return _field(check, example_of(kind))


def _toleranced(kind: Kind, low: str = "") -> tuple[BeforeValidator, Expected]:
    """A quantity whose tolerance is read beside it, see `loads.load_sd`."""

    def check(value: object) -> float:
        result = measure(value, kind).value
        _refuse_low(value, result, kind, low)
        check_smallest(result, kind, value, example_of(kind))
        return result

    return _field(check, example_of(kind))


def _refuse_low(text: object, value: float, kind: Kind, low: str) -> None:
    if (low == "positive" and value <= 0.0) or (low == "not negative" and value < 0.0):
        limit = "above" if low == "positive" else "not below"
        raise InputError(found=text, expected=f"{example_of(kind)}, {limit} zero")


def size(value: object) -> Measure:
    """Return a length above zero with its tolerance."""
    result = measure(value, "length")
    _refuse_low(value, result.value, "length", "positive")
    if result.value < SMALLEST_SIZE:
        expected = f"{example_of('length')}, at least {SMALLEST_SIZE:g} mm"
        raise InputError(TOO_SMALL, found=value, expected=expected)
    if result.tolerance >= result.value:
        raise InputError(found=value, expected="a tolerance smaller than the size")
    return result


def _text(value: object) -> str:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise InputError(found=value, expected="text")
    text = " ".join(str(value).split())
    if not text:
        raise InputError(found=value, expected="text")
    return text


def _part_of_one(kind: Kind) -> tuple[BeforeValidator, Expected]:
    expected = f"{example_of(kind)}, from 0 % to 100 %"

    def check(value: object) -> float:
        result = quantity(value, kind)
        if not 0.0 <= result <= 1.0:
            raise InputError(found=value, expected=expected)
        return result

    return _field(check, expected)


def _yes_no(value: object) -> bool:
    if not isinstance(value, bool):
        raise InputError(found=value, expected="true or false, without quotes")
    return value


def one_of(*names: str) -> tuple[BeforeValidator, Expected]:
    """A choice among names, the nearest one offered where it is none of them."""

    def check(value: object) -> str:
        if value in names:
            return str(value)
        raise InputError(f"unknown choice{did_you_mean(value, names)}", found=value, expected=listed(names, "or"))

    return BeforeValidator(check), Expected.one_of(names)


def _range_of(low: float, high: float, above_low: bool = False) -> tuple[BeforeValidator, Expected]:
    words = f"a number {'above' if above_low else 'from'} {low:g} {'up ' if above_low else ''}to {high:g}"

    def check(value: object) -> float:
        result = number(value)
        if not (low < result <= high or (result == low and not above_low)):
            raise InputError(found=value, expected=words)
        return result

    return _field(check, words)


def _kinds(*kinds: Kind, expected: str, read: bool = False) -> Callable[[object], tuple[Kind, float]]:
    """Return a reader of a quantity of one of several kinds, in order of preference; it says which it was.

    What is `read` off a gauge may be as small as it likes, what is set may not.
    """

    def check(value: object) -> tuple[Kind, float]:
        errors = []
        for kind in kinds:
            try:
                size = quantity(value, kind)
            except InputError as error:
                errors.append(error)
                if error.problem == TOO_LARGE:  # the unit is of this kind
                    raise
                continue
            if not read:
                check_smallest(size, kind, value, example_of(kind))
            return kind, size
        raise InputError(errors[0].problem, found=value, expected=expected)

    return check


DIVISIONS: dict[Kind, str] = {"length": 'a length such as "0.01 mm"', "strain": 'a strain such as "0.001 %"'}
"""What a gauge's division or repeatability is, by what it reads."""

DIVISION = f"{DIVISIONS['length']} (or, in a direct run, {DIVISIONS['strain']})"
LENGTH_OR_STRAIN = f"{example_of('length')} (or, in a direct run, {example_of('strain')})"
MASS_OR_FORCE = f"{example_of('mass')} or {example_of('force')} (or, in a direct run, {example_of('stress')})"
length_or_strain = _kinds("length", "strain", expected=LENGTH_OR_STRAIN, read=True)


Time = Annotated[float, *_sized("time")]
Duration = Annotated[float, *_sized("time", "not negative")]
PositiveTime = Annotated[float, *_sized("time", "positive")]
Distance = Annotated[float, *_sized("length")]
PositiveLength = Annotated[float, *_sized("length", "positive")]
TolerancedSize = Annotated[Measure, *_field(size, example_of("length"))]
Mass = Annotated[float, *_sized("mass", "not negative")]
Force = Annotated[float, *_sized("force")]
Stress = Annotated[float, *_sized("stress")]
TolerancedMass = Annotated[float, *_toleranced("mass", "not negative")]
TolerancedForce = Annotated[float, *_toleranced("force")]
TolerancedStress = Annotated[float, *_toleranced("stress")]
PositiveForce = Annotated[float, *_sized("force", "not negative")]
Temperature = Annotated[float, *_sized("temperature")]
Density = Annotated[float, *_sized("density", "positive")]
Angle = Annotated[float, *_sized("angle")]
Compliance = Annotated[float, *_sized("compliance", "not negative")]
Rotation = Annotated[float, *_sized("rotation", "not negative")]
Stiffness = Annotated[float, *_sized("force_per_length", "positive")]
Humidity = Annotated[float, *_part_of_one("humidity")]
Fraction = Annotated[float, *_part_of_one("fraction")]
Text = Annotated[str, *_field(_text, "text")]
YesNo = Annotated[bool, *_field(_yes_no, "true or false")]
Poisson = Annotated[float, *_range_of(0.0, 0.5)]
Share = Annotated[float, *_range_of(0.0, 1.0)]
OpenShare = Annotated[float, *_range_of(0.01, 0.99)]
Exponent = Annotated[float, *_range_of(-1.0, 0.9)]
Factor = Annotated[float, *_range_of(0.0, 1000.0, above_low=True)]
AMoment = Annotated[Moment, *_field(moment, MOMENT_EXAMPLE)]
LengthOrStrain = Annotated[
    tuple[Kind, float], *_field(_kinds("length", "strain", expected=LENGTH_OR_STRAIN), LENGTH_OR_STRAIN)
]
Division = Annotated[tuple[Kind, float], *_field(_kinds("length", "strain", expected=DIVISION), DIVISION)]
Drift = Annotated[
    tuple[Kind, float], *_field(_kinds("drift", "strain_drift", expected=example_of("drift")), example_of("drift"))
]
MassForceOrStress = Annotated[
    tuple[Kind, float],
    *_field(_kinds("mass", "force", "stress", expected=MASS_OR_FORCE), MASS_OR_FORCE),
]


def validated(schema: type[SchemaT], table: object, *, file: str | None, key: str, known: Iterable[str] = ()) -> SchemaT:
    """Check one table of a file against its schema.

    Parameters
    ----------
    schema : type
        The pydantic model of the table.
    table : object
        What the file held there.
    file, key : str
        Where, for messages; `key` is "" for the top of the file.
    known : iterable of str
        Further keys that an unknown one may have been meant for.

    Raises
    ------
    InputError
        The first mistake: an unknown key before all else, as a slip in a key also makes it missing.
    """
    if not isinstance(table, dict):
        problem = "missing" if table is None else ""
        raise InputError(problem, file=file, key=key, found=table, expected=f"a table [{key}]")
    try:
        return schema.model_validate(table)
    except ValidationError as failure:
        raise _mistakes(schema, failure, file, key, known)[0] from None


def mistakes_in(schema: type[Schema], table: object, *, file: str | None, key: str) -> list[InputError]:
    """Return all mistakes of a table, as `validated` raises the first of them."""
    try:
        schema.model_validate(table)
    except ValidationError as failure:
        return _mistakes(schema, failure, file, key, ())
    return []


def _mistakes(
    schema: type[Schema], failure: ValidationError, file: str | None, key: str, known: Iterable[str]
) -> list[InputError]:
    """What pydantic found, an unknown key before all else."""
    errors = sorted(failure.errors(), key=lambda e: e["type"] != "extra_forbidden")
    return [_mistake(schema, error, file, key, known) for error in errors]


def _mistake(schema: type[Schema], error: Any, file: str | None, key: str, known: Iterable[str]) -> InputError:
    fields = {field.alias or key: field for key, field in schema.model_fields.items()}
    name = str(error["loc"][0])
    place = dotted(key, name)
    if error["type"] == "extra_forbidden":
        keys = [*known, *fields]
        problem = f'unknown key "{name}"{did_you_mean(name, keys)}'
        if name in schema.elsewhere:
            return InputError(
                f'unknown key "{name}"', file=file, key=key or None, expected=f"it in {schema.elsewhere[name]}"
            )
        return InputError(problem, file=file, key=key or None, expected=listed(keys, "or"))
    if error["type"] == "missing":
        hints = [m for m in fields[name].metadata if isinstance(m, Expected)]
        expected = hints[0] if hints else f"a table [{name}]"
        return InputError("missing", file=file, key=place, expected=expected)
    cause = error.get("ctx", {}).get("error")
    if isinstance(cause, InputError):
        return cause.within(file, place)
    return InputError(error["msg"], file=file, key=place, found=error["input"])


def dotted(table: str, name: str) -> str:
    """Return the place of a key: "specimen.length", or "load 2, mass" in a table that stands several times."""
    if not table:
        return name
    return f"{table}, {name}" if table[-1].isdigit() else f"{table}.{name}"


MEANT = {
    "breadth": "width", "height": "thickness", "depth": "thickness", "weight": "mass", "load": "mass", "span": "length",
    "length": "span", "dia": "diameter", "division": "resolution", "accuracy": "repeatability", "readings": "reading",
    "bending": "three-point-bending", "flexure": "three-point-bending", "3pb": "three-point-bending",
    "biegung": "three-point-bending", "4pb": "four-point-bending", "tensile": "tension", "pull": "tension",
    "zug": "tension", "druck": "compression", "kragarm": "cantilever", "kragbalken": "cantilever",
}  # fmt: skip
"""Other words for a key or a test, which are spelled like another one or like none."""


COUNTS = {"3": "three", "4": "four"}
_SPELLED = re.compile(r"^[34](?=[\s-]*po?i?n?t)")
"""The number that bending is named by: as text "3-point-bending" is nearer to four than to three."""


def did_you_mean(name: object, known: Iterable[str]) -> str:
    """Return ' (did you mean "length"?)', or nothing where no known name is near or means the same."""
    names, asked = list(known), _SPELLED.sub(lambda m: COUNTS[m[0]], str(name).casefold())
    near = [MEANT[asked]] if MEANT.get(asked) in names else difflib.get_close_matches(asked, names, n=1, cutoff=0.6)
    return f' (did you mean "{near[0]}"?)' if near else ""
