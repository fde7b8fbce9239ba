"""The bytes that a capture shows of a part, as an image."""

from __future__ import annotations

from typing import NamedTuple

from romtool.capture.decode import BusPart, DecodedCapture
from romtool.errors import refuse
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, one_of

UNSEEN = 0xFF
"""What stands where a capture shows nothing: an erased byte."""


class PartBytes(NamedTuple):
    """A part's bytes as far as they were seen, read or written; how many were not."""

    data: bytes
    unseen: int


def the_part(decoded: DecodedCapture, number: int | None) -> BusPart:
    """Return the part of a 7-bit address, or the only EEPROM; raises InputError."""
    parts = [part for part in decoded.parts if part.is_eeprom]
    if number is None and len(parts) == 1:
        return parts[0]
    names = [address(part.part) for part in parts if part.part is not None]
    for part in parts:
        if number is not None and part.part == number:
            return part
    if number is None and not parts:
        raise refuse("nothing was read or written in it", "capture while the EEPROM is read")
    seen = f"there is {one_of(names)}" if names else "no part has an address there"
    if number is None:
        raise refuse(f"has several parts: {', '.join(names)}", "choose one by --address")
    raise refuse(f"--address {address(number)}: no such part was called", seen)


def part_bytes(
    catalog: Catalog, decoded: DecodedCapture, part: BusPart, size: int | None = None
) -> PartBytes:
    """Return what was seen of a part.

    `size`: bytes of the part, where that is known; else that of the smallest one that holds all.
    """
    seen = part.contents.seen
    if size is None and decoded.part is not None:
        size = decoded.part.size
    if size is None:
        need = max(seen, default=-1) + 1
        on_bus = sorted(p.size for p in catalog.parts.values() if p.bus == decoded.bus.name)
        if decoded.organisation is not None:
            bits = decoded.organisation.address_bits
            on_bus = sorted(p.size for p in catalog.parts.values() if bits in p.address_bits)
        size = next((one for one in on_bus if one >= need), part.size)
    data = bytes(seen.get(at, UNSEEN) for at in range(size))
    return PartBytes(data, sum(at not in seen for at in range(size)))
