"""Figures left empty where only words are tested: to draw one takes longer than to answer what it shows."""

from __future__ import annotations

from contextlib import AbstractContextManager
from unittest.mock import patch

from creepfit.report.figures.style import Drawing


def figureless() -> AbstractContextManager[object]:
    """Context in which figures are made as ever, but what is written of them is empty."""
    return patch.object(Drawing, "written", '<svg viewBox="0 0 1 1"></svg>')
