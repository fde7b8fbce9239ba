"""Whether a read is worth reading closely with one frame: what a glance tells."""

from __future__ import annotations

from romtool.image.walk import walk
from romtool.recover.places import identifiers, signature_bits
from romtool.recover.reading import Reading
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout

LEAST = 12
"""Bits that an image shows at a glance: more than one right checksum."""
LEAST_OPEN = 6
"""The same where bits in its head or in its items aren't known."""


def worth_reading(catalog: Catalog, reading: Reading, layout: ImageLayout, *, always: bool) -> bool:
    """Whether a read may be an image of this frame, which begins with the first byte.

    `always`: so few reads of this kind are looked at that the glance isn't needed, if the read
    has unknown bits that hide what it looks for.
    """
    id_at = layout.size
    items_at = id_at + catalog.identifier.size
    if len(reading) < items_at:
        return False
    bits = signature_bits(layout, reading.data, 0)
    end = items_at
    items = list(walk(catalog, reading.data, items_at))
    if items:
        end = items[-1].end
        bits += 4 if items[0].has_role("version") else 0
    if items and items[-1].record.role == "end" and items[-1].representable:
        bits += 6
        check = catalog.end_field
        at = items[-1].address_of(check) - items_at
        bits += 8 if check.kind.holds(at, reading.data[items_at:]) else 0
    head = reading.data[id_at:items_at]
    bits += 8 if 0 in identifiers(catalog, head) else 0
    # The byte after the walk is where it stopped, perhaps for want of that byte.
    if reading.known(0, end + 1):
        return bits >= LEAST
    return always or bits >= LEAST_OPEN
