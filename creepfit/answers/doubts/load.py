"""Doubts about loads: readings that no model follows under the loads that were typed, and forecasts under others."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.special import fdtrc

from creepfit.answers.doubts.catalogue import material as words
from creepfit.answers.interval import Caution
from creepfit.answers.wording import size
from creepfit.inference.fitting import Fit
from creepfit.inference.pooling import PooledFit
from creepfit.records.run import Run

BELOW = 3.0
"""Times below the lowest load tested from which on the difference counts, as for a part."""


MISFIT_RATIO = 2.0
"""Scatter about the best model over the gauge's from which on the loads, or proportion to them, are doubted."""

MISFIT_ALARM = 0.005
"""Probability of as much scatter by chance below which it is doubted."""

BELOW_ZERO = 4.0
"""Standard deviations below the zero from which on a reading after unloading is doubted."""


def lever_doubts(run: Run) -> Iterator[Caution]:
    """A lever beside a load that it does not multiply."""
    if run.rig.lever != 1.0 and run.rig.bare_force:
        yield words.FORCE_WITHOUT_LEVER(lever=run.rig.lever)


def plunger_doubts(run: Run) -> Iterator[Caution]:
    """A plunger that presses harder than the load."""
    ratio = run.gauge.force * run.specimen.geometry.plunger_share / abs(run.peak_load)
    if ratio > 1.0:
        load = run.load_unit.show(abs(run.peak_load))
        yield words.PLUNGER_ABOVE_LOAD(falls=run.gauge.falls, ratio=ratio, force=run.gauge.force, load=load)


def misfit_doubts(fit: Fit) -> Iterator[Caution]:
    """Readings that no model follows, under several loads: a load is not what was typed, or creep not in proportion."""
    if isinstance(fit, PooledFit):
        return
    stated = fit.observed.noise.stated
    judged = [m for m in fit.models.values() if m.free >= 1]
    loads = {round(abs(step.value), 12) for step in fit.run.steps if step.value != 0.0}
    if not judged or len(loads) < 2:
        return
    best = min(judged, key=lambda m: m.residual_sum / m.free)
    scatter = float(np.sqrt(best.residual_sum / best.free))
    ratio = scatter / stated
    if ratio > MISFIT_RATIO and fdtrc(best.free, fit.observed.noise.degrees, ratio**2) < MISFIT_ALARM:
        yield words.NO_MODEL_FITS_LOADS(loads=len(loads), scatter=size(scatter, fit.unit), ratio=ratio)


def below_zero_doubts(fit: Fit) -> Iterator[Caution]:
    """A specimen that has come back past its zero: the zero is wrong, so all that counts from it is."""
    run, observed = fit.run, fit.observed
    if isinstance(fit, PooledFit) or not observed.has_initial or run.unloading is None or observed.zeros.shape[1] != 1:
        return
    after = observed.times > run.unloading + run.steps[-1].over
    before = observed.times <= 0.0
    if not after.any() or not before.any():
        return
    zero = observed.values[before].mean()
    left = observed.direction * (observed.values[after] - zero)
    error = observed.noise.stated * np.sqrt(1.0 + 1.0 / before.sum())
    if float(left.max()) < -BELOW_ZERO * error:
        yield words.BELOW_THE_ZERO(below=size(-float(left.max()), fit.unit), quantity=fit.quantity)


def load_doubts(fit: Fit, load: float) -> Iterator[Caution]:
    """Doubts about the response under `load`, N (MPa for a run in strain), the largest that is asked about."""
    known = fit.run.specimen.geometry.stress_per_load is not None
    asked, tested = _beside_tested(fit, load)
    needed = fit.run.load_unit.show(abs(load))
    if asked > max(tested) * (1.0 + 1e-9):
        yield words.STRESS_NOT_TESTED(asked=asked, stress=known, tested=max(tested), needed=needed)
    elif asked < min(tested) / BELOW:
        yield words.STRESS_WELL_BELOW_TEST(asked=asked, stress=known, tested=min(tested), needed=needed)


def times_the_tested(fit: Fit, load: float) -> float:
    """`load`, N (MPa for a run in strain), over the highest one tested."""
    asked, tested = _beside_tested(fit, load)
    return asked / max(tested)


def _beside_tested(fit: Fit, load: float) -> tuple[float, list[float]]:
    """A load beside all those tested, as stresses where sizes are known: specimens of a pool may differ in size."""
    per_load = fit.run.specimen.geometry.stress_per_load
    known = per_load is not None
    tested = [
        abs(step.value * ((run.specimen.geometry.stress_per_load or 1.0) if known else 1.0))
        for run in fit.runs
        for step in run.steps
        if step.value != 0.0
    ]
    return abs(load) * ((per_load or 1.0) if known else 1.0), tested
