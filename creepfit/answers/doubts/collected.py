"""The only source of cautions: what is doubtful about a run, a fit and each answer.

A caution is raised by the case, says what it does to the answer and which reading would settle it; its words are in
`catalogue`. What is doubtful about a part, several runs or stresses stands in files of their own beside this one.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from creepfit.answers.doubts.bench import wrong_columns
from creepfit.answers.doubts.breaks import own_break
from creepfit.answers.doubts.catalogue import forecast as words
from creepfit.answers.doubts.early import late_first_doubts
from creepfit.answers.doubts.flow import flow_doubts
from creepfit.answers.doubts.known import known_doubts
from creepfit.answers.doubts.load import below_zero_doubts, lever_doubts, load_doubts, misfit_doubts, plunger_doubts
from creepfit.answers.doubts.material import (
    bending_doubts,
    hook_doubts,
    modulus_absurd,
    modulus_doubts,
    modulus_named,
    strain_doubts,
    temperature_doubts,
)
from creepfit.answers.doubts.mistyped import mistyped_reading, template_doubts
from creepfit.answers.doubts.moisture import moisture_doubts
from creepfit.answers.doubts.readings import (
    FIRST_BY,
    came_off_by_the_end,
    gauge_doubts,
    load_step_doubts,
    logger_doubts,
    order_doubts,
    resolution_doubts,
    schedule_doubts,
    shape_doubts,
)
from creepfit.answers.doubts.slips import (
    came_off,
    events_by_one_reading,
    larger_than_specimen,
    loaded_before,
    odd_temperature,
    other_way_round,
    other_zero,
)
from creepfit.answers.doubts.temperature import oven_doubts, warming_doubts
from creepfit.answers.doubts.trial import trial_doubts
from creepfit.answers.interval import Caution
from creepfit.asked import asked_times
from creepfit.inference.columns import observations
from creepfit.inference.components import nodes_of
from creepfit.inference.freest_curve import FreestCurve
from creepfit.inference.known import KnownFit
from creepfit.inference.noise import temperature_swing
from creepfit.inference.pooling import PooledFit
from creepfit.inference.run_fit import FAR, FARTHEST, Fit
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.units import HOUR

SLIPS = (
    "oven-run",
    "reading-beyond-the-specimen",
    "larger-than-specimen",
    "columns-swapped",
    "reads-the-other-way",
    "other-zero",
)
"""Another test than one of creep, and slips, beside which a number would only mislead: no answer begins with one, and what
else is doubtful about an answer is not said."""

PRIOR_SHARE = 0.5
PRIOR_WEIGHT = 0.2


def check_run(run: Run) -> tuple[Caution, ...]:
    """Doubts about a run as it was read, without fitting models to it.

    Raises
    ------
    FitError
        Where no reading was taken under load.
    """
    curve = FreestCurve(observations(run))
    return (*own_break(run), *_of_run(run, curve))


@lru_cache(maxsize=1)  # each answer on a fit asks again, and the freest curve takes longer than most answers
def about_fit(fit: Fit) -> tuple[Caution, ...]:
    """Doubts about a fit: those of its run, and what the readings leave open."""
    # what a pool has of its reference run spans the readings of all of them
    of_run = check_run(fit.run) if isinstance(fit, PooledFit) else (*own_break(fit.run), *_of_run(fit.run, fit.freest))
    if any(c.code in SLIPS for c in of_run):  # what else is doubtful would only follow from that
        return (*of_run, *warming_doubts(fit))
    of_fit = tuple(_of_fit(fit))
    if any(c.code == "below-the-zero" for c in of_fit):  # a wrong zero makes the modulus wrong, too: one question
        of_run = tuple(c for c in of_run if c.code != "modulus-out-of-range")
    return (*known_doubts(fit), *of_run, *of_fit, *warming_doubts(fit))


def slip_of(fit: Fit) -> Caution | None:
    """Return what no number is given beside, a slip or another test than one of creep; None without one, and of a pool."""
    return None if isinstance(fit, PooledFit) else next((c for c in about_fit(fit) if c.code in SLIPS), None)


def about_forecast(
    fit: Fit, times: Sequence[float | str] | Array, peak: float | None = None, flowing: float = 1.0
) -> tuple[Caution, ...]:
    """Doubts about a forecast at times since first loading, s or text, with those of the run and the fit.

    `peak` is the highest load it is for, N or MPa, where that is not the run's own; `flowing` as in `flow_doubts`.
    """
    if slip_of(fit) is not None:
        return about_fit(fit)
    horizon = float(asked_times(times, "at").max())
    return (
        *about_fit(fit),
        *(() if peak is None else load_doubts(fit, peak)),
        *_of_horizon(fit, horizon),
        *trial_doubts(fit, horizon),
        *flow_doubts(fit, horizon, flowing),
        *_of_prior(fit),
        *_of_surroundings(fit.run),
        *_of_any_forecast(fit),
    )


def about_recovery(fit: Fit, after: float = 0.0) -> tuple[Caution, ...]:
    """Doubts about recovery and permanent set up to `after` [s] the unloading, with those of the run and the fit."""
    return (*about_fit(fit), *_of_recovery(fit), *_of_late_recovery(fit, after))


def known_for(fit: Fit) -> float:
    """How long anything was read in one stretch, s: under load or after the unloading, whichever was longer."""
    off = fit.run.unloading
    return max(fit.run.test_length, 0.0 if off is None else float(fit.observed.times[-1]) - off)


def _of_late_recovery(fit: Fit, after: float) -> Iterator[Caution]:
    known = known_for(fit)
    if after > FAR * known * (1.0 + 1e-9):
        yield words.RECOVERY_FAR(
            after=after,
            ratio=after / known,
            known=known,
            too_far=after > FARTHEST * known,
            recovery=fit.observed.has_recovery,
        )


def _of_run(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    yield from template_doubts(run)
    oven = tuple(oven_doubts(run))
    if oven:  # what else was said would be about a creep curve, and this is none
        yield from oven
        return
    odd = odd_temperature(run)
    if odd is not None:  # the gauge is not blamed for a reading that fits
        caution, run = odd
        yield caution
        curve = FreestCurve(observations(run))
    mistyped = mistyped_reading(run, curve)
    if mistyped is not None and mistyped.caution.code in SLIPS:  # no number is given beside it, whatever was meant
        yield mistyped.caution
        return
    if mistyped is None:
        yield from _as_typed(run, curve)
        return
    yield mistyped.caution
    run = mistyped.put_right  # what else is doubtful would only follow from that one reading
    yield from _as_typed(run, FreestCurve(observations(run)))


def _as_typed(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    wrong = wrong_columns(run, curve)
    swapped = wrong if wrong is not None and wrong.code == "columns-swapped" else None
    slip = swapped or larger_than_specimen(run, curve) or other_way_round(run, curve) or other_zero(run, curve)
    if slip is not None:  # whatever else was said would only be about that
        yield slip
        return
    if wrong is not None:
        yield wrong
    absurd = wrong is not None or modulus_absurd(run, curve)
    modulus = tuple(modulus_doubts(run, curve))
    early = loaded_before(run, curve)
    if early is not None:
        yield early
        modulus = ()
    named = modulus_named(run, curve)
    if named:  # before all that is said of the shape: a wrong size or unit would explain it
        yield from modulus
    off = came_off(run, curve)
    if off is not None:
        yield off
    yield from events_by_one_reading(run, curve)
    yield from logger_doubts(run)
    yield from order_doubts(run)
    yield from load_step_doubts(run, curve)
    if off is None:  # what looks like slips and rupture then is the load that came off
        yield from shape_doubts(run, curve, sizes_believed=not absurd)
    yield from lever_doubts(run)
    yield from plunger_doubts(run)
    yield from gauge_doubts(run)
    for doubt in schedule_doubts(run, curve):
        if off is None or doubt.code != "no-recovery-reading":  # they may be there, once the unloading is noted
            yield doubt
    yield from resolution_doubts(run, curve)
    if not named:
        yield from modulus
    yield from bending_doubts(run, curve)
    yield from hook_doubts(run, curve)
    if wrong is None:
        yield from strain_doubts(run, curve)
    yield from temperature_doubts(run, curve)
    yield from moisture_doubts(run)


def _of_fit(fit: Fit) -> Iterator[Caution]:
    yield from below_zero_doubts(fit)
    yield from misfit_doubts(fit)
    yield from late_first_doubts(fit)
    most = max((m.free for m in fit.models.values()), default=1)
    if most < 1:
        yield words.FEW_READINGS()


def _of_horizon(fit: Fit, horizon: float) -> Iterator[Caution]:
    # what a longer run of the material showed is no extrapolation of models
    length = max(
        [fit.run.test_length, *(k.length for k in fit.used)] if isinstance(fit, KnownFit) else [fit.run.test_length]
    )
    ratio = horizon / length
    if ratio > FAR * (1.0 + 1e-9):
        yield words.BEYOND_TEN_TIMES(
            horizon=horizon,
            ratio=ratio,
            length=length,
            too_far=ratio > FARTHEST,
            came_off=came_off_by_the_end(fit.run),
            until=horizon / FAR,
        )


def _of_prior(fit: Fit) -> Iterator[Caution]:
    share = prior_share(fit)
    if share is not None and share > PRIOR_SHARE:
        late, recovery = fit.observed.span.first > FIRST_BY, fit.observed.has_recovery
        share = min(share, 1.0)  # a few readings can point out into the tail, of which no more is known
        yield words.PRIOR_DOMINATES(share=share, late=late, no_recovery=not recovery, all_done=recovery and not late)


def prior_share(fit: Fit) -> float | None:
    """Posterior over prior variance of the power family's exponent; None where that family plays no part."""
    pairs = zip(fit.mixture.weights, fit.mixture.posteriors, strict=True)
    family = [(w, p) for w, p in pairs if p.member.model.leads]
    if sum(w for w, _ in family) < PRIOR_WEIGHT:
        return None
    after = _variance(
        np.concatenate([p.nodes.shapes[:, 0] for _, p in family]),
        np.concatenate([w * np.exp(p.log_weight) for w, p in family]),
    )
    whole = nodes_of(family[0][1].member).every
    return after / _variance(whole.shapes[:, 0], np.exp(whole.log_prior))


def _variance(values: Array, weights: Array) -> float:
    mean = np.average(values, weights=weights)
    return float(np.average((values - mean) ** 2, weights=weights))


def _of_surroundings(run: Run) -> Iterator[Caution]:
    if run.age is None and run.kind == "glassy":
        yield words.AGE_UNKNOWN()
    if run.temperature is None and temperature_swing(run) is None and run.test_length > HOUR:
        yield words.TEMPERATURE_NOT_NOTED()


def _of_any_forecast(fit: Fit) -> Iterator[Caution]:
    run = fit.run
    yield words.NOT_A_STRENGTH_CHECK()
    orientation = dict(run.print_data).get("orientation")
    yield words.OUTSIDE_THE_TEST(
        noted=run.temperature is not None,
        temperature=run.temperature,
        oriented=orientation is not None,
        orientation=orientation,
    )
    yield words.MOULDED_BARS(tested=fit.specimens, two=fit.specimens == 2)


def _of_recovery(fit: Fit) -> Iterator[Caution]:
    run = fit.run
    off = run.unloading
    last = float(fit.observed.times[-1])
    if off is None:
        yield words.HYPOTHETICAL_UNLOADING()
    if fit.observed.has_initial and fit.observed.has_recovery and sum(r.repeats for r in run.initial) < 2:
        yield words.ONE_INITIAL_READING()
    if off is None:
        return
    after = last - off
    if after <= 0.0:
        yield words.RECOVERY_NOT_READ()
    elif after < 0.1 * run.test_length:
        yield words.SHORT_RECOVERY(after=after, test_length=run.test_length)
