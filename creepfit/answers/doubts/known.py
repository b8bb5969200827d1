"""What is doubtful about known runs: they contradict, were made in other conditions, or reach no further."""

from __future__ import annotations

from collections.abc import Iterator

from creepfit.answers.interval import Caution
from creepfit.inference.fitting import Fit
from creepfit.inference.known import KnownFit


def known_doubts(fit: Fit) -> Iterator[Caution]:
    """Doubts about the known runs of a fit."""
    if not isinstance(fit, KnownFit):
        return
    for known in fit.known:
        if known.contradicts:
            yield Caution(
                "known-contradicts",
                f"{known.name} contradicts these readings: had both crept alike, readings as far off as these would have a "
                f"probability of {known.misfit.probability:.1g}. It has no weight in the answer.",
                "a second look at loads, sizes, temperature and zero of both runs",
            )
        elif known.differences:
            yield Caution(
                "known-differs",
                f"{known.name} was made in other conditions: {'; '.join(known.differences)}. It counts all the same, "
                "with a wider allowance for going on differently.",
                "a long run in the conditions of this one",
            )
