"""`WholeTable`: a data frame that shows every column where it is printed."""

from __future__ import annotations

from pandas import DataFrame

MOST_ROWS = 60
"""Rows that are shown; of more, the first and the last ones, as of any data frame."""

WIDTH = 100
"""Characters in a line; columns that do not fit stand below the others."""


class WholeTable(DataFrame):
    """A data frame in all but how it is printed: pandas leaves out the columns in the middle, medians among them."""

    def __repr__(self) -> str:
        return self.to_string(max_rows=MOST_ROWS, line_width=WIDTH)
