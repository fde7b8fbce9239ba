"""The catalogue of the shipped schemas, packed when a wheel is built: starting needs no TOML.

It stands beside the schema files and holds their fingerprint, so that it never speaks for other
files than those that are there. An editable installation has none, and reads the files.
"""

from __future__ import annotations

import os
import pickle
import zlib
from collections.abc import Iterator, Mapping
from typing import Any

from romtool.files.reading import StrPath
from romtool.schema.catalog import Catalog

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


def fingerprint(folder: StrPath) -> bytes:
    """Return what tells the .toml files below `folder` from those of any other version."""
    found = 0
    for name in sorted(_toml_files(folder, "")):
        found = zlib.crc32(name.encode(), found)
        with open(os.path.join(folder, name), "rb", buffering=0) as file:
            found = zlib.crc32(file.read(), found)
    return found.to_bytes(4, "big")


def _toml_files(folder: StrPath, place: str) -> Iterator[str]:
    """Yield the names of the .toml files below a folder, which is at `place` in the whole."""
    for entry in os.scandir(folder):
        if entry.name.endswith(".toml"):
            yield place + entry.name
        elif entry.is_dir():
            yield from _toml_files(entry.path, f"{place}{entry.name}/")


def pack(catalog: Catalog, folder: StrPath) -> bytes:
    """Return the catalogue that was read from `folder`, packed."""
    at_once = {name: value for name, value in vars(catalog).items() if name in AT_ONCE}
    later = {
        name: pickle.dumps(value, protocol=5)
        for name, value in vars(catalog).items()
        if name in Catalog.__annotations__ and name not in AT_ONCE
    }
    both: dict[str, Any] = {**at_once, "packed": later}
    return fingerprint(folder) + pickle.dumps(PackedCatalog(**both), protocol=5)


def unpack(folder: StrPath) -> Catalog | None:
    """Return the catalogue packed beside the schemas; None without one, or where they changed.

    Unpickling runs what the file says, as importing a module does: it belongs to the program.
    """
    try:
        with open(os.path.join(folder, NAME), "rb") as file:
            packed = file.read()
    except OSError:
        return None
    own = fingerprint(folder)
    if not packed.startswith(own):
        return None
    catalog: Catalog = pickle.loads(packed[len(own) :])
    return catalog
