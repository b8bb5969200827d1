"""Text as a stream can show it.

A file of its own that imports nothing: every message of a command goes through it, those before anything is loaded too.
"""

from __future__ import annotations

_ASCII = {
    "±": "+-", "·": "*", "×": "x", "–": "-", "—": "-", "−": "-", "≤": "<=", "≥": ">=", "µ": "u", "μ": "u", "°": "deg ",
    "…": "...", "“": '"', "”": '"', "‘": "'", "’": "'", "²": "^2", "³": "^3", "σ": "sigma", "ε": "strain", "η": "eta",
    "τ": "tau", "→": "->",
}  # fmt: skip


def plain(text: str, encoding: str | None) -> str:
    """Return the text as it is where the encoding can show it, else with every odd character spelled in ASCII."""
    encoding = encoding or "ascii"
    try:
        text.encode(encoding)
    except (UnicodeEncodeError, LookupError):
        spelled = "".join(_ASCII.get(c, c) for c in text)
        return spelled.encode("ascii", "replace").decode("ascii")
    return text
