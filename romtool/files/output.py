"""Files out: whole or not at all, and never over an existing one unasked."""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Sequence
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
    ready: list[tuple[str, Path]] = []
    try:
        for path, data in files:
            path.parent.mkdir(parents=True, exist_ok=True)
            handle, draft = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
            ready.append((draft, path))
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.chmod(draft, 0o666 & ~_umask())
        for draft, path in ready:
            os.replace(draft, path)
    except OSError as error:
        reason = (error.strerror or "can't be written").lower()
        where = error.filename2 or error.filename or files[0][0]
        raise refuse(reason, "check the folder and its rights").in_file(str(where)) from None
    finally:
        for draft, _ in ready:
            with contextlib.suppress(OSError):
                os.unlink(draft)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
