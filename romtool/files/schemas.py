"""The schema files on disk: those that come with romtool, and a user's own."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from romtool.errors import InputError, refuse
from romtool.files.packed import unpack
from romtool.files.reading import StrPath, name_text, read_bytes
from romtool.formats import MAX_TOML
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import sizes

if TYPE_CHECKING:
    from pathlib import Path

    from romtool.schema.loading import SchemaFile

SCHEMA, HOST, PROFILE = KINDS = ("own-file", "host", "profile")
"""The tables that describe the keys of a user's TOML file, of each kind of it."""

HOSTS = "hosts"
"""The folder of host files among the schemas; all else there are schema files."""


def shipped_folder(name: str = "schemas") -> Path:
    """Return a folder that comes with romtool: beside the code in a wheel, else in the project."""
    from pathlib import Path

    return Path(_shipped(name))


def _shipped(name: str) -> str:
    package = os.path.dirname(os.path.dirname(os.path.realpath(__file__)))
    inside = os.path.join(package, name)
    return inside if os.path.isdir(inside) else os.path.join(os.path.dirname(package), name)


def schema_files(folder: StrPath, *, own: bool) -> list[SchemaFile]:
    """Return every .toml file below `folder`, by name.

    `own`: the user's, named by their paths, but for host files and profiles beside them; those that
    come with romtool by their places in its folder, wherever that is.
    """
    from pathlib import Path

    folder = Path(folder)
    if not folder.is_dir():
        hint = "give the folder that holds the .toml files"
        raise refuse("is no folder", hint).in_file(name_text(folder))
    found = sorted(folder.rglob("*.toml"))
    if not own:
        found = [path for path in found if path.parent.name != HOSTS]
    named = {path: str(path) if own else path.relative_to(folder).as_posix() for path in found}
    files = [_schema_file(str(path), name, own=own) for path, name in named.items()]
    return [file for file in files if not own or kind_of(file.text) in (SCHEMA, None)]


def kind_of(text: str) -> str | None:
    """Return what a user's TOML file is, by its keys; None without any that is known, or no TOML.

    It is the one of `KINDS` of which it has most keys.
    """
    from romtool.toml.parse import parse_toml

    try:
        keys = parse_toml(text).keys()
    except InputError:
        return None
    tables = load_catalog().tables
    known = {kind: len(keys & tables[kind].keys.keys()) for kind in KINDS}
    return max(KINDS, key=known.__getitem__) if any(known.values()) else None


def kind_of_file(path: StrPath) -> str | None:
    """Return the same of a file; None for one that can't be read."""
    try:
        return kind_of(_schema_file(str(path), "", own=True).text)
    except InputError:
        return None


def _schema_file(path: str, name: str, *, own: bool) -> SchemaFile:
    from romtool.schema.loading import SchemaFile

    data = read_bytes(path, MAX_TOML, f"{sizes(MAX_TOML)} is the limit of a schema file")
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        raise refuse("is no UTF-8 text", "save it as plain text").in_file(name_text(path)) from None
    return SchemaFile(name, text, own)


def load_catalog(folders: Sequence[StrPath] = (), files: Sequence[StrPath] = ()) -> Catalog:
    """Return the catalogue of romtool's schemas and those in `folders` and `files`.

    Raises InputError with file, line and column of every fault.
    """
    packed = None if folders or files else unpack(_shipped("schemas"))
    return packed or read_catalog(folders, files)


def read_catalog(folders: Sequence[StrPath] = (), files: Sequence[StrPath] = ()) -> Catalog:
    """Return the same catalogue, read from the schema files themselves."""
    from pathlib import Path

    from romtool.schema.loading import load
    from romtool.toml.parse import located

    found = schema_files(_shipped("schemas"), own=False)
    for folder in folders:
        found += schema_files(folder, own=True)
    known = {os.path.realpath(file.name) for file in found if file.own}
    found += [
        _schema_file(path, path, own=True)
        for path in (str(Path(file)) for file in files)
        if os.path.realpath(path) not in known
    ]
    texts = {file.name: file.text for file in found}
    try:
        return load(found)
    except InputError as refused:
        raise InputError(
            located(f, texts.get(f.file or "", "")) for f in refused.problems
        ) from None
