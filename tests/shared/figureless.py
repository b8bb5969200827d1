"""Figures left empty where only words are tested: to draw one takes longer than to answer what it shows."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

from creepfit.report.figures import style


@contextmanager
def figureless() -> Iterator[None]:
    """Context in which figures are made as ever, but what is written of them is empty."""
    with patch.object(style.Drawing, "written", '<svg viewBox="0 0 1 1"></svg>'), patch.object(style, "png", lambda _: b""):
        yield
