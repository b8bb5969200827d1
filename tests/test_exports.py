"""The public names: complete, importable, documented."""

from __future__ import annotations

import ast
import inspect
from pathlib import Path

import pytest

import creepfit

SOURCE = ast.parse(Path(creepfit.__file__ or "").read_text(encoding="utf-8"))

CANNOT_FAIL = {"check", "increments", "creep_modulus", "next_reading", "summarise"}
"""They take a fit and nothing that a user could have written wrongly."""


@pytest.mark.parametrize("name", creepfit.__all__)
def test_every_public_name_can_be_had_and_is_documented(name: str) -> None:
    value = getattr(creepfit, name)
    assert value.__module__.startswith("creepfit.")
    assert value.__name__ == name
    assert inspect.getdoc(value)


def test_names_for_the_type_checker_are_those_fetched_when_used() -> None:
    imported = {
        alias.asname or alias.name: node.module
        for node in ast.walk(SOURCE)
        if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("creepfit.")
        for alias in node.names
    }
    assert imported == {name: f"creepfit.{home}" for name, home in creepfit._HOMES.items()}
    assert sorted(imported) == sorted(creepfit.__all__)


def test_dir_shows_the_public_names() -> None:
    assert set(creepfit.__all__) <= set(dir(creepfit))


def test_an_unknown_name_is_an_attribute_error() -> None:
    with pytest.raises(AttributeError, match="module 'creepfit' has no attribute 'forcast'"):
        creepfit.forcast  # noqa: B018


def test_the_version_is_that_of_the_installed_package() -> None:
    from importlib.metadata import version

    assert creepfit.__version__ == version("creepfit")


def test_every_public_function_says_what_it_takes_and_raises() -> None:
    functions = [value for name in creepfit.__all__ if inspect.isfunction(value := getattr(creepfit, name))]
    assert functions
    for value in functions:
        doc = inspect.getdoc(value) or ""
        parameters = list(inspect.signature(value).parameters)
        missing = [p for p in parameters if p not in doc] if len(parameters) > 1 else []
        assert not missing, f"{value.__name__}: {missing}"
        assert "Raises" in doc or value.__name__ in CANNOT_FAIL, value.__name__
