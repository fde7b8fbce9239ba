"""What the items of an image ask a PC for, and which lines its chip is wired to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from romtool.image.card import Device, card_of
from romtool.image.model import Image
from romtool.image.walk import Descriptor
from romtool.requirements.model import (
    Alternative,
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.bus import Resource
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Value
from romtool.schema.numbers import one_of


def requirements_of(image: Image) -> CardRequirements:
    """Return what the card of an image asks for; an item that can't be read asks for nothing."""
    return requirements_in(image, card_of(image).devices)


def requirements_in(image: Image, devices: Sequence[Device]) -> CardRequirements:
    """Return what the devices of an image ask for, taken apart already."""
    if image.layout is None:
        return CardRequirements(None, None, ())
    serial = image.identifier_values[0][image.catalog.identifier.serial_field.key]
    return CardRequirements(
        image.card_id,
        serial if isinstance(serial, int) else None,
        tuple(_device(image.catalog, device, n) for n, device in enumerate(devices)),
    )


def _device(catalog: Catalog, device: Device, number: int) -> DeviceRequirements:
    before = tuple(_needs(catalog, device.before))
    after = tuple(_needs(catalog, device.after))
    alternatives = []
    for index, choice in enumerate(device.choices):
        needed = tuple(_needs(catalog, choice.items))
        priority = choice.start.values.get(choice.start.record.key_field.key)
        rank = rank_of(catalog, priority)
        all_needs = (*before, *needed, *after)
        alternatives.append(Alternative(index, priority, rank, needed, all_needs))
    if not alternatives:
        alternatives.append(Alternative(None, None, 0, (), (*before, *after)))
    name = _name(catalog, device)
    return DeviceRequirements(device.id, number, name, before, tuple(alternatives), after)


def _name(catalog: Catalog, device: Device) -> str | None:
    """Return the name that PnP software gives a device; None for none.

    It cuts it, and strips blanks at its end (the PnP code of an operating system kernel, read and
    run).
    """
    if device.name is None:
        return None
    name: str = device.name.key_value
    return name[: catalog.pnp_software.name_length].rstrip(" ")


def rank_of(catalog: Catalog, priority: Value) -> int:
    """Return what a choice's priority counts as, 0 the best (Spec 6.2.2.6)."""
    field = catalog.by_role["choice"].key_field
    stored = field.kind.to_stored(field.absent_value if priority is None else priority)
    assert isinstance(stored, int)
    return stored


def _needs(catalog: Catalog, items: Iterable[Descriptor]) -> Iterator[Requirement]:
    for item in items:
        need = requirement_of(catalog, item)
        if need is not None:
            yield need


def requirement_of(catalog: Catalog, item: Descriptor) -> Requirement | None:
    """Return what an item asks for; None for one that asks for nothing, or can't be read.

    Bases are those that the device's registers can hold.
    """
    record, values = item.record, item.values
    asks = record.requires
    if asks is None or record.key_field.key not in values:
        return None
    head, value = record.key_field, values[record.key_field.key]
    if head.length is None:
        width = values.get(asks.width) if asks.width else None
        return LineRequirement(asks.kind, tuple(value), width, item)
    low, high = value if isinstance(value, list) else (value, value)
    step = values[head.align] if head.align else 1
    bits: int = values[asks.decode] if asks.decode else asks.bits
    length: int = values[head.length]
    registers = next(catalog.protocol.blocks_of(asks.kind, bits))
    limit = registers.field("limit")
    is_upper = limit is not None and bool(values.get(limit.upper or ""))
    stated = range(low, high + 1, step or 1)
    held = registers.bases(stated, length, is_upper=is_upper)
    held_only = None if held == stated else held
    return RangeRequirement(asks.kind, low, high, step or 1, length, bits, held_only, item)


def wired(image: Image, resource: Resource) -> frozenset[int] | None:
    """Return the lines of a resource that have a pin; None where the layout doesn't say.

    A line that goes by another number stands under that number too.
    """
    pins = pins_of(image, resource)
    return None if pins is None else frozenset(pins)


def pins_of(image: Image, resource: Resource) -> dict[int, str] | None:
    """Return the pin of the chip for each line that has one, such as `pin A`; see `pin_names`."""
    found = pin_names(image, resource)
    if found is None:
        return None
    return {line: f"pin {one_of(names)}" for line, names in found.items()}


def pin_names(image: Image, resource: Resource) -> dict[int, list[str]] | None:
    """Return the names of the chip's pins for each line that has one, such as `A`.

    None where the layout doesn't say. A line that goes by another number stands under that number
    too.
    """
    fields = image.layout.wiring(resource.name) if image.layout is not None else []
    if not fields:
        return None
    found: dict[int, list[str]] = {}
    for field in fields:
        for pin, line in enumerate(image.config[field.key]):
            if line != field.kind.unconnected:
                for number in {line, resource.on_bus(line)}:
                    found.setdefault(number, []).append(field.kind.pin_name(pin))
    return found
