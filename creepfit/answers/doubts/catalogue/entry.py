"""What an entry of the catalogue is: a code, how much it can do to the answer, and sentences with places for the case.

The functions in `doubts/` decide; they name an entry and hand it what the case is, `words.JUMP(moment=..., size=...)`. In
a sentence a place says how it is shown:

===================  =====================================================================
`{stress}`           a float by its digits (`units.show_number`), anything else as it is
`{share:2}`          a float with two digits
`{share:%2}`         the same, in per cent
`{until:time}`       seconds as a time
`{first:moment}`     a reading, or several, by time and row
`{younger:a|b}`      "a" where it is true, or counts one; else "b", in which places may stand too
`{turn:.0f}`         any other format of Python's
===================  =====================================================================

One code has several entries where what is at stake is one thing and the sentence another, as for a part and a run.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from string import Formatter
from typing import Any

from creepfit.answers.interval import Caution
from creepfit.answers.wording import moment, moments
from creepfit.records.run import Reading
from creepfit.units import show_number, show_time

UNRANKED = Caution.rank
"""A doubt that does not spoil the answer: behind those with a rank, in the order in which they were raised."""

GENERAL = 900
"""A doubt that holds for every run: never the first to be shown where there is another."""


@dataclass(frozen=True)
class Entry:
    """One caution as it stands in the catalogue; calling it with what its sentences ask for gives the caution of a case.

    Attributes
    ----------
    code : str
        What programs know it by.
    text : str
        What it does to the answer.
    settled_by : str or None
        Which reading would settle it; None where none would.
    rank : int
        The worst are lowest. Below 100 something in the file is not what happened, or the part gives way; below 200 the
        readings or the test do not show what they are asked; from 200 on the answer rests on what was not tested.
    at_desk : str or None
        What would settle it in the words of the desk's forms, where `settled_by` names keys or commands.
    """

    code: str
    text: str
    settled_by: str | None = None
    rank: int = UNRANKED
    at_desk: str | None = None

    def __call__(self, **case: Any) -> Caution:
        settled, at_desk = (None if said is None else _filled(said, case) for said in (self.settled_by, self.at_desk))
        return Caution(_filled(self.code, case), _filled(self.text, case), settled, self.rank, at_desk)


def foremost(cautions: Iterable[Caution]) -> Caution | None:
    """The one doubt that matters most; None where none was raised."""
    return min(cautions, key=lambda caution: caution.rank, default=None)


def ranked(cautions: Iterable[Caution]) -> list[Caution]:
    """All of them, the one that matters most first."""
    return sorted(cautions, key=lambda caution: caution.rank)


def unsaid(caution: Caution, said: str) -> Caution:
    """The same without those of its first sentences that are said just above it, word for word; its text may be "" then.

    There they may go on behind a colon, without their capital.
    """
    left, said = _BETWEEN_SENTENCES.split(caution.text), said.casefold()
    while left and left[0].rstrip(".").casefold() in said:
        del left[0]
    return replace(caution, text=" ".join(left))


_BETWEEN_SENTENCES = re.compile(r"(?<=[.?]) (?=[A-Z])")


def _filled(words: str, case: Mapping[str, Any]) -> str:
    """A sentence with its places filled; of alternatives only the one that is taken."""
    parts = []
    for said, name, spec, conversion in Formatter().parse(words):
        parts.append(said)
        if name is not None:
            parts.append(_shown(Formatter().convert_field(case[name], conversion), spec or "", case))
    return "".join(parts)


def _shown(value: Any, spec: str, case: Mapping[str, Any]) -> str:
    if (bar := _bar(spec)) is not None:
        return _filled(spec[:bar] if value == 1 else spec[bar + 1 :], case)
    if spec == "time":
        return show_time(value)
    if spec == "moment":
        return moment(value) if isinstance(value, Reading) else moments(value)
    if spec.startswith("%"):
        value, spec = 100.0 * value, spec[1:]
    if spec.isdigit():
        return show_number(value, digits=int(spec))
    return show_number(value) if isinstance(value, float) and not spec else format(value, spec)


def _bar(spec: str) -> int | None:
    """Where the bar between two alternatives stands: one outside all places."""
    depth = 0
    for i, sign in enumerate(spec):
        depth += (sign == "{") - (sign == "}")
        if sign == "|" and depth == 0:
            return i
    return None
