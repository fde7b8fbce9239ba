"""TOML texts from files: bytes to text, faults with line and column."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator

from romtool.errors import InputError, Problem


def text_of(data: bytes, hint: str) -> str:
    """Return a UTF-8 text with plain line ends; raises InputError with the place, and this hint."""
    try:
        return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line, column = before.count(b"\n") + 1, error.start - before.rfind(b"\n")
        raise InputError([Problem("no UTF-8 text", hint, line=line, column=column)]) from None


@contextlib.contextmanager
def faults_in(text: str) -> Iterator[None]:
    """Give faults that are raised inside their places in a TOML text, and bring them in order."""
    from romtool.toml.located import located

    try:
        yield
    except InputError as refused:
        problems = [located(problem, text) for problem in refused.problems]
        problems.sort(key=lambda problem: (problem.line or 0, problem.column or 0))
        raise InputError(problems) from None
