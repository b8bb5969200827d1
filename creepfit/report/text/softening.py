"""The answer of `soften` in words."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.answers.temperature.softening import Softening, compared
from creepfit.report.text.answers import cautions
from creepfit.report.text.pieces import Unit, paragraph, percent
from creepfit.units import show_number


def softening_text(found: Sequence[Softening]) -> str:
    """One block a bar, and what can be told between them."""
    blocks = ["\n".join(_one(one)) for one in found]
    beside = compared(found)
    return "\n\n\n".join([*blocks, *(["\n".join(paragraph(beside))] if beside else [])])


def first_sentence(found: Softening) -> str:
    """At which temperature the chosen deflection is reached."""
    reached = found.reached
    size = f"{show_number(reached.deflection, digits=3)} mm"
    strain = "" if reached.strain is None else f" ({show_number(100.0 * reached.strain)} % strain)"
    if reached.temperature is None:
        return f"A further deflection of {size}{strain} was {reached.why}."
    return f"It has bent by a further {size}{strain} at {Unit('°C').sentence(reached.temperature, found.level)}."


def _one(found: Softening) -> list[str]:
    label, unit = found.run.label, Unit("°C")
    first = first_sentence(found)
    if found.onset is None:
        second = "Its deflection has not left its line of expansion and stiffness by what this gauge can show."
    else:
        second = f"It leaves its line of expansion and stiffness at {unit.sentence(found.onset, found.level)}."
    rest = (
        f"Warmed at {show_number(found.rate, digits=2)} K/min up to {show_number(found.hottest)} °C; the "
        f"{percent(found.level)} intervals include the gauge, the shape of the curve, the thermometer and the lag of "
        "the bar behind it."
    )
    lines = [label, "=" * len(label), *paragraph(first), *paragraph(second), "", *paragraph(rest)]
    return [*lines, *cautions(found.cautions)]
