"""A series: the images of one profile with many serial numbers; where they go, where it stops."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import signal
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import click

from romtool import __version__
from romtool.commands.printing import warn
from romtool.commands.progress import Progress
from romtool.errors import InputError, InvalidValue, Problem
from romtool.files.draft import clear_drafts
from romtool.files.manifests import SUFFIX as MANIFEST
from romtool.files.output import (
    already_there,
    existing,
    holds,
    put_files,
    refuse_unfit,
    write_files,
)
from romtool.files.reading import name_text
from romtool.schema.numbers import parse_number

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP")


class Stopped(KeyboardInterrupt):
    """The process was asked to end, by the signal of this number."""

    def __init__(self, number: int) -> None:
        self.number = number
        super().__init__()


class Stops:
    """As a context, turns requests to end into Stopped; `deferred` puts them off for a while."""

    def __init__(self) -> None:
        known = [getattr(signal, name) for name in _NAMES if hasattr(signal, name)]
        before = {number: signal.getsignal(number) for number in known}
        usual = (signal.SIG_DFL, signal.default_int_handler)  # not what nohup has it ignore
        self._before = {number: before[number] for number in known if before[number] in usual}
        self._is_deferred = False
        self._asked: int | None = None

    def __enter__(self) -> Stops:
        for number in self._before:
            signal.signal(number, self._stop)
        return self

    def __exit__(self, *error: object) -> None:
        for number, handler in self._before.items():
            signal.signal(number, handler)

    @contextlib.contextmanager
    def deferred(self) -> Iterator[None]:
        """What is begun here is done before a request to end is heard."""
        self._is_deferred = True
        try:
            yield
        finally:
            self._is_deferred = False
        if self._asked is not None:
            raise Stopped(self._asked)

    def _stop(self, number: int, frame: object) -> None:
        if self._is_deferred:
            self._asked = number
        else:
            raise Stopped(number)


MOST, CEILING = 10_000, 1_000_000
"""At most this many serial numbers are built at once, and with --force: a slip of the hand must not
fill the disk."""


def serials_option(ctx: click.Context, param: click.Parameter, value: str | None) -> range | None:
    """Return the serial numbers of a range such as 1-20 or 0x10-0x1F, or a single one."""
    if value is None:
        return None
    start, _, end = value.partition("-")
    try:
        first = parse_number(start)
        last = parse_number(end) if "-" in value else first
    except InvalidValue:
        raise click.BadParameter(f"{value!r} is not like 1-20", ctx, param) from None
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
        self.manifest = None if serials is None else folder / f"{stem}{suffix}{MANIFEST}"
        self._about = about
        self._serials = serials or range(0)
        self._folder = folder
        self._formats = formats
        self._done = 0
        self._stops = Stops()

    def write(
        self, contents: Callable[[], Iterable[Sequence[bytes]]], *, force: bool
    ) -> list[Written]:
        """Write the files of one image after the other, then the manifest.

        `contents` makes those of each image's files, one a format. The files of an image are
        written all or none; one that is there already with its bytes is left alone. Raises
        InputError where another one is there, or where one can't be written.
        """
        if self.manifest is not None:
            return self._write_all(self.manifest, contents, force=force)
        (files,) = self._files(contents)
        write_files(files, force=force)
        return [Written.of(*file) for file in files]

    def _write_all(
        self, manifest: Path, contents: Callable[[], Iterable[Sequence[bytes]]], *, force: bool
    ) -> list[Written]:
        paths = [path for name in self.names for path in self._paths(name)]
        refuse_unfit([*paths, manifest])
        if not force and existing([*paths, manifest]):
            self._refuse_others(manifest, contents)
        clear_drafts([self._folder])
        written: list[Written] = []
        with Progress("writing", len(self.names)) as progress:
            for files in self._files(contents):
                with self._stops.deferred():
                    put_files([file for file in files if force or not holds(*file)], force=force)
                    self._done += 1
                written += [Written.of(*file) for file in files]
                progress.step()
        write_files([(manifest, self._listed(written))], force=force)
        return written

    def _files(
        self, contents: Callable[[], Iterable[Sequence[bytes]]]
    ) -> Iterator[list[tuple[Path, bytes]]]:
        """Yield the files of each image, with their bytes."""
        for name, files in zip(self.names, contents(), strict=True):
            yield list(zip(self._paths(name), files, strict=True))

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

    def _refuse_others(
        self, manifest: Path, contents: Callable[[], Iterable[Sequence[bytes]]]
    ) -> None:
        """Refuse to write over files that have other bytes: the first is told."""
        written: list[Written] = []
        for files in self._files(contents):
            self._refuse_other(files)
            written += [Written.of(*file) for file in files]
        self._refuse_other([(manifest, self._listed(written))])

    def _refuse_other(self, files: Iterable[tuple[Path, bytes]]) -> None:
        for path, data in files:
            if existing([path]) and not holds(path, data):
                raise InputError([already_there(path)])

    @contextlib.contextmanager
    def resumable(self) -> Iterator[None]:
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
        return Problem(words, f"to go on {stop}, repeat the call")
