"""Codes of cautions: all that are ranked are raised somewhere; those of pools, raised and not raised."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

import creepfit.answers
from creepfit.answers.doubts.catalogue import FOREMOST, GENERAL, SAID_BY, foremost, rank
from creepfit.answers.doubts.pool import pool_doubts
from creepfit.answers.interval import Caution


def test_every_code_that_is_ranked_is_raised() -> None:
    room = Path(creepfit.answers.__file__).parent
    code = "\n".join(p.read_text(encoding="utf-8") for p in room.rglob("*.py") if p.name != "catalogue.py")
    for name in {*FOREMOST, *GENERAL, *SAID_BY, *SAID_BY.values()}:
        assert f'"{name}"' in code, name


def test_the_worst_comes_first_and_what_always_holds_last() -> None:
    assert rank(FOREMOST[0]) == 0
    assert rank("outlier") < rank("a-new-one") < rank("moulded-bars")
    raised = [Caution("moulded-bars", ""), Caution("a-new-one", "first"), Caution("another", "")]
    worst = foremost(raised)
    assert worst is not None
    assert worst.text == "first"
    assert foremost([]) is None


def pool(**parts: Any) -> Any:
    return SimpleNamespace(**{"misfits": (), "differences": (), "shared_shape": None, **parts})


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
