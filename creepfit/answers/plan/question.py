"""What a test is to answer, as one number for each draw: a deformation to come, a set, or a yes or no."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np

from creepfit.answers.interval import Interval
from creepfit.answers.outlook import outlook
from creepfit.answers.specimen.permanent_set import lasting, since_reference
from creepfit.answers.specimen.recovery import unloading_of
from creepfit.answers.wording import size
from creepfit.asked import asked_size, asked_time
from creepfit.errors import FitError, InputError
from creepfit.inference.pooling import PooledFit
from creepfit.inference.preposterior import Estimand, with_set_to_come
from creepfit.inference.run_fit import Fit, asked_fit
from creepfit.mechanics.loading import Array
from creepfit.records.asked_dates import since_loading
from creepfit.records.part import DEFAULT_SCATTER
from creepfit.units import show_time

QuestionKind = Literal["forecast", "set", "limit", "compare"]
KINDS: tuple[str, ...] = get_args(QuestionKind)


@dataclass(frozen=True, eq=False)
class Question:
    """A question to a run, and its answer in each draw of `fit`.

    Attributes
    ----------
    kind : "forecast", "set", "limit" or "compare"
    fit : Fit
        The run's fit with all that may still be seen in it: a set, where the specimen is still to be unloaded.
    asked : Estimand
    values : ndarray, shape (N,)
        Deformation or set, mm or strain; the probability of a yes for the other two.
    by : float
        Time it is asked for, s.
    words : str
        What is asked, to stand in a sentence: "the deflection at 1 year".
    forecast : Interval or None
        The deformation as `forecast` gives it, so that one run has one answer; None where something else is asked.
    promised : float or None
        Probability that the limit is kept as `forecast` gives it, which counts more flow; None for other questions.
    """

    kind: QuestionKind
    fit: Fit = field(repr=False)
    asked: Estimand = field(repr=False)
    values: Array = field(repr=False)
    by: float
    words: str
    forecast: Interval | None = None
    promised: float | None = None

    @property
    def is_size(self) -> bool:
        """Whether a size is asked for, and not a yes or no."""
        return self.asked.kind == "size"

    @property
    def spoken_of(self) -> float:
        """Latest time that the answer says something of, s; 0 for a set, which is a bound of what was read."""
        return 0.0 if self.kind == "set" else self.by


def question(
    fit: Fit,
    kind: QuestionKind = "forecast",
    by: str | float = "1 year",
    limit: str | float | None = None,
    other: Fit | None = None,
) -> Question:
    """Put a question.

    Parameters
    ----------
    fit : Fit
        Of one run.
    kind : str
        "forecast": deformation at `by` under the load left on; "set": what stays after an unloading; "limit": is `limit`
        kept until `by`; "compare": does this material give way less than that of `other`, at `by`.
    by : str or float
        Text or s, or a date such as "2031-06-04" where the run has them; at most 100 times the data count.
    limit : str or float, optional
    other : Fit, optional

    Raises
    ------
    InputError
        No such question, or one that lacks its limit or its other run.
    FitError
        A set, a limit or a comparison, where the run has no initial reading.
    """
    fit = asked_fit(fit)
    if isinstance(fit, PooledFit):
        raise InputError(
            "several runs pooled", key="fit", expected="the fit of one run: readings are taken on one specimen"
        )
    if kind not in KINDS:
        raise InputError(key="for", found=kind, expected=" or ".join(KINDS))
    for name, given, needs in (("limit", limit, "limit"), ("other", other, "compare")):
        if given is None and kind == needs:
            what = 'a size such as "2 mm"' if name == "limit" else "a run of the other material"
            raise InputError("missing", key=name, expected=f"{what}, which the question {kind} is about")
        if given is not None and kind != needs:
            raise InputError(key="for", found=f"{kind}, and a value for {name}", expected=f"{needs}, or no {name}")
    if kind != "forecast" and not fit.observed.has_initial:
        unknown = "what stays, and its compliance," if kind != "limit" else "how much of the limit is taken at once"
        raise FitError(f"{fit.label}: no reading before loading, so {unknown} cannot be known")
    horizon = min(asked_time(since_loading(by, fit.run.began, "by"), "by"), fit.horizon)
    whole = with_set_to_come(fit)
    at = show_time(horizon)
    if kind == "set":
        off = unloading_of(whole)
        values = lasting(whole, whole.draws, since_reference(whole, off.history, off.end))
        return Question(kind, whole, Estimand(values), values, horizon, "the permanent set")
    if other is not None:
        values = _smaller(whole, asked_fit(other), horizon)
        words = f"whether {fit.label} gives way less than {other.label} at {at}"
        return Question(kind, whole, Estimand(values, "verdict"), values, horizon, words)
    values = outlook(whole).response(np.array([horizon])).draws[:, 0]
    if limit is None:
        today = outlook(fit).response(np.array([horizon])).intervals(fit.level)[0]
        return Question(kind, whole, Estimand.response(values), values, horizon, f"the {fit.quantity} at {at}", today)
    allowed = asked_size(limit, "length" if fit.unit == "mm" else "strain", "limit")
    # the load is held, so the deformation is largest at the end of the life
    below = (outlook(whole).toward * values < allowed).astype(float)
    kept = outlook(fit).first_reached(allowed).least(lambda times: times > horizon)
    words = f"whether {size(allowed, fit.unit, 3)} is kept for {at}"
    return Question(kind, whole, Estimand(below, "verdict"), below, horizon, words, promised=float(kept))


def _smaller(fit: Fit, other: Fit, time: float) -> Array:
    """Probability, for each draw, that the average specimen of its material is stiffer than that of the other's."""
    at = np.array([time])
    pair: Sequence[Fit] = (fit, other.average if isinstance(other, PooledFit) else with_set_to_come(other))
    if not other.observed.has_initial:
        raise FitError(f"{other.label}: no reading before loading, so its compliance cannot be known")
    own, others = (np.log(np.maximum(outlook(f).compliance(at).draws[:, 0], 1e-12)) for f in pair)
    scatter = DEFAULT_SCATTER * np.sqrt(1.0 + (not isinstance(other, PooledFit)))
    rng = np.random.default_rng(other.seed)
    rivals = np.sort(rng.permutation(others) + scatter * rng.standard_normal(others.size))
    return np.asarray(1.0 - np.searchsorted(rivals, own) / rivals.size)
