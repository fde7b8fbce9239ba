"""Dumps of an unknown chip: the bytes before their PnP data, and what is claimed of those."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

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
        for pins in known.wiring():
            found.setdefault(pins.kind.bus, pins.kind.unconnected)
    return found


def _offered(image: Image, bus: str) -> set[int]:
    """Return the lines of a bus that any item of the card offers."""
    lines = set[int]()
    for item in image.items:
        asked = item.record.requires
        if asked is not None and asked.kind == bus and item.representable:
            lines |= set(item.key_value)
    return lines


@dataclass(frozen=True)
class Claim:
    """What some bytes are: the keys of their fields in a schema, and why it is believed.

    `size` in bytes; `fields`: one or two fields, as their keys and values in the schema.
    """

    at: int
    size: int
    fields: tuple[Mapping[str, Any], ...]
    why: tuple[str, ...] = ()

    @property
    def span(self) -> range:
        """The bytes that it takes."""
        return range(self.at, self.at + self.size)


@dataclass
class Evidence:
    """What the dumps have in common: their fronts, equally long, and which bytes are claimed.

    `samples`: those that differ in front or card; copies say nothing more.
    """

    samples: Sequence[Sample]
    claims: list[Claim] = field(default_factory=list)

    @property
    def size(self) -> int:
        """The bytes before the PnP data."""
        return len(self.samples[0].front)

    @property
    def fronts(self) -> list[bytes]:
        """The different fronts, in the order of the dumps."""
        return list(dict.fromkeys(sample.front for sample in self.samples))

    def free(self, span: Iterable[int]) -> bool:
        """Whether no byte of a span is claimed yet."""
        return not any(at in claim.span for claim in self.claims for at in span)
