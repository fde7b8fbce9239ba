"""What speaks for a layout, in bits: how unlikely chance is to have made it so.

The one judgement of it. `decode` goes by it, and so does what undoes the faults of reads, which
looks at many places and has to look cheaply.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Sequence

from romtool.image.model import Image
from romtool.image.walk import Descriptor, walk
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check, Constant, Count, Stored, number
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout

SUM = 8
"""A right checksum of one byte."""
VERSION = 12
"""A version item first: its tag, and two digits that make a version."""
END = 6
"""An end item."""
MOST_OF_ITEMS = 8
"""Items without an odd bit, one each, where all are such: more of them prove no more."""
WALK = VERSION + END
"""The items alone show that PnP data stands here."""
USUAL_ID, OTHER_ID = 2, -6
"""A card's ID that is spelt the usual way, and one that is not."""
ALMOST = 1
"""Wrong bits of a signature that a poor contact makes."""


@functools.lru_cache(maxsize=4)
def _tables(catalog: Catalog) -> tuple[int, int, tuple[tuple[int, bytes], ...]]:
    """Return place and value over zeros of the identifier's checksum, and what each byte adds.

    A shift register is linear: what a byte adds doesn't depend on the others.
    """
    field = catalog.identifier.check_field
    region, check = field.kind.region(field.at), field.kind.checksum
    size = region.stop - region.start
    base = check.of(bytes(size))
    tables = []
    for at in range(size):
        rest = bytes(size - at - 1)
        table = bytes(check.of(bytes(at) + bytes([byte]) + rest) ^ base for byte in range(256))
        tables.append((region.start + at, table))
    return field.at, base, tuple(tables)


def identifiers(catalog: Catalog, data: bytes) -> Iterator[int]:
    """Yield the places where an identifier with a right checksum stands, ascending."""
    count = len(data) - catalog.identifier.size + 1
    if count < 1:
        return
    check_at, base, tables = _tables(catalog)
    total = int.from_bytes(bytes([base]) * count, "big")
    total ^= int.from_bytes(data[check_at : check_at + count], "big")
    for at, table in tables:
        total ^= int.from_bytes(data[at : at + count].translate(table), "big")
    wrong = total.to_bytes(count, "big")
    place = wrong.find(0)
    while place >= 0:
        yield place
        place = wrong.find(0, place + 1)


def first_lead(catalog: Catalog, data: bytes) -> int | None:
    """Return how many bytes stand before the first PnP data that shows itself; None if none does.

    An identifier that sums right, bit 7 of its first byte 0, and after it the items: up to an end
    item, from a version item or with a right checksum.
    """
    size = catalog.identifier.size
    for at in identifiers(catalog, data):
        if data[at] & 0x80:
            continue
        items = list(walk(catalog, data, at + size))
        if items and items[-1].role == "end" and shows_items(items):
            return at
    return None


def signature_bits(layout: ImageLayout, data: bytes, at: int) -> int:
    """Return the bits of a layout's constants if all stand at `at`, else 0."""
    part = data[at : at + layout.size]
    if len(part) < layout.size:
        return 0
    stored, bits = layout.field_layout.parse(part), 0
    for field in layout.constants:
        if stored[field.key] != field.kind.value:
            return 0
        bits += field.kind.bits
    return bits


def items_bits(items: Sequence[Descriptor]) -> int:
    """Return how much these items say; 0 where one has a reserved name."""
    if not items or any(item.role == "reserved" for item in items):
        return 0
    bits = 0
    if items[0].has_role("version") and not items[0].is_odd:
        bits += VERSION
    if items[-1].role == "end":
        bits += END
        bits += SUM if _sums_right(items) else 0
    if not any(item.is_odd for item in items):
        bits += min(MOST_OF_ITEMS, len(items))
    return bits


def _sums_right(items: Sequence[Descriptor]) -> bool:
    """Whether the end item's checksum is right; one of 0 says nothing."""
    end, check = items[-1], items[-1].record.key_field.kind
    if not isinstance(check, Check) or not end.values:
        return False
    region = b"".join(item.raw for item in items)[:-1]
    return end.raw[-1] != check.unchecked and check.checksum.of(region) == end.raw[-1]


def shows_items(items: Sequence[Descriptor]) -> bool:
    """Whether items show by themselves that PnP data stands here."""
    return items_bits(items) >= WALK


def walk_bits(catalog: Catalog, data: bytes, start: int) -> int:
    """Return how much the items from `start` on say."""
    return items_bits(list(walk(catalog, data, start)))


def shows_itself(image: Image) -> bool:
    """Whether a layout's count is right, or its signature but for one bit; or it has neither."""
    layout = image.layout
    if layout is None:
        return False
    marks = [image.compare(field) for field in layout.constants]
    if marks and sum(_bits_between(one.stored, one.computed) for one in marks) <= ALMOST:
        return True
    if any(image.compare(field).ok for field in layout.counts):
        return True
    return not marks and not layout.counts


def _bits_between(first: Stored, second: Stored) -> int:
    if isinstance(first, bytes) and isinstance(second, bytes):
        return sum((one ^ other).bit_count() for one, other in zip(first, second, strict=True))
    return (number(first) ^ number(second)).bit_count()


def holds(image: Image) -> bool:
    """Whether a layout explains these bytes: a right identifier, or its walk, where it ends.

    And what the layout puts before it shows itself. A signature alone proves nothing: other
    chips may have it too.
    """
    layout = image.layout
    if layout is None or not shows_itself(image):
        return False
    check = image.id_checksum
    right = check is not None and check.verdict == "right" and any(image.identifier_raw)
    return right or shows_items(image.items)


def evidence(image: Image) -> int:
    """Return how much speaks for an image's layout.

    What is wrong takes away little, since dumps are corrupted and some chips compute the
    identifier's checksum themselves.
    """
    layout = image.layout
    fields = layout.computed_fields if layout is not None else ()
    bits = sum(_weight(field, ok=image.computed[field.key].ok) for field in fields)
    return bits + _of_identifier(image) + items_bits(image.items)


def most_evidence(image: Image) -> int:
    """Return the evidence that there would be with the best of items: a bound, without a walk."""
    bits = 0
    for field in image.layout.computed_fields if image.layout is not None else ():
        ok = isinstance(field.kind, Count) or image.compare(field).ok
        bits += _weight(field, ok=ok)
    if image.identifier_size:
        bits += _of_id_checksum(image) + USUAL_ID
    return bits + VERSION + END + SUM + MOST_OF_ITEMS


def _weight(field: Field, *, ok: bool) -> int:
    if isinstance(field.kind, Constant | Count):
        return field.kind.bits if ok else -field.kind.bits // 2
    return SUM if ok else -SUM // 2


def _of_identifier(image: Image) -> int:
    if not image.identifier_size:
        return 0
    return _of_id_checksum(image) + (USUAL_ID if usual_id(image) else OTHER_ID)


def _of_id_checksum(image: Image) -> int:
    checksum = image.id_checksum
    return SUM if checksum is not None and checksum.ok else -2


def usual_id(image: Image) -> bool:
    """Whether the card's ID is spelt the usual way: three letters A-Z, four hex digits."""
    kind = image.catalog.identifier.id_field.kind
    return image.card_id is not None and kind.spelling.is_usual(image.card_id)
