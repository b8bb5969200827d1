"""What the gauge would show: draws of a specimen's response, of all models together, of one, and without ageing.

The response is the change since the run's own reference: the initial reading, or without one the first reading under
load. A hanger or plunger that acted at the reference goes on acting, as it does on the bench.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.components import Member
from creepfit.inference.fitting import Fit
from creepfit.inference.mixture import Draws, Mixture
from creepfit.mechanics.loading import Array, LoadHistory

FEWEST_DRAWS = 200
"""A model with fewer draws than this in the mixture's own is drawn on its own, so that its line is no accident."""

OWN_DRAWS = 200


@dataclass(frozen=True, eq=False)
class Family:
    """One model as the user knows it: its name, its weight, and draws of it alone (those of `draws` in `rows`)."""

    label: str
    weight: float
    draws: Draws
    rows: NDArray[np.intp] | slice


def response(fit: Fit, draws: Draws, history: LoadHistory, times: Array, discrepancy: bool = True) -> Array:
    """Response to an added load history.

    Parameters
    ----------
    fit : Fit
        The run's fit: says what the reference is, and what acted on the specimen before the first load.
    draws : Draws
        Draws of the fit's mixture, or of a part of it.
    history : LoadHistory
        Added loads in N (MPa for a specimen under stress), from t = 0 on.
    times : ndarray, shape (T,)
        Times since first loading, s.
    discrepancy : bool
        Whether the model discrepancy is in.

    Returns
    -------
    ndarray, shape (N, T)
        Change since the reference, mm or strain.
    """
    times = np.asarray(times, dtype=float)
    standing = standing_load(fit)
    if fit.observed.has_initial and standing.change.size == 0:
        return draws.deformation(history, times, discrepancy=discrepancy)
    reference = reference_times(fit)
    whole = LoadHistory.joined([standing, history])
    both = draws.deformation(whole, np.concatenate([reference, times]), discrepancy=discrepancy)
    return np.asarray(both[:, reference.size :] - both[:, : reference.size].mean(axis=1, keepdims=True))


def discrepancy(fit: Fit, draws: Draws, history: LoadHistory, times: Array) -> Array:
    """What model discrepancy alone adds to the response, mm or strain, shape (N, T)."""
    nothing = np.zeros(draws.count)
    return response(fit, replace(draws, groups=(), instant=nothing, creep=nothing), history, times)


def standing_load(fit: Fit) -> LoadHistory:
    """Hanger and plunger: what acted on the specimen before the first load was added."""
    return fit.observed.history.until(0.0)


def reference_times(fit: Fit) -> Array:
    """Times of the readings that the response is counted from, s."""
    times = fit.observed.times
    if fit.observed.has_initial:
        return np.asarray(times[times <= 0.0])
    loaded = (fit.run.history.at(times) != 0.0) & (times > 0.0)
    return np.asarray(times[loaded][:1])


def label_of(member: Member) -> str:
    """Name of the model a member belongs to, as tables show it."""
    name, ageing = member.family
    return f"{name}, ageing clock" if ageing else name


def families(fit: Fit) -> tuple[Family, ...]:
    """The models of the mixture with their weights and draws, in the mixture's order."""
    labels = [label_of(p.member) for p in fit.mixture.posteriors]
    out = []
    for label in dict.fromkeys(labels):
        weight = float(sum(w for w, own in zip(fit.mixture.weights, labels, strict=True) if own == label))
        groups = [np.asarray(g.rows, dtype=np.intp) for g in fit.draws.groups if label_of(g.member) == label]
        rows = np.sort(np.concatenate(groups)) if groups else np.empty(0, dtype=np.intp)
        if rows.size >= FEWEST_DRAWS:
            out.append(Family(label, weight, fit.draws, rows))
        else:
            own = _part(fit.mixture, lambda m, name=label: label_of(m) == name)  # type: ignore[misc]
            out.append(Family(label, weight, own.draws(OWN_DRAWS, fit.seed), slice(None)))
    return tuple(out)


def unaged_draws(fit: Fit) -> Draws | None:
    """Draws without the members on an ageing clock; None where there are no such members.

    Ageing slows creep, and its rate is known from other materials only: so it may never make an answer safer than
    the plain clock does, and upper limits are taken with these draws too.
    """
    plain = unaged(fit.mixture)
    return None if plain is None else plain.draws(fit.draws.count, fit.seed)


def unaged(mix: Mixture) -> Mixture | None:
    """The mixture without the members on an ageing clock; None where there are none."""
    if all(p.member.rate is None for p in mix.posteriors):
        return None
    return _part(mix, lambda m: m.rate is None)


def _part(mix: Mixture, keep: Callable[[Member], bool]) -> Mixture:
    """The mixture of some of its members, their weights in proportion."""
    kept = [i for i, p in enumerate(mix.posteriors) if keep(p.member)]
    weights = mix.weights[kept]
    total = weights.sum()
    # weights that underflowed to zero still have an order: their evidence
    weights = weights / total if total > 0.0 else np.full(len(kept), 1.0 / len(kept))
    return replace(mix, posteriors=tuple(mix.posteriors[i] for i in kept), weights=weights)
