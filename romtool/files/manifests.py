"""Manifests: which file is the image of which serial number, as `build --serials` writes them."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NamedTuple

from romtool.errors import refuse
from romtool.files.reading import name_text, read_bytes

if TYPE_CHECKING:
    from pathlib import Path

SUFFIX = ".manifest.json"
"""What the name of one ends in."""

LONGEST = 32 << 20
"""Bytes of a manifest."""

HEAD = 4096
"""The first bytes of a file, in which a manifest says that it is one."""

DAMAGED = "build the series again"
"""What to do about one that is damaged."""


class ManifestEntry(NamedTuple):
    """An image of a series: its file, and the SHA-256 of what stands in that.

    `swapped`: byte pairs in the file are swapped, as some programmers want them.
    """

    serial: int
    path: Path
    sha256: str
    swapped: bool


def manifests_in(folder: Path) -> list[Path]:
    """Return the manifests of a folder, by name."""
    return sorted(path for path in folder.iterdir() if path.name.endswith(SUFFIX))


def is_manifest(name: str) -> bool:
    """Whether a file is one, or wants to be: JSON, which no image begins like."""
    if not os.path.isfile(name):
        return False
    try:
        with open(name, "rb") as file:
            head = file.read(HEAD)
    except OSError:
        return False
    return head.lstrip()[:1] == b"{" and b'"images"' in head


def read_manifest(path: Path) -> list[ManifestEntry]:
    """Return the images that a manifest lists; raises InputError, with the file."""
    import json

    data = read_bytes(str(path), LONGEST, "a manifest is shorter")
    try:
        answer = json.loads(data)
        swapped = bool(answer.get("swapped_pairs"))
        return [
            ManifestEntry(row["serial"] + 0, path.parent / row["file"], row["sha256"], swapped)
            for row in answer["images"]
        ]
    except (ValueError, KeyError, TypeError, AttributeError):
        raise refuse("is no manifest of a series", DAMAGED).in_file(name_text(path)) from None
