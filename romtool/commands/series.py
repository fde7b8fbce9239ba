"""A series: the images of one profile with many serial numbers, and where they go."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import click

from romtool import __version__
from romtool.commands.printing import warn
from romtool.commands.progress import Progress
from romtool.commands.stopping import Stopped, Stops
from romtool.errors import InputError, Problem
from romtool.files.draft import clear_drafts
from romtool.files.output import already_there, existing, put_files, refuse_unfit, write_files
from romtool.files.reading import name_text

MOST, CEILING = 10_000, 1_000_000
"""So many serial numbers are built at once; so many with --force: a slip must not fill the disk."""


def serials_option(ctx: click.Context, param: click.Parameter, value: str | None) -> range | None:
    """Return the serial numbers of a range such as 1-20, or a single one."""
    if value is None:
        return None
    found = re.fullmatch(r"([0-9]{1,10})(?:-([0-9]{1,10}))?", value)
    if not found:
        raise click.BadParameter(f"{value!r} is not like 1-20", ctx, param)
    first, last = int(found[1]), int(found[2] or found[1])
    if last < first:
        raise click.BadParameter(f"{value!r}: the first number is above the last", ctx, param)
    if last - first >= CEILING:
        raise click.BadParameter(f"more than {CEILING} serial numbers at once", ctx, param)
    return range(first, last + 1)


class Written(NamedTuple):
    """A file that was written: its size in bytes, and the SHA-256 of what stands in it."""

    name: str
    size: int
    digest: str

    def as_json(self) -> dict[str, Any]:
        """Return the file as in the JSON answers."""
        return {"file": self.name, "size": self.size, "sha256": self.digest}

    @classmethod
    def of(cls, path: Path, data: bytes) -> Written:
        """Return what is to be told of a file with this content."""
        return cls(name_text(path), len(data), hashlib.sha256(data).hexdigest())


def _in_folder(one: Written) -> dict[str, Any]:
    """Return a file as the manifest beside it names it."""
    return {**one.as_json(), "file": os.path.basename(one.name)}


class Series:
    """The files of a profile's image, or of those with each serial number and a manifest.

    `names` are the stems of the files, one an image; `suffix` stands after each. `about` is what
    the manifest says of all of them.
    """

    def __init__(
        self,
        serials: range | None,
        folder: Path,
        stem: str,
        formats: Sequence[str],
        *,
        suffix: str = "",
        about: Mapping[str, Any] = MappingProxyType({}),
    ) -> None:
        numbers = [""] if serials is None else [f"-{serial:05}" for serial in serials]
        self.names = [f"{stem}{number}{suffix}" for number in numbers]
        self.manifest = None if serials is None else folder / f"{stem}{suffix}.manifest.json"
        self._about = about
        self._serials = serials or range(0)
        self._folder = folder
        self._formats = formats
        self._done = 0
        self._stops = Stops()

    def write(self, contents: Iterable[Sequence[bytes]], *, force: bool) -> list[Written]:
        """Write the files of one image after the other, then the manifest.

        `contents` are those of each image's files, one a format. The files of an image are written
        all or none. Raises InputError where one exists or can't be.
        """
        groups = zip(map(self._paths, self.names), contents, strict=True)
        written: list[Written] = []
        if self.manifest is None:
            for paths, files in groups:
                write_files(list(zip(paths, files, strict=True)), force=force)
                written += map(Written.of, paths, files)
            return written
        refuse_unfit(path for name in self.names for path in self._paths(name))
        refuse_unfit([self.manifest])
        if not force:
            self._refuse_existing(self.manifest)
        clear_drafts([self._folder])
        with Progress("writing", len(self.names)) as progress:
            for paths, files in groups:
                with self._stops.held():
                    put_files(list(zip(paths, files, strict=True)), force=force)
                    self._done += 1
                written += map(Written.of, paths, files)
                progress.step()
        put_files([(self.manifest, self._listed(written))], force=force, durable=True)
        return written

    def _paths(self, name: str) -> list[Path]:
        """Return the files of an image, one a format."""
        return [self._folder / f"{name}.{kind}" for kind in self._formats]

    def _listed(self, written: Sequence[Written]) -> bytes:
        """Return the manifest: of each number the file to burn, the binary if there is one."""
        burnt = self._formats.index("bin") if "bin" in self._formats else 0
        rows = []
        for index, serial in enumerate(self._serials):
            files = written[index * len(self._formats) :][: len(self._formats)]
            row = {"serial": serial, **_in_folder(files[burnt])}
            for kind, one in zip(self._formats, files, strict=True):
                if one is not files[burnt]:
                    row[kind] = _in_folder(one)
            rows.append(row)
        answer = {"tool": "romtool", "version": __version__, **self._about, "images": rows}
        return (json.dumps(answer, indent=2) + "\n").encode()

    def _refuse_existing(self, manifest: Path) -> None:
        """Refuse to write over files: tell the first, and what is there of an earlier run."""
        complete, first = 0, list[Path]()
        for index, name in enumerate(self.names):
            there = existing(self._paths(name))
            if complete == index and len(there) == len(self._formats):
                complete += 1
            first = first or there[:1]
        whole = existing([manifest])
        problems = [already_there(path) for path in (*first, *whole)]
        if complete and not whole:
            problems.append(self._where(complete))
        if problems:
            raise InputError(problems)

    @contextlib.contextmanager
    def told(self) -> Iterator[None]:
        """Say where to go on, when what is done in this context is interrupted or refused."""
        try:
            with self._stops:
                yield
        except Stopped as stop:
            where = self._where(self._done)
            warn(f"interrupted: {where.message}" + (f"; {where.hint}" if where.hint else ""))
            sys.exit(128 + stop.number)
        except InputError as refused:
            if not self._done:
                raise
            raise InputError([*refused.problems, self._where(self._done)]) from None

    def _where(self, complete: int) -> Problem:
        """Return how much is complete, and how to go on."""
        if complete == 0:
            return Problem("nothing written")
        first, many = self._serials[0], len(self._serials)
        which = f"{first} to {first + complete - 1}" if complete > 1 else f"{first}"
        words = f"of {many} serials {complete} {'is' if complete == 1 else 'are'} complete, {which}"
        stop = "for the manifest" if complete == many else f"from {first + complete}"
        return Problem(words, f"to go on {stop}, repeat the call with --force")
