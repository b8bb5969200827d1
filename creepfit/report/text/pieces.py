"""Pieces that the text answers are set from: tables, paragraphs, numbers rounded with their errors, plain ASCII."""

from __future__ import annotations

import math
import re
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from creepfit.answers.wording import show_interval, show_ratio
from creepfit.report.text.columns import columns
from creepfit.units import DAY, STANDARD_GRAVITY, show_number, show_time, show_with_error

if TYPE_CHECKING:
    from creepfit.answers.interval import Caution, Interval
    from creepfit.answers.specimen.limit import Life
    from creepfit.inference.fitting import Fit
    from creepfit.records.load_unit import LoadUnit
    from creepfit.records.run import Run

GAP = "  "

_NUMBER_AND_UNIT = re.compile(r"(?<=\d) (?=(?:%|mm|MPa|GPa|N|kg|K|degC|s|min|h|d|years?|times)\b|%|×)")


def unbroken(text: str) -> str:
    """The text with every number and its unit held together, so that no line ends between them."""
    return _NUMBER_AND_UNIT.sub("\u00a0", text)


def paragraph(text: str, indent: str = "", hang: str | None = None) -> list[str]:
    """Break a text into lines that fit (see `columns`), no number from its unit; `hang` indents those after the first."""
    lines = textwrap.wrap(
        unbroken(text),
        columns(),
        initial_indent=indent,
        subsequent_indent=indent if hang is None else hang,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\u00a0", " ") for line in lines]


def table(
    heads: Sequence[str],
    rows: Sequence[Sequence[str]],
    left: int = 1,
    indent: str = "  ",
    fold: bool = True,
    again: Sequence[int] = (),
) -> list[str]:
    """Set rows in columns: the first `left` flush left, the others flush right; the last may run on as words.

    A last column headed by "" is taken for remarks: it stands flush left and is broken within the width. Where there is too
    little room titles are broken, and what is too wide even then is set in blocks beneath one another, each with the `left`
    columns, and those `again` that tell rows apart; without `fold` it stays as it is, for callers that can leave something
    out instead.
    """
    words = bool(heads) and heads[-1] == ""
    count = len(heads) - words
    body = [max((len(row[i]) for row in rows if i < len(row)), default=0) for i in range(count)]
    sizes = [max(size, len(head)) for size, head in zip(body, heads, strict=False)]
    titles = [[head] for head in heads[:count]]
    if fold and len(indent) + sum(sizes) + len(GAP) * (count - 1) > columns():
        titles = [_broken(head, size) for head, size in zip(heads, body, strict=False)]
        sizes = [max(size, *map(len, title)) for size, title in zip(body, titles, strict=True)]
        first = _fitting(sizes, left, indent)
        if left < first < count:
            named = [i for i in again if left <= i < first]
            shown, rest = list(range(first)), [*range(left), *named, *range(first, len(heads))]
            blocks = [([heads[i] for i in block], [[row[i] for i in block] for row in rows]) for block in (shown, rest)]
            return [text for names, cells in blocks for text in table(names, cells, left, indent)]
    tall = max(map(len, titles), default=1)
    above = [[title[k - tall + len(title)] if k >= tall - len(title) else "" for title in titles] for k in range(tall)]

    def line(cells: Sequence[str]) -> list[str]:
        set_ = [c.ljust(w) if i < left else c.rjust(w) for i, (c, w) in enumerate(zip(cells, sizes, strict=False))]
        start = indent + GAP.join(set_)
        if not words or len(cells) <= count or not cells[count]:
            return [start.rstrip()]
        lead = start + GAP
        if len(lead) > columns() - 24:  # too little room beside the numbers: the remark goes beneath them
            return [start.rstrip(), *paragraph(cells[count], indent + "    ")]
        return paragraph(cells[count], lead, " " * len(lead))

    return [text for cells in (*above, *rows) for text in line(cells)]


def _broken(title: str, size: int) -> list[str]:
    """A title in as many lines as keep it about as narrow as what stands beneath it; a unit stays with its word."""
    lines = textwrap.wrap(title.replace(" [", "\u00a0["), max(size, 8), break_long_words=False, break_on_hyphens=False)
    return [text.replace("\u00a0", " ") for text in lines] or [""]


def _fitting(sizes: Sequence[int], left: int, indent: str) -> int:
    """How many of the columns there is room for, the first ones at least."""
    used = len(indent) - len(GAP)
    for i, size in enumerate(sizes):
        used += len(GAP) + size
        if used > columns() and i > left:
            return i
    return len(sizes)


@dataclass(frozen=True)
class Unit:
    """A unit as it is shown, and what a number in the answer's unit is multiplied by to be in it.

    `resolution` of the gauge, in the answer's unit: no size is shown finer than a tenth of it.
    """

    name: str
    factor: float = 1.0
    resolution: float = 0.0

    def number(self, value: float | None, error: float | None = None) -> str:
        """Return the value in this unit, rounded to its error's second digit where there is one."""
        if value is None:
            return "unknown"
        error = None if error is None else max(error, self.resolution)
        if error is None and 0.1 * self.resolution <= abs(value) < 10.0 * self.resolution:  # three digits would be finer
            return show_number(round(value, 1 - math.floor(math.log10(self.resolution))) * self.factor)
        return show_number(value * self.factor, error=None if error is None else error * self.factor)

    def with_error(self, value: float | None, error: float | None) -> str:
        """Return "2.41 ± 0.05", or the value alone where its error is unknown."""
        if value is None:
            return "unknown"
        return show_with_error(value * self.factor, None if error is None else error * self.factor)

    def interval(self, interval: Interval | None) -> tuple[str, str, str]:
        """Return low, median and high, rounded alike: see `show_interval`."""
        if interval is None:
            return "unknown", "unknown", "unknown"
        low, median, high, finest = (
            x * self.factor for x in (interval.low, interval.median, interval.high, self.resolution)
        )
        return show_interval(low, median, high, finest)

    def alike(self, items: Sequence[Interval]) -> list[tuple[str, str, str]]:
        """Return `interval` of each, all rounded as one of middling width, so that they can be read down a column."""
        widths = sorted(item.high - item.low for item in items)
        error = widths[len(widths) // 2] or None
        return [(self.number(i.low, error), self.number(i.median, error), self.number(i.high, error)) for i in items]

    def in_words(self, interval: Interval) -> str:
        """Return "2.10 (1.70 to 2.90)", for a table whose head says the unit."""
        low, median, high = self.interval(interval)
        return f"{median} ({low} to {high})"

    def sentence(self, item: Interval, level: float) -> str:
        """Return "2.10 mm (90 %: 1.70 to 2.90 mm)"."""
        low, median, high = self.interval(item)
        return f"{median} {self.name} ({percent(level)}: {low} to {high} {self.name})"


N, MM = Unit("N"), Unit("mm")


def ratio_cells(ratio: Interval | None) -> tuple[str, str, str]:
    """Return low, median and high of a ratio; see `show_ratio`."""
    return ("unknown",) * 3 if ratio is None else show_ratio(ratio.low, ratio.median, ratio.high)


def interval_table(rows: Sequence[tuple[float, Interval]], unit: Unit) -> list[str]:
    """A table of times [s] with low, median and high."""
    cells = [[show_time(time), *unit.interval(size)] for time, size in rows]
    return table(["after", "low", f"median [{unit.name}]", "high"], cells)


def read_unit(fit: Fit) -> Unit:
    """Return the unit of what a fit's gauge reads."""
    return shown_unit(fit.unit, fit.run.gauge.resolution)


def shown_unit(unit: str, resolution: float = 0.0) -> Unit:
    """Return the unit a person would read: strain in per cent, compliance per GPa; others as they are."""
    if unit == "1":
        return Unit("%", 100.0, resolution)
    if unit == "1/MPa":
        return Unit("1/GPa", 1000.0)
    return Unit(unit, resolution=resolution)


def out_of_reach(item: Interval, ratio: float, unit: Unit, level: float) -> str:
    """Return what follows the colon where a time is too many times the test: what models leave is no forecast."""
    low, _, high = unit.interval(item)
    return (
        f"that is {show_number(ratio, digits=2)} times longer than the test. The models that agree on its readings give "
        f"{low} to {high} {unit.name} ({percent(level)}), and nobody can say whether the plastic follows them so far."
    )


def beyond_the_stress(times: float) -> str:
    """Return what a first sentence says of stress above the highest that was tested, `times` of it; "" where none is."""
    return f", at {show_number(times, digits=2)} times the highest stress tested" if times > 1.0 + 1e-9 else ""


def chance(probability: float) -> str:
    """Return a probability in two digits; draws show neither nothing nor certainty."""
    if probability < 0.01 or probability > 0.99:
        return "below 0.01" if probability < 0.01 else "above 0.99"
    return f"{probability:.2f}"


def kept_chance(probability: float) -> str:
    """Return the probability that something is kept, which is never rounded up to a promise."""
    return chance(math.floor(100.0 * probability) / 100.0 if probability <= 0.99 else probability)


PROMISED = "with more flow counted than in the forecast"
"""Said beside what keeps a limit, as its ends lie beyond those of the forecast."""


def promise(lines: Sequence[str]) -> list[str]:
    """What keeps a limit, beneath a line that sets it apart from the forecast; its lines are indented by four."""
    return [*paragraph(f"promised, {PROMISED}:", "  "), *lines] if lines else []


def kept_lines(life: Life, level: float) -> list[str]:
    """How long a limit is kept as things are, as it is promised, and for the time asked about where that is in reach."""
    sure = 0.5 + level / 2.0
    lines = []
    if (shortest := shortest_life(life)) is not None:
        lines += paragraph(f"as it is, kept for {shortest} with probability {sure:g}", "    ", "      ")
    if life.kept is not None:
        verdict = "enough" if life.kept >= sure else "not enough"
        first = f"as it is, kept for {show_time(life.asked)} with probability {kept_chance(life.kept)}"
        lines += paragraph(f"{first}: {verdict} for {sure:g}", "    ", "      ")
    return lines


def shortest_life(life: Life) -> str | None:
    """Return for how long a limit is kept for sure, as it is promised; None where it is not for any time."""
    if life.low is None:
        return f"{show_time(life.horizon)} (100 times the data)"
    return rough_time(life.low, down=True) if life.low > 0.0 else None


def modulus_title(run: Run, level: float) -> str:
    """What stands above creep moduli: they hang on sizes and load as much as on readings."""
    exact = run.relative_sd == 0.0
    counted = "sizes and load taken as exact" if exact else "tolerances of sizes and load counted in"
    return f"Creep modulus, {percent(level)} intervals, {counted}"


def times_the_test(decades_beyond: float) -> str:
    """Return how many times as long as the test a time is; "within" for one inside it."""
    return show_number(10.0**decades_beyond, digits=2) if decades_beyond > 0.0 else "within"


def life_words(life: Life, level: float) -> str:
    """Return when the forecast reaches a limit that the load does not break at once, as far as 100 times the data."""
    sure, far, reached = 0.5 + level / 2.0, f"{show_time(life.horizon)} (100 times the data)", life.forecast
    within = chance(reached.beyond)
    if reached.low is None:
        return f"not reached within {far}: probability {within}"
    low = "at once" if reached.low == 0.0 else rough_time(reached.low)
    if reached.median is None and reached.low == 0.0:
        return f"may be reached as soon as it is loaded; not within {far} with probability {within}"
    if reached.median is None:
        return f"not reached within {far} with probability {within}, nor before {low} with probability {sure:g}"
    high = f"more than {show_time(life.horizon)}" if reached.high is None else rough_time(reached.high)
    rare = f"; not within {far} with probability {within}" if reached.beyond >= 0.005 else ""
    return f"reached after {rough_time(reached.median)} ({percent(level)}: {low} to {high}){rare}"


def rough_time(seconds: float, down: bool = False) -> str:
    """Return a time in two digits, in days where it is more than a day; `down` for a promise, which is not rounded up."""
    unit = DAY if seconds > DAY else 1.0
    count = seconds / unit
    step = 10.0 ** (math.floor(math.log10(count)) - 1)
    shown = f"{step * math.floor(count / step + 1e-9) if down else count:.2g}"
    return f"{shown} d" if DAY < seconds < 10.0 * DAY and "e" not in shown else show_time(float(shown) * unit)


def percent(fraction: float) -> str:
    """Return 0.9 as "90 %"."""
    return f"{100.0 * fraction:.4g} %"


def weight_words(weight: float) -> str:
    """Return a model's weight in per cent, never as nothing."""
    return "< 1 %" if weight < 0.01 else f"{100.0 * weight:.0f} %"


def show_load(load: float, unit: LoadUnit) -> str:
    """Return a load as it was put on, in the unit it was typed in: "0.4 kg (3.92 N)", "300 g (2.94 N)".

    Loads in N have a mass in brackets where it is a round one.
    """
    mass = load / STANDARD_GRAVITY
    shown = unit.show(load, digits=4)
    if unit.name != "N" or load == 0.0 or not math.isclose(mass, float(f"{mass:.3g}"), rel_tol=1e-9):
        return shown
    return f"{shown} ({show_number(mass)} kg)"


def several(count: int, one: str, many: str | None = None) -> str:
    """Return "1 reading" or "3 readings"."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def title(label: str) -> list[str]:
    """The run's name, underlined so that it stands out where several follow one another."""
    return [label, "=" * len(label)]


def caution_lines(caution: Caution) -> list[str]:
    """A doubt, and the reading that would settle it; that alone where the doubt was said already."""
    doubt = paragraph(caution.text, "  ! ", "    ") if caution.text else []
    indent = "    " if doubt else "  ! "
    return [*doubt, *(paragraph(f"settled by: {caution.settled_by}", indent, "    ") if caution.settled_by else [])]


def cautions(cautions: Iterable[Caution]) -> list[str]:
    """Doubts as a list beneath their heading; nothing where there are none."""
    lines = [line for caution in cautions for line in caution_lines(caution)]
    return ["", "Cautions", *lines] if lines else []
