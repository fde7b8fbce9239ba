"""A frame's bytes where no read gives them: typical configuration, and what is computed."""

from __future__ import annotations

from collections.abc import Mapping

from romtool.recover.reading import Reading
from romtool.schema.fields import Field
from romtool.schema.frames import Frame, count_of
from romtool.schema.kinds import Check, Constant, Count, Stored


def mask_of(frame: Frame, field: Field) -> bytes:
    """Return the frame's bytes with a 1 for each bit of one field."""
    stored: dict[str, Stored] = {}
    for other in frame.layout.fields:
        ones = other is field
        if other.kind.is_bytes:
            stored[other.key] = (b"\xff" if ones else b"\0") * (other.size or 0)
        else:
            stored[other.key] = (1 << other.kind.bits) - 1 if ones else 0
    return frame.layout.build(stored, frame.size)


def computed_mask(frame: Frame) -> bytes:
    """Return the frame's bytes with a 1 for each bit that is constant or computed."""
    total = 0
    for field in frame.computed_fields:
        total |= int.from_bytes(mask_of(frame, field), "big")
    return total.to_bytes(frame.size, "big")


def typical_frame(frame: Frame) -> Reading:
    """Return a frame with typical configuration; what is computed isn't known yet."""
    blank = {
        field.key: bytes(field.size or 0) if field.kind.is_bytes else 0
        for field in frame.computed_fields
    }
    data = frame.layout.build(frame.typical() | blank, frame.size)
    return Reading(data, computed_mask(frame))


def completed(frame: Frame, reading: Reading, regions: Mapping[str, int]) -> Reading:
    """Return the reading with constants, counts and checksums of its frame where unknown.

    A count takes the way of counting that its known bits agree with, the usual one first.
    """
    for field in frame.computed_fields:
        mask = mask_of(frame, field)
        for stored in _values(field, reading, regions):
            built = _with(frame, field, stored)
            if _agrees(reading, built, mask):
                reading = reading.overlaid(built, mask)
                break
    return reading


def _values(field: Field, reading: Reading, regions: Mapping[str, int]) -> list[Stored]:
    kind = field.kind
    if isinstance(kind, Constant):
        return [kind.value]
    if isinstance(kind, Count):
        ways = [kind.counts, *kind.accepts.values()]
        return [number for way in ways if (number := count_of(way, regions)) <= kind.top]
    assert isinstance(kind, Check)
    return [kind.checksum.of(reading.data[kind.region(field.at)])]


def _with(frame: Frame, field: Field, value: Stored) -> bytes:
    stored: dict[str, Stored] = {
        other.key: bytes(other.size or 0) if other.kind.is_bytes else 0
        for other in frame.layout.fields
    }
    return frame.layout.build(stored | {field.key: value}, frame.size)


def _agrees(reading: Reading, built: bytes, mask: bytes) -> bool:
    return all(
        not (reading.data[at] ^ byte) & mask[at] & ~reading.unknown[at]
        for at, byte in enumerate(built)
    )
