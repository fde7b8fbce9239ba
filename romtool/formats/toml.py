"""TOML: a card profile is one; what a host file and a schema are written in."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Collection, Iterator

from romtool.errors import InputError

_BLANK = r"(?:[ \t\r]*(?:#[^\n]*)?\n)*[ \t]*"


def recognises(text: str, tables: Collection[str]) -> bool:
    """Whether a text is a profile: it has one of a profile's `tables`, if perhaps with faults."""
    if re.search(rf"(?m)^[ \t]*{_header(tables)}", text):
        return True
    if "=" not in text:
        return False
    from romtool.toml.parse import parse_toml

    try:
        return any(isinstance(parse_toml(text).get(name), (dict, list)) for name in tables)
    except InputError:
        return False


def begins(data: bytes, tables: Collection[str]) -> bool:
    """Whether bytes begin as a profile does, whatever they have further on."""
    return re.match(_BLANK + _header(tables), data.decode("latin-1")) is not None


def _header(tables: Collection[str]) -> str:
    return rf"\[\[?\s*(?:{'|'.join(tables)})\b"


@contextlib.contextmanager
def faults_in(text: str) -> Iterator[None]:
    """Give faults that are raised inside their places in a TOML text, and bring them in order."""
    from romtool.toml.parse import located

    try:
        yield
    except InputError as refused:
        problems = [located(problem, text) for problem in refused.problems]
        problems.sort(key=lambda problem: (problem.line or 0, problem.column or 0))
        raise InputError(problems) from None
