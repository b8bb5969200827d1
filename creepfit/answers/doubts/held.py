"""Doubts about the force of a part that is held bent, and which way the force is then wrong."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.doubts.catalogue import held as words
from creepfit.answers.doubts.readings import came_off_by_the_end
from creepfit.answers.interval import Caution
from creepfit.answers.part.checks import HeldChecks
from creepfit.inference.fitting import Fit
from creepfit.records.part import Part

STRAIN_LINEAR, STRAIN_DESIGN = 0.005, 0.01
"""As for the sag: linear up to the first, design strain of ductile plastics (common practice)."""

FREE, MOST = 10.0, 100.0


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
        *_time(fit, checks, latest),
        *_circumstances(part, fit),
        *_holding(part, fit, released),
        words.NOT_A_STRENGTH_CHECK(),
    )


def _stress(checks: HeldChecks) -> Iterator[Caution]:
    tested = checks.tested[1]
    if checks.stress > tested * (1.0 + 1e-9):
        yield words.STRESS_NOT_TESTED(stress=checks.stress, tested=tested)
    if checks.strain > STRAIN_LINEAR:
        limit = STRAIN_DESIGN if checks.strain > STRAIN_DESIGN else STRAIN_LINEAR
        yield words.STRAIN(strain=checks.strain, limit=100.0 * limit, design=limit == STRAIN_DESIGN)


def _time(fit: Fit, checks: HeldChecks, latest: float) -> Iterator[Caution]:
    if checks.beyond <= FREE * (1.0 + 1e-9):
        return
    yield words.FAR_BEYOND_TEST(
        asked=latest,
        beyond=checks.beyond,
        test=fit.run.test_length,
        guess=checks.beyond > MOST,
        until=latest / FREE,
        came_off=came_off_by_the_end(fit.run),
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
