"""Searches followed downhill side by side."""

from __future__ import annotations

import numpy as np
import pytest

from creepfit.inference import descent
from creepfit.inference.descent import Factors, descend
from creepfit.mechanics.loading import Array, Indices


class Alike:
    """One column exp(-t (a + b)): its two coordinates move it alike to the last digit."""

    settled = 1e-15
    times = np.linspace(0.0, 3.0, 7)

    def columns(self, places: Array, rows: Indices) -> Array:
        return np.exp(-self.times * places.sum(axis=1)[:, None])[:, None, :]

    def differences(self, places: Array, low: Array, high: Array, rows: Indices) -> Array:
        own = np.eye(2, dtype=bool)[:, None, :]
        return np.array(
            [self.columns(np.where(i, high, places), rows) - self.columns(np.where(i, low, places), rows) for i in own]
        )

    def solve(self, columns: Array, targets: Array, factors: Factors) -> tuple[Array, Array, Array]:
        amplitudes = np.einsum("pkt,pt->pk", columns, targets) / np.einsum("pkt,pkt->pk", columns, columns)
        return amplitudes, targets - np.einsum("pk,pkt->pt", amplitudes, columns), factors[0]


def test_two_coordinates_that_move_the_readings_alike_have_a_lowest_place_too() -> None:
    """A bar a kilometre thick has nothing but rounding to be told apart by: its damping had gone, and the fit with it."""
    problem = Alike()
    targets = problem.columns(np.array([[0.3, 0.2]]), np.array([0]))[:, 0]
    state = descent.Descent.at(problem, np.array([[0.4, 0.4]]), np.array([0]), targets)
    step, _, _ = descent._step(problem, state, np.array([0]), np.array([0.0]), np.array([0.0]))
    assert step[0, 0] == pytest.approx(step[0, 1], rel=1e-3)
    assert step[0, 0] < 0.0
    reached = descend(problem, targets, np.array([[0.4, 0.4]]), np.array([0]))
    assert abs(reached.places.sum() - 0.5) < 1e-9
