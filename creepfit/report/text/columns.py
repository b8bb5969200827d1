"""How many columns a text may take: as many as the terminal has, 80 where it goes into a pipe or a file."""

from __future__ import annotations

from contextvars import ContextVar, Token

MOST = 100
"""Columns of a line at most: longer ones are hard to read. As many are used in a notebook."""

PIPED = 80
FEWEST = 60

_columns: ContextVar[int] = ContextVar("columns", default=MOST)


def columns() -> int:
    """Columns that a line may take."""
    return _columns.get()


def set_columns(count: int) -> Token[int]:
    """Set them, within what can be read and what tables need; returns what `reset_columns` takes."""
    return _columns.set(min(max(count, FEWEST), MOST))


def reset_columns(token: Token[int]) -> None:
    """Set them back."""
    _columns.reset(token)
