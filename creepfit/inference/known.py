"""`fit_known`: one tested specimen by its own readings and by longer runs of its material.

All runs are one problem of specimens with amplitudes of their own and a shape in common (`specimen_amplitudes.py`); what is
asked for is not a new specimen but the tested one. Beyond its own last reading its curve may depart from the common one:
a second discrepancy, smaller than that of the models, whose size is learned from its own readings and, where there are
several, from the known runs (`departing.py`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

import numpy as np

from creepfit.errors import FitError, InputError
from creepfit.inference.belonging import RunSet, SeveralSets, run_sets
from creepfit.inference.columns import Observations, observations
from creepfit.inference.departing import TestedMixture, tested_mixtures
from creepfit.inference.hindcast import Hindcast, NoHindcast, hindcast
from creepfit.inference.likelihood import Likelihood
from creepfit.inference.mixture import DEFAULT_SEED, Draws, Mixture
from creepfit.inference.pool_checks import Misfit, check_distinct, check_poolable, score_run
from creepfit.inference.priors import Priors, priors_for
from creepfit.inference.run_fit import DEFAULT_LEVEL, Fit, check_readings, fit_run
from creepfit.inference.scatter import pool_mixture, scatter_quantiles
from creepfit.inference.specimen_amplitudes import SpecimensLikelihood
from creepfit.inference.stacking import StackedObservations, run_names, specimen_names, stack
from creepfit.models.registry import leading
from creepfit.records.run import Run
from creepfit.units import DAY, show_time

DEPARTURE = 0.085
"""Standard deviation of what a specimen creeps more or less than a known run's curve in the decade after its own last
reading, as a share of its creep until then: what an exponent that differs by 0.03 comes to, for n = 0.15 from 5 d to 50 d.
Its own readings tell of it too. Tried on simulated pairs and on published curves (`tests/benchmarks/known_runs.py`)."""

LOADS_APART = 0.1
"""ln of the ratio of two loads over which that comes in: under one load a specimen's own stiffness says nothing of how it
goes on (in two sets of twenty moulded bars creep was not correlated with stiffness)."""

DEPARTURE_PER_KELVIN = 0.004
"""The same, as a share of the creep, for each K between the runs. Creep from 1 to 10 000 h of one moulded thermoplastic at
one stress differed over 10 K by 8 %, with a standard deviation of about 15 % (142 pairs of published curves)."""

DEPARTURE_PER_SETTING = 0.06
"""The same for each other condition that differs: conditioning, moisture, print data (judgement)."""

DEPARTURE_PER_AGE = 0.03
"""The same for each decade between the ages at first loading, where no clock accounts for them (judgement)."""

JUDGED = 2000
"""Draws by which a known run is judged."""

FREEDOM = (0.4, 0.3)
"""Scatter of all deformation, and of creep besides, that a known run may differ by and still not contradict: another load
or print changes a compliance by as much (judgement)."""

DOUBTED = 0.02
"""Probability beforehand that a known run is of another material than it says, or has gone wrong (judgement). With one
in fifty it has half its weight where the new readings have a probability of one in a thousand beside it: the curve for both
is the power family's, which no plastic keeps to exactly."""

TINY = float(np.finfo(float).tiny)

LONGER = 1.5
"""A known run this many times as long as the new one has something to teach."""


@dataclass(frozen=True)
class KnownRun:
    """What a known run is to the fit: its name, length [s], what differs, and how it fits with the new one.

    `belongs` is the probability that its material creeps like the new run's, by the new run's readings.
    """

    run: Run
    name: str
    length: float
    differences: tuple[str, ...]
    misfit: Misfit

    @property
    def belongs(self) -> float:
        """By the least that the misfit's probability p says for it, a Bayes factor of -e p ln p.

        Source: Sellke, Bayarri & Berger, Am. Stat. 55 (2001) 62.
        """
        p = max(self.misfit.probability, TINY)
        least = -np.exp(1.0) * p * np.log(p) if p < np.exp(-1.0) else 1.0
        return float((1.0 - DOUBTED) * least / ((1.0 - DOUBTED) * least + DOUBTED))

    @property
    def contradicts(self) -> bool:
        """Whether it rather does not belong."""
        return self.belongs < 0.5


@dataclass(frozen=True, eq=False, repr=False)
class KnownFit(Fit):
    """A fit of one specimen with what is known of its material; it answers all that a `Fit` does, for that specimen.

    Attributes
    ----------
    known : tuple of KnownRun
        All that were given, also those that contradict.
    sets : tuple of RunSet
        Which of them may belong, the likeliest set first.
    alone : Fit
        By its own readings only.
    stacked : StackedObservations or None
        Its readings and those of the likeliest set of known runs; None where none counts.
    pooled : Mixture or None
        Of these.
    others : tuple of (float, Mixture)
        Of the other sets of known runs, and of each set where the models may miss more or less of them, with their
        probability; its own readings alone have what is left.
    departure : float
        Scale of its departure from their common curve, see `DEPARTURE`.
    departure_source : str
        Where that comes from, in words.
    """

    known: tuple[KnownRun, ...] = field(kw_only=True)
    sets: tuple[RunSet, ...] = field(kw_only=True)
    alone: Fit = field(kw_only=True)
    stacked: StackedObservations | None = field(kw_only=True)
    pooled: Mixture | None = field(kw_only=True)
    others: tuple[tuple[float, Mixture], ...] = field(kw_only=True)
    departure: float = field(kw_only=True)
    departure_source: str = field(kw_only=True)

    @property
    def used(self) -> tuple[KnownRun, ...]:
        """The known runs that count."""
        counting = {i for one in self.sets for i in one.runs}
        return tuple(k for i, k in enumerate(self.known) if i in counting)

    @property
    def weight(self) -> float:
        """Probability that any known run belongs: the part that they have in the answer."""
        return 1.0 - sum(one.probability for one in self.sets if not one.runs)

    @cached_property
    def mixture(self) -> Mixture:
        """Posterior over the members of the mixture, for the tested specimen."""
        if self.pooled is None:
            return self.by_itself.mixture
        others = self.others if self.weight == 1.0 else (*self.others, (1.0 - self.weight, self.alone.mixture))
        if not others:
            return replace(self.pooled, warming=self.warming)
        own = {f.name: getattr(self.pooled, f.name) for f in fields(self.pooled)}
        return SeveralSets(**own | {"warming": self.warming}, others=others)

    @cached_property
    def by_itself(self) -> Fit:
        """`alone`, for the same climate."""
        return self.alone if self.warming is None else replace(self.alone, warming=self.warming)

    @cached_property
    def likelihood(self) -> Likelihood:
        if self.stacked is None or self.pooled is None:
            return self.alone.likelihood
        return SpecimensLikelihood(self.stacked, self.priors, *scatter_quantiles(self.pooled))

    @cached_property
    def hindcast_with(self) -> Hindcast | NoHindcast:
        """How a forecast from the first part of the run would have done that knew the known runs; `hindcast` is without.

        It knew all of them, also those that the later readings speak against.
        """
        known = [k.run for k in self.known]

        def refit(begun: Run) -> Draws:
            return fit_known(begun, known, True, (leading().name,), self.priors, self.level, self.seed).draws

        return hindcast(self, refit)


def fit_known(
    run: Run,
    known: Sequence[Run],
    anyway: bool = False,
    models: Sequence[str] | None = None,
    priors: Priors | None = None,
    level: float = DEFAULT_LEVEL,
    seed: int = DEFAULT_SEED,
) -> KnownFit:
    """Fit a run with longer runs of the same material.

    Parameters
    ----------
    run : Run
        Of the specimen that is asked about.
    known : sequence of Run
        Longer runs of its material.
    anyway : bool
        Take known runs although temperature, conditioning or print data differ.
    models, priors, level, seed
        As in `fitting.fit`.

    Raises
    ------
    InputError
        A known run of another material, in another measure, of other conditions (unless `anyway`), no longer than the
        new one, or the new one itself.
    FitError
        Where a run has fewer than two readings under load.
    """
    every = [run, *known]
    check_distinct(every)
    names = run_names(every)
    for other, name in zip(known, names[1:], strict=True):
        if other.material.strip().casefold() != run.material.strip().casefold():
            raise InputError(
                f"{name} is of {other.material}, the new run of {run.material}",
                file=other.file,
                expected="known runs of one material with the new run",
            )
        if other.test_length < LONGER * run.test_length:
            raise InputError(
                f"{name} teaches nothing beyond the new run: it lasted {show_time(other.test_length)}, the new one "
                f"{show_time(run.test_length)}",
                file=other.file,
                expected="a known run that lasted longer, or fit --pool for several runs of one length",
            )
    differences = [check_poolable([run, other], anyway) for other in known]
    seen = _observed(every, names)
    chosen = priors or priors_for(run.kind, run.prior)
    alone = fit_run(run, models, chosen, level, seed)
    pairs = zip(known, names[1:], seen[1:], differences, strict=True)
    judged = tuple(
        KnownRun(
            other,
            name,
            other.test_length,
            differ,
            _judged(names[0], seen[0], observed, chosen, _stated_departure(run, other, differ)),
        )
        for other, name, observed, differ in pairs
    )
    sets = run_sets([k.belongs for k in judged])
    pools: list[TestedMixture] = []
    for one in sets:
        if one.runs:
            use = [0, *(i + 1 for i in one.runs)]
            runs, counting = [every[i] for i in use], [judged[i] for i in one.runs]
            plain = stack([seen[i] for i in use], _apart_from_known(specimen_names(runs)), [r.age for r in runs])
            stated = min(_stated_departure(run, k.run, k.differences) for k in counting)
            of_set = tested_mixtures(plain, seen[0].span.last, stated, _apart(run, counting), chosen)
            pools += [replace(pool, probability=one.probability * pool.probability) for pool in of_set]
    if not pools:
        return KnownFit(
            run, alone.observed, alone.models, chosen, level, seed,
            known=judged, sets=sets, alone=alone, stacked=None, pooled=None, others=(), departure=0.0, departure_source="",
        )  # fmt: skip
    first, *others = pools
    assert first.mixture.tested is not None
    stacked = first.mixture.tested.likelihood.observed
    return KnownFit(
        run,
        replace(seen[0], span=stacked.span),
        alone.models,
        chosen,
        level,
        seed,
        known=judged,
        sets=sets,
        alone=alone,
        stacked=stacked,
        pooled=first.mixture,
        others=tuple((pool.probability, pool.mixture) for pool in others),
        departure=first.mixture.tested.departure,
        departure_source=first.source,
    )


def _apart_from_known(specimens: Sequence[str]) -> list[str]:
    """Names of the tested specimen, the first, and the known ones: a known run of its own name is one of another specimen.

    The name is mostly that of the file it was copied from; and a bar that is loaded anew creeps like another one.
    """
    own = specimens[0]
    return [own, *(f"{name}, known" if name == own else name for name in specimens[1:])]


def _observed(runs: Sequence[Run], names: Sequence[str]) -> list[Observations]:
    observed = []
    for run, name in zip(runs, names, strict=True):
        try:
            observed.append(observations(run))
            check_readings(run, observed[-1])
        except FitError as error:
            raise FitError(f"{name}: {error}") from None
    return observed


def _judged(name: str, new: Observations, known: Observations, priors: Priors, departure: float) -> Misfit:
    """How the new run's readings fit with a known run's curve, for a specimen of quite another stiffness if need be.

    Its exponent may differ within its own data as it may beyond: by `departure` of its creep in the next decade.
    """
    alone = priors.with_one_model()
    draws = replace(pool_mixture(stack([known], ["known"], [None]), alone).mixture, average=True).draws(JUDGED)
    whole, creep = np.exp(np.array(FREEDOM)[:, None] * np.random.default_rng(0).standard_normal((2, JUDGED)))
    amplitudes = {"instant": whole * draws.instant, "creep": whole * creep * draws.creep}
    return score_run(name, new, replace(draws, discrepancy=np.zeros(JUDGED), **amplitudes), priors, departure)


def _apart(run: Run, known: Sequence[KnownRun]) -> float:
    """How far the nearest load of the known runs counts as another, 0 to 1; another setting counts as another load does."""
    apart = min(
        np.inf if _settings(k.differences) else abs(float(np.log(abs(_loading(run) / _loading(k.run))))) for k in known
    )
    return float(-np.expm1(-apart / LOADS_APART))


def _settings(differences: Sequence[str]) -> int:
    """How many conditions other than the temperature differ."""
    return sum(not text.startswith("temperature") for text in differences)


def _loading(run: Run) -> float:
    """Stress of a run's working load in MPa, or the load where no stress is known."""
    return run.working_load * (run.specimen.geometry.stress_per_load or 1.0)


def _stated_departure(run: Run, other: Run, differences: Sequence[str]) -> float:
    """Scale of the departure where nothing has been seen of it: what is usual, and what conditions add."""
    known_both = run.temperature is not None and other.temperature is not None
    warmer = DEPARTURE_PER_KELVIN * abs((run.temperature or 0.0) - (other.temperature or 0.0)) if known_both else 0.0
    settings = DEPARTURE_PER_SETTING * _settings(differences)
    older = 0.0
    if run.age is not None and other.age is not None:
        older = DEPARTURE_PER_AGE * abs(np.log10(max(run.age, DAY) / max(other.age, DAY)))
    return float(np.sqrt(DEPARTURE**2 + warmer**2 + settings**2 + older**2))
