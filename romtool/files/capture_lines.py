"""Lines of a capture, as they come: a long file never stands in memory."""

from __future__ import annotations

import io
import os
from collections.abc import Callable, Iterator
from typing import BinaryIO

from romtool.errors import refuse
from romtool.files.reading import open_input, shown, unreadable

LONGEST = 1 << 20
"""Bytes of a line; a capture with as long a line is none."""

BLOCK = 1 << 16
"""Bytes that are read at once."""


def capture_lines(name: str, note: Callable[[int], None] | None = None) -> Iterator[str]:
    """Yield the lines of a file, or of standard input for `-`; `note` takes bytes that were read.

    Raises InputError for what can't be read, or has no lines.
    """
    try:
        with open_input(name) as file:
            yield from _lines(file, note)
    except OSError as error:
        raise unreadable(error).in_file(shown(name)) from None


def size_of(name: str) -> int | None:
    """Return how many bytes a file has; None for one that doesn't tell."""
    try:
        return os.stat(name).st_size or None if name != "-" else None
    except OSError:
        return None


def _lines(file: BinaryIO, note: Callable[[int], None] | None) -> Iterator[str]:
    rest = b""
    while block := file.read(BLOCK):
        if note is not None:
            note(len(block))
        rest += block
        stop = rest.rfind(b"\n") + 1
        if not stop and len(rest) > LONGEST:
            raise refuse("has a line of more than 1 MiB: is this a capture?", "export it as VCD")
        yield from io.StringIO(rest[:stop].decode("utf-8", "replace"))
        rest = rest[stop:]
    if rest:
        yield rest.decode("utf-8", "replace")
