"""The one tree of errors.

CreepfitError
├── InputError (also ValueError)   what the user gave cannot be used; exit code 2
│   └── OutputExistsError          a file would be overwritten without --force
└── FitError (also RuntimeError)   the numbers cannot support what was asked; exit code 2, as it is the data's
"""

from __future__ import annotations


class CreepfitError(Exception):
    """Base of everything creepfit raises on purpose."""

    exit_code = 1


class InputError(CreepfitError, ValueError):
    """What the user gave cannot be used. One line: file, key or row, what was found, what is expected.

    Parameters
    ----------
    problem : str
        What is wrong, in words; may be empty where `found` and `expected` say it all.
    file, key : str, optional
        Where: the file as the user named it, and the key, table, row or cell in it.
    found, expected : str, optional
        What stood there, and what should.
    """

    exit_code = 2

    def __init__(
        self,
        problem: str = "",
        *,
        file: str | None = None,
        key: str | None = None,
        found: object = None,
        expected: str | None = None,
    ) -> None:
        self.problem, self.file, self.key = problem, file, key
        self.found, self.expected = found, expected
        super().__init__(problem, file, key, found, expected)

    def __str__(self) -> str:
        where = ", ".join(part for part in (self.file, _short(self.key or "", 200)) if part)
        found = "" if self.found is None else f"found {_shown(self.found)}"
        expected = "" if self.expected is None else f"expected {_short(self.expected, 600)}"
        what = "; ".join(part for part in (_short(self.problem, 300), found, expected) if part)
        return _one_line(f"{where}: {what}" if where else what)

    def __reduce__(self) -> tuple[object, ...]:
        return _rebuild, (type(self), self.problem, self.file, self.key, self.found, self.expected)

    def within(self, file: str | None = None, key: str | None = None) -> InputError:
        """Return the same error with the place filled in by a caller that knows it."""
        joined = ", ".join(part for part in (key, self.key) if part) or None
        return type(self)(self.problem, file=self.file or file, key=joined, found=self.found, expected=self.expected)


class OutputExistsError(InputError):
    """A file would be overwritten and --force was not given."""


class FitError(CreepfitError, RuntimeError):
    """The readings cannot support what was asked of them; the message says which readings would."""

    exit_code = 2


def _shown(found: object) -> str:
    """Quote text so that blanks are visible, and keep it short."""
    return _short(repr(found) if isinstance(found, str) else str(found), 80)


def _short(text: str, most: int) -> str:
    """Bound what a file can make a line say, such as the name of a column, to `most` characters."""
    return text if len(text) <= most else text[: most - 3] + "..."


def _one_line(text: str) -> str:
    """Escape what would break the line or the terminal, such as a line end within a key or a file's name."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)


def _rebuild(
    kind: type[InputError], problem: str, file: str | None, key: str | None, found: object, expected: str | None
) -> InputError:
    return kind(problem, file=file, key=key, found=found, expected=expected)
