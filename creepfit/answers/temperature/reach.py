"""How far from the tested temperatures an answer may go, and why not further."""

from __future__ import annotations

from collections.abc import Sequence

from creepfit.errors import InputError
from creepfit.limits import check_warming
from creepfit.units import show_number

ABOVE = 10.0
"""K above the hottest tested temperature up to which anything is said (judgement: pairs of published curves lie 17 K apart
and more, and one plastic in ten grew more than twice as fast as usual)."""

BELOW_TRANSITION = 15.0
"""K below the glass transition from which on a plastic softens by what no run below shows (common practice, no source)."""

WIDENS_FROM = 30.0
"""K from the test from which on what is usual per 10 K is doubted more than in proportion."""


def check_reach(
    wanted: float, tested: Sequence[float], transition: float | None, key: str, file: str | None = None
) -> None:
    """Refuse a temperature [degC] that the tested ones say nothing of.

    Raises
    ------
    InputError
        More than 10 K above the hottest tested, hundreds of K from the others, within 15 K of a glass transition above it,
        or on its other side.
    """
    check_warming((*tested, wanted))
    hottest = max(tested)
    given = f"{show_number(wanted)} degC"
    if transition is not None:
        below = max(tested) < transition
        if below and wanted > transition - BELOW_TRANSITION:
            raise InputError(
                f"too near the glass transition of {show_number(transition)} degC, where a plastic softens by what a run "
                f"at {show_number(hottest)} degC does not show",
                file=file,
                key=key,
                found=given,
                expected=f"at most {show_number(transition - BELOW_TRANSITION)} degC",
            )
        if min(tested) > transition and wanted < transition:
            raise InputError(
                f"below the glass transition of {show_number(transition)} degC, above which all runs were made",
                file=file,
                key=key,
                found=given,
                expected=f"at least {show_number(transition)} degC",
            )
    if wanted > hottest + ABOVE + 1e-9:
        raise InputError(
            f"more than {ABOVE:g} K above the hottest tested temperature, of which nothing is known",
            file=file,
            key=key,
            found=given,
            expected=f"at most {show_number(hottest + ABOVE)} degC, or a run of a bar at {given}",
        )
