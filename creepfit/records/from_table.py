"""A run file around a table of readings that is there already: what it asks for, and the file that comes of the answers."""

from __future__ import annotations

import os
from collections.abc import Callable, Generator
from contextlib import suppress
from dataclasses import MISSING, dataclass, fields
from datetime import datetime
from pathlib import Path

import tomlkit

from creepfit.errors import InputError
from creepfit.mechanics.specimen import SIZED, Direct, Specimen
from creepfit.records.file_content import read_bytes
from creepfit.records.files import LARGEST_TABLE
from creepfit.records.moments import Moment, moment
from creepfit.records.sheets import WORKBOOK_SUFFIXES
from creepfit.records.tables import RawReading, csv_table, readings_of
from creepfit.units import Kind, measure, quantity, show_time

MOST_USUAL = ("three-point-bending", "cantilever")
ACROSS = ("width", "thickness")
"""What is asked of a bar's section: whoever prints bars prints flat ones."""


def _needed(specimen: type[Specimen]) -> tuple[str, ...]:
    """Sizes that a test needs: those along the bar, then its section."""
    along = (f.name for f in fields(specimen) if f.default is MISSING and f.name not in ACROSS)  # type: ignore[arg-type]
    return (*along, *ACROSS)


def _tests() -> dict[str, tuple[str, ...]]:
    """The tests there are, the most usual first, and the sizes that each needs in the order they are asked in."""
    return {test: _needed(SIZED[test]) for test in dict.fromkeys([*MOST_USUAL, *SIZED])} | {Direct.test: ()}


NOT_YET = "still on"


@dataclass(frozen=True)
class Prompt:
    """One thing to ask: its key in the run file, its words, what is taken if nothing is answered, and what it may be.

    `check` returns the answer as it goes into the file, or raises InputError.
    """

    key: str
    words: str
    usual: str | None
    check: Callable[[str], str]


def table_of_readings(path: str | os.PathLike[str]) -> tuple[RawReading, ...]:
    """Read the table that a run file is to be put around.

    Raises
    ------
    InputError
        As for a table that a run file names; also for a workbook, which has a place for all the rest itself.
    """
    file = os.fspath(path)
    if Path(file).suffix.casefold() in WORKBOOK_SUFFIXES:
        expected = 'a CSV file; of a workbook name the sheet in a run file, file = "…" and sheet = "…" under [readings]'
        raise InputError("a workbook", file=file, expected=expected)
    readings = readings_of(csv_table(read_bytes(Path(file), file, LARGEST_TABLE), file))
    if not readings:
        raise InputError("no reading in it", file=file, expected="a row with a time and a reading")
    return readings


def questions(readings: tuple[RawReading, ...], name: str) -> Generator[Prompt, str, None]:
    """What is to be asked about a table of readings; the answer about the test decides which sizes are.

    Send each answer's checked text back into the generator.
    """
    yield Prompt("material", 'Material, such as "PETG"', None, _text)
    yield Prompt("specimen", "Name of the specimen", name, _text)
    test = yield Prompt("test", f"Test: {', '.join(_tests())}", None, _test)
    for size in _tests()[str(test)]:
        yield Prompt(size, f'{size.replace("_", " ").capitalize()}, such as "12 mm"', None, _size)
    yield Prompt("resolution", "What the gauge's division is", "0.01 mm", _quantity("length"))
    yield Prompt("falls", "Does the reading fall as the specimen gives way (yes or no)?", "no", _yes_or_no)
    yield Prompt("load", 'The load, such as "0.4 kg" or "4 N"', None, _load)
    first, last = readings[0].moment, readings[-1].moment
    yield Prompt(
        "on", f"When did it go on (the readings are of {_shown(first)} to {_shown(last)})?", _before(first), _moment
    )
    yield Prompt("off", f'When did it come off ("{NOT_YET}" if it did not)?', NOT_YET, _moment_or_not_yet)


def run_file_text(answers: dict[str, str], table: str) -> str:
    """The run file around a table of readings, which stands in the same folder or at a path from there."""
    file = tomlkit.document()
    file.add(tomlkit.comment("Made around a table of readings. creepfit new run FILE shows what else can stand here."))
    file["format"] = 1
    file["run"] = {"material": answers["material"], "specimen": answers["specimen"]}
    sizes = {size: answers[size] for size in _tests()[answers["test"]]}
    file["specimen"] = {"test": answers["test"], **sizes}
    gauge = {"resolution": answers["resolution"], "instrument": "dial gauge", "falls": answers["falls"] == "yes"}
    file["gauge"] = gauge
    kind = _load_kind(answers["load"])
    loads = tomlkit.aot()
    loads.append(tomlkit.item({"at": answers["on"], kind: answers["load"]}))
    if answers["off"] != NOT_YET:
        loads.append(tomlkit.item({"at": answers["off"], kind: "0 kg" if kind == "mass" else "0 N"}))
    file["load"] = loads
    file["readings"] = {"file": table}
    return tomlkit.dumps(file)


def _shown(moment: Moment) -> str:
    return f"{moment:%Y-%m-%d %H:%M}" if isinstance(moment, datetime) else show_time(moment)


def _before(first: Moment) -> str:
    """The first reading is usually the one before the load; a reading at the load's own time counts as taken before it."""
    return _shown(first) if isinstance(first, datetime) else "0 s"


def _text(answer: str) -> str:
    if not answer.strip():
        raise InputError("nothing typed", expected="a name")
    return " ".join(answer.split())


def _test(answer: str) -> str:
    near = [test for test in _tests() if test.startswith(answer.strip().casefold().replace(" ", "-"))]
    if not answer.strip() or len(near) != 1:
        raise InputError(found=answer, expected=f"one of {', '.join(_tests())}")
    return near[0]


def _size(answer: str) -> str:
    measure(answer, "length")
    return answer.strip()


def _quantity(kind: Kind) -> Callable[[str], str]:
    def check(answer: str) -> str:
        quantity(answer, kind)
        return answer.strip()

    return check


def _load(answer: str) -> str:
    _load_kind(answer)
    return answer.strip()


def _load_kind(answer: str) -> Kind:
    kinds: tuple[Kind, ...] = ("mass", "force")
    for kind in kinds:
        with suppress(InputError):
            quantity(answer, kind)
            return kind
    raise InputError(found=answer, expected='a mass such as "0.4 kg" or a force such as "4 N"')


def _yes_or_no(answer: str) -> str:
    word = answer.strip().casefold()
    if word not in ("y", "yes", "n", "no"):
        raise InputError(found=answer, expected="yes or no")
    return "yes" if word.startswith("y") else "no"


def _moment(answer: str) -> str:
    when = moment(answer)
    return f"{when:%Y-%m-%d %H:%M:%S}" if isinstance(when, datetime) else answer.strip()


def _moment_or_not_yet(answer: str) -> str:
    return NOT_YET if answer.strip().casefold() in (NOT_YET, "on", "no", "not yet", "-") else _moment(answer)
