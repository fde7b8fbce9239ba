"""A device's descriptors: what it was given, as it stands in its registers (Spec appendix A)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from romtool.assign.answer import Given
from romtool.requirements.collide import Placed
from romtool.requirements.model import Alternative, RangeRequirement, Requirement
from romtool.schema.bus import Resource
from romtool.schema.catalog import Catalog
from romtool.schema.protocol import Protocol, RegisterBlock, RegisterField, Setting

Registers = Mapping[int, int]
"""The byte in each register, by its number."""


def cleared(protocol: Protocol) -> dict[int, int]:
    """Return the descriptors of a device that was given nothing, as after power-up."""
    found: dict[int, int] = {}
    for descriptor in protocol.descriptors:
        for first in descriptor.at:
            for cell in descriptor.cells:
                found |= _stored(first, cell, cell.none)
    return found


def filled(catalog: Catalog, alternative: Alternative, given: Given) -> dict[int, int]:
    """Return the descriptors of a device for what it was given, all others cleared.

    Items take the descriptors in the order in which they stand, one that asks for nothing too;
    those past the last descriptor have none.
    """
    found = cleared(catalog.protocol)
    for resource in catalog.resources.values():
        values: Sequence[int | Placed | None] = getattr(given, resource.name)
        used: Counter[str] = Counter()
        for need, value in zip(alternative.of_kind(resource.name), values, strict=False):
            descriptor = _descriptor(catalog.protocol, resource, need)
            place = used[descriptor.title]
            used[descriptor.title] += 1
            if value is not None and place < len(descriptor.at):
                for cell in descriptor.cells:
                    number = _number(cell, resource, need, value)
                    found |= _stored(descriptor.at[place], cell, number)
    return found


def _descriptor(protocol: Protocol, resource: Resource, need: Requirement) -> RegisterBlock:
    bits = need.bits if isinstance(need, RangeRequirement) else 0
    return next(protocol.descriptors_of(resource.name, bits))


def _stored(first: int, cell: RegisterField, number: int) -> dict[int, int]:
    raw = number.to_bytes(cell.bytes, "big")
    return {first + cell.at + n: byte for n, byte in enumerate(raw)}


def _number(cell: RegisterField, resource: Resource, need: Requirement, value: int | Placed) -> int:
    """Return what the registers of a cell hold for a value; too high a number loses its top."""
    if isinstance(value, int):
        number = resource.renamed.get(value, value)
    elif cell.holds == "base":
        number = value.base
    else:
        is_address = need.item is not None and need.item.values.get(cell.upper or "")
        number = value.length + (value.base if is_address else 0)
    if cell.holds == "setting":
        number = sum(_setting(setting, need) for setting in cell.settings)
    return number // cell.unit % (1 << 8 * cell.bytes)


def _setting(setting: Setting, need: Requirement) -> int:
    """Return the bits that a field of the item asks for, the first of several that it allows."""
    if need.item is None:
        return 0
    field = need.item.record.field_layout.by_key[setting.field]
    value = need.item.values.get(setting.field)
    if isinstance(value, list):
        value = value[0] if value else None
    word = field.absent if value is None else str(value).lower()
    return setting.values.get(str(word), 0)


def held(protocol: Protocol, kind: str, holds: str, registers: Registers) -> Iterator[int | None]:
    """Yield what the descriptors of a resource hold, in order: None for one without use."""
    for descriptor in protocol.descriptors:
        if descriptor.resource != kind:
            continue
        for first in descriptor.at:
            for cell in descriptor.cells:
                if cell.holds == holds:
                    numbers = range(first + cell.at, first + cell.at + cell.bytes)
                    number = int.from_bytes(bytes(registers[n] for n in numbers), "big")
                    yield None if number == cell.none else number * cell.unit


def in_use(protocol: Protocol, registers: Registers) -> Iterator[tuple[int, bytes]]:
    """Yield the descriptors that hold something: the first register and the bytes from there."""
    empty = cleared(protocol)
    for descriptor in protocol.descriptors:
        size = max(cell.at + cell.bytes for cell in descriptor.cells)
        for first in descriptor.at:
            numbers = range(first, first + size)
            if any(registers[number] != empty[number] for number in numbers):
                yield first, bytes(registers[number] for number in numbers)
