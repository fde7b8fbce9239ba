"""What an image is made of: frames (the bytes before the PnP data), identifier, EEPROM parts."""

from __future__ import annotations

import functools

from romtool.schema.codec import Reader
from romtool.schema.described import Described
from romtool.schema.field_types import Check, CompressedAscii, Constant, Count, Pins, Stored
from romtool.schema.fields import Field, FieldLayout, FieldOf


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

    @functools.cached_property
    def computed_reader(self) -> Reader:
        """What reads the computed fields alone."""
        return Reader(self.field_layout.units, self.computed_fields, self.size)

    @functools.cached_property
    def constants(self) -> tuple[FieldOf[Constant], ...]:
        """The fields that are always the same."""
        return self.field_layout.of_type(Constant)

    @property
    def signature(self) -> bytes:
        """The bytes by which a chip knows an EEPROM; empty where nothing stands at its start."""
        first = next((field for field in self.constants if field.at == 0), None)
        value = first.kind.value if first is not None else b""
        return value if isinstance(value, bytes) else b""

    @functools.cached_property
    def checks(self) -> tuple[FieldOf[Check], ...]:
        """The checksums of the layout itself."""
        return self.field_layout.of_type(Check)

    @functools.cached_property
    def counts(self) -> tuple[FieldOf[Count], ...]:
        """The fields that count bytes of the PnP data."""
        return self.field_layout.of_type(Count)

    @property
    def count_field(self) -> FieldOf[Count] | None:
        """The field that counts the PnP bytes, if there is one."""
        return self.counts[0] if self.counts else None

    def wiring(self, bus: str | None = None) -> list[FieldOf[Pins]]:
        """Return the fields that tell which lines of `bus` (irq, dma; None: of both) have a pin."""
        fields = self.field_layout.of_type(Pins)
        return [field for field in fields if bus in (None, field.kind.bus)]

    def typical(self) -> dict[str, Stored]:
        """Return the stored values of configuration bytes that a profile leaves out."""
        return {f.key: f.stored_of(f.default) for f in self.config_fields}


class Lead(ImageLayout):
    """Bytes before the PnP data that no known layout explains; they are kept as they are."""

    is_lead = True


LEAD = "lead"
"""The name of bytes before the PnP data that no known layout explains."""


@functools.lru_cache(maxsize=64)
def lead_of(size: int) -> Lead:
    """Return the layout of an image whose PnP data begins after `size` unexplained bytes."""
    return Lead(
        name=LEAD,
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
    def id_field(self) -> FieldOf[CompressedAscii]:
        """The field with the card's ID."""
        return self.field_layout.of_type(CompressedAscii)[0]

    @functools.cached_property
    def check_field(self) -> FieldOf[Check]:
        """The field with the checksum."""
        return self.field_layout.of_type(Check)[0]

    @functools.cached_property
    def serial_field(self) -> Field:
        """The field that tells cards of one ID apart: the one that may be none."""
        return next(f for f in self.field_layout.fields if f.default is None)


REGIONS = ("identifier", "items")
"""What a count can count: regions of an image, see `Image.regions`."""


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
