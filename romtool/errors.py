"""What can be wrong with an input, as data; the command line turns it into lines of text."""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

Path = tuple[str | int, ...]
"""Where in a TOML document: keys and positions in lists, outermost first."""


class Problem(NamedTuple):
    """One thing that is wrong, and what to do about it.

    `path` places it in a TOML document (`on_key`: at the key, not at its value), `line` in any
    text. `file` is filled in by whoever knows which file it was.
    """

    message: str
    hint: str = ""
    path: Path | None = None
    on_key: bool = False
    line: int | None = None
    column: int | None = None
    file: str | None = None


class InputError(Exception):
    """An input that can't be used: it carries every fault that was found, in order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(problem.message for problem in self.problems))

    def in_file(self, file: str) -> InputError:
        """Return the same refusal, with the name of the file on every fault that has none."""
        return InputError(f._replace(file=f.file or file) for f in self.problems)


def refuse(message: str, hint: str = "", *, path: Path | None = None) -> InputError:
    """Return a refusal for one fault; the caller raises it."""
    return InputError([Problem(message, hint, path=path)])


class InvalidValue(ValueError):
    """A single value that a field can't take; the caller knows the place and adds it."""

    def __init__(self, message: str, hint: str = "", *, inside: Path = ()) -> None:
        self.message = message
        self.hint = hint
        self.inside = inside
        super().__init__(message)
