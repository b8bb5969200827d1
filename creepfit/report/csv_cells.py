"""Cells of CSV files that spreadsheets open: text that would be taken for a formula stays text."""

from __future__ import annotations

import re

FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n")
"""What a spreadsheet takes for the beginning of a formula, or passes over before one."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")


def csv_cell(text: str) -> str:
    """Return a cell as it is safe to write: text that begins like a formula gets an apostrophe, a number none."""
    if text.startswith(FORMULA) and text != "-" and not _NUMBER.fullmatch(text):
        return "'" + text
    return text
