"""Reads of which nothing can be made, named for what they are."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.recover.reading import Reading
from romtool.schema.catalog import Catalog, ReadFault
from romtool.schema.numbers import hex_text

FEWEST_WORDS = 32
"""So many words must begin with a 0 bit for it to be no chance."""
LATE_FILL = (0x7F, 0xFF)
"""A word of fill, read one bit late."""


@dataclass(frozen=True)
class Named:
    """A hopeless read: what it is, and the bytes that it consists of, if it does."""

    fault: ReadFault
    pattern: bytes

    @property
    def title(self) -> str:
        """What it is, in words."""
        if not self.pattern or self.fault.pattern:
            return self.fault.title
        return f"{self.fault.title}: {hex_text(self.pattern)}"


def name(catalog: Catalog, reading: Reading) -> Named | None:
    """Return what a read is that holds nothing but a short pattern; None for any other."""
    data = reading.data
    known = int.from_bytes(reading.unknown, "big") ^ (1 << len(data) * 8) - 1
    for fault in catalog.read_faults.values():
        pattern = fault.pattern or data[: fault.period or 0]
        if not pattern or (fault.period and len(data) < 2 * fault.period):
            continue
        if not reading.known(0, fault.period or 0):
            continue
        other = (pattern * (len(data) // len(pattern) + 1))[: len(data)]
        # Bits that were not read say nothing; the others must all be the pattern's.
        if not (int.from_bytes(data, "big") ^ int.from_bytes(other, "big")) & known:
            return Named(fault, pattern)
    return None


def late_words(catalog: Catalog, reading: Reading) -> Named | None:
    """Return that each 16-bit word of a read was read behind a dummy 0; None if that isn't so.

    Its last bit is lost then, and with it more than can be put right.
    """
    data = reading.data
    for first in (data[::2], data[1::2]):
        is_late = len(first) >= FEWEST_WORDS and max(first) < 0x80
        if is_late and LATE_FILL in zip(data[::2], data[1::2], strict=False):
            return Named(catalog.read_faults["word-shifted"], b"")
    return None
