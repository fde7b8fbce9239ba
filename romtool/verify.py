"""A readback held against what should have been burnt: each differing byte with its field."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from romtool.image.explain import explain, rows_by_byte
from romtool.image.model import Image
from romtool.image.spoiling import one_bit_late, swapped_pairs


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


def differences(readback: bytes, expected: Image) -> list[Difference]:
    """Return the bytes in which a readback is not what `expected` should have put there."""
    rows = rows_by_byte(explain(expected))
    found = []
    for offset in range(max(len(readback), len(expected.data))):
        want = expected.data[offset] if offset < len(expected.data) else None
        have = readback[offset] if offset < len(readback) else None
        if want != have:
            row = rows[offset] if want is not None else None
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
    if readback == one_bit_late(expected.data):
        return "the readback comes one bit late: select the part itself, not a generic one"
    if len(readback) > size and readback == expected.data * (len(readback) // size):
        return f"the image repeats every {size} bytes: the programmer is set to a larger part"
    if len(readback) < size and expected.data.startswith(readback):
        return "the readback is cut short: the programmer is set to a smaller part"
    return ""
