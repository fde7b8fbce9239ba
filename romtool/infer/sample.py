"""A dump of an unknown chip: the bytes before its PnP data, and what those may speak of."""

from __future__ import annotations

from dataclasses import dataclass

from romtool.errors import refuse
from romtool.image.evidence import first_lead
from romtool.image.model import Image
from romtool.schema.catalog import Catalog


@dataclass(frozen=True)
class Sample:
    """One dump. `front`: its bytes before the PnP data; `regions`: sizes (bytes) a count may name.

    `offered`: for each bus whose lines a chip's pins are wired to, the lines that the card offers;
    `card`: its items, which tell cards apart; `patched`: other bytes than fill follow at once.
    """

    name: str
    data: bytes
    front: bytes
    card: bytes
    regions: dict[str, int]
    offered: dict[str, frozenset[int]]
    fill: int
    patched: bool


def sample_of(catalog: Catalog, name: str, data: bytes) -> Sample:
    """Return what a dump tells of its chip's layout.

    Raises InputError where no sound PnP data stands in it, or nothing before them.
    """
    start = first_lead(catalog, data)
    if start is None:
        message = "no PnP data: no identifier whose checksum is right, with items up to an end item"
        raise refuse(message, "`recover` undoes what may have gone wrong with the read").in_file(
            name
        )
    if not start:
        message = "nothing stands before the PnP data"
        hint = f"layout {catalog.default_layout.name} describes it already"
        raise refuse(message, hint).in_file(name)
    image = Image(catalog, data[start:], catalog.default_layout)
    first = image.tail[0] if image.tail else None
    return Sample(
        name=name,
        data=data,
        front=data[:start],
        card=image.data[image.items_at : image.items_end],
        regions=image.regions,
        offered={bus: frozenset(_offered(image, bus)) for bus in unconnected_of(catalog)},
        fill=image.fill,
        patched=first is not None and first.kind != "fill",
    )


def unconnected_of(catalog: Catalog) -> dict[str, int]:
    """Return for each bus that pins are wired to what known layouts store for a pin without."""
    found: dict[str, int] = {}
    for known in catalog.layouts.values():
        for field in known.wiring():
            found.setdefault(field.kind.bus, field.kind.unconnected)
    return found


def _offered(image: Image, bus: str) -> set[int]:
    """Return the lines of a bus that any item of the card offers."""
    lines = set[int]()
    for item in image.items:
        asked = item.record.requires
        if asked is not None and asked.kind == bus and item.representable:
            lines |= set(item.key_value)
    return lines
