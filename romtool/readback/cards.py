"""Another card's image, or another version of it, in a part: what it is, in the card's terms."""

from __future__ import annotations

from typing import Any

from romtool.diff.changes import Differences
from romtool.diff.compare import compare
from romtool.image.decode import read_as
from romtool.image.model import Image
from romtool.recover.judge import consistent

LEAST_BITS = 2
"""So many bits at least must differ in bytes that no checksum covers: one may be a bad one."""


def read_like(read: bytes, want: Image) -> Image | None:
    """Return a readback read with the layout of what should be there; None if that can't be."""
    return None if want.layout is None else read_as(want.catalog, read, want.layout)


def is_whole(found: Image | None) -> bool:
    """Whether nothing is wrong with the image in a readback, as far as it can tell."""
    return (
        found is not None
        and consistent(found)
        and all(compared.ok for compared in found.computed.values())
    )


def serial_of(image: Image) -> Any:
    """Return the serial number of an image; None where it has none."""
    return image.identifier_values[0][image.catalog.identifier.serial_field.key]


def with_identifier_of(want: Image, found: Image) -> Image | None:
    """Return the image for the other card of the series that a readback is of.

    None if it is of the same card, of a card with another ID, or its identifier is wrong.
    """
    check = found.id_checksum
    if (
        want.card_id != found.card_id
        or want.identifier_raw == found.identifier_raw
        or serial_of(want) == serial_of(found)
        or check is None
        or not check.ok
    ):
        return None
    data = want.data
    data = data[: want.identifier_at] + found.identifier_raw + data[want.items_at :]
    return Image(want.catalog, data, want.layout)


def another_version(found: Image, want: Image) -> Differences | None:
    """Return what differs if a readback is a sound image of the same card; else None.

    The end checksum proves it where the items differ; where only the configuration does, one
    bit may as well be a bad one.
    """
    if not is_whole(found) or found.card_id != want.card_id:
        return None
    start, end = want.items_at, found.end_checksum
    same_items = found.data[start : found.items_end] == want.data[start : want.items_end]
    if not same_items and (end is None or end.verdict != "right"):
        return None
    if same_items:
        pairs = zip(found.data[:start], want.data[:start], strict=True)
        if sum((a ^ b).bit_count() for a, b in pairs) < LEAST_BITS:
            return None
        if found.data[start:] != want.data[start:]:
            return None
    return compare(want, found)
