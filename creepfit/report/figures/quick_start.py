"""Loading matplotlib for one command: in half of its time, without help texts that nobody reads there."""

from __future__ import annotations

import sys


def load_matplotlib() -> None:
    """Load what figures need, leaving out the signatures and docstrings that matplotlib writes for `set` of every class.

    They take half of its import and a tenth of the time of a whole report. Only for the command line, where nobody asks
    matplotlib for help; a version that does this in another way is loaded as it is.
    """
    if "matplotlib.figure" in sys.modules:
        return
    from matplotlib.artist import Artist

    name = "_update_set_signature_and_docstring"
    written = Artist.__dict__.get(name)
    if written is not None:
        setattr(Artist, name, classmethod(lambda cls: None))
    try:
        import matplotlib.backends.backend_svg
        import matplotlib.figure  # noqa: F401
    finally:
        if written is not None:
            setattr(Artist, name, written)
