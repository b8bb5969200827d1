"""Numbers in words: the ends of an interval and its median have the same decimals."""

from __future__ import annotations

import pytest

from creepfit.answers.wording import show_interval, show_ratio


@pytest.mark.parametrize(
    ("bounds", "shown"),
    [
        ((2.3004, 2.3191, 2.3382), ("2.300", "2.319", "2.338")),
        ((0.2261, 0.2706, 1.3210), ("0.23", "0.27", "1.32")),  # once "0.3 (0.2 to 1.3)", beside a limit of 0.3
        ((7.9, 16.4, 18.2), ("7.9", "16.4", "18.2")),
        ((1.02, 2.91, 3.05), ("1.02", "2.91", "3.05")),
        ((0.0, 1.3e-9, 1.64), ("0.00", "0.00", "1.64")),
        ((3.6512, 3.9087, 5.0981), ("3.65", "3.91", "5.10")),  # once "3.65 to 5.1"
        ((97.9012, 99.9291, 99.9441), ("97.90", "99.93", "99.94")),  # once "97.9 to 99.944"
        ((0.0, 0.0, 0.033), ("0.000", "0.000", "0.033")),
        ((0.0, 0.0, 0.0), ("0", "0", "0")),
    ],
)
def test_interval_is_rounded_alike(bounds: tuple[float, float, float], shown: tuple[str, str, str]) -> None:
    assert show_interval(*bounds) == shown


@pytest.mark.parametrize(
    ("bounds", "shown"),
    [
        ((1.04, 1.7, 2.7), ("1.04", "1.7", "2.7")),  # once "1.0 to 2.7" beside "the difference is real"
        ((0.41, 0.62, 0.996), ("0.41", "0.62", "0.996")),
        ((0.97, 1.02, 1.31), ("0.97", "1.02", "1.31")),
        ((1.0, 1.0, 1.0), ("1", "1", "1")),
    ],
)
def test_no_end_of_a_ratio_that_differs_from_1_is_shown_as_1(
    bounds: tuple[float, float, float], shown: tuple[str, str, str]
) -> None:
    assert show_ratio(*bounds) == shown
