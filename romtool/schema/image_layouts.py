"""What an image is made of: frames (the bytes before the PnP data), identifier, EEPROM parts."""

from __future__ import annotations

import functools
from collections.abc import Mapping

from romtool.schema.described import Described
from romtool.schema.field_types import Check, CompressedAscii, Count, Pins, Stored
from romtool.schema.fields import Field, FieldLayout


class ImageLayout(Described):
    """A layout: what one kind of chip wants before the PnP data, and what follows it."""

    name: str
    title: str
    text: str
    source: str
    size: int
    fill: int
    patch: bool
    max_pnp_bytes: int | None
    default: bool
    identifier: bool
    field_layout: FieldLayout

    is_lead = False

    @functools.cached_property
    def config_fields(self) -> tuple[Field, ...]:
        """The fields that a profile's [config] may set."""
        return tuple(f for f in self.field_layout.fields if not f.kind.is_computed)

    @functools.cached_property
    def computed_fields(self) -> tuple[Field, ...]:
        """The fields that are computed or constant; [override] may set them."""
        return tuple(f for f in self.field_layout.fields if f.kind.is_computed)

    @property
    def count_field(self) -> Field | None:
        """The field that counts the PnP bytes, if there is one."""
        for field in self.field_layout.fields:
            if isinstance(field.kind, Count):
                return field
        return None

    def wiring(self, bus: str) -> list[Field]:
        """Return the fields that tell which lines of `bus` (irq, dma) have a pin."""
        fields = self.field_layout.fields
        return [f for f in fields if isinstance(f.kind, Pins) and f.kind.bus == bus]

    def typical(self) -> dict[str, Stored]:
        """Return the stored values of configuration bytes that a profile leaves out."""
        return {f.key: f.stored_of(f.default) for f in self.config_fields}


class Lead(ImageLayout):
    """Bytes before the PnP data that no known layout explains; they are kept as they are."""

    is_lead = True


@functools.lru_cache(maxsize=64)
def lead_of(size: int) -> Lead:
    """Return the layout of an image whose PnP data begins after `size` unexplained bytes."""
    return Lead(
        name="lead",
        title=f"{size} bytes that no known layout explains",
        text="",
        source="",
        size=size,
        fill=0xFF,
        patch=False,
        max_pnp_bytes=None,
        default=False,
        identifier=True,
        field_layout=FieldLayout(fields=(), units=()),
    )


class Identifier(Described):
    """The serial identifier: its size in bytes and its fields."""

    name: str
    title: str
    source: str
    size: int
    field_layout: FieldLayout

    @functools.cached_property
    def id_field(self) -> Field:
        """The field with the card's ID."""
        return next(f for f in self.field_layout.fields if isinstance(f.kind, CompressedAscii))

    @functools.cached_property
    def check_field(self) -> Field:
        """The field with the checksum."""
        return next(f for f in self.field_layout.fields if isinstance(f.kind, Check))

    @functools.cached_property
    def serial_field(self) -> Field:
        """The field that tells cards of one ID apart: the one that may be none."""
        return next(f for f in self.field_layout.fields if f.default is None)


REGIONS = ("identifier", "items")
"""What a count can count: regions of an image, see `Image.regions`."""


def count_of(names: tuple[str, ...], regions: Mapping[str, int]) -> int:
    """Return the sum of the sizes (bytes) of the regions that a count names."""
    return sum(regions[name] for name in names)


class Part(Described, size="bytes"):
    """An EEPROM part: generic number, size in bytes, page in bytes where it has pages.

    `organisation`: bits of a word, where a pin chooses; `address_bits`: how many address bits a
    command has in each of these.
    """

    name: str
    bus: str
    size: int
    page: int | None
    organisation: tuple[int, ...]
    address_bits: tuple[int, ...]
    source: str
