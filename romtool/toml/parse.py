"""A TOML text to its tables; `tomllib` gives the values, a fault gets its line and column."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from romtool.errors import InputError, Path, Problem

MOST_PARTS = 32
"""Parts of a key (`a.b.c` has three) that a text may have: far more than any file here needs."""


def parse_toml(text: str) -> dict[str, Any]:
    """Return the tables of a TOML text; raises InputError with line and column."""
    deep = too_deep_at(text)
    if deep is not None:
        before = text[:deep]
        line, column = before.count("\n") + 1, deep - before.rfind("\n")
        message = f"a key has more than {MOST_PARTS} parts"
        hint = "no key here has so many; is this the right file?"
        raise InputError([Problem(message, hint, line=line, column=column)])
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        from romtool.toml.places import syntax_fault

        message, place = syntax_fault(error, text)
        raise InputError(
            [Problem(message, _hint(message), line=place.line, column=place.column)]
        ) from None
    except (RecursionError, ValueError):
        problem = Problem("nested too deep, or a number too long", "is this the right file?")
        raise InputError([problem]) from None
    too_long = [path for path, value in _leaves(tables) if _is_too_long(value)]
    if too_long:
        hint = "no field is wider than 32 bits"
        raise InputError(Problem("the number is too long", hint, path) for path in too_long)
    return tables


def located(problem: Problem, text: str) -> Problem:
    """Return the fault with line and column, where it has a path into this TOML text."""
    if problem.path is None or problem.line is not None:
        return problem
    from romtool.toml.places import place_of

    place = place_of(text, problem.path, key=problem.on_key)
    return problem._replace(line=place.line, column=place.column)


def too_deep_at(text: str) -> int | None:
    """Return where a key of more than `MOST_PARTS` parts begins; None where there is none.

    Found before the text is parsed, where each dot costs as much as all before it. What looks like
    one inside a string or a comment is none.
    """
    if all(line.count(".") < MOST_PARTS for line in text.splitlines()):
        return None
    for found in _tokens().finditer(text):
        if found.lastgroup == "deep":
            return found.start()
    return None


_BARE = r"[A-Za-z0-9_-]+"
_QUOTED = r'"(?:[^"\\\n]|\\.)*+"|\'[^\'\n]*\''
_PART = rf"(?:{_BARE}|{_QUOTED})"


def _tokens() -> re.Pattern[str]:
    return re.compile(
        r'"""(?:[^"\\]|\\.|"(?!""))*+(?:"""|\Z)'
        r"|'''(?:[^']|'(?!''))*+(?:'''|\Z)"
        rf"|(?P<deep>{_PART}(?:[ \t]*\.[ \t]*{_PART}){{{MOST_PARTS},}}+)"
        rf"|{_QUOTED}|{_BARE}|#[^\n]*",
        re.DOTALL,
    )


def _leaves(tables: dict[str, Any]) -> Iterator[tuple[Path, Any]]:
    """Yield every value that is no table and no list, with its path."""
    waiting: list[tuple[Path, Any]] = [((), tables)]
    while waiting:
        path, value = waiting.pop()
        if isinstance(value, dict):
            waiting += [((*path, key), inner) for key, inner in value.items()]
        elif isinstance(value, list):
            waiting += [((*path, index), inner) for index, inner in enumerate(value)]
        else:
            yield path, value


def _is_too_long(value: Any) -> bool:
    """Whether a number is wider than the 64 bits of TOML: Python would choke on printing it."""
    return isinstance(value, int) and value.bit_length() > 64


def _hint(message: str) -> str:
    """Return what to do about a fault of syntax: what people usually meant."""
    for part, hint in _HINTS:
        if part in message:
            return hint
    return "fix the TOML here"


_HINTS = (
    ("Cannot declare", "a table stands once; of several, write [[device]] for each"),
    ("Cannot overwrite", "a key stands once; a list of tables is written [[device]]"),
    ("inline table", 'write { key = value, … } on one line; addresses as 0x330 or "330h"'),
    ("Invalid value", 'write texts in quotes, addresses as 0x330 or "330h"'),
    ("Expected newline", 'one key a line; write texts in quotes, addresses as 0x330 or "330h"'),
)
