"""What all screens of one desk share: its folder, cards and worker, what was changed last, and how a mistake is said."""

from __future__ import annotations

import re
import secrets
from collections import OrderedDict, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

from flask import current_app

from creepfit.desk.cards import Cards
from creepfit.desk.folder import Change, Folder, mark
from creepfit.desk.last_change import LastChange, last_change
from creepfit.desk.worker import Worker
from creepfit.errors import CreepfitError, InputError
from creepfit.records.editing.additions import Prepared
from creepfit.records.part import Part
from creepfit.records.part_files import read_part

FIELDS = defaultdict(lambda: "this", {"VALUE": "reading", "--at": "at", "--loaded": "load", "--why": "reason"})
"""Fields of the page of today's reading for what the command line calls so."""

UNDONE = 200
"""Changes that can be taken back; of them the last ones."""


@dataclass(frozen=True)
class Written:
    """A change that was made: what is said of it, and the marks of each file now and before."""

    key: str
    said: str
    marks: dict[str, tuple[str, str]]


@dataclass
class Desk:
    """One folder with what is known of it while the desk is open; nothing of it is stored."""

    folder: Folder
    cards: Cards = field(init=False)
    worker: Worker = field(default_factory=Worker)
    _written: OrderedDict[str, Written] = field(default_factory=OrderedDict)

    def __post_init__(self) -> None:
        self.cards = Cards(self.folder)

    def said(self, error: Exception) -> str:
        """Return an error as a line, files by their names within the folder; a fault of ours is owned up to."""
        text = " ".join(str(error).split()).replace(f"{self.folder.root}/", "")
        if isinstance(error, CreepfitError):
            return re.sub(r'--\w+ "', '"', re.sub(r"(VALUE|--\w+): ", lambda option: f"{FIELDS[option[1]]}: ", text))
        return f"A fault of ours, not of your files ({type(error).__name__}: {text or 'no more is known'})."

    def write(self, prepared: Prepared) -> Written:
        """Write what was prepared, whole or not at all, and keep what is needed to take it back.

        Raises
        ------
        InputError
            A file changed meanwhile.
        """
        with self.folder.lock:
            added = prepared.write()
            self.folder.quiet.note(f.path for f in prepared.files)
            marks = {str(f.path.relative_to(self.folder.root)): (mark(f.after), mark(f.before)) for f in prepared.files}
            return self._keep("wrote " + "; ".join(added.said).replace(f"{self.folder.root}/", ""), marks)

    def wrote(self, said: str, changes: Sequence[Change]) -> Written:
        """Keep what is needed to take back files that were written."""
        return self._keep(said, {c.name: (mark(c.after), mark(c.before)) for c in changes})

    def _keep(self, said: str, marks: dict[str, tuple[str, str]]) -> Written:
        done = Written(secrets.token_urlsafe(8), said, marks)
        self._written[done.key] = done
        while len(self._written) > UNDONE:
            self._written.popitem(last=False)
        return done

    def written(self, key: str) -> Written | None:
        """Return a change that was made, by its key."""
        return self._written.get(key)

    def take_back(self, key: str) -> Written:
        """Put the files of a change back to what they were; taking that back makes the change again.

        Raises
        ------
        InputError
            No such change, or a file was changed again since.
        """
        done = self._written.pop(key, None)
        if done is None:
            raise InputError(
                "this was taken back already, or by another start of the desk; the page of the file has its last change"
            )
        try:
            self.folder.take_back(done.marks)
        except CreepfitError:
            self._written[key] = done
            raise
        return self._keep(f"taken back: {done.said}", {n: (last, now) for n, (now, last) in done.marks.items()})

    def last_change(self, name: str) -> LastChange | None:
        """Return the last change of a file of the folder and those it names, known by what stands beside them."""
        path = self.folder.path(self.folder.split(name)[0])
        try:
            files = self.folder.files_of(name)
        except InputError:  # no TOML any more: perhaps by that change
            files = (path,)
        return last_change(self.folder, files)

    def take_last_back(self, name: str, state: str) -> Written:
        """Take back the last change of a file and those it names.

        Parameters
        ----------
        name : str
        state : str
            Of the change as it was shown.

        Raises
        ------
        InputError
            It is another by now.
        """
        with self.folder.lock:
            change = self.last_change(name)
            if change is None or change.state != state:
                raise InputError("changed again since", file=name, expected="a look at the page as it is now")
            self.folder.take_back(change.marks)
        said = f"taken back: what was written {change.when} in {' and '.join(change.marks)}"
        return self._keep(said, {n: (last, now) for n, (now, last) in change.marks.items()})

    def part(self, name: str) -> Part:
        """Read a part file of the folder."""
        return self.folder.steady(name, lambda: read_part(self.folder.path(name)))


def desk() -> Desk:
    """Return the desk of the request at hand."""
    running: Desk = current_app.extensions["creepfit"]
    return running
