"""Where reading stopped, in an image's terms, and what was read otherwise than it has it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from romtool.image.model import Image
from romtool.verify import Difference, differences


class Region(NamedTuple):
    """Bytes of an image that belong together, such as the header: `stop` is after the last one."""

    name: str
    start: int
    stop: int


def counted_stops(image: Image) -> dict[int, int]:
    """Return the addresses at which a chip stops that goes by the count, with the count.

    There are several where images of such a layout count in several ways.
    """
    layout = image.layout
    field = layout.count_field if layout is not None else None
    if layout is None or field is None:
        return {}
    stored = image.layout_stored[field.key]
    if not isinstance(stored, int):
        return {}
    stops = {}
    for counted in (field.kind.counts, *field.kind.accepts.values()):
        before = 0 if "identifier" in counted else image.regions["identifier"]
        stops[layout.size + before + stored] = stored
    return stops


def regions(image: Image) -> Iterator[Region]:
    """Yield the parts of an image in order: header, identifier, PnP data, what follows."""
    if image.layout is None:
        yield Region("bytes of no known layout", 0, len(image.data))
        return
    yield Region("the header", 0, image.identifier_at)
    yield Region("the identifier", image.identifier_at, image.items_at)
    yield Region("the PnP data", image.items_at, image.items_end)
    for run in image.tail:
        name = {"fill": "fill", "patch": "the patch area"}.get(run.kind, "other bytes")
        yield Region(name, run.offset, run.offset + len(run.raw))


def unlike(read: Mapping[int, int], image: Image) -> list[Difference]:
    """Return the bytes that were read and are otherwise in the image, with their fields."""
    overlaid = bytearray(image.data)
    for address, value in read.items():
        if address < len(overlaid):
            overlaid[address] = value
    return differences(bytes(overlaid), image)


def unread(read: Mapping[int, int], image: Image) -> list[Region]:
    """Return the stretches of an image that were never read, region by region."""
    found: list[Region] = []
    for region in regions(image):
        start = None
        for address in range(region.start, region.stop + 1):
            is_read = address == region.stop or address in read
            if start is None and not is_read:
                start = address
            elif start is not None and is_read:
                found.append(Region(region.name, start, address))
                start = None
    return found
