"""Bytes of a file or of standard input: never more than asked for, never from what has no end."""

from __future__ import annotations

import io
import os
import stat
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, nullcontext
from typing import BinaryIO

from romtool.errors import InputError, refuse

StrPath = str | os.PathLike[str]
"""The name of a file or folder; `pathlib` takes as long to load as an image to decode."""

DESCRIPTORS = ("/dev/fd", "/proc/self/fd")
"""Folders whose names are numbers of open files, as a shell's process substitution gives them."""

LONGEST = 1 << 20
"""Bytes of a line; a capture with as long a line is none."""

BLOCK = 1 << 16
"""Bytes that are read at once."""


def read_bytes(name: str, limit: int, limits: str) -> bytes:
    """Return the content of a file, or of standard input for `-`; refused above `limit` bytes.

    Only ordinary files are opened, and what the caller has opened already (`/dev/stdin`,
    `/dev/fd/3`): a device may never end, a named pipe may never begin. `limits` says in words how
    much is taken.
    """
    try:
        if name == "-":
            data = _standard_input().read(limit + 1)
        else:
            with _opened(name, limit, limits) as file:
                data = file.read(limit + 1)
    except OSError as error:
        raise unreadable(error).in_file(shown(name)) from None
    except InputError as refused:
        raise refused.in_file(shown(name)) from None
    if len(data) > limit:
        raise _too_long(f"more than {limit} bytes", limits).in_file(shown(name))
    return data


def open_input(name: str) -> AbstractContextManager[BinaryIO]:
    """Return a file, or standard input for `-`, opened for reading; for what is read bit by bit.

    Raises OSError, and InputError for what is no file, as `read_bytes` does.
    """
    if name == "-":
        return nullcontext(_standard_input())
    try:
        return _opened(name)
    except InputError as refused:
        raise refused.in_file(shown(name)) from None


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


def _standard_input() -> BinaryIO:
    if sys.stdin is None:
        raise refuse("is closed", "name a file")
    return sys.stdin.buffer


def _opened(name: str, limit: int | None = None, limits: str = "") -> BinaryIO:
    """Return the file, opened; raises OSError or InputError."""
    status = os.stat(name)
    mode = status.st_mode
    if stat.S_ISDIR(mode):
        raise refuse("is a folder", "name a file")
    number = _descriptor(name)
    if number is not None:
        return os.fdopen(os.dup(number), "rb")
    if not stat.S_ISREG(mode):
        what = "a pipe" if stat.S_ISFIFO(mode) else "a device or socket"
        raise refuse(f"is {what}, no file", "name a file, or send it to standard input: -")
    if limit is not None and status.st_size > limit:
        raise _too_long(f"{status.st_size} bytes", limits)
    return open(name, "rb")


def _descriptor(name: str) -> int | None:
    """Return the number of the open file that a name stands for; None for an ordinary name."""
    if name == "/dev/stdin":
        return 0
    folder, number = os.path.split(name)
    is_number = number.isascii() and number.isdigit()
    return int(number) if is_number and folder in DESCRIPTORS else None


def _too_long(size: str, limits: str) -> InputError:
    return refuse(f"{size} are too many: {limits}", "is this the right file?")


def unreadable(error: OSError) -> InputError:
    """Return the refusal for what the system said when a file was read."""
    reason = (error.strerror or "can't be read").lower()
    return refuse(reason, "check the name and the rights")


def shown(name: str) -> str:
    """Return the name of an input for messages and answers."""
    return "standard input" if name == "-" else name_text(name)


def name_text(path: StrPath) -> str:
    """Return a file's name as text, the same in every locale; a byte that is no UTF-8 is kept."""
    return os.fsencode(path).decode("utf-8", "surrogateescape")
