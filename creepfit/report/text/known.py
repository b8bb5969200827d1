"""Known runs in words: a forecast without and with them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from creepfit.report.text.pieces import Unit, paragraph, shown_unit
from creepfit.shown import listed
from creepfit.units import show_time

if TYPE_CHECKING:
    from creepfit.answers.interval import Interval
    from creepfit.answers.specimen.with_known import WithKnown


def with_known_sentence(with_known: WithKnown, when: bool = True) -> str:
    """The last time asked for, without and with the known runs, in one sentence; `when` says the time too."""
    fit, row = with_known.fit, max(with_known.rows, key=lambda r: r.time)
    unit = shown_unit(fit.unit)
    start = f"After {show_time(row.time)}: by" if when else "By"
    own = f"{start} its own {show_time(fit.run.test_length)} {_size(unit, row.alone)}"
    if not fit.used:
        return f"{own}; no known run counts, as the readings contradict it."
    lengths = listed([show_time(k.length) for k in fit.used])
    runs = "run" if len(fit.used) == 1 else "runs"
    together = _size(unit, row.together)
    return f"{own}; with the {runs} of {lengths} of the same {fit.run.material} {together}."


def _size(unit: Unit, interval: Interval) -> str:
    low, median, high = unit.interval(interval)
    return f"{median} {unit.name} ({low} to {high})"


def with_known_lines(with_known: WithKnown | None) -> list[str]:
    """The sentence, and where the doubt about the known runs comes from."""
    if with_known is None:
        return []
    fit = with_known.fit
    lines = ["", "What the known runs add to the forecast", *paragraph(with_known_sentence(with_known), "  ")]
    if fit.used:
        lines += paragraph(
            f"Beyond its own readings the specimen may depart from the known {_runs(len(fit.used))}: by "
            f"{100.0 * fit.departure:.2g} % of its creep so far for each decade of time, {fit.departure_source}; under "
            "another load more, the more they differ.",
            "  ",
        )
    if fit.used and fit.weight < 1.0:
        lines += paragraph(
            f"Its readings leave a chance of {100.0 * (1.0 - fit.weight):.0f} % that no known run creeps alike; so much of "
            "the answer is without them.",
            "  ",
        )
    return lines


def hindcast_lines(with_known: WithKnown | None) -> list[str]:
    """How the forecast would have done with the known runs."""
    return (
        []
        if with_known is None
        else paragraph(f"With the known {_runs(len(with_known.fit.known))}: {with_known.hindcast.text}.", "  ")
    )


def _runs(count: int) -> str:
    return "run" if count == 1 else "runs"
