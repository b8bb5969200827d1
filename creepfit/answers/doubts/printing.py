"""Doubts from how specimen and part were printed: each difference with the direction of the error it makes."""

from __future__ import annotations

import re
from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import printing as words
from creepfit.answers.doubts.catalogue.entry import Entry
from creepfit.answers.interval import Caution
from creepfit.mechanics.beam import Beam
from creepfit.records.part import Part
from creepfit.records.run import Run

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
            # whether the user's own factors already speak of this
            factor = part.allowance.layer_direction if key == "orientation" else part.allowance.print_settings
            entry, case = _difference(key, mine[key], its[key])
            yield entry(key=key, specimen=mine[key], part=its[key], counted=factor != 1.0, factor=factor, **case)
    one_sided = [key for key in dict.fromkeys([*mine, *its]) if (key in its) != (key in mine)]
    if one_sided:
        yield words.PRINT_UNSAID(one_sided=", ".join(one_sided))


def _difference(key: str, specimen: str, part: str) -> tuple[Entry, dict[str, bool]]:
    """The entry that says what a difference does to the sag, with what it asks for."""
    if key == "orientation":
        if _upright(part) != _upright(specimen):
            return words.PRINT_UPRIGHT, {"of_part": _upright(part)}
        return words.PRINT_ORIENTATION, {}
    if key in _STIFFER_WITH_MORE:
        mine, its = _number(specimen), _number(part)
        if mine is not None and its is not None:
            return words.PRINT_LESS, {"less": its < mine}
    if key in ("annealed", "dried"):
        treated = _yes(part)
        if treated is not None and _yes(specimen) is not None:
            return words.PRINT_TREATED, {"treated": treated}
    return (words.PRINT_LAYER if key == "layer" else words.PRINT_OTHER), {}


def _cores(part: Part, run: Run) -> Iterator[Caution]:
    beam: Beam | None = getattr(run.specimen, "beam", None)
    specimen_core = getattr(run.specimen, "walls", None) is not None or (beam is not None and _has_core(beam))
    if part.analysed is not None:
        return
    part_core = _has_core(part.beam)
    mine, its = (_number(dict(data).get("infill", "")) for data in (run.print_data, part.print_data))
    if part_core and not specimen_core and mine is not None and mine < 100.0:
        yield words.INFILL_TWICE(mine=mine)
    if specimen_core and not part_core and its is not None and its < 100.0:
        yield words.INFILL_NOT_COUNTED(its=its)
    if not specimen_core and not part_core and mine is not None and mine < 100.0:
        yield words.INFILL_SMEARED(mine=mine)


def _has_core(beam: Beam) -> bool:
    return any(getattr(s.section, "walls", None) is not None for s in (*beam.upright, *beam.segments))


def _number(said: str) -> float | None:
    digits = re.search(r"\d+(?:[.,]\d+)?", said)
    return float(digits.group().replace(",", ".")) if digits else None


def _yes(word: str) -> bool | None:
    plain = word.casefold().strip()
    if plain in _NO or plain.startswith("not "):
        return False
    return True if plain in _YES or plain else None


def _upright(said: str) -> bool:
    plain = said.casefold()
    return any(word in plain if len(word) > 1 else plain.strip() == word for word in _UPRIGHT)
