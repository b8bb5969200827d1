"""Saved results that were changed by hand, cut short or made to break the reader: one line each."""

from __future__ import annotations

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from creepfit.errors import InputError
from creepfit.inference.fitting import fit
from creepfit.inference.saved import load_saved, saved_text
from creepfit.records.files import read_run

from ..conftest import SHORT


@pytest.fixture(scope="module")
def text(tmp_path_factory: pytest.TempPathFactory) -> str:
    path = tmp_path_factory.mktemp("saved") / "short.toml"
    path.write_text(SHORT, encoding="utf-8")
    return saved_text(fit(read_run(path)))


@pytest.fixture(scope="module")
def whole(text: str) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(text)
    return found


def load(content: object, folder: Path) -> None:
    path = folder / "saved.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content), encoding="utf-8")
    load_saved(path)


def test_the_whole_one_is_read(whole: dict[str, Any], tmp_path: Path) -> None:
    load(whole, tmp_path)


def test_its_text_is_what_json_writes(text: str, whole: dict[str, Any]) -> None:
    assert text == json.dumps(whole, indent=1, ensure_ascii=False) + "\n"


MISSING = object()


@pytest.mark.parametrize(
    ("place", "value"),
    [
        (("summary", "forecast"), MISSING),
        (("summary", "models"), MISSING),
        (("summary", "unit"), MISSING),
        (("summary", "models", 0, "parameters"), MISSING),
        (("summary", "models", 0, "parameters", 0, "value"), "2.0"),
        (("summary", "models", 0, "parameters", 0, "std_error"), []),
        (("summary", "forecast", 0, "median"), None),
        (("summary", "forecast", 0, "time_h"), "1"),
        (("summary", "forecast", 0, "low"), float("nan")),
        (("summary", "forecast"), 7),
        (("options", "level"), 1.5),
        (("options", "seed"), -1),
        (("options", "models"), None),
        (("options", "priors", "creep_scale"), "wide"),
        (("options", "priors", "exponent", "degrees"), -5),
        (("run", "readings", 1, 1), ["0.11"]),
        (("run", "readings", 1, 1), []),
        (("run", "readings", 1, 0), 1e999),
        (("run", "readings", 1, 2), "weight"),
        (("run", "tables"), []),
        (("version",), MISSING),
    ],
)
def test_an_entry_that_is_missing_or_of_another_type(
    whole: dict[str, Any], place: tuple[str | int, ...], value: object, tmp_path: Path
) -> None:
    content: Any = copy.deepcopy(whole)
    within = content
    for key in place[:-1]:
        within = within[key]
    if value is MISSING:
        del within[place[-1]]
    else:
        within[place[-1]] = value
    with pytest.raises(InputError) as caught:
        load(content, tmp_path)
    assert str(caught.value).startswith(str(tmp_path / "saved.json"))
    assert "\n" not in str(caught.value)


def test_brackets_a_hundred_thousand_deep(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read as a saved result"):
        load('{"a":' * 100_000, tmp_path)


def test_a_hundred_thousand_brackets_in_a_run(whole: dict[str, Any], tmp_path: Path) -> None:
    text = json.dumps(whole).replace('"readings":', '"deep": ' + "[" * 100_000 + "]" * 100_000 + ', "readings":', 1)
    with pytest.raises(InputError):
        load(text, tmp_path)
