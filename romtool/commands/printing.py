"""What commands print: lines, JSON and messages, in colour only where that is wanted."""

from __future__ import annotations

import contextlib
import itertools
import os
import re
import sys
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

import click

from romtool.errors import InputError
from romtool.files.reading import StrPath, name_text
from romtool.text.problems import one_line, problem_line, visible

if TYPE_CHECKING:
    from pathlib import Path

PIECES = 10_000
"""Pieces of a JSON document that are written at once."""

MOST_TOLD = 50
"""At most this many faults are told: more than anyone fixes in one go."""


def echo(text: str = "", *, err: bool = False) -> None:
    """Write a line; colour only on a terminal, none with NO_COLOR or on one that has none."""
    plain = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    click.echo(text, err=err, color=False if plain else None)


def echo_lines(lines: Iterable[str]) -> None:
    """Write lines to standard output."""
    for text in lines:
        echo(text)


def echo_utf8(text: str) -> None:
    """Write a text as it is, and as UTF-8 whatever the locale: for other programs."""
    click.echo(text.encode(), nl=False)


def json_text(answer: Any) -> str:
    """Return JSON; of a file's name that is no UTF-8 each odd byte is an escaped surrogate."""
    import json

    return _printable(json.dumps(answer, indent=2, ensure_ascii=False))


def _printable(text: str) -> str:
    return re.sub(_SURROGATE, lambda found: f"\\u{ord(found[0]):04x}", text)


_SURROGATE = "[\ud800-\udfff]"


def echo_json(answer: Any) -> None:
    """Write the one JSON document of a command, as it is made: it may be longer than memory."""
    import json

    pieces = json.JSONEncoder(indent=2, ensure_ascii=False).iterencode(answer)
    while batch := "".join(itertools.islice(pieces, PIECES)):
        echo_utf8(_printable(batch))
    echo_utf8("\n")


def is_standard_output(path: StrPath | None) -> bool:
    """Whether the name of an output stands for standard output."""
    return path is not None and str(path) == "-"


def output_name(path: StrPath) -> str:
    """Return the name of an output for messages."""
    return "standard output" if is_standard_output(path) else visible(name_text(path))


@contextlib.contextmanager
def answer_beside(path: Path | None) -> Iterator[None]:
    """What is told in this context goes to standard error, where a file goes to standard output."""
    if not is_standard_output(path):
        yield
        return
    with contextlib.redirect_stdout(sys.stderr):
        yield


def warn(text: str) -> None:
    """Write one message line to standard error."""
    echo(one_line(f"romtool: {text}"), err=True)


def warn_of_faults(refused: InputError) -> None:
    """Write the faults of a refusal to standard error, a line each."""
    for text in problem_lines(refused):
        warn(text)


def refusal_json(refused: InputError) -> dict[str, Any]:
    """Return a refusal as in the JSON answers, with the file that it is about, if it is one."""
    files = dict.fromkeys(problem.file for problem in refused.problems)
    file = {"file": next(iter(files))} if len(files) == 1 and None not in files else {}
    return {**file, "error": "\n".join(problem_lines(refused))}


def problem_lines(refused: InputError) -> Iterator[str]:
    """Yield a line for each fault of a refusal; of very many for the first."""
    yield from map(problem_line, refused.problems[:MOST_TOLD])
    more = len(refused.problems) - MOST_TOLD
    if more > 0:
        yield f"{more} more fault{'s' if more > 1 else ''}; fix these first"
