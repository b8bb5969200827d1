"""What is taken where a file does not say: the repeatability of a gauge, the kind of a material.

Unknown is never zero: a gauge without a stated repeatability gets one, and the record says where it came from.
"""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Sequence
from functools import lru_cache

from creepfit.units import Kind

# One standard deviation of repeated readings by one person, mm. Common practice, no source.
INSTRUMENTS: dict[str, float] = {
    "dial gauge": 0.005,
    "dial test indicator": 0.005,
    "digital indicator": 0.005,
    "digital dial gauge": 0.005,
    "micrometer": 0.005,
    "depth micrometer": 0.005,
    "caliper": 0.02,
    "depth gauge": 0.02,
    "height gauge": 0.02,
    "feeler gauge": 0.02,
    "ruler": 0.25,
    "tape measure": 0.5,
    "camera": 0.05,
    "microscope": 0.005,
    "laser sensor": 0.005,
    "displacement transducer": 0.002,
    "LVDT": 0.002,
    "extensometer": 0.002,
    "strain gauge": 0.001,
}
_OTHER_SPELLINGS = {
    "dial indicator": "dial gauge",
    "indicator": "dial gauge",
    "digital gauge": "digital indicator",
    "calliper": "caliper",
    "calipers": "caliper",
    "callipers": "caliper",
    "digital caliper": "caliper",
    "vernier caliper": "caliper",
    "rule": "ruler",
    "scale": "ruler",
    "photo": "camera",
    "photographs": "camera",
    "laser": "laser sensor",
    "transducer": "displacement transducer",
}
NO_SOURCE = "common practice, no source"


def default_repeatability(
    instrument: str | None, resolution: float, spreads: Sequence[tuple[float, int]], kind: Kind
) -> tuple[float, str]:
    """Return a gauge's repeatability (one standard deviation, mm or strain) and where it comes from.

    Parameters
    ----------
    instrument : str or None
        What it was read with; a name that is not known counts as none.
    resolution : float
        Smallest division, mm or strain.
    spreads : sequence of (float, int)
        Standard deviation and number of the repeats of each row that has several readings.
    kind : str
        "length" or "strain"; instruments have a default for lengths only.
    """
    known = _known_instrument(instrument) if kind == "length" else None
    if known is not None:
        typical = INSTRUMENTS[known]
        return max(typical, resolution / 2.0), f"usual for a {known}, or half a division ({NO_SOURCE})"
    why = "no repeatability was given and no instrument" + (f" known as {instrument!r}" if instrument else "")
    pooled = _pooled(spreads)
    if pooled is not None and pooled > resolution:
        return pooled, f"{why}; the scatter of repeated readings was taken"
    return resolution, f"{why}; one division of the gauge was taken ({NO_SOURCE})"


@lru_cache(maxsize=256)
def _known_instrument(name: str | None) -> str | None:
    if name is None:
        return None
    names = {known.casefold(): known for known in INSTRUMENTS} | _OTHER_SPELLINGS
    plain = name.casefold().replace("gage", "gauge").replace("-", " ")
    near = difflib.get_close_matches(plain, names, n=1, cutoff=0.85)
    return names[near[0]] if near else None


def _pooled(spreads: Sequence[tuple[float, int]]) -> float | None:
    """Pooled standard deviation; None without repeats."""
    freedom = sum(n - 1 for _, n in spreads)
    return math.sqrt(sum(s * s * (n - 1) for s, n in spreads) / freedom) if freedom > 0 else None


# ISO 1043-1 symbols of common thermoplastics; PET as printed or cut from film is either, so it is left open.
_GLASSY = {
    "PLA", "PETG", "PCTG", "ABS", "ASA", "PC", "PMMA", "PS", "HIPS", "PSHI", "SAN", "SB", "MABS", "MBS", "PVC", "PVCU",
    "PSU", "PESU", "PES", "PPSU", "PEI", "PPE", "PPO", "COC", "COP",
}  # fmt: skip
_SEMICRYSTALLINE = {
    "PP", "PPH", "PPC", "PPR", "PE", "PEHD", "PELD", "PELLD", "HDPE", "LDPE", "UHMWPE", "POM", "POMC", "POMH",
    "PBT", "PEEK", "PEK", "PEKK", "PAEK", "PPS", "PVDF", "PTFE", "PCTFE", "PFA", "ETFE", "PHA", "PHB",
    "PMP", "PB", "PCL",
}  # fmt: skip
_FILLED = re.compile(r"(?:PP|PETG?|PLA|ABS|PC|PEEK|PBT|POM)\d*(?:GF|CF)\d{0,2}")
_FIBRE = re.compile(r"(?:GF|CF|AF|KF|LGF|LCF|BF)\d{0,2}")


_POLYAMIDE = re.compile(r"PA\d{0,4}(?:T|HT)?|(?:NYLON|POLYAMIDES?)\d{0,4}|PPA")
"""Its symbol with the figures of a sort, or what it is called in a shop."""
_POLYAMIDE_FILLED = re.compile(rf"(?:{_POLYAMIDE.pattern})(?:GF|CF)\d{{0,2}}")


def takes_up_water(material: str) -> bool:
    """Whether a name is that of a polyamide, which moisture governs, by its ISO 1043-1 symbol or as "nylon"."""
    return any(_POLYAMIDE.fullmatch(w) or _POLYAMIDE_FILLED.fullmatch(w) for w in _words(material))


def _words(material: str) -> list[str]:
    return [w for w in re.split(r"[^A-Z0-9]+", material.upper()) if w]


def default_material_kind(material: str) -> str | None:
    """Return "glassy", "semicrystalline" or "fibre-filled" by the ISO 1043 symbols in a name, None where unknown."""
    words = _words(material)
    if any(_FIBRE.fullmatch(w) or re.fullmatch(r"FIB(RE|ER)S?", w) for w in words):
        return "fibre-filled"
    # PA6, PA66, PA12, also PA6CF written in one word; PE-HD and PC-ABS written with a dash.
    if any(_POLYAMIDE_FILLED.fullmatch(w) or _FILLED.fullmatch(w) for w in words):
        return "fibre-filled"
    kinds = {"glassy" for w in words if w in _GLASSY}
    kinds |= {"semicrystalline" for w in words if w in _SEMICRYSTALLINE or _POLYAMIDE.fullmatch(w)}
    return kinds.pop() if len(kinds) == 1 else None
