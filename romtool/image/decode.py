"""Any bytes to an image: the frame recognised by what speaks for it, the items walked."""

from __future__ import annotations

from collections.abc import Sequence

from romtool.errors import refuse
from romtool.image.model import Image
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Constant, Count
from romtool.schema.fields import Field
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import clip

LEAST_EVIDENCE = 12
"""Bits of evidence below which no frame is believed: more than one right checksum."""

SIGNATURE = 16
"""Bits of a signature that chance doesn't give."""

ORDERLY = 6
"""So many items, all of them understood, up to an end item, are no chance."""


def read_as(catalog: Catalog, data: bytes, frame: ImageLayout) -> Image | None:
    """Return `data` read with this frame; None if it is too short for frame and identifier."""
    if len(data) < frame.size + catalog.identifier.size:
        return None
    return Image(catalog, data, frame)


def decode(catalog: Catalog, data: bytes, layout: str | None = None) -> Image:
    """Return the image that `data` is; `layout` settles the frame, otherwise evidence does.

    Every string of bytes decodes: where no frame is believed, all bytes lie in the tail.
    Raises InputError for a layout that isn't known, or that doesn't fit so few bytes.
    """
    if layout is not None:
        frame = layout_named(catalog, layout)
        image = read_as(catalog, data, frame)
        if image is None:
            least = frame.size + catalog.identifier.size
            message = f"{len(data)} bytes are too few for layout {layout}"
            raise refuse(message, f"its frame and the identifier take {least}")
        return image
    found = [read_as(catalog, data, frame) for frame in catalog.layouts.values()]
    images = [image for image in found if image is not None]
    return _likeliest(images) or Image(catalog, data, None)


def _likeliest(images: Sequence[Image]) -> Image | None:
    """Return the image for which most speaks, the first of equals; None if none is believed.

    One that can't reach the evidence of another, whatever its items, isn't walked.
    """
    bounds = {image: _most(image) for image in images}
    weighed: dict[Image, int] = {}
    for image in sorted(images, key=bounds.__getitem__, reverse=True):
        if weighed and bounds[image] < max(weighed.values()):
            break
        bits = evidence(image)
        if bits >= LEAST_EVIDENCE or signed(image):
            weighed[image] = bits
    believed = [image for image in images if image in weighed]
    return max(believed, key=weighed.__getitem__, default=None)


def signed(image: Image) -> bool:
    """Whether a signature of two bytes or more is right: the chip itself asks for no more."""
    if image.layout is None:
        return False
    constants = image.layout.constants
    bits = sum(field.kind.bits for field in constants)
    return bits >= SIGNATURE and all(image.computed[field.key].ok for field in constants)


def layout_named(catalog: Catalog, layout: str) -> ImageLayout:
    """Return the frame of this name; raises InputError."""
    if layout not in catalog.layouts:
        known = ", ".join(catalog.layouts)
        hint = f"known are {known}; your own need --schemas DIR"
        raise refuse(f"no layout is called {clip(layout)}", hint)
    return catalog.layouts[layout]


def evidence(image: Image) -> int:
    """Return how much speaks for an image's frame, in bits, roughly: what chance would not give.

    A matching byte is worth eight; what is wrong takes away little, since dumps are spoilt and
    some chips compute the identifier's checksum themselves.
    """
    fields = image.layout.computed_fields if image.layout is not None else ()
    bits = sum(_weight(field, ok=image.computed[field.key].ok) for field in fields)
    return bits + _of_identifier(image) + _of_items(image)


def _most(image: Image) -> int:
    """Return the evidence that there would be with the best of items: a bound, without a walk."""
    bits = 0
    for field in image.layout.computed_fields if image.layout is not None else ():
        ok = isinstance(field.kind, Count) or image.compare(field).ok
        bits += _weight(field, ok=ok)
    return bits + _of_identifier(image) + MOST_OF_ITEMS


def _weight(field: Field, *, ok: bool) -> int:
    if isinstance(field.kind, Constant | Count):
        return field.kind.bits if ok else -field.kind.bits // 2
    return 8 if ok else -4


def _of_identifier(image: Image) -> int:
    checksum = image.id_checksum
    right = checksum is not None and checksum.ok
    return (8 if right else -2) + (2 if usual_id(image) else -6)


def _of_items(image: Image) -> int:
    representable = [item.representable for item in image.items]
    bits = min(4, sum(representable))
    if image.items and image.items[0].has_role("version"):
        bits += 8
    if image.end_item is not None:
        bits += 6
        if len(representable) >= ORDERLY and all(representable):
            bits += 6
        end = image.end_checksum
        if end is not None and end.stored == end.computed:
            bits += 8
    return bits


MOST_OF_ITEMS = 4 + 8 + 6 + 6 + 8
"""The most that `_of_items` gives."""


def usual_id(image: Image) -> bool:
    """Whether the card's ID is spelt the usual way: three letters A-Z, four hex digits."""
    kind = image.catalog.identifier.id_field.kind
    return image.card_id is not None and kind.spelling.is_usual(image.card_id)
