"""How a frame shares its load over time between what creeps and what does not: springs, a mounting that turns, steel.

The unknown forces X of `mechanics.frame` then change as the material creeps. With A and C the flexibilities of what creeps
and of what does not, D the compliance, P the load and * for superposition in time, X minimises the complementary energy at
every moment if

    A D*dX + C X + a D*dP + c P = 0       within what balances, B X + b P = 0.

A and C are taken to their common eigenvectors (C v = (1 - s) G v, A D0 v = s G v, G = A D0 + C): in each of them stands one
equation of the second kind, that of a part that is held bent with a share 1 - s in series that does not creep,

    s D/D0 * dR + (1 - s) R = 1,

which `mechanics.relaxation` marches in time for any creep function. So every deflection is superposed from three functions
of the material, each times a number of the frame: its compliance D, a constant, and for each mode its growth
g(t) = (1 - R(t))/s. For s = 1, where all creeps, g has no part in it, and for s = 0 it is D/D0 - 1.
(The correspondence principle, taken to the time domain by hand; Zener's and Maxwell's bodies, whose R is known, check it.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from creepfit.mechanics.beam import Influence
from creepfit.mechanics.beam_loads import Load
from creepfit.mechanics.frame import Frame, State
from creepfit.mechanics.loading import Array

ALL_CREEPS = 1e-9
"""1 - s below which a mode is all of the part's own material."""

NOTHING_CREEPS = 1e-12
"""s below which no more of a mode is worked out."""


@dataclass(frozen=True)
class Shared:
    """Deflection per unit load, in a frame that gives way.

    `per_compliance` [mm MPa] times the superposed compliance, `at_once` [mm] times the load, and `grown` [mm], one number a
    mode, times the superposed growth g of each.
    """

    per_compliance: float
    at_once: float
    grown: tuple[float, ...]


class Sharing:
    """The modes of a frame that gives way.

    Parameters
    ----------
    frame : Frame
        Its `compliance` is D0, of which the answer does not depend.

    Attributes
    ----------
    shares : ndarray, shape (M,)
        s of each mode in which something creeps and something does not.
    """

    def __init__(self, frame: Frame) -> None:
        from scipy.linalg import eigh, null_space  # slow to import, and few parts share their load

        self._frame = frame
        creeping, elastic = frame.flexibilities
        balance = frame.balance
        free = null_space(balance) if balance.shape[0] else np.eye(creeping.shape[0])
        self._balancing = np.linalg.pinv(balance) if balance.shape[0] else np.zeros((creeping.shape[0], 0))
        soft, stiff = free.T @ creeping @ free * frame.compliance, free.T @ elastic @ free
        if free.shape[1]:
            share, vectors = eigh(soft, soft + stiff)
        else:
            share, vectors = np.zeros(0), np.zeros((0, 0))
        creeps = share > NOTHING_CREEPS
        self._share: Array = np.minimum(share[creeps], 1.0)
        self._modes: Array = (free @ vectors)[:, creeps]
        self._mixed = self._share < 1.0 - ALL_CREEPS
        self.shares: Array = self._share[self._mixed]

    def shared(self, load: Load, unit: Load) -> Shared:
        """Deflection where and as `unit` acts per unit of a load."""
        one, other = self._balanced(load), self._balanced(unit)
        (a, c), (a_unit, c_unit) = self._in_modes(one), self._in_modes(other)
        work, reference, s = self._frame.work(one, other), self._frame.compliance, self._share
        # what the mode gives way by as if nothing but the material did, and what is left of that over s
        both = a * a_unit / s
        creeps = work.per_compliance - float(np.sum(both)) / reference
        at_once = work.mount + float(np.sum((1.0 - s) * both - a * c_unit - c * a_unit - c * c_unit))
        left = s * ((1.0 - s) * a / s - c) * ((1.0 - s) * a_unit / s - c_unit)
        return Shared(creeps, at_once, tuple(float(value) for value in left[self._mixed]))

    def _balanced(self, load: Load) -> State:
        """The load with forces that balance it, whichever."""
        missing = np.array(self._frame.unbalanced(load))
        return -self._balancing @ missing, load

    def _in_modes(self, state: State) -> tuple[Array, Array]:
        """Work on a unit of each mode, in what creeps (times D0) and in what does not, mm; shape (modes,) each."""
        influences: list[Influence] = [self._frame.work(state, (mode, None)) for mode in self._modes.T]
        soft = np.array([f.per_compliance * self._frame.compliance for f in influences])
        return soft, np.array([f.mount for f in influences])
