"""A frame's bytes where no read gives them: typical configuration, and what is computed."""

from __future__ import annotations

from collections.abc import Mapping

from romtool.recover.reading import Reading
from romtool.schema.field_types import Stored
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout


def mask_of(layout: ImageLayout, field: Field) -> bytes:
    """Return the frame's bytes with a 1 for each bit of one field."""
    return _with(layout, field, (1 << field.kind.bits) - 1)


def computed_mask(layout: ImageLayout) -> bytes:
    """Return the frame's bytes with a 1 for each bit that is constant or computed."""
    total = 0
    for field in layout.computed_fields:
        total |= int.from_bytes(mask_of(layout, field))
    return total.to_bytes(layout.size)


def typical_frame(layout: ImageLayout) -> Reading:
    """Return a frame with typical configuration; what is computed isn't known yet."""
    blank = dict.fromkeys([field.key for field in layout.computed_fields], 0)
    data = layout.field_layout.build(layout.typical() | blank, layout.size)
    return Reading(data, computed_mask(layout))


def completed(layout: ImageLayout, reading: Reading, regions: Mapping[str, int]) -> Reading:
    """Return the reading with constants, counts and checksums of its frame where unknown.

    A count takes the way of counting that its known bits agree with, the usual one first.
    """

    def size_of(region: str) -> int:
        return regions.get(region, 0)

    for field in layout.computed_fields:
        mask = mask_of(layout, field)
        usual = field.expected(reading.data, size_of)
        for stored in (usual, *field.kind.ways(size_of).values()):
            if isinstance(stored, int) and stored > field.kind.top:
                continue
            built = _with(layout, field, stored)
            if _agrees(reading, built, mask):
                reading = reading.overlaid(built, mask)
                break
    return reading


def _with(layout: ImageLayout, field: Field, value: Stored) -> bytes:
    """Return the frame's bytes with one field's value, and 0 in all others."""
    blank = dict.fromkeys([other.key for other in layout.field_layout.fields], 0)
    return layout.field_layout.build(blank | {field.key: value}, layout.size)


def _agrees(reading: Reading, built: bytes, mask: bytes) -> bool:
    return all(
        not (reading.data[at] ^ byte) & mask[at] & ~reading.unknown[at]
        for at, byte in enumerate(built)
    )
