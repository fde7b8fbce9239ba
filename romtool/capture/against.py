"""What was read, in an image's terms: where reading stopped and why, and what reads otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import NamedTuple

from romtool.capture.commands import runs
from romtool.capture.model import BusFinding, bus_finding
from romtool.errors import InputError
from romtool.image.decode import decode
from romtool.image.model import Image
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, hex_text, one_of
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
    for at, value in read.items():
        if at < len(overlaid):
            overlaid[at] = value
    return differences(bytes(overlaid), image)


def unread(read: Mapping[int, int], image: Image) -> list[Region]:
    """Return the stretches of an image that were never read, region by region."""
    found: list[Region] = []
    for region in regions(image):
        start = None
        for at in range(region.start, region.stop + 1):
            is_read = at == region.stop or at in read
            if start is None and not is_read:
                start = at
            elif start is not None and is_read:
                found.append(Region(region.name, start, at))
                start = None
    return found


FILL = 0xFF


def chip_observations(
    catalog: Catalog, read: dict[int, int], size: int, word: int, image: Image | None
) -> Iterator[BusFinding]:
    """Yield what the bytes say that were read from the start of a part of `size` bytes.

    `word`: bytes that are read at once; `image`: what should stand there, if that is known.
    """
    first = next(iter(runs(read)), None)
    if first is None or first[0] != 0:
        return
    data = first[1]
    expected = image if image is not None else image_read(catalog, data, size)
    words = {"count": many(len(data), "byte"), "last": address(len(data) - 1)}

    def is_at(stop: int) -> bool:
        return stop <= len(data) < stop + word

    if len(data) >= size or (image is not None and len(data) >= len(image.data)):
        yield bus_finding(catalog, "read-whole", **words, what="the whole part")
        return
    known = [layout.signature for layout in catalog.layouts.values()]
    if expected is not None and expected.layout is not None:
        known = [expected.layout.signature]
    if any(one and len(data) < len(one) + word for one in known):
        wanted = one_of(sorted({hex_text(one) for one in known if one}))
        have = hex_text(data)
        hint = f"it read {have}; a known chip wants {wanted}: is it the image of another chip?"
        if any(data.startswith(one) for one in known if one):
            hint = (
                f"it read {have}, as a known chip wants it ({wanted}): this one may want another "
                "signature, or was reset"
            )
        yield bus_finding(catalog, "stopped", **words, what="signature", hint=hint)
        return
    if expected is None or expected.layout is None:
        yield bus_finding(catalog, "read-start", **words)
        return
    stops = counted_stops(expected)
    if any(is_at(stop) for stop in stops) or (not stops and is_at(expected.items_end)):
        what = "all of the PnP data"
        if stops:
            what = "as much as the count says"
            if image is not None and image.data.startswith(data):
                what = "header and count as in the image"
        yield bus_finding(catalog, "read-whole", **words, what=what)
    elif any(is_at(one.offset + len(one.raw)) for one in expected.runs("patch")):
        yield bus_finding(catalog, "read-whole", **words, what="the PnP data and the patch area")
    elif stops and len(data) > expected.items_at:
        count = next(iter(stops.values()))
        until = " or ".join(str(stop) for stop in sorted(stops))
        wanted = f"{count}, which makes {until} bytes in all"
        yield bus_finding(catalog, "stopped-otherwise", **words, wanted=wanted)
    else:
        inside = [one for one in regions(expected) if one.start < len(data) <= one.stop]
        what = inside[0].name if inside else "what follows the PnP data"
        yield bus_finding(catalog, "stopped-inside", **words, what=what)


def image_read(catalog: Catalog, data: bytes, size: int) -> Image | None:
    """Return the bytes that were read as an image, where a known layout fits them."""
    try:
        found = decode(catalog, data.ljust(size, bytes([FILL])))
    except InputError:
        return None
    return found if found.layout is not None else None


def many(count: int, what: str) -> str:
    """Return a number with what is counted: `1 byte`, `2 bytes`."""
    return f"{count} {what}" if count == 1 else f"{count} {what}s"
