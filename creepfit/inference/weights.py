"""Weights of the members of a mixture: stated prior weights times evidence, as far as the readings make it worth."""

from __future__ import annotations

import numpy as np
from scipy.special import expit

from creepfit.inference.columns import Observations
from creepfit.inference.posterior import Posterior
from creepfit.inference.priors import Priors
from creepfit.mechanics.loading import Array

USED_UP = 3
"""Readings that every member uses up: two amplitudes and a shape."""

HALF_TRUST = 1.0
"""Spare readings with which evidence counts half."""


def trust_in_evidence(telling: int) -> float:
    """Power to which evidence between models is raised: 0 without spare readings, towards 1 with many.

    A model that passes through as many readings as it has parameters has shown nothing: what differs between such
    models is only how their priors were chosen. On published curves of three readings full trust in evidence made the
    90th percentile of the forecast's error a fifth larger than prior weights alone.
    """
    spare = max(telling - USED_UP, 0)
    return spare / (spare + HALF_TRUST)


TABLES_SPAN = 2.0
"""Decades under load that readings of tables span; over fewer next to nothing is seen of how creep slows down."""


def flow_counts(observed: Observations, priors: Priors) -> float:
    """What the weight of models that flow is multiplied by: `Priors.flow_untested` for what looks like a table of readings.

    Readings to spare take it off sooner than they make evidence count, and so do readings over less than a table's time:
    else to leave out readings, those after the unloading or the early ones, would make a forecast surer.
    """
    decades = np.log10(observed.span.last / observed.span.first)
    alike = (1.0 - trust_in_evidence(observed.telling)) * min(float(decades) / TABLES_SPAN, 1.0)
    return float(priors.flow_untested ** (alike**2))


RULED_OUT = 7.0
"""A model whose evidence is exp(-7), one in a thousand, of the best one's has half its floor; beyond, it fades."""


def weights_of(posteriors: tuple[Posterior, ...], priors: Priors, observed: Observations) -> Array:
    """Prior weight times evidence as far as the readings make it worth; floored, sum 1.

    Evidence between models is trusted in part only; within one (its set, its stretching exponent) it is that of its
    own coordinates and counts in full. Each model keeps a floor unless the readings contradict it, shared among its
    members by their own probability.
    """
    trust = trust_in_evidence(observed.telling)
    flow = flow_counts(observed, priors)
    prior = np.array([p.member.weight * (flow if p.member.flows else 1.0) for p in posteriors])
    log_joint = np.log(prior / prior.sum()) + np.array([p.log_evidence for p in posteriors])
    families = [p.member.family for p in posteriors]
    groups = [np.array([f == name for f in families]) for name in dict.fromkeys(families)]
    log_prior = np.log([prior[own].sum() / prior.sum() for own in groups])
    evidence = trust * (np.array([np.logaddexp.reduce(log_joint[own]) for own in groups]) - log_prior)
    weight = np.exp(log_prior + evidence - np.logaddexp.reduce(log_prior + evidence))
    floor = priors.floor * expit(RULED_OUT - (evidence.max() - evidence))
    weight = np.maximum(weight, floor) / np.maximum(weight, floor).sum()
    out = np.empty(len(posteriors))
    for own, whole in zip(groups, weight, strict=True):
        out[own] = whole * np.exp(log_joint[own] - np.logaddexp.reduce(log_joint[own]))
    return out
