"""Files out: whole or not at all, and never over an existing one unasked."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from romtool.errors import Fault, Refused, refuse


def write_files(files: Sequence[tuple[Path, bytes]], *, force: bool = False) -> None:
    """Write all of these files or none; raises Refused where one exists or can't be written.

    Folders are made. Each file is written beside its place first and then moved there, so that
    nobody ever sees half of it.
    """
    if not force:
        there = [path for path, _ in files if path.exists()]
        if there:
            raise Refused(
                Fault("exists already", "give --force to replace it", file=str(path))
                for path in there
            )
    for path, _ in files:
        if path.is_dir():
            raise refuse("is a folder", "move it away, or give -o another name").in_file(str(path))
    ready: list[tuple[str, Path]] = []
    try:
        for path, data in files:
            with _told(path):
                ready.append((_draft(path, data), path))
        for draft, path in ready:
            with _told(path):
                os.replace(draft, path)
    finally:
        for draft, _ in ready:
            with contextlib.suppress(OSError):
                os.unlink(draft)


def _draft(path: Path, data: bytes) -> str:
    """Write `data` beside its place; return the name of the draft."""
    if path.parent.exists() and not path.parent.is_dir():
        raise refuse("is a file, not a folder", "give -o another name").in_file(str(path.parent))
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(draft, 0o666 & ~_umask())
    except OSError:
        os.unlink(draft)
        raise
    return draft


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system refuses into a refusal that names the file that was asked for."""
    try:
        yield
    except OSError as error:
        reason = (error.strerror or "can't be written").lower()
        raise refuse(reason, "check the folder and its rights").in_file(str(path)) from None


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
