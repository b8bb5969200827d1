"""The only source of cautions: what is doubtful about a run, a fit and each answer.

A caution is raised by the case, says what it does to the answer and which reading would settle it. Doubts about the
readings are in `doubts_readings`, about material, sizes and surroundings in `doubts_material`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import lru_cache

import numpy as np

from creepfit.answers.doubts.bench import wrong_columns
from creepfit.answers.doubts.early import late_first_doubts
from creepfit.answers.doubts.flow import flow_doubts
from creepfit.answers.doubts.known import known_doubts
from creepfit.answers.doubts.load import below_zero_doubts, lever_doubts, load_doubts, misfit_doubts
from creepfit.answers.doubts.material import (
    bending_doubts,
    hook_doubts,
    modulus_absurd,
    modulus_doubts,
    modulus_named,
    strain_doubts,
    temperature_doubts,
)
from creepfit.answers.doubts.readings import (
    FIRST_BY,
    gauge_doubts,
    later_under_load,
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
    other_way_round,
)
from creepfit.answers.doubts.temperature import warming_doubts
from creepfit.answers.interval import Caution
from creepfit.asked import asked_times
from creepfit.inference.columns import observations
from creepfit.inference.components import nodes_of
from creepfit.inference.fitting import FARTHEST, Fit
from creepfit.inference.freest_curve import FreestCurve
from creepfit.inference.noise import temperature_swing
from creepfit.inference.pooling import PooledFit
from creepfit.mechanics.loading import Array
from creepfit.records.run import Run
from creepfit.units import HOUR, show_number, show_time

FAR, TOO_FAR = 10.0, FARTHEST
"""Lengths of the test: one decade beyond the data is preferred, two are the limit (common practice, no source)."""

FLOW_WEIGHT = 0.02
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
    return tuple(_of_run(run, curve))


@lru_cache(maxsize=1)  # each answer on a fit asks again, and the freest curve takes longer than most answers
def about_fit(fit: Fit) -> tuple[Caution, ...]:
    """Doubts about a fit: those of its run, and what the readings leave open."""
    return (*known_doubts(fit), *check_run(fit.run), *_of_fit(fit), *warming_doubts(fit))


def about_forecast(fit: Fit, times: Sequence[float | str] | Array, peak: float | None = None) -> tuple[Caution, ...]:
    """Doubts about a forecast at times since first loading, s or text, with those of the run and the fit.

    `peak` is the highest load it is for, N or MPa, where that is not the run's own.
    """
    horizon = float(asked_times(times, "at").max())
    return (
        *about_fit(fit),
        *(() if peak is None else load_doubts(fit, peak)),
        *_of_horizon(fit, horizon),
        *flow_doubts(fit, horizon),
        *_of_prior(fit),
        *_of_surroundings(fit.run),
        *_of_any_forecast(fit),
    )


def about_recovery(fit: Fit) -> tuple[Caution, ...]:
    """Doubts about recovery and permanent set, with those of the run and the fit."""
    return (*about_fit(fit), *_of_recovery(fit))


def _of_run(run: Run, curve: FreestCurve) -> Iterator[Caution]:
    wrong = wrong_columns(run, curve)
    swapped = wrong if wrong is not None and wrong.code == "columns-swapped" else None
    slip = swapped or larger_than_specimen(run, curve) or other_way_round(run, curve)
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
    yield from gauge_doubts(run)
    yield from schedule_doubts(run, curve)
    yield from resolution_doubts(run, curve)
    if not named:
        yield from modulus
    yield from bending_doubts(run, curve)
    yield from hook_doubts(run, curve)
    if wrong is None:
        yield from strain_doubts(run, curve)
    yield from temperature_doubts(run, curve)


def _of_fit(fit: Fit) -> Iterator[Caution]:
    yield from below_zero_doubts(fit)
    yield from misfit_doubts(fit)
    yield from late_first_doubts(fit)
    most = max((m.free for m in fit.models.values()), default=1)
    if most < 1:
        yield Caution(
            "few-readings",
            "Every model has as many parameters as there are readings: each passes through them "
            "whatever the noise, and no model can be preferred or ruled out by them.",
            "more readings, spread evenly in log time",
        )


def _of_horizon(fit: Fit, horizon: float) -> Iterator[Caution]:
    length = fit.run.test_length
    ratio = horizon / length
    if ratio > FAR * (1.0 + 1e-9):
        limit = " More than a hundred times is no forecast any more." if ratio > TOO_FAR else ""
        yield Caution(
            "beyond-ten-times",
            f"{show_time(horizon)} is {show_number(ratio, digits=2)} times the test of "
            f"{show_time(length)}. Beyond ten times, models that agree on the readings can differ "
            f"threefold; the interval carries an allowance for that.{limit}",
            later_under_load(fit.run, horizon / FAR),
        )
    mixture = fit.mixture
    flow = sum(float(w) for w, p in zip(mixture.weights, mixture.posteriors, strict=True) if p.member.model.flows)
    if flow > FLOW_WEIGHT and ratio > 1.0:
        yield Caution(
            "flow-extrapolated",
            f"A dashpot, which has a weight of {show_number(100.0 * flow, digits=2)} %, goes "
            f"on in proportion to time: over {show_number(ratio, digits=2)} times the test that is a "
            "guess, and it makes the upper end high.",
            "readings longer after unloading: what flowed does not come back"
            if fit.observed.has_recovery
            else "readings after unloading: what flowed does not come back",
        )


def _of_prior(fit: Fit) -> Iterator[Caution]:
    share = prior_share(fit)
    if share is not None and share > PRIOR_SHARE:
        yield Caution(
            "prior-dominates",
            f"The readings hardly narrow the exponent of creep: {show_number(100.0 * share, digits=2)} % "
            "of its prior variance is left. The forecast is mostly what is assumed about plastics in "
            "general.",
            _narrowing_exponent(fit),
        )


def _narrowing_exponent(fit: Fit) -> str:
    """What would narrow the exponent and was not done yet."""
    early = [] if fit.observed.span.first <= FIRST_BY else ["a reading at 1 min after loading"]
    after = [] if fit.observed.has_recovery else ["readings after unloading"]
    return ", ".join([*early, *after, "a longer test" if early or after else "a longer test or a finer gauge"])


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
    whole = nodes_of(family[0][1].member)
    return after / _variance(whole.shapes[:, 0], np.exp(whole.log_prior))


def _variance(values: Array, weights: Array) -> float:
    mean = np.average(values, weights=weights)
    return float(np.average((values - mean) ** 2, weights=weights))


def _of_surroundings(run: Run) -> Iterator[Caution]:
    if run.age is None and run.kind == "glassy":
        yield Caution(
            "age-unknown",
            "The age of the specimen is not known, and glassy polymers stiffen with age. For a part a "
            "few days old a forecast without ageing over-predicts the creep of a year 1.3 to 1.6 times "
            "(own simulation), so it errs to the safe side; for one annealed later than the specimen "
            "was made it can err to the other.",
            "the time between printing (or annealing) and first loading: run.age",
        )
    if run.temperature is None and temperature_swing(run) is None and run.test_length > HOUR:
        yield Caution(
            "temperature-not-noted",
            "No temperature was noted: a drift of 3 K during the test moves the forecast of a year by "
            "several per cent and leaves no trace in the residuals.",
            "the temperature beside each reading",
        )
    if run.material.upper().startswith("PA") and run.humidity is None and run.conditioning is None:
        yield Caution(
            "moisture-unknown",
            "Moisture governs the stiffness of polyamides (up to 60 % less when wet), and neither "
            "humidity nor conditioning was noted: the forecast holds for the moisture of the test, "
            "whatever it was.",
            "humidity of the room and conditioning of the specimen; weighing it before and after",
        )


def _of_any_forecast(fit: Fit) -> Iterator[Caution]:
    run = fit.run
    yield Caution(
        "not-a-strength-check",
        "This is about sag, not strength: plastics under a lasting load can break (creep rupture) "
        "without warning, at a fraction of their short-term strength, and no forecast of deformation "
        "sees it coming.",
    )
    prints = dict(run.print_data)
    layers = f"layers other than {prints['orientation']}" if "orientation" in prints else "another layer direction"
    warmth = "" if run.temperature is None else f" than {show_number(run.temperature)} degC"
    yield Caution(
        "outside-the-test",
        f"It holds for the conditions of the test: warmer surroundings{warmth}, moisture, sun or "
        f"{layers} make it sag more.",
        "a run in the place and direction of use, at its highest temperature",
    )
    yield Caution(
        "moulded-bars",
        "Its allowances were set on moulded bars in a controlled climate; printed parts vary more from piece to piece.",
        _more_specimens(fit),
    )


def _more_specimens(fit: Fit) -> str:
    tested = fit.scatter.specimens if isinstance(fit, PooledFit) else 1
    return {1: "a second and a third specimen", 2: "a third specimen"}.get(tested, "specimens printed as the part will be")


def _of_recovery(fit: Fit) -> Iterator[Caution]:
    run = fit.run
    off = run.unloading
    last = float(fit.observed.times[-1])
    if off is None:
        yield Caution(
            "hypothetical-unloading",
            "The specimen is still loaded: recovery is worked out for an unloading at the last reading. "
            "Whatever flowed or set is taken from the models, so what is left may be more than shown.",
            "unload and read at 1 min, 1 h and 1 d after it",
        )
    if fit.observed.has_initial and fit.observed.has_recovery and sum(r.repeats for r in run.initial) < 2:
        yield Caution(
            "one-initial-reading",
            "The zero rests on a single reading, and its error goes straight into the permanent set and "
            "every residual value.",
            "three readings before loading, with the gauge put on anew each time",
        )
    if off is None:
        return
    after = last - off
    if after <= 0.0:
        yield Caution(
            "recovery-not-read",
            "Nothing was read after the unloading: what is left is worked out from creep under load, "
            "without a set and with no more flow than the models take from it; it may be more than "
            "shown.",
            "a reading now, and at least as long after unloading as the load was on",
        )
    elif after < 0.1 * run.test_length:
        yield Caution(
            "short-recovery",
            f"Recovery was followed for {show_time(after)} only, after {show_time(run.test_length)} "
            "under load: what is left is still going, and the bounds of the permanent set are wide.",
            f"a reading {show_time(run.test_length)} after unloading: as long as the load was on",
        )
