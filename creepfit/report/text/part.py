"""The answer of `sag` in words: one sentence, the times asked for, the limit, stress, segments, what is included."""

from __future__ import annotations

import math
from typing import Any

from creepfit.answers.part.keeping import Keeping
from creepfit.answers.part.sag import Sag
from creepfit.inference.fitting import FARTHEST
from creepfit.report.text.first_words import contradiction, exceeded_at_once, instead_of_a_number
from creepfit.report.text.pieces import Unit, hours, kept_words, life_words, listed, out_of_reach, paragraph, percent, table
from creepfit.units import HOUR, STANDARD_GRAVITY, show_number

MM = Unit("mm")


def render_sag(result: Sag) -> str:
    """Text of `sag`."""
    answer = result.to_dict()
    name = answer["part"] or "Part"
    lines = [
        f"{name}, by {result.fit.label}",
        "=" * len(f"{name}, by {result.fit.label}"),
        *paragraph(headline(result)),
        "",
        *time_lines(result),
        *unloaded_lines(result),
        *limit_lines(result),
        *_stress(result, answer),
        *_segments(answer),
        "",
        "The intervals include",
        *[line for item in answer["includes"] for line in paragraph(_included(item), "  - ", "    ")],
    ]
    for caution in answer["cautions"]:
        if caution is answer["cautions"][0]:
            lines += ["", "Cautions"]
        lines += paragraph(caution["text"], "  ! ", "    ")
        if caution["settled_by"]:
            lines += paragraph(f"settled by: {caution['settled_by']}", "    ", "    ")
    return "\n".join(lines)


def headline(result: Sag) -> str:
    """The latest time asked for, in one sentence; where a slip in the run has to be settled first, that."""
    slip, against = instead_of_a_number(result.fit), contradiction(result.fit)
    if slip is not None:
        return f"Nothing can be said of the part before this is settled for the specimen: {slip}"
    said = _headline(result)
    return said if against is None else f"{against} {said}"


def _headline(result: Sag) -> str:
    answer = result.to_dict()
    row = max(answer["sag"], key=lambda r: r["time_h"])
    loads = listed(answer["loads"])
    if result.falls is not None:
        return f"No sag can be promised under {loads}: {result.falls.text}"
    size = MM.sentence(row.get("peak", row), answer["level"])
    ratio = row["time_h"] * HOUR / result.fit.run.test_length
    if ratio > FARTHEST:
        found = out_of_reach(row.get("peak", row), ratio, MM, answer["level"])
        return f"How far the part will have sagged after {hours(row['time_h'])} under {loads} is out of reach: {found}"
    far = f", {show_number(ratio, digits=2)} times longer than the specimen was tested" if ratio >= 1.5 else ""
    place = "" if result.fit.warming is None else f" {result.fit.warming.text}"
    moved, move = ("sagged", "sag") if result.part.opposite_at is None else ("opened", "open")
    if "peak" in row:
        then, at = MM.interval(row)[1], hours(row["time_h"])
        return f"Up to {at} under {loads}{place} the part will {move} by at most {size}{far}; at {at} itself by {then} mm."
    return f"After {hours(row['time_h'])} under {loads}{place} the part will have {moved} by {size}{far}."


def time_lines(result: Sag) -> list[str]:
    """The times asked for."""
    answer = result.to_dict()
    rows = answer["sag"]
    heads = ["after", "low", "median [mm]", "high", "times the test"]
    cells = [[hours(answer["right_after_loading"]["time_h"]), *MM.interval(answer["right_after_loading"]), ""]]
    extra = [name for name in ("peak", "trough", "always_on") if any(name in row for row in rows)]
    words = {"peak": "largest until then", "trough": "trough of the cycle", "always_on": "if always on"}
    cells[0] += [""] * len(extra)
    for row in rows:
        beyond = row["decades_beyond"]
        times = show_number(10.0**beyond, digits=2) if beyond > 0.0 else "within"
        beside = [_short(row.get(name)) for name in extra]
        cells.append([hours(row["time_h"]), *MM.interval(row), times, *beside])
    what = "Sag" if result.part.opposite_at is None else "Opening"
    return [f"{what}, {percent(answer['level'])} intervals", *table([*heads, *(words[name] for name in extra)], cells)]


def _short(item: dict[str, Any] | None) -> str:
    if item is None:
        return ""
    low, median, high = MM.interval(item)
    return f"{median} ({low} to {high})"


def unloaded_lines(result: Sag) -> list[str]:
    """What is left after the loads came off; nothing where that was not asked about."""
    rows = result.to_dict()["after_unloading"]
    if not rows:
        return []
    cells = [[hours(row["after_h"]), *MM.interval(row)] for row in rows]
    heads = ["after unloading", "low", "median [mm]", "high"]
    return ["", f"Left after unloading at {hours(rows[0]['unloaded_at_h'])}", *table(heads, cells)]


def limit_lines(result: Sag) -> list[str]:
    """When the limit is reached and what keeps it; nothing where there is none."""
    answer = result.to_dict()
    life = answer["life"]
    if life is None or result.design is None:
        return []
    if result.design.life.median == 0.0:
        loading = float(answer["right_after_loading"]["median"])
        reached = exceeded_at_once(life["limit"], loading, MM)
    else:
        reached = life_words(result.design.life, answer["level"])
    lines = ["", f"Limit of {MM.number(life['limit'])} mm", *paragraph(reached, "  ", "    ")]
    if life["kept"] is not None:
        lines += paragraph(kept_words(life["kept"], answer["level"]), "  ", "    ")
    lines += _keeping(result.design.load, answer["load"], "load", "low", answer["level"])
    return lines + _keeping(result.design.thickness, answer["thickness"], "thickness", "high", answer["level"])


def _keeping(keeping: Keeping, found: dict[str, Any], what: str, safe: str, level: float) -> list[str]:
    """The load or thickness that keeps the limit, its safe end first."""
    if found["factor"] is None:
        return paragraph(f"no {what} that keeps it can be given: {found['why']}", "  ", "    ")
    least = math.floor(1000.0 * found["probability"]) / 1000.0  # never round a promise up
    lines = paragraph(
        f"kept for {hours(found['life_h'])} with probability {least:g} by this {what} ({found['note']}):", "  ", "    "
    )
    for scaled, size in zip(keeping.sizes, found["sizes"], strict=True):
        # a mass is answered as one
        factor, unit = (1.0 / STANDARD_GRAVITY, "kg") if scaled.weighs else (1.0, size["unit"])
        low, median, high, now = (show_number(factor * size[end]) for end in ("low", "median", "high", "now"))
        kept = show_number(factor * size[safe])
        text = f"{kept} {unit} in place of {now}, {size['label']}"
        lines += paragraph(f"{text} (median {median}, {percent(level)}: {low} to {high})", "    ", "      ")
    return lines


def _stress(result: Sag, answer: dict[str, Any]) -> list[str]:
    stress, strain = answer["stress"], answer["strain"]
    low, median, high = Unit("%", 100.0).interval(strain)
    text = (
        f"Largest stress {show_number(stress['part_MPa'])} MPa, in {result.checks.where}; "
        f"the specimen was tested at up to {show_number(stress['tested_MPa'])} MPa. Strain there after "
        f"{hours(strain['time_h'])}: {median} % ({low} to {high} %)."
    )
    return ["", *paragraph(text)]


def _segments(answer: dict[str, Any]) -> list[str]:
    found = answer["segments"]
    if len(found) < 2:
        return []
    cells = [[s["segment"], f"{100.0 * s['share']:.0f} %"] for s in found]
    return ["", "Where the sag comes from", *table(["part of it", "share"], cells)]


def _included(item: dict[str, Any]) -> str:
    if item["sd"] is not None:
        return f"{item['what']}: {show_number(100.0 * item['sd'])} %"
    return f"{item['what']}: {item['factor']:g}" if item["factor"] is not None else item["what"]
