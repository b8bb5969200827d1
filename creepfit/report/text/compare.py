"""The answer of `compare` in words: who gives way less, whether that is real, and what it would take to tell."""

from __future__ import annotations

from creepfit.answers.materials.comparison import LONGER_TESTS_TELL_MORE, Comparison, Ratio, RatiosAt
from creepfit.report.text.answers import cautions
from creepfit.report.text.pieces import chance, paragraph, percent, ratio_cells, several, shown_unit, table
from creepfit.shown import capital, listed
from creepfit.units import show_number, show_time

MOST_PAIRS = 10
"""Pairs that are put in words; of more, the ranking says enough."""

MOST_NAMES = 4


def compare_text(comparison: Comparison, alone: Comparison | None = None) -> str:
    """The whole answer; `alone` are the runs of its materials by themselves."""
    title = "Comparison of " + ", ".join(f.run.label for f in comparison.fits)
    lines = [title, "=" * min(len(title), 100), *paragraph(headline(comparison))]
    for moment in comparison.moments:
        lines += ["", *_moment(comparison, moment)]
    if len(comparison.fits) > 2 and comparison.withheld is None:
        lines += ["", "Ranking, best first; a shared place cannot be told apart", *_ranking(comparison)]
    if alone is not None:
        last = alone.moments[-1]
        unit = shown_unit(alone.unit)
        shown = unit.alike([value.interval for value in last.values])
        heads = ["run", "low", f"median [{unit.name}]", "high"]
        rows = [[value.run, *size] for value, size in zip(last.values, shown, strict=True)]
        earlier = ", for which the shortest was read long enough" if last.time < comparison.moments[-1].time else ""
        title = (
            f"Each run by itself, {show_time(last.time)}{earlier}; as one specimen of its material each is doubtful by the "
            "scatter"
        )
        lines += ["", *paragraph(title), *table(heads, rows)]
    return "\n".join([*lines, *cautions(comparison.cautions)])


def headline(comparison: Comparison) -> str:
    """The comparison at the last time, in a sentence."""
    ranks = comparison.ranking()
    when = _when(comparison, comparison.moments[-1].time)
    if comparison.withheld is not None:
        return f"No verdict is given {when[0].lower()}{when[1:]}. {comparison.withheld}"
    first = [rank.value.run for rank in ranks if rank.place == 1]
    if len(first) == 1:
        return f"{when} {first[0]} {_better(comparison, ranks[1].value.run, first[0])}."
    if len(ranks) == 2:
        (ratio,) = as_ranked(comparison, comparison.moments[-1])
        size = _size(ratio, comparison.level, comparison.quantity)
        return f"{when} the two are not distinguishable with these readings: {size}. {_needed(ratio)}".strip()
    names = f" ({listed(first)})" if len(first) <= MOST_NAMES else ""
    leader = shown_unit(comparison.unit).sentence(ranks[0].value.interval, comparison.level)
    which = "median recovered" if comparison.by == "recovered" else comparison.quantity
    return (
        f"{when} the first {len(first)} of {len(ranks)}{names} are not distinguishable with these readings; "
        f"{ranks[0].value.run} leads with a {which} of {leader}."
    )


def _better(comparison: Comparison, other: str, best: str) -> str:
    """What the best does better than the other, or than all where that is only the next, and how much."""
    two = len(comparison.fits) == 2
    if comparison.by == "recovered":
        better = f"recovers more than {other}" if two else "recovers most of all"
    else:
        better = (
            f"has a smaller {comparison.quantity} than {other}" if two else f"has the smallest {comparison.quantity} of all"
        )
    ratio = comparison.between(other, best)
    size = f"{ratio.why}"
    if ratio.interval is not None:
        low, median, high = ratio_cells(ratio.interval)
        who = other if two else f"{other}, the next,"
        ends = f"{percent(comparison.level)}: {low} to {high}"
        size = f"the {comparison.quantity} of {who} is {median} times that of {best} ({ends})"
    return f"{better}, and the difference is real: {size}"


def _when(comparison: Comparison, time: float) -> str:
    after = " after unloading" if comparison.by in ("recovered", "residual") else ""
    return f"At {show_time(time)}{after}"


def _size(ratio: Ratio, level: float, quantity: str) -> str:
    words = f"probability {chance(ratio.probability_smaller)} that {ratio.of} is the smaller"
    if ratio.interval is None:
        return f"{ratio.why}; {words}"
    low, median, high = ratio_cells(ratio.interval)
    return f"the {quantity} of {ratio.of} over that of {ratio.to} is {median} ({percent(level)}: {low} to {high}), {words}"


def _needed(ratio: Ratio) -> str:
    if ratio.interval is None:
        return ""
    if ratio.why == LONGER_TESTS_TELL_MORE:
        return f"{capital(LONGER_TESTS_TELL_MORE)}."
    if ratio.specimens_needed is None:
        return f"Three specimens of each would show a ratio of {show_number(ratio.detectable)}; this one is closer to 1."
    return f"About {several(ratio.specimens_needed, 'specimen')} of each would tell a difference of this size."


def _moment(comparison: Comparison, moment: RatiosAt) -> list[str]:
    unit = shown_unit(comparison.unit)
    heads = ["run", "low", f"median [{unit.name}]", "high"]
    title = (
        f"{comparison.quantity.capitalize()}, {_when(comparison, moment.time)[3:]}, {percent(comparison.level)} intervals"
    )
    lines = [title, *table(heads, [[v.run, *unit.interval(v.interval)] for v in moment.values])]
    if len(moment.ratios) <= MOST_PAIRS:
        cells = []
        for r in as_ranked(comparison, moment):
            low, median, high = ratio_cells(r.interval)
            verdict = "real" if r.distinguishable else "not distinguishable"
            verdict = verdict if comparison.withheld is None else "not told"
            cells.append([f"{r.of} / {r.to}", low, median, high, chance(r.probability_smaller), verdict])
        lines += ["", *table(["ratio", "low", "median", "high", "first smaller", "difference"], cells)]
    return lines


def as_ranked(comparison: Comparison, moment: RatiosAt) -> list[Ratio]:
    """Each pair's ratio the way round that the sentence has it: over the one that ranks better at the last time."""
    place = {rank.value.run: i for i, rank in enumerate(comparison.ranking())}
    return [r if place[r.to] < place[r.of] else r.over(r.of) for r in moment.ratios]


def _ranking(comparison: Comparison) -> list[str]:
    unit = shown_unit(comparison.unit)
    rows = [[str(r.place), r.value.run, *unit.interval(r.value.interval)] for r in comparison.ranking()]
    return table(["place", "run", "low", f"median [{unit.name}]", "high"], rows)
