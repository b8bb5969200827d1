"""Cautions from how specimen and part were printed."""

from __future__ import annotations

from creepfit.answers.doubts.catalogue.entry import Entry

_AS_THE_PART = "a run of a specimen printed as the part is"


def _printed(what_it_does: str) -> Entry:
    """A difference in one of the print data, and what that does to the sag."""
    return Entry(
        "print-{key}",
        f"Printed differently, {{key}}: the specimen {{specimen!r}}, the part {{part!r}}. {what_it_does}"
        "{counted: The factor of {factor:g} that was given for it is in.|}",
        _AS_THE_PART,
    )


PRINT_UPRIGHT = _printed(
    "The layers of the {of_part:part|specimen} lie across the pull, where it is softer and weaker: the sag is "
    "{of_part:understated|overstated}."
)

PRINT_ORIENTATION = _printed(
    "If the load pulls across the layers of the part but not of the specimen, the sag is understated."
)

PRINT_LESS = _printed("With {less:less|more} of it the part is {less:softer|stiffer}: the sag is {less:under|over}stated.")

PRINT_TREATED = _printed(
    "A plastic that was {treated:|not }{key} creeps {treated:less|more}: the sag is {treated:over|under}stated."
)

PRINT_LAYER = _printed("Thicker layers bond differently: the sag is off by some per cent, in either direction.")

PRINT_OTHER = _printed("The sag is off by what that changes, in either direction, mostly by some per cent.")

PRINT_UNSAID = Entry(
    "print-unsaid",
    "Stated for only one of specimen and part: {one_sided}. Where they differ the sag is off by it, in an unknown "
    "direction.",
    "the missing lines under [print]",
    at_desk="what is missing of how it was printed",
)

INFILL_TWICE = Entry(
    "infill-twice",
    "The specimen has {mine:g} % infill but is described as solid, so its compliance has the infill in already, and the "
    "part's core counts it again: the sag is overstated.",
    "walls and core_stiffness of the specimen in the run file",
)

INFILL_NOT_COUNTED = Entry(
    "infill-not-counted",
    "The part has {its:g} % infill but is described as solid, of the material of the specimen's walls: the sag is "
    "understated.",
    "walls and core_stiffness of the part's segments",
)

INFILL_SMEARED = Entry(
    "infill-smeared",
    "The specimen has {mine:g} % infill but is described as solid: its compliance is that of walls and infill together, "
    "which is right for the part only if walls take the same share of its section. In a deeper section they take less, "
    "and the sag is understated.",
    "walls and core_stiffness of both",
)
