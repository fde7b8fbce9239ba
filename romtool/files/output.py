"""Files out: whole or not at all, and never over an existing one unasked."""

from __future__ import annotations

import contextlib
import errno
import os
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from romtool.errors import InputError, Problem, refuse
from romtool.files.draft import Draft, clear_drafts
from romtool.files.reading import DESCRIPTORS, name_text

DEVICES = ("/dev", *DESCRIPTORS)
"""Folders in which no output belongs: `/dev/stdout` must never be replaced, whatever it is."""

FORCE = "give --force to replace it"

_HINTS = {
    errno.ENOSPC: "make room on the disk",
    errno.EDQUOT: "make room on the disk",
    errno.EFBIG: "no file may be so long here: ask who set the limit",
    errno.EROFS: "give -o another folder",
    errno.ENAMETOOLONG: "give it a shorter name",
}
"""What to do about a refusal of the system, where it isn't a matter of rights."""


def write_files(files: Sequence[tuple[Path, bytes]], *, force: bool = False) -> None:
    """Write all of these files or none; raises InputError where one exists or can't be written.

    One that exists with the same bytes is left alone. Folders are made. A link in place of a file
    counts as existing; with `force` it is replaced itself, and what it points to stays.
    """
    refuse_unfit(path for path, _ in files)
    missing = files if force else [(path, data) for path, data in files if not holds(path, data)]
    there = [] if force else existing(path for path, _ in missing)
    if there:
        raise InputError(already_there(path) for path in there)
    clear_drafts(path.parent for path, _ in files)
    put_files(missing, force=force, durable=True)


def holds(path: Path, data: bytes) -> bool:
    """Whether a file is there with these bytes."""
    try:
        return path.is_file() and path.stat().st_size == len(data) and path.read_bytes() == data
    except OSError:
        return False


def existing(paths: Iterable[Path]) -> list[Path]:
    """Return those names that are taken, be it by a link that leads nowhere."""
    return [path for path in paths if os.path.lexists(path)]


def already_there(path: Path) -> Problem:
    """Return the fault of an output that exists."""
    if path.is_symlink():
        hint = "--force replaces the link, and leaves alone what it points to"
        return Problem("exists already, as a link", hint, file=name_text(path))
    return Problem("exists already", FORCE, file=name_text(path))


def refuse_unfit(paths: Iterable[Path]) -> None:
    """Refuse names where a folder or a device stands, which no output may replace."""
    for path in paths:
        if os.path.isdir(path):
            hint = "move it away, or give -o another name"
            raise refuse("is a folder", hint).in_file(name_text(path))
        is_device = os.path.exists(path) and not os.path.isfile(path)
        if is_device or str(path.parent) in DEVICES:
            message = "is a device or pipe, no file"
            raise refuse(message, "give -o the name of a file").in_file(name_text(path))


def put_files(
    files: Sequence[tuple[Path, bytes]], *, force: bool = False, durable: bool = False
) -> None:
    """Put these files in their places, all or none; raises InputError where one can't be.

    All are written out first. `durable`: they are on the disk even if the power fails then.
    """
    drafts: list[Draft] = []
    try:
        for path, data in files:
            with _told(path):
                _make_folder(path.parent)
                drafts.append(Draft(path, data, durable=durable))
        for draft in drafts:
            with _told(draft.path):
                draft.place(force=force)
    except BaseException:
        for draft in drafts:
            draft.take_back()
        raise
    finally:
        for draft in drafts:
            draft.drop()


def _make_folder(folder: Path) -> None:
    if os.path.lexists(folder) and not os.path.isdir(folder):
        raise refuse("is a file, not a folder", "give -o another name").in_file(name_text(folder))
    folder.mkdir(parents=True, exist_ok=True)


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Turn what the system refuses into a refusal that names the file that was asked for."""
    try:
        yield
    except FileExistsError:
        raise InputError([already_there(path)]) from None
    except OSError as error:
        reason = (error.strerror or "can't be written").lower()
        hint = _HINTS.get(error.errno or 0, "check the folder and its rights")
        raise refuse(reason, hint).in_file(name_text(path)) from None
