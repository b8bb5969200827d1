"""Doubts from how specimen and part were printed: each difference with the direction of the error it makes."""

from __future__ import annotations

import re
from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.mechanics.beam import Beam
from creepfit.records.part import Part
from creepfit.records.run import Run

SETTLED = "a run of a specimen printed as the part is"
UNDER, OVER = "understated", "overstated"
_STIFFER_WITH_MORE = ("walls", "infill")
_YES, _NO = ("yes", "true"), ("no", "false")
_UPRIGHT = ("upright", "vertical", "on end", "standing", "z")


def print_doubts(part: Part, run: Run) -> tuple[Caution, ...]:
    """Differences between the print data of part and specimen, and cores that would be counted twice or not at all."""
    return (*_differences(part, run), *_cores(part, run))


def _differences(part: Part, run: Run) -> Iterator[Caution]:
    its, mine = dict(part.print_data), dict(run.print_data)
    for key in dict.fromkeys([*mine, *its]):
        if key in its and key in mine and its[key].casefold().split() != mine[key].casefold().split():
            yield Caution(
                f"print-{key}",
                f"Printed differently, {key}: the specimen {mine[key]!r}, the part {its[key]!r}. "
                f"{_direction(key, mine[key], its[key])}{_counted(key, part)}",
                SETTLED,
            )
    one_sided = [key for key in dict.fromkeys([*mine, *its]) if (key in its) != (key in mine)]
    if one_sided:
        yield Caution(
            "print-unsaid",
            f"Stated for only one of specimen and part: {', '.join(one_sided)}. Where they differ the sag is off by "
            "it, in an unknown direction.",
            "the missing lines under [print]",
        )


def _direction(key: str, specimen: str, part: str) -> str:
    """What the difference does to the sag, in a sentence."""
    if key == "orientation":
        if _upright(part) != _upright(specimen):
            side, where = (UNDER, "part") if _upright(part) else (OVER, "specimen")
            return f"The layers of the {where} lie across the pull, where it is softer and weaker: the sag is {side}."
        return f"If the load pulls across the layers of the part but not of the specimen, the sag is {UNDER}."
    if key in _STIFFER_WITH_MORE:
        mine, its = _number(specimen), _number(part)
        if mine is not None and its is not None:
            side = UNDER if its < mine else OVER
            more, does = ("less", "softer") if its < mine else ("more", "stiffer")
            return f"With {more} of it the part is {does}: the sag is {side}."
    if key in ("annealed", "dried"):
        with_it = _yes(part)
        if with_it is not None and _yes(specimen) is not None:
            does, side = ("creeps less", OVER) if with_it else ("creeps more", UNDER)
            return f"A plastic that was {'' if with_it else 'not '}{key} {does}: the sag is {side}."
    if key == "layer":
        return "Thicker layers bond differently: the sag is off by some per cent, in either direction."
    return "The sag is off by what that changes, in either direction, mostly by some per cent."


def _counted(key: str, part: Part) -> str:
    """Whether the user's own factors already speak of this."""
    factor = part.allowance.layer_direction if key == "orientation" else part.allowance.print_settings
    return f" The factor of {factor:g} that was given for it is in." if factor != 1.0 else ""


def _cores(part: Part, run: Run) -> Iterator[Caution]:
    beam: Beam | None = getattr(run.specimen, "beam", None)
    specimen_core = getattr(run.specimen, "walls", None) is not None or (beam is not None and _has_core(beam))
    if part.analysed is not None:
        return
    part_core = _has_core(part.beam)
    mine, its = (_number(dict(data).get("infill", "")) for data in (run.print_data, part.print_data))
    if part_core and not specimen_core and mine is not None and mine < 100.0:
        yield Caution(
            "infill-twice",
            f"The specimen has {mine:g} % infill but is described as solid, so its compliance has the infill in "
            f"already, and the part's core counts it again: the sag is {OVER}.",
            "walls and core_stiffness of the specimen in the run file",
        )
    if specimen_core and not part_core and its is not None and its < 100.0:
        yield Caution(
            "infill-not-counted",
            f"The part has {its:g} % infill but is described as solid, of the material of the specimen's walls: the "
            f"sag is {UNDER}.",
            "walls and core_stiffness of the part's segments",
        )
    if not specimen_core and not part_core and mine is not None and mine < 100.0:
        yield Caution(
            "infill-smeared",
            f"The specimen has {mine:g} % infill but is described as solid: its compliance is that of walls and infill "
            "together, which is right for the part only if walls take the same share of its section. In a deeper "
            f"section they take less, and the sag is {UNDER}.",
            "walls and core_stiffness of both",
        )


def _has_core(beam: Beam) -> bool:
    return any(getattr(s.section, "walls", None) is not None for s in (*beam.upright, *beam.segments))


def _number(words: str) -> float | None:
    found = re.search(r"\d+(?:[.,]\d+)?", words)
    return float(found.group().replace(",", ".")) if found else None


def _yes(word: str) -> bool | None:
    plain = word.casefold().strip()
    if plain in _NO or plain.startswith("not "):
        return False
    return True if plain in _YES or plain else None


def _upright(words: str) -> bool:
    plain = words.casefold()
    return any(word in plain if len(word) > 1 else plain.strip() == word for word in _UPRIGHT)
