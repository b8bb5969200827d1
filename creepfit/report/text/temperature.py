"""The answer of `temperature` in words: what each 10 K adds, whether a shift of the clock is shown, compliances."""

from __future__ import annotations

from creepfit.answers.temperature.dependence import WHY, TemperatureDependence
from creepfit.report.text.answers import cautions
from creepfit.report.text.pieces import Unit, paragraph, percent, ratio_cells, several, shown_unit, table
from creepfit.shown import listed
from creepfit.units import show_number, show_time


def temperature_text(dependence: TemperatureDependence) -> str:
    """The whole answer."""
    runs, temperatures = len(dependence.fits), len(dependence.temperatures)
    label = f"{dependence.material}: {several(runs, 'run')} at {several(temperatures, 'temperature')}"
    lines = [
        label,
        "=" * len(label),
        *paragraph(f"together: {listed([f.run.label for f in dependence.fits])}"),
        "",
        *paragraph(headline(dependence)),
        "",
        *paragraph(shift_sentence(dependence)),
        *_factors(dependence),
        "",
        *_compliances(dependence),
    ]
    return "\n".join([*lines, *cautions(dependence.cautions)])


def headline(dependence: TemperatureDependence) -> str:
    """What 10 K more do, in one sentence."""
    if not dependence.stiffness_known:
        return (
            "How much more it gives way by each 10 K is not known: no reading was taken before loading near "
            f"{show_number(dependence.middle)} °C."
        )
    first, last = dependence.times[0], dependence.times[-1]
    words = [f"{_factor(dependence, first)} after {show_time(first)}"]
    if last != first:
        words.append(f"{_factor(dependence, last)} after {show_time(last)}")
    return (
        f"10 K more make {dependence.material} give way {listed(words)} ({percent(dependence.level)} intervals), between "
        f"{show_number(dependence.temperatures[0])} and {show_number(dependence.temperatures[-1])} °C."
    )


def _factor(dependence: TemperatureDependence, time: float) -> str:
    low, median, high = ratio_cells(dependence.per_ten_kelvin(time))
    return f"{median} times as much ({low} to {high})"


def shift_sentence(dependence: TemperatureDependence) -> str:
    """Whether warmth buys time."""
    strength = dependence.strength
    probability = dependence.posterior.probability_shift
    words = f"Time-temperature shift: {WHY[dependence.verdict]} (probability {probability:.2f}, 0.5 before)."
    if strength is None:
        return words
    low, median, high = Unit("").interval(strength)
    transition = dependence.law.transition
    law = (
        f"Apparent activation energy {median} kJ/mol ({low} to {high})."
        if transition is None
        else f"By Williams, Landel and Ferry from the glass transition of {show_number(transition)} °C on, with {median} "
        f"times ({low} to {high}) the universal c1."
    )
    reference = show_number(dependence.reference)
    low, median, high = Unit("").interval(dependence.beside_the_clock)
    beside = f"Beside the clock 10 K more make all of it, from the start on, {median} times as much ({low} to {high})"
    return f"{words} {law} {beside}. What a warm run shows of later times at {reference} °C is shifted, not tested."


def _factors(dependence: TemperatureDependence) -> list[str]:
    if not dependence.shift_factors:
        return []
    rows = []
    for s in dependence.shift_factors:
        low, median, high = Unit("").interval(s.log_factor)
        rows.append([show_number(s.temperature), f"{1000.0 * s.inverse_kelvin:.4f}", low, median, high])
    title = f"Shift factors against {show_number(dependence.reference)} °C, {percent(dependence.level)} intervals"
    return ["", title, *table(["°C", "1000 K/T", "low", "log10 aT", "high"], rows, left=0)]


def _compliances(dependence: TemperatureDependence) -> list[str]:
    unit = shown_unit(dependence.compliance_unit)
    rows = []
    for c in dependence.curves:
        low, median, high = unit.interval(c.compliance)
        where = "tested" if c.tested else "not tested"
        beyond = "" if c.decades_beyond == 0.0 else f"{c.decades_beyond:.1f} decades beyond"
        rows.append([show_number(c.temperature), show_time(c.time), low, median, high, where, beyond])
    if not rows:
        return ["Compliances: none, as no reading was taken before loading"]
    title = f"Compliance [{unit.name}], {percent(dependence.level)} intervals"
    note = "Of the bar tested nearest to each temperature; another bar differs by what bars differ by."
    return [title, *paragraph(note, "  "), *table(["°C", "after", "low", "median", "high", "", ""], rows, left=0)]
