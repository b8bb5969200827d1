"""Plans in words: what to read next on a run."""

from __future__ import annotations

from creepfit.answers.interval import Interval
from creepfit.answers.plan.running import Choice, RunningPlan
from creepfit.answers.wording import size_with_range
from creepfit.report.text.pieces import paragraph, percent, table


def running_text(plan: RunningPlan) -> str:
    """Text of `plan` for a run with readings."""
    title = f"{plan.fit.label}: what to read next"
    lines = [title, "=" * len(title), *paragraph(_now(plan))]
    if plan.best:
        lines += ["", *_best(plan)]
    else:
        lines += ["", *paragraph(f"{plan.why}.".capitalize())]
    if plan.more:
        lines += ["", "What more days would buy, with up to three readings", *_more(plan)]
        if plan.unloading:
            lines += ["", *paragraph(f"{plan.unloading[0].upper()}{plan.unloading[1:]}.")]
    lines += ["", *paragraph(f"The doubt rests most on {plan.rests_on}.")]
    return "\n".join(lines)


def _now(plan: RunningPlan) -> str:
    asked = plan.question
    if isinstance(plan.now, Interval):
        return f"Asked for is {asked.words}, today {size_with_range(plan.now, plan.fit.unit)}, {percent(plan.fit.level)}."
    return (
        f"Asked is {asked.words}: today yes with a probability of {_chance(plan.now)}, so that deciding now is wrong with "
        f"one of {_chance(plan.doubt)}."
    )


def _best(plan: RunningPlan) -> list[str]:
    lines = []
    names = ("The best next reading", "The best two together", "The best three together")
    for choice in plan.best:
        lines += paragraph(f"{names[len(choice.readings) - 1]}: {choice.text}. {_worth(plan, choice)}", "", "  ")
    return lines


def _worth(plan: RunningPlan, choice: Choice) -> str:
    if not plan.question.is_size:
        return f"Expected: deciding then is wrong with a probability of {_chance(choice.doubt)}."
    width = ""
    if choice.width is not None and choice.width < 1.0:
        width = f", and the {percent(plan.fit.level)} interval {100.0 * choice.width:.0f} % as wide"
    of = "its standard deviation" if plan.question.kind == "set" else "the standard deviation of its logarithm"
    return f"Expected: {of} {100.0 * choice.narrowing:.0f} % smaller{width}."


def _more(plan: RunningPlan) -> list[str]:
    size = plan.question.is_size
    head = "doubt taken off" if size else "wrong verdict"
    sides = [(m.as_it_is, m.unloaded) for m in plan.more]
    names = ["load left on", "taken off now"] if any(b is not None for _, b in sides) else ["as it is"]

    def cell(choice: Choice | None) -> str:
        if choice is None:
            return "-"
        return f"{100.0 * choice.narrowing:.0f} %" if size else _chance(choice.doubt)

    rows = [(f"{m.days:g} d", *(cell(c) for c in side[: len(names)])) for m, side in zip(plan.more, sides, strict=True)]
    return table([head, *names], rows)


def _chance(probability: float) -> str:
    return f"{100.0 * probability:.2g} %"
