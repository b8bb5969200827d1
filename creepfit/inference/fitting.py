"""`fit`: the front door, from one run or several of a material to a `Fit`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, overload

from creepfit.asked import asked_for, asked_for_each, asked_level
from creepfit.errors import InputError
from creepfit.inference.known import fit_known
from creepfit.inference.mixture import DEFAULT_SEED
from creepfit.inference.pooling import fit_pooled
from creepfit.inference.priors import Priors
from creepfit.inference.run_fit import DEFAULT_LEVEL, FARTHEST, Fit, fit_run
from creepfit.records.run import Run

HOW_TO_RUN = "what cf.read_run(file) returns"

__all__ = ["DEFAULT_LEVEL", "FARTHEST", "Fit", "fit"]


@overload
def fit(
    run: Run,
    *,
    known: Sequence[Run] = ...,
    anyway: bool = ...,
    models: Sequence[str] | None = ...,
    priors: Priors | None = ...,
    level: float = ...,
    seed: int = ...,
) -> Fit: ...


@overload
def fit(
    run: Sequence[Run],
    *,
    pool: Literal[True],
    anyway: bool = ...,
    priors: Priors | None = ...,
    level: float = ...,
    seed: int = ...,
) -> Fit: ...


def fit(
    run: Run | Sequence[Run],
    *,
    known: Sequence[Run] = (),
    pool: bool = False,
    anyway: bool = False,
    models: Sequence[str] | None = None,
    priors: Priors | None = None,
    level: float = DEFAULT_LEVEL,
    seed: int = DEFAULT_SEED,
) -> Fit:
    """Fit creep models to a run, or with `pool` to several runs of one material together.

    Parameters
    ----------
    run : Run, or sequence of Run with `pool`
        As `read_run` returns it.
    known : sequence of Run
        Longer runs of the same material: answers are of the specimen of `run`, by its own readings and by what these
        show of the material; see `known.fit_known`.
    pool : bool
        Fit several runs as one material; see `pooling.fit_pooled`.
    anyway : bool
        Take runs together although temperature, conditioning or print data differ.
    models : sequence of str, optional
        Names of models for the table of best fits; all by default.
    priors : Priors, optional
        Priors of the forecast; by default those for the polymer's kind.
    level : float
        Probability of credible intervals, 0.9 unless asked.
    seed : int
        Seed of the draws.

    Raises
    ------
    FitError
        Where no reading under load exists, or fewer than two.
    InputError
        For an unknown model name or a list without any, a level that is none, or runs that cannot be taken together.
    """
    level = asked_level(level)
    if not isinstance(run, Run):
        if known:
            raise InputError("known runs beside several", expected="fit(run, known=[...]) for each run, or a pool of all")
        if not pool:
            several = isinstance(run, Sequence) and not isinstance(run, str)
            asked_for(run, Run, "run", "fit(runs, pool=True), or fit for each of them" if several else HOW_TO_RUN)
        runs = asked_for_each(run, Run, "runs", HOW_TO_RUN)
        return fit_pooled(runs, anyway=anyway, priors=priors, level=level, seed=seed)
    if models is not None and not models:
        raise InputError("no model", key="models", expected="names of models, or none given for all of them")
    if isinstance(known, Run):
        raise InputError("one known run", expected="a list of known runs, known=[run]")
    if known:
        return fit_known(run, known, anyway, models, priors, level, seed)
    return fit_run(run, models, priors, level, seed)
