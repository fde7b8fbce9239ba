"""A file on its way: it is whole before it has its name, so that nobody ever sees half of it.

Where the system can, a draft has no name at all and is gone with the process, however that ends;
elsewhere it has a hidden one, which the next call takes away. Not by `tempfile`: its unnamed files
can be given no name later, and only their owner may read them.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

_HIDDEN = re.compile(r"\.romtool-(\d+)-\d+\Z")
_numbers = itertools.count()


class Draft:
    """The content of a file, written out, to be put in its place or dropped."""

    def __init__(self, path: Path, data: bytes, *, durable: bool) -> None:
        """Write `data` to the disk of `path`; `durable`: it is there even if the power fails."""
        self.path = path
        self._hidden = path.parent / f".romtool-{os.getpid()}-{next(_numbers)}"
        self._is_new = False
        handle = _unnamed(path.parent)
        self._is_named = handle is None
        if handle is None:
            handle = os.open(self._hidden, os.O_CREAT | os.O_EXCL | os.O_RDWR | _BINARY, 0o666)
        self._file = os.fdopen(handle, "wb")
        try:
            self._file.write(data)
            self._file.flush()
            if durable:
                os.fsync(handle)
            self._status = os.fstat(handle)
            if self._is_named and not _MAY_MOVE_OPEN:
                self._file.close()
        except BaseException:
            self.drop()
            raise

    def place(self, *, force: bool) -> None:
        """Give the file its name; raises FileExistsError where that is taken, unless `force`.

        A link in its place is replaced itself: nothing is ever written to where it points.
        """
        try:
            self._is_new = True
            self._link(self.path)
        except FileExistsError:
            self._is_new = False
            if not force:
                raise
            if not self._is_named:
                self._link(self._hidden)
                self._is_named = True
            os.replace(self._hidden, self.path)

    def take_back(self) -> None:
        """Take the file away again, if nothing stood in its place before."""
        with contextlib.suppress(OSError):
            if self._is_new and os.path.samestat(os.lstat(self.path), self._status):
                os.unlink(self.path)

    def drop(self) -> None:
        """End the draft; what was put in its place stays."""
        with contextlib.suppress(OSError):  # what could not be written is told already
            self._file.close()
        if self._is_named:
            with contextlib.suppress(OSError):
                os.unlink(self._hidden)

    def _link(self, name: Path) -> None:
        """Give the file a name that nothing has yet; raises FileExistsError."""
        if not self._is_named:
            handle = self._file.fileno()
            os.link(_by_number(handle), name, src_dir_fd=handle, follow_symlinks=True)
            return
        try:
            os.link(self._hidden, name)
        except FileExistsError:
            raise
        except OSError:  # a disk without links, as memory cards have
            if os.path.lexists(name):
                raise FileExistsError from None
            os.rename(self._hidden, name)


_BINARY = getattr(os, "O_BINARY", 0)
_MAY_MOVE_OPEN = os.name == "posix"
"""Whether a file can be renamed that is open; where not, the draft is closed when it is whole."""


def _unnamed(folder: Path) -> int | None:
    """Return a new open file without a name on the disk of a folder; None where that can't be."""
    unnamed = getattr(os, "O_TMPFILE", None)
    if unnamed is None:  # not on this system
        return None
    try:
        handle = os.open(folder, unnamed | os.O_RDWR, 0o666)
    except OSError:  # not on this disk
        return None
    if os.path.exists(_by_number(handle)):
        return handle
    os.close(handle)
    return None


def _by_number(handle: int) -> str:
    """Return the name by which an open file can be linked."""
    return f"/proc/self/fd/{handle}"


def clear_drafts(folders: Iterable[Path]) -> None:
    """Take away the drafts in these folders whose process was killed."""
    for folder in set(folders):
        with contextlib.suppress(OSError):
            for name in _left_behind(folder):
                with contextlib.suppress(OSError):
                    os.unlink(folder / name)


def _left_behind(folder: Path) -> Iterator[str]:
    for name in os.listdir(folder):
        found = _HIDDEN.match(name)
        if found is not None and not _is_running(int(found[1])):
            yield name


def _is_running(process: int) -> bool:
    """Whether another process of this number exists; True where that can't be known."""
    if process == os.getpid():
        return False
    if os.name != "posix":
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True
    return True
