"""An input to the bytes of an image: a file of any format, told by its content, or a card profile.

What reads a format is imported where a file of its kind is there: most inputs are raw.
"""

from __future__ import annotations

import os
from collections.abc import Collection, Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple

from romtool.errors import InputError, refuse
from romtool.errors import Path as KeyPath
from romtool.files.reading import read_bytes, shown, unreadable
from romtool.formats import (
    FORMATS,
    LIMITS,
    MAX_IMAGE,
    MAX_TOML,
    RAW,
    SHARED,
    SUFFIXES,
    TOML,
    format_of,
)
from romtool.formats.plain_text import is_plain
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import clip

if TYPE_CHECKING:
    from romtool.profile.assemble import Assembly


NOTED_TEXT = 16
"""Bytes that are no longer a text by chance."""


class InputFile(NamedTuple):
    """What was read: the image's bytes, and where they come from.

    `format` is the name of the file's format. `offset`: the first address of a text of records;
    `gaps`: (start, stop) pairs of bytes that no record gave. For a profile: its text, its tables
    with the bytes of files that they name, and the assembly that knows where each byte is from.
    """

    name: str
    format: str
    data: bytes
    offset: int = 0
    gaps: tuple[tuple[int, int], ...] = ()
    text: str = ""
    assembly: Assembly | None = None
    variant: str | None = None
    tables: Mapping[str, Any] = MappingProxyType({})

    @property
    def title(self) -> str:
        """Its name, with that of the variant if it is one of a profile."""
        return self.name if self.variant is None else f"{self.name}, variant {self.variant}"

    @property
    def notes(self) -> Iterator[str]:
        """Yield what a user should know of it, a line each."""
        if self.offset:
            yield f"{self.name}: its first address is {self.offset:X}h, taken as an offset"
        if self.format == RAW.name and len(self.data) >= NOTED_TEXT and is_plain(self.data):
            yield f"{self.name}: is a text in no form that is known, and taken as raw binary"

    def states(self, path: KeyPath) -> bool:
        """Whether the profile has this key, or its variant in its place."""
        from romtool.toml.places import has_path

        replaced = ("variant", self.variant or "", *path)
        return has_path(self.text, path) or has_path(self.text, replaced)

    def place(self, offset: int | None, path: KeyPath | None = None) -> tuple[int, int] | None:
        """Return line and column in the profile, None for no profile.

        The place is that of `path`, if the profile has it, else of the byte at `offset`.
        """
        if self.assembly is None:
            return None
        from romtool.toml.places import has_path, place_of

        if path is None or not has_path(self.text, path):
            path = self.assembly.path_at(offset or 0)
        place = place_of(self.text, path, key=True)
        return place.line, place.column


def read_input(
    catalog: Catalog,
    name: str,
    input_format: str | None = None,
    *,
    gaps: bool = False,
    variant: str | None = None,
) -> InputFile:
    """Return what stands in a file (`-`: standard input).

    `input_format` settles the format; `gaps` lets a text of records leave bytes out, as only
    `recover` can use it; `variant` is meant for a card profile. Raises InputError, with the file
    and the place of each fault.
    """
    stated = FORMATS[input_format] if input_format else None
    try:
        data = read_bytes(name, stated.limit if stated else MAX_TOML, LIMITS)
        named_toml = name.lower().endswith(".toml")
        found = stated or format_of(data, lambda: _tables(catalog), named_toml=named_toml)
        if found is TOML:
            return _profile(catalog, name, data, variant, is_stated=stated is not None)
        contents = found.read(data)
        if contents.gaps and gaps:
            return InputFile(shown(name), found.name, *contents[:3])
        if contents.problems:
            raise InputError(contents.problems[:1])
        return InputFile(shown(name), found.name, *contents[:3])
    except InputError as refused:
        raise refused.in_file(shown(name)) from None


def _tables(catalog: Catalog) -> Collection[str]:
    """Return the tables that a card profile can have."""
    return catalog.tables["profile"].keys


def _profile(
    catalog: Catalog, name: str, data: bytes, variant: str | None, *, is_stated: bool
) -> InputFile:
    from romtool.formats.plain_text import plain_text
    from romtool.formats.toml import faults_in
    from romtool.profile.build import built
    from romtool.toml.parse import parse_toml

    TOML.refuse_longer(len(data))
    hint = "a profile is a plain text (.toml); `profile` makes one of an image"
    if is_stated:
        found = format_of(data, lambda: _tables(catalog), named_toml=True)
        if found not in (RAW, TOML):
            raise refuse(f"is {found.title}, no card profile", "`profile` makes one of it")
    text = plain_text(data, hint)
    with faults_in(text):
        tables = _with_files(parse_toml(text), "" if name == "-" else os.path.dirname(name))
        assembly = built(catalog, tables, variant)
    source = InputFile(shown(name), TOML.name, assembly.data, text=text)
    return source._replace(assembly=assembly, variant=variant, tables=tables)


def _with_files(tables: dict[str, Any], folder: str) -> dict[str, Any]:
    """Return a profile's tables with the bytes of a patch that stands in a file of its own.

    A name is meant from the profile's `folder` on. Raises InputError with the place of the name.
    """
    image = tables.get("image")
    patch = image.get("patch") if isinstance(image, dict) else None
    if not isinstance(patch, dict) or not isinstance(patch.get("file"), str) or len(patch) > 1:
        return tables
    try:
        data = read_bytes(os.path.join(folder, patch["file"]), MAX_IMAGE, LIMITS)
    except InputError as refused:
        path = ("image", "patch", "file")
        problem = refused.problems[0]
        message = f"{clip(patch['file'])}: {problem.message}"
        raise refuse(message, problem.hint, path=path) from None
    return {**tables, "image": {**tables["image"], "patch": data.hex(" ")}}


def expand(names: Sequence[str]) -> tuple[list[str], list[InputError]]:
    """Return the files that names stand for, a folder's images and profiles by name.

    Beside them the refusals of folders that can't be read, or that hold none.
    """
    found: list[str] = []
    refusals = []
    for name in names:
        if name != "-" and os.path.isdir(name):
            try:
                found += _inside(name)
            except InputError as refused:
                refusals.append(refused.in_file(name))
        else:
            found.append(name)
    return found, refusals


def _inside(folder: str) -> list[str]:
    """Return the images and profiles of a folder, by name; raises InputError where it has none."""
    from pathlib import Path

    try:
        files = [file for file in Path(folder).iterdir() if _is_image(str(file), file.suffix)]
    except OSError as error:
        raise unreadable(error) from None
    found = sorted(str(file) for file in files if not os.path.isdir(file))
    if not found:
        shared = "".join(f", and {one.title} in {suffix}" for suffix, one in SHARED.items())
        hint = f"looked for {', '.join(SUFFIXES)}{shared}"
        raise refuse("no image or profile in this folder", hint)
    return found


def _is_image(name: str, suffix: str) -> bool:
    """Whether a file's name says that it is an image or a profile, or else what stands in it.

    Host files and schema files, which are TOML too, are none.
    """
    wanted = SHARED.get(suffix.lower())
    if suffix.lower() in TOML.suffixes:
        from romtool.files.schemas import HOST, SCHEMA, kind_of_file

        return kind_of_file(name) not in (HOST, SCHEMA)
    if wanted is None:
        return suffix.lower() in SUFFIXES
    try:
        data = read_bytes(name, wanted.limit, LIMITS)
    except InputError:
        return False
    try:
        return format_of(data, tuple) is wanted
    except InputError:  # recognised, but in an encoding that is not read: that is told
        return True
