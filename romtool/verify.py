"""A readback held against what should have been burnt: each differing byte with its field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from romtool.image.explain import explain, row_at
from romtool.image.model import Image


@dataclass(frozen=True)
class Difference:
    """A byte that differs; `expected` or `found` is None past the end of one of the two."""

    offset: int
    expected: int | None
    found: int | None
    field: str

    def as_json(self) -> dict[str, Any]:
        """Return the difference as in the JSON answers."""
        return {
            "offset": self.offset,
            "expected": self.expected,
            "found": self.found,
            "field": self.field,
        }


def swapped_pairs(data: bytes) -> bytes:
    """Return the bytes with each pair swapped, as 16-bit programmers want them.

    A last byte without a partner stays where it is.
    """
    even = len(data) & ~1
    swapped = bytearray(data)
    swapped[0:even:2], swapped[1:even:2] = data[1:even:2], data[0:even:2]
    return bytes(swapped)


def differences(readback: bytes, expected: Image) -> list[Difference]:
    """Return the bytes in which a readback is not what `expected` should have put there."""
    rows = explain(expected)
    found = []
    for offset in range(max(len(readback), len(expected.data))):
        want = expected.data[offset] if offset < len(expected.data) else None
        have = readback[offset] if offset < len(readback) else None
        if want != have:
            row = row_at(rows, offset)
            changed = 0xFF if want is None or have is None else want ^ have
            field = row.field_at(offset, changed) if row is not None else "behind the image"
            found.append(Difference(offset, want, have, field))
    return found


def remark(readback: bytes, expected: Image) -> str:
    """Return what a whole readback looks like if it doesn't match: what to try; or nothing."""
    if swapped_pairs(readback) == expected.data:
        return "the byte pairs are swapped: a 16-bit part read the other way; try --swap-pairs"
    if len(set(readback)) == 1:
        return (
            f"every byte is {readback[0]:02X}h: blank, or no contact; check part, socket and supply"
        )
    size = len(expected.data)
    late = int.from_bytes(expected.data, "big") >> 1
    if readback == late.to_bytes(size, "big"):
        return "the readback comes one bit late: select the part itself, not a generic one"
    if len(readback) > size and readback == expected.data * (len(readback) // size):
        return f"the image repeats every {size} bytes: the programmer is set to a larger part"
    if len(readback) < size and expected.data.startswith(readback):
        return "the readback is cut short: the programmer is set to a smaller part"
    return ""
