"""The answer of `soften` in words."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.answers.temperature.softening import Softening, compared
from creepfit.report.text.answers import cautions
from creepfit.report.text.fit import tested
from creepfit.report.text.pieces import Unit, paragraph, percent, title
from creepfit.units import show_number


def softening_text(bars: Sequence[Softening]) -> str:
    """One block a bar, and what can be told between them."""
    blocks = ["\n".join(_one(one)) for one in bars]
    beside = compared(bars)
    return "\n\n\n".join([*blocks, *(["\n".join(paragraph(beside))] if beside else [])])


def first_sentence(softening: Softening) -> str:
    """At which temperature the chosen deflection is reached."""
    reached = softening.reached
    size = f"{show_number(reached.deflection, digits=3)} mm"
    strain = "" if reached.strain is None else f" ({show_number(100.0 * reached.strain)} % strain)"
    if reached.temperature is None:
        return f"A further deflection of {size}{strain} was {reached.why}."
    return f"It has bent by a further {size}{strain} at {Unit('°C').sentence(reached.temperature, softening.level)}."


def _one(softening: Softening) -> list[str]:
    label, unit = softening.run.label, Unit("°C")
    first = first_sentence(softening)
    if softening.onset is None:
        second = "Its deflection has not left its line of expansion and stiffness by what this gauge can show."
    else:
        second = f"It leaves its line of expansion and stiffness at {unit.sentence(softening.onset, softening.level)}."
    rest = (
        f"Warmed at {show_number(softening.rate, digits=2)} K/min up to {show_number(softening.hottest)} °C; the "
        f"{percent(softening.level)} intervals include the gauge, the shape of the curve, the thermometer and the lag of "
        "the bar behind it."
    )
    lines = [*title(label), *tested(softening.run), "", *paragraph(first), *paragraph(second), "", *paragraph(rest)]
    return [*lines, *cautions(softening.cautions)]
