"""The [specimen] table of a run file to the specimens of `mechanics.specimen`, whose classes say what stands in it."""

from __future__ import annotations

from dataclasses import MISSING, fields
from functools import lru_cache
from typing import Annotated, Any, Literal, get_type_hints

from pydantic import create_model

from creepfit.errors import InputError
from creepfit.mechanics.beam import DEFAULT_POISSON, Beam, Support
from creepfit.mechanics.specimen import SIZED, Direct, Segments, Specimen
from creepfit.mechanics.tolerance import Tolerance
from creepfit.records.beam_tables import drawn_segments
from creepfit.records.directions import read_direction
from creepfit.records.fields import (
    Factor,
    Poisson,
    Schema,
    Share,
    Text,
    TolerancedSize,
    YesNo,
    did_you_mean,
    dotted,
    one_of,
    validated,
)


class SpecimenTable(Schema):
    """[specimen] without its `test`."""

    def sizes(self) -> dict[str, Any]:
        """Return what was given, by key."""
        return {key: getattr(self, key) for key in type(self).model_fields if getattr(self, key) is not None}


class SegmentsTable(SpecimenTable):
    """A specimen drawn by [[segment]] tables; distances are along its axis, from the clamp or the first face."""

    load_at: TolerancedSize | None = None
    read_at: TolerancedSize | None = None
    direction: Text | None = None
    between_faces: YesNo = False
    opposite_at: TolerancedSize | None = None
    tolerances: Annotated[str, *one_of("together", "independent")] = "together"
    support: Annotated[str, *one_of("cantilever", "simply-supported")] = "cantilever"
    poisson: Poisson = DEFAULT_POISSON
    shear_ratio: Factor | None = None


class DirectTable(SpecimenTable):
    """Nothing but the test: readings and loads are used as they are."""


_OTHERS: dict[str, type[SpecimenTable]] = {"segments": SegmentsTable, "direct": DirectTable}
_NUMBERS: dict[str, Any] = {"share": Share, "poisson": Poisson, "factor": Factor}


@lru_cache(maxsize=32)
def table_of(specimen: type[Specimen]) -> type[SpecimenTable]:
    """The [specimen] table of a test, from what its class declares."""
    hints = get_type_hints(specimen, include_extras=True)
    keys: dict[str, Any] = {}
    for field in fields(specimen):  # type: ignore[arg-type]
        choices = getattr(hints[field.name], "__metadata__", ())
        kind: Any = TolerancedSize
        if choices:
            kind = _NUMBERS[choices[0]] if len(choices) == 1 else Annotated[str, *one_of(*choices)]
        default = ... if field.default is MISSING else field.default
        keys[field.name] = (kind | None if default is None else kind, default)
    return create_model(specimen.__name__, __base__=SpecimenTable, **keys)


def known_tests() -> tuple[str, ...]:
    """Names of all tests, those that were registered too."""
    return (*SIZED, *_OTHERS)


def table_for(test: str) -> type[SpecimenTable]:
    """The [specimen] table of any of `known_tests()`."""
    return _OTHERS[test] if test in _OTHERS else table_of(SIZED[test])


def read_specimen(data: dict[str, Any], file: str | None, reading: Literal["length", "strain"]) -> Specimen:
    """Build the specimen of a run file.

    Parameters
    ----------
    data : dict
        The tables of the file.
    file : str or None
        For messages.
    reading : str
        What the readings are; a direct run is what its readings are.

    Raises
    ------
    InputError
        An unknown test, a size that is missing, unknown or impossible.
    """
    table = data.get("specimen")
    if not isinstance(table, dict):
        expected = 'a table [specimen] with test = "three-point-bending" or another test'
        raise InputError("missing" if table is None else "", file=file, key="specimen", found=table, expected=expected)
    test = table.get("test")
    if not isinstance(test, str) or test not in known_tests():
        problem = "missing" if test is None else f"unknown test{did_you_mean(test, known_tests())}"
        expected = ", ".join(known_tests())
        raise InputError(problem, file=file, key="specimen.test", found=test, expected=f"one of {expected}")
    for name in ("segment", "upright"):
        if name in data and test != "segments":
            expected = 'test = "segments" in [specimen]'
            raise InputError(f"[[{name}]] with another test", file=file, key=name, found=test, expected=expected)
    sizes = {key: value for key, value in table.items() if key != "test"}
    checked = validated(table_for(test), sizes, file=file, key="specimen", known=("test",))
    try:
        if isinstance(checked, SegmentsTable):
            return _segments(checked, data, file)
        return Direct(quantity=reading) if test == "direct" else SIZED[test](**checked.sizes())
    except InputError as error:
        if error.file:
            raise
        key = dotted("specimen", error.key) if error.key not in (None, "specimen") else "specimen"
        raise InputError(error.problem, file=file, key=key, found=error.found, expected=error.expected) from None


def _segments(table: SegmentsTable, data: dict[str, Any], file: str | None) -> Segments:
    together = table.tolerances == "together"
    drawn = drawn_segments(data, file, together=together)
    if not drawn.segments:
        raise InputError("missing", file=file, key="segment", expected="a table [[segment]] for each stretch")
    upright = drawn_segments(data, file, "upright", together)
    beam = Beam(
        drawn.segments,
        Support(table.support),
        upright.segments,
        poisson=table.poisson,
        shear_ratio=table.shear_ratio,
    )
    places = {key: getattr(table, key) for key in ("load_at", "read_at", "opposite_at")}
    sizes = (t.within("beam") for t in (*drawn.tolerances, *upright.tolerances))
    of_places = (Tolerance((key,), m.tolerance) for key, m in places.items() if m is not None and m.tolerance)
    return Segments(
        beam=beam,
        direction=read_direction(table.direction),
        between_faces=table.between_faces,
        tolerances=(*sizes, *of_places),
        **{key: None if m is None else m.value for key, m in places.items()},
    )
