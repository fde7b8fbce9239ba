"""Whether a read is worth reading closely with one frame: what a glance tells."""

from __future__ import annotations

from romtool.image.evidence import SUM, identifiers, items_bits, signature_bits
from romtool.image.walk import walk
from romtool.recover.reading import Reading
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout

LEAST = 14
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
    items = list(walk(catalog, reading.data, items_at))
    end = items[-1].end if items else items_at
    bits = signature_bits(layout, reading.data, 0) + items_bits(items)
    head = reading.data[id_at:items_at]
    bits += SUM if 0 in identifiers(catalog, head) else 0
    # The byte after the walk is where it stopped, perhaps for want of that byte.
    if reading.known(0, end + 1):
        return bits >= LEAST
    return always or bits >= LEAST_OPEN
