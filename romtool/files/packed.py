"""The catalogue of the shipped schemas, packed when a wheel is built: starting needs no TOML.

It stands beside the schema files and holds their fingerprint, so that it never speaks for other
files than those that are there. An editable installation has none, and reads the files.
"""

from __future__ import annotations

import os
import pickle
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from romtool.schema.catalog import Catalog

NAME = "catalog.pickle"


def fingerprint(folder: Path) -> bytes:
    """Return what tells the .toml files below `folder` from those of any other version."""
    found = 0
    for path in sorted(_toml_files(str(folder))):
        found = zlib.crc32(os.path.relpath(path, folder).encode(), found)
        with open(path, "rb") as file:
            found = zlib.crc32(file.read(), found)
    return found.to_bytes(4, "big")


def _toml_files(folder: str) -> list[str]:
    found = []
    for entry in os.scandir(folder):
        if entry.is_dir():
            found += _toml_files(entry.path)
        elif entry.name.endswith(".toml"):
            found.append(entry.path)
    return found


def pack(catalog: Catalog, folder: Path) -> bytes:
    """Return the catalogue that was read from `folder`, packed."""
    return fingerprint(folder) + pickle.dumps(catalog, protocol=5)


def unpack(folder: Path) -> Catalog | None:
    """Return the catalogue packed beside the schemas; None without one, or where they changed.

    Unpickling runs what the file says, as importing a module does: it belongs to the program.
    """
    try:
        packed = (folder / NAME).read_bytes()
    except OSError:
        return None
    own = fingerprint(folder)
    if not packed.startswith(own):
        return None
    catalog: Catalog = pickle.loads(packed[len(own) :])
    return catalog
