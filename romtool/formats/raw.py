"""Raw binary: the bytes of the image, one after the other, and nothing else."""

from __future__ import annotations

from romtool.errors import refuse
from romtool.formats.contents import Contents


def read(data: bytes) -> Contents:
    """Return the bytes as they are; raises InputError where there are none."""
    if not data:
        raise refuse("is empty", "read the part again")
    return Contents(data)


def write(data: bytes) -> bytes:
    """Return the bytes as they are."""
    return data
