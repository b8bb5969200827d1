"""How often each draw counts where something is promised: flow that readings cannot rule out must not break a promise.

The share of flow that a test cannot show is what its prior says. A forecast takes it as it is likely; a load that is
called safe must not lean on that.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from creepfit.inference.components import Member
from creepfit.inference.mixture import Draws
from creepfit.inference.priors import BETWEEN_MEAN, BETWEEN_SHAPE, FLOW_COUNTED
from creepfit.mechanics.loading import Array
from creepfit.models.coordinate import beta_log_density

MOST = np.log(1e3)
"""A share that no prior gives any weight counts a thousand times at most."""


def counted(draws: Draws) -> NDArray[np.intp]:
    """Which draws stand for a promise, shape (N,): those that flow several times, so that others are left out."""
    weight = np.ones(draws.count)
    for group in draws.groups:
        if group.member.flows:
            weight[group.rows] = _weight(group.member, group.nodes.shares[:, -1])
    edges = np.cumsum(weight)
    return np.asarray(np.searchsorted(edges, (np.arange(draws.count) + 0.5) / draws.count * edges[-1]))


def _weight(member: Member, share: Array) -> Array:
    """What draws of a member count, by their share of flow (M,)."""
    own = member.flow_share
    if own is None:
        return np.full(share.size, 2.0 * FLOW_COUNTED)
    between = beta_log_density(BETWEEN_SHAPE, BETWEEN_MEAN)(share) - own.log_prior(share)
    return np.asarray(FLOW_COUNTED * (1.0 + np.exp(np.minimum(between, MOST))))
