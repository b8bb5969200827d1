"""The catalogue of cautions: every entry is raised, with what its sentences ask for; those no other test raises."""

from __future__ import annotations

import ast
import pkgutil
import re
from collections.abc import Callable, Iterable
from functools import cache
from importlib import import_module
from pathlib import Path
from string import Formatter
from types import SimpleNamespace
from typing import Any, NamedTuple

import pytest

import creepfit
import creepfit.answers.doubts.catalogue as catalogue
from creepfit.answers.doubts.analysis import analysis_doubts
from creepfit.answers.doubts.catalogue.entry import GENERAL, UNRANKED, Entry, foremost, ranked
from creepfit.answers.doubts.catalogue.forecast import SAID_BY
from creepfit.answers.doubts.comparison import _stress
from creepfit.answers.doubts.known import known_doubts
from creepfit.answers.doubts.part_bent import turning_frame
from creepfit.answers.doubts.pool import pool_doubts
from creepfit.answers.doubts.stress import _of_specimens
from creepfit.answers.interval import Caution
from creepfit.answers.specimen.first_day import _doubts
from creepfit.answers.temperature.softening import Softening
from creepfit.inference.known import KnownFit
from creepfit.records.run import Reading

pytestmark = pytest.mark.few_draws

ROOM = Path(creepfit.__file__).parent

ENTRIES = {
    (theme.name, name): entry
    for theme in pkgutil.iter_modules(catalogue.__path__)
    for name, entry in vars(import_module(f"{catalogue.__name__}.{theme.name}")).items()
    if isinstance(entry, Entry)
}
"""Every entry by its module and name."""


class Source(NamedTuple):
    """A file: the module of the catalogue that it calls `words`, and all that it calls and takes from something."""

    path: Path
    theme: str | None
    calls: list[ast.Call]
    attributes: list[ast.Attribute]


@cache
def sources() -> list[Source]:
    found = []
    for path in sorted(ROOM.rglob("*.py")):
        if "catalogue" in path.parts:
            continue
        source = Source(path, None, [], [])
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call):
                source.calls.append(node)
            elif isinstance(node, ast.Attribute):
                source.attributes.append(node)
            elif isinstance(node, ast.ImportFrom) and node.module == catalogue.__name__ and source.theme is None:
                source = source._replace(theme=node.names[0].name)
        found.append(source)
    return found


def places(words: str) -> set[str]:
    """What a sentence asks for, in its alternatives too."""
    found = set()
    for _, name, spec, _ in Formatter().parse(words):
        if name is not None:
            found |= {name} | places(spec or "")
    return found


def test_nothing_is_raised_that_is_not_in_the_catalogue() -> None:
    for source in sources():
        made = [call.lineno for call in source.calls if getattr(call.func, "id", "") == "Caution"]
        assert not made, f"{source.path}: {made}"


def test_every_entry_of_the_catalogue_is_raised() -> None:
    named = {
        (source.theme, node.attr)
        for source in sources()
        if source.theme is not None
        for node in source.attributes
        if getattr(node.value, "id", "") == "words"
    }
    assert len(ENTRIES) > 100
    assert set(ENTRIES) == named


def test_each_is_handed_what_its_sentences_ask_for() -> None:
    """A missing name would only show where the case arises, on a user's run."""
    seen = 0
    for source in sources():
        for call in source.calls if source.theme is not None else ():
            if getattr(getattr(call.func, "value", None), "id", "") != "words":
                continue
            assert isinstance(call.func, ast.Attribute)
            entry = ENTRIES[source.theme, call.func.attr]
            handed = {keyword.arg for keyword in call.keywords}
            asked = places(entry.code) | places(entry.text) | places(entry.settled_by or "") | places(entry.at_desk or "")
            where = f"{source.path}: {call.func.attr}"
            assert handed == asked or (None in handed and handed - {None} <= asked), where
            seen += 1
    assert seen > 90


TYPED = re.compile(r"\[\[|\[[a-z]+\]|--[a-z]|\bcreepfit [a-z]|\(skip\)")
"""Keys of a file, options and commands."""


@pytest.mark.parametrize("entry", ENTRIES.values(), ids=[name for _, name in ENTRIES])
def test_the_desk_names_no_key_and_no_command(entry: Entry) -> None:
    said = entry.at_desk or entry.settled_by or ""
    assert not TYPED.search(f"{entry.text} {said}")
    assert entry.at_desk is None or TYPED.search(entry.settled_by or "")  # else one sentence does for both


def test_one_code_has_one_rank() -> None:
    ranks: dict[str, set[int]] = {}
    for entry in ENTRIES.values():
        ranks.setdefault(entry.code, set()).add(entry.rank)
    assert all(len(r) == 1 for r in ranks.values())
    assert {*SAID_BY, *SAID_BY.values()} <= set(ranks)


def test_the_worst_comes_first_and_what_always_holds_last() -> None:
    raised = [
        Caution("general", "", rank=GENERAL),
        Caution("new", "first"),
        Caution("another", ""),
        Caution("bad", "", rank=20),
    ]
    assert [c.code for c in ranked(raised)] == ["bad", "new", "another", "general"]
    assert foremost(raised) == raised[3]
    assert foremost(raised[:3]) == raised[1]
    assert foremost([]) is None
    assert min(e.rank for e in ENTRIES.values()) < UNRANKED < GENERAL


@pytest.mark.parametrize(
    ("words", "case", "said"),
    [
        ("{stress} MPa", {"stress": 1234.567}, "1230 MPa"),
        ("{count} of {label}", {"count": 3, "label": "a"}, "3 of a"),
        ("{share:2} or {share:%2} %", {"share": 0.1234}, "0.12 or 12 %"),
        ("{turn:.0f} degrees, {label!r}", {"turn": 2.6, "label": "a"}, "3 degrees, 'a'"),
        ("by {until:time}", {"until": 3600.0}, "by 1 h"),
        (
            "at {one:moment}; {all:moment}",
            {"one": Reading(60.0, 0.1), "all": [Reading(60.0, 0.1)] * 2},
            "at 1 min; 1 min, 1 min",
        ),
        ("{n:one stands|{n} stand}", {"n": 1}, "one stands"),
        ("{n:one stands|{n} stand}", {"n": 2}, "2 stand"),
        ("{late:, {by:time} late|}{set:{low:a|b}|c}", {"late": False, "by": None, "set": True, "low": False}, "b"),
        ("{typed:by {name}|}", {"typed": True, "name": "a|b"}, "by a|b"),
    ],
)
def test_sentences_say_numbers_as_they_ask_for(words: str, case: dict[str, Any], said: str) -> None:
    caution = Entry("new", words, words, at_desk=words)(**case)
    assert (caution.text, caution.settled_by, caution.settled_at_desk) == (said, said, said)


def pool(**parts: Any) -> Any:
    return SimpleNamespace(**{"runs": (), "misfits": (), "differences": (), "shared_shape": None, **parts})


MISFIT = SimpleNamespace(run="PETG b", chi_square=41.0, free=8, probability=2e-6)


@pytest.mark.parametrize(
    ("parts", "code", "words"),
    [
        ({"misfits": (MISFIT,)}, "pool-misfit", "PETG b does not fit with the others"),
        ({"differences": ("temperature 23 and 40 degC",)}, "pool-differs", "they differ: temperature 23 and 40 degC"),
        ({"shared_shape": SimpleNamespace(probability=0.1, text="short and long")}, "pool-shape", "short and long"),
    ],
)
def test_cautions_of_pools(parts: dict[str, Any], code: str, words: str) -> None:
    (caution,) = pool_doubts(pool(**parts))
    assert caution.code == code
    assert words in caution.text
    assert caution.settled_by


def test_a_sound_pool_raises_none() -> None:
    assert list(pool_doubts(pool(shared_shape=SimpleNamespace(probability=0.9, text="one curve serves all")))) == []


def known_fit(**known: Any) -> KnownFit:
    fit = object.__new__(KnownFit)
    object.__setattr__(fit, "run", SimpleNamespace(name="new"))
    object.__setattr__(fit, "known", (SimpleNamespace(name="PETG old", run=SimpleNamespace(name="old"), **known),))
    object.__setattr__(fit, "sets", ())
    return fit


def first_readings(moved: float) -> Any:
    return SimpleNamespace(
        counted=(Reading(-60.0, 5.0), Reading(60.0, 5.0 + moved)),
        steps=(SimpleNamespace(value=4.0),),
        gauge=SimpleNamespace(sign=1.0, falls=False),
    )


def bar(stress_per_load: float | None) -> Any:
    specimen = SimpleNamespace(geometry=SimpleNamespace(stress_per_load=stress_per_load))
    return SimpleNamespace(run=SimpleNamespace(label="PETG", working_load=1.0, specimen=specimen))


RARE: dict[str, tuple[Callable[[Any], Iterable[Caution]], Any, Any]] = {
    "frame-turns": (turning_frame, 0.2, 0.05),
    "known-contradicts": (
        known_doubts,
        known_fit(contradicts=True, belongs=0.1, misfit=SimpleNamespace(probability=1e-4)),
        known_fit(contradicts=False, differences=()),
    ),
    "known-differs": (
        known_doubts,
        known_fit(contradicts=False, differences=("23 and 40 degC",)),
        known_fit(contradicts=False, differences=()),
    ),
    "moved-against-the-load": (
        lambda moved: _doubts(first_readings(moved), (0.1, 0.3), moved), -0.2, 0.2,
    ),
    "oven-too-fast": (lambda rate: Softening.cautions.func(SimpleNamespace(rate=rate)), 20.0, 2.0),
    "shape-differs": (lambda fits: _stress(fits, "deformation", False), [bar(None), bar(None)], [bar(1.0), bar(2.0)]),
    "sinh-stress-at-end": (
        lambda law: _of_specimens(SimpleNamespace(runs=(), top=None, levels=[SimpleNamespace(specimens=())], law=law)),
        SimpleNamespace(at_end=True), None,
    ),
    "textbook-formula": (
        analysis_doubts,
        SimpleNamespace(formula="a coil spring"),
        SimpleNamespace(formula="", modulus=2000.0, load="1 N", read_at="the tip", poisson=None),
    ),
}  # fmt: skip
"""Doubts that other tests do not raise: a function, what raises it and what does not."""


@pytest.mark.parametrize("code", RARE)
def test_rare_cautions(code: str) -> None:
    doubts, case, sound = RARE[code]
    assert code in {c.code for c in doubts(case)}
    assert code not in {c.code for c in doubts(sound)}
