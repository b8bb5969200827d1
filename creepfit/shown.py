"""How a result shows itself where it is typed: one line at a prompt, a table in a notebook; and several words in a row."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pandas import DataFrame


def listed(words: Sequence[str], last: str = "and") -> str:
    """Return "a", "a and b", "a, b and c"."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def capital(text: str) -> str:
    """Return a text with a capital as its first letter."""
    return text[:1].upper() + text[1:]


class Shown:
    """One line instead of every number it holds; `headline` says what is in it.

    A notebook shows the same line, the result's table where it has one, and its cautions.
    """

    @property
    def headline(self) -> str:
        """What it is and its main number, in a line."""
        raise NotImplementedError

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {self.headline}>"

    def _repr_html_(self) -> str:
        name = type(self).__name__
        parts = [f"<p><b>{escape(name)}</b>: {escape(self.headline)}</p>"]
        table = getattr(self, "table", None)
        if table is not None:
            parts.append(str(table().to_html(index=False, na_rep="", float_format=lambda x: f"{x:.4g}", max_rows=60)))
        cautions: Sequence[Any] = getattr(self, "cautions", ())
        if cautions:
            rows = "".join(f"<li>{escape(str(getattr(c, 'text', c)))}</li>" for c in cautions)
            parts.append(f"<p>Cautions</p><ul>{rows}</ul>")
        return "\n".join(parts)


class Tabled(Shown):
    """A result with a table: `_rows` says what stands in it, nested values with their keys joined."""

    def table(self) -> DataFrame:
        """One row for each time, increment, run, ratio or other thing that the result is about."""
        from pandas import json_normalize

        from creepfit.whole_table import WholeTable

        return WholeTable(json_normalize(self._rows(), sep="_"))

    def _rows(self) -> list[dict[str, Any]]:
        raise NotImplementedError
