"""Where the width of an interval comes from, by the law of total variance on the logarithm of the response."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.mixture import Draws
from creepfit.inference.response import label_of
from creepfit.mechanics.loading import Array


@dataclass(frozen=True)
class Shares:
    """Shares of the variance, together 1: `gauge` (scatter of the readings, and of the next one where that is asked
    for), `parameters` of the models, choice of `model`, model `discrepancy`, and what `temperature` does where the answer
    is for another one than the test's, None where it is not."""

    gauge: float
    parameters: float
    model: float
    discrepancy: float
    temperature: float | None = None

    def to_dict(self) -> dict[str, float]:
        shares = {
            "gauge": self.gauge,
            "parameters": self.parameters,
            "model": self.model,
            "discrepancy": self.discrepancy,
        }
        return shares if self.temperature is None else {**shares, "temperature": self.temperature}


def shares(draws: Draws, base: Array, discrepancy: Array, times: Array, noise: Array | None = None) -> list[Shares]:
    """Shares for each time.

    Parameters
    ----------
    draws : Draws
        Where the rows of `base` come from: their member and node.
    base : ndarray, shape (N, T)
        Response without discrepancy.
    discrepancy : ndarray, shape (N, T)
        What the discrepancy column adds to it.
    times : ndarray, shape (T,)
        s; for what temperature does by then.
    noise : ndarray, shape (N, T), optional
        What the gauge's own scatter adds, for intervals of the next reading.

    Notes
    -----
    Variance between models, between the nodes (shapes, shares of flow and set) within a model, and within a node, where
    only the amplitudes vary, which the scatter of the readings leaves open. The last is pooled over the nodes with two
    draws or more, so that a node drawn once does not pass for one without scatter. Responses that are not all positive
    (under a load that was taken off) are compared as they are instead of by their logarithm.
    """
    middle = np.median(base, axis=0)
    relative = (base > 0.0).all(axis=0)
    size = np.where(relative, base, np.where(middle == 0.0, 1.0, middle))
    values = np.where(relative, np.log(np.where(base > 0.0, base, 1.0)), base / size)
    values = values - values.mean(axis=0)
    order, starts, model = _nodes(draws)
    sums = np.add.reduceat(values[order], starts, axis=0)
    count = np.diff(starts, append=draws.count)
    total = (values * values).mean(axis=0)
    spare = float(np.sum(count - 1))
    left = (values * values).sum(axis=0) - (sums * sums / count[:, None]).sum(axis=0)
    within_nodes = left / spare if spare > 0.0 else np.zeros_like(total)
    between_models = np.zeros_like(total)
    for m in range(int(model.max()) + 1):
        own = model == m
        between_models += sums[own].sum(axis=0) ** 2 / count[own].sum() / draws.count
    added = (discrepancy / size) ** 2
    warmth = np.zeros_like(total) if draws.warmth is None else np.minimum(_of_warmth(draws, times), within_nodes)
    parts = np.array(
        [
            within_nodes - warmth + (0.0 if noise is None else ((noise / size) ** 2).mean(axis=0)),
            np.maximum(total - between_models - within_nodes, 0.0),
            np.maximum(between_models, 0.0),
            added.mean(axis=0),
            warmth,
        ]
    )
    whole = parts.sum(axis=0)
    parts = parts / np.where(whole > 0.0, whole, 1.0)
    if draws.warmth is None:
        parts = parts[:-1]
    return [Shares(*map(float, column)) for column in parts.T]


def _of_warmth(draws: Draws, times: Array) -> Array:
    """Variance of the logarithm of what another temperature multiplies a held response by, shape (T,).

    It varies within a node like the amplitudes, of which it is independent. The parts weigh as at the end of the test.
    """
    assert draws.warmth is not None
    at_once, later = draws.warmth.factors(times)
    weight = (draws.instant / (draws.instant + draws.creep))[:, None]
    return np.asarray(np.var(np.log(weight * at_once + (1.0 - weight) * later), axis=0))


def _nodes(draws: Draws) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Draws in order of their nodes (N,), where each node begins in that order (M,), and each node's model (M,)."""
    names: dict[str, int] = {}
    orders, starts, models, first = [], [], [], 0
    for group in draws.groups:
        _, node = group.different
        order = np.argsort(node, kind="stable")
        begins = np.concatenate([[0], np.flatnonzero(np.diff(node[order])) + 1])
        orders.append(np.asarray(group.rows, dtype=np.intp)[order])
        starts.append(begins + first)
        number = names.setdefault(label_of(group.member), len(names))
        models.append(np.full(begins.size, number))
        first += order.size
    return np.concatenate(orders), np.concatenate(starts), np.concatenate(models)
