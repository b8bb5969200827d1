"""Doubts about the force of a part that is held bent, and which way the force is then wrong."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import held as words
from creepfit.answers.doubts.flow import unseen_share
from creepfit.answers.doubts.part import far_doubts, strain_doubts
from creepfit.answers.doubts.trial import trial_doubts
from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import HeldChecks
from creepfit.inference.run_fit import Fit
from creepfit.records.part import Part


def held_doubts(part: Part, fit: Fit, checks: HeldChecks, latest: float, released: bool) -> tuple[Caution, ...]:
    """Every doubt, the gravest first.

    Parameters
    ----------
    part, fit
    checks : HeldChecks
    latest : float
        Latest time that counts, s.
    released : bool
        Whether what is left after letting go was asked for.
    """
    return (
        *_stress(checks),
        *far_doubts(words.FAR_BEYOND_TEST, fit.run, latest),
        *trial_doubts(fit, latest),
        *_flow(fit, latest),
        *_circumstances(part, fit),
        *_holding(part, fit, released),
        words.NOT_A_STRENGTH_CHECK(),
    )


def _stress(checks: HeldChecks) -> Iterator[Caution]:
    tested = checks.tested[1]
    if checks.stress > tested * (1.0 + 1e-9):
        yield words.STRESS_NOT_TESTED(stress=checks.stress, tested=tested)
    yield from strain_doubts(words.STRAIN, checks.strain)


def _flow(fit: Fit, latest: float) -> Iterator[Caution]:
    """What a flow that was not seen takes off: as the specimen's compliance grows, the force goes."""
    share = unseen_share(fit, latest)
    if share is not None:
        yield words.UNSEEN_FLOW(
            share=share,
            horizon=latest,
            probability=0.5 + fit.level / 2.0,
            lost=share / (1.0 + share),
            recovery=fit.observed.has_recovery,
        )


def _circumstances(part: Part, fit: Fit) -> Iterator[Caution]:
    # another temperature is counted in, and has doubts of its own about the run
    mine = part.temperature if part.climate is None else part.climate.mean
    if fit.warming is None and (mine is None or fit.run.temperature is None):
        yield words.CIRCUMSTANCES_UNSAID()


def _holding(part: Part, fit: Fit, released: bool) -> Iterator[Caution]:
    if part.loads and part.analysed is None:
        yield words.LOADS_LEFT_OUT()
    held = part.held
    if held is not None and held.series_compliance == 0.0:
        yield words.RIGID_COUNTERPART()
    if released and not fit.observed.has_recovery:
        yield words.RECOVERY_NOT_READ()
