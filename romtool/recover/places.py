"""Where in a read an image may begin: cheap signs first, so that 64 KiB take no time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from romtool.image.evidence import identifiers, signature_bits, walk_bits
from romtool.image.model import Image
from romtool.image.walk import walk
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout

ENOUGH = 26
"""Bits of evidence for an image in the middle of a read: chance gives less in 64 KiB of noise."""
MOST_STARTS = 4
MOST_LOST = 2
"""The most first bytes of a frame that may be missing while the rest of it still shows."""
BEFORE = "image-before"


@dataclass(frozen=True)
class Start:
    """Where an image may begin, in bytes from the first.

    `doubts`: names of judgements that speak against it.
    """

    at: int
    doubts: tuple[str, ...] = ()


def starts(catalog: Catalog, data: bytes, layout: ImageLayout | None) -> list[Start]:
    """Return the places after the first byte where an image begins, ascending.

    `layout`: the frame that it has, which may be lost; left out: any.
    """
    found: list[Start] = []
    for place in identifiers(catalog, data):
        found += _starts_at(catalog, data, place, layout)
        if len(found) >= MOST_STARTS:
            break
    for start in _signed(catalog, data, layout):
        if all(start.at != other.at for other in found):
            found.append(start)
    found.sort(key=lambda start: start.at)
    return [
        start if start.at <= found[0].at else Start(start.at, (*start.doubts, BEFORE))
        for start in found
        if start.at
    ]


def _starts_at(
    catalog: Catalog, data: bytes, place: int, layout: ImageLayout | None
) -> Iterator[Start]:
    """Yield where an image begins whose identifier stands at `place`."""
    believed = None
    framed = False
    for frame in [layout] if layout else catalog.layouts.values():
        at = place - frame.size
        if at < 0 or not frame.size:
            continue
        bits = signature_bits(frame, data, at)
        if bits and believed is None:
            believed = walk_bits(catalog, data, place + catalog.identifier.size) + 8
        if bits and (believed or 0) + bits >= ENOUGH:
            framed = True
            yield Start(at)
    if framed:
        return
    if believed is None:
        believed = walk_bits(catalog, data, place + catalog.identifier.size) + 8
    if believed < ENOUGH:
        return
    if not place:
        yield Start(place)
    elif layout is not None and layout.size:
        if place > layout.size and not layout.signature:
            yield Start(place - layout.size)
        yield Start(place)
    else:
        yield Start(place, tuple(_damaged_layouts(catalog, data, place)))


def _damaged_layouts(catalog: Catalog, data: bytes, place: int) -> Iterator[str]:
    """Yield which frames nearly stand before `place`: then those bytes belong to the image."""
    items_at = place + catalog.identifier.size
    end = items_at
    for item in walk(catalog, data, items_at):
        end = item.end
    for frame in catalog.layouts.values():
        at = place - frame.size
        if at < -MOST_LOST or not frame.size:
            continue
        lost = max(0, -at)
        image = _image_at(catalog, bytes(lost) + data[:end], at + lost, frame)
        counted = any(field.at >= lost and image.computed[field.key].ok for field in frame.counts)
        if counted or (not lost and _nearly_signed(frame, data, at)):
            yield "damaged-layout"
            return


def _nearly_signed(frame: ImageLayout, data: bytes, at: int) -> bool:
    """Whether a signature is wrong in one bit; one byte says so at the first address only."""
    for field in frame.constants:
        value = field.kind.value
        if isinstance(value, bytes):
            there = data[at + field.at : at + field.at + len(value)]
            wrong = sum((a ^ b).bit_count() for a, b in zip(there, value, strict=True))
            if (len(value) > 1 or not at) and wrong <= 1:
                return True
    return False


def _signed(catalog: Catalog, data: bytes, layout: ImageLayout | None) -> Iterator[Start]:
    """Yield where a frame begins whose signature, count and end checksum are right.

    The chips of some of these frames compute the identifier's checksum themselves, so that the
    stored one may be another.
    """
    for frame in [layout] if layout else catalog.layouts.values():
        mark = frame.signature
        at = data.find(mark, 1) if mark else -1
        tries = 0
        while at >= 0 and tries < 64:
            tries += 1
            image = _image_at(catalog, data, at, frame)
            count, end = frame.count_field, image.end_checksum
            if count is not None and image.computed[count.key].ok and end is not None and end.ok:
                yield Start(at)
                return
            at = data.find(mark, at + 1)


def _image_at(catalog: Catalog, data: bytes, at: int, frame: ImageLayout) -> Image:
    part = data[at:].ljust(frame.size + catalog.identifier.size, b"\0")
    return Image(catalog, part, frame)
