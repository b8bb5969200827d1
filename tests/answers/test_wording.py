"""Numbers in words: an interval keeps the digits that each of its ends deserves."""

from __future__ import annotations

import pytest

from creepfit.answers.wording import show_interval


@pytest.mark.parametrize(
    ("bounds", "shown"),
    [
        ((2.3004, 2.3191, 2.3382), ("2.300", "2.319", "2.338")),
        ((0.2261, 0.2706, 1.3210), ("0.226", "0.271", "1.3")),  # once "0.3 (0.2 to 1.3)", beside a limit of 0.3
        ((7.9, 16.4, 18.2), ("8", "16.4", "18.2")),
        ((1.02, 2.91, 3.05), ("1.0", "2.91", "3.05")),
        ((0.0, 1.3e-9, 1.64), ("0.000", "0.000", "1.6")),
        ((0.0, 0.0, 0.033), ("0.000", "0.000", "0.033")),
        ((0.0, 0.0, 0.0), ("0", "0", "0")),
    ],
)
def test_interval_is_rounded_alike_or_each_side_to_its_own_width(
    bounds: tuple[float, float, float], shown: tuple[str, str, str]
) -> None:
    assert show_interval(*bounds) == shown
