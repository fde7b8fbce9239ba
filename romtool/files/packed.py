"""The catalogue of the shipped schemas, packed when a wheel is built: starting needs no TOML.

It stands beside the schema files and holds their fingerprint, so that it never speaks for other
files than those that are there. An editable installation has none, and reads the files.
"""

from __future__ import annotations

import os
import pickle
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.described import shapes

NAME = "catalog.pickle"
AT_ONCE = (
    "headers", "records", "identifier", "layouts", "read_layouts", "parts", "resources", "bus",
    "pnp_software", "checksums",
)  # fmt: skip
"""What reading any image needs; all else is unpacked when it is asked for."""


class PackedCatalog(Catalog):
    """A catalogue of which some attributes are still packed."""

    packed: Mapping[str, bytes]

    def __getattr__(self, name: str) -> Any:
        """Unpack an attribute when it is first asked for."""
        packed = self.__dict__.get("packed", {})
        if name not in packed:
            raise AttributeError(name)
        self.__dict__[name] = pickle.loads(packed[name])
        return self.__dict__[name]


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
    at_once = {name: value for name, value in vars(catalog).items() if name in AT_ONCE}
    later = {
        name: pickle.dumps(value, protocol=5)
        for name, value in vars(catalog).items()
        if name in shapes(Catalog) and name not in AT_ONCE
    }
    both: dict[str, Any] = {**at_once, "packed": later}
    return fingerprint(folder) + pickle.dumps(PackedCatalog(**both), protocol=5)


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
