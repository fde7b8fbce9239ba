"""PnP data as it comes out of a card, to what it says: all that software knows of the card."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.image.card import card_of
from romtool.image.decode import read_as
from romtool.image.model import Image
from romtool.requirements.model import CardRequirements
from romtool.requirements.read import requirements_of
from romtool.schema.catalog import Catalog
from romtool.schema.protocol import Register

NOTHING = CardRequirements(None, None, ())
"""What a card asks for of whose data too little is known."""


def image_of(catalog: Catalog, data: bytes) -> Image | None:
    """Return PnP data as an image that holds nothing else; None if it is no whole identifier."""
    return read_as(catalog, data, catalog.default_layout)


def identity(catalog: Catalog, identifier: bytes) -> tuple[str | None, int | None]:
    """Return the ID and the serial number of an identifier; None where there is none."""
    layout = catalog.identifier.field_layout
    values, _ = layout.values(layout.parse(identifier))
    card, serial = (
        values[catalog.identifier.id_field.key],
        values[catalog.identifier.serial_field.key],
    )
    return card if isinstance(card, str) else None, serial if isinstance(serial, int) else None


def requirements_in(image: Image | None) -> CardRequirements:
    """Return what a card asks for."""
    return NOTHING if image is None else requirements_of(image)


def having(image: Image | None, register: Register) -> Iterator[bool]:
    """Yield for each device whether its ID item says that it has this register (Spec 6.2.2.2)."""
    for device in card_of(image).devices if image else ():
        yield register.number in (device.values.get(register.announced or "") or ())  # type: ignore[operator]
