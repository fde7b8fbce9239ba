"""The registers of a device from 40h on: what it was given, as it stands in them (Spec A.3)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import NamedTuple

from romtool.assign.answer import Given, Value
from romtool.requirements.collide import Placed
from romtool.requirements.model import (
    Alternative,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.bus import Resource
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Range
from romtool.schema.protocol import RegisterBlock, RegisterField, Setting

Registers = Mapping[int, int]
"""The byte in each register, by its number."""


class Place(NamedTuple):
    """Registers that a device has for one item of each of its choices: the first of them, from
    which the registers of the block count, and the items, `None` for a choice without one.
    """

    block: RegisterBlock
    first: int
    needs: tuple[Requirement | None, ...]

    @property
    def fixed(self) -> Value:
        """What always stands in them, whatever is written (Spec 4.6): a fixed item, in each choice.

        None where it can change.
        """
        first = self.needs[0]
        if first is None or first.item is None or any(need != first for need in self.needs):
            return None
        is_stated_once = isinstance(first, RangeRequirement) and len(first.bases) == 1
        is_fixed = is_stated_once and not isinstance(first.item.record.key_field.kind, Range)
        return first_value(first) if is_fixed else None


def places_of(catalog: Catalog, device: DeviceRequirements) -> list[Place]:
    """Return the registers that a device has.

    The nth item of a kind has the nth registers of its kind, in each choice (Spec 4.6.1); an item
    past the last of them has none.
    """
    rows = [dict(_numbered(catalog, alternative)) for alternative in device.alternatives]
    return [
        Place(block, first, tuple(row.get((block.title, place)) for row in rows))
        for block in catalog.protocol.blocks
        for place, first in enumerate(block.at)
        if any((block.title, place) in row for row in rows)
    ]


def _numbered(
    catalog: Catalog, alternative: Alternative
) -> Iterator[tuple[tuple[str, int], Requirement]]:
    """Yield the items of a choice, each with its registers: their title, and which of them."""
    used: Counter[str] = Counter()
    for need in alternative.needs:
        block = _block(catalog, need)
        if used[block.title] < len(block.at):
            yield (block.title, used[block.title]), need
        used[block.title] += 1


def _block(catalog: Catalog, need: Requirement) -> RegisterBlock:
    bits = need.bits if isinstance(need, RangeRequirement) else 0
    return next(catalog.protocol.blocks_of(need.kind, bits))


def first_value(need: Requirement) -> Value:
    """Return the first value that an item accepts; None where there is none."""
    if need.is_empty:
        return None
    if isinstance(need, LineRequirement):
        return need.lines[0]
    return Placed(need.bases[0], need.length, need.bits) if need.bases else None


def power_up_values(catalog: Catalog, device: DeviceRequirements, card: int = 0) -> Given:
    """Return what a device is set to at power-up if it is active then: its first choice.

    Stated nowhere: see the head of `schemas/protocol.toml`.
    """
    alternative = device.alternatives[0]
    values = {
        kind: tuple(first_value(need) for need in alternative.of_kind(kind))
        for kind in catalog.resources
    }
    return Given(card, device.id, device.number, alternative.number, values)


def filled(catalog: Catalog, device: DeviceRequirements, given: Given | None) -> dict[int, int]:
    """Return what is written to all registers that a device has, for what it was given.

    All that it asks for in any choice is programmed, given or not (Spec 4.6.1, 4.6.2).
    """
    values: dict[tuple[str, int], Value] = {}
    chosen = 0
    if given is not None:
        chosen = next(n for n, one in enumerate(device.alternatives) if one.number == given.choice)
        alternative = device.alternatives[chosen]
        by_need = {id(need): value for need, value in given.paired(alternative)}
        values = {key: by_need[id(need)] for key, need in _numbered(catalog, alternative)}
    found: dict[int, int] = {}
    for place in places_of(catalog, device):
        index = place.block.at.index(place.first)
        value = values.get((place.block.title, index))
        need = place.needs[chosen] or next(need for need in place.needs if need is not None)
        resource = catalog.resources[place.block.resource]
        for field in place.block.fields:
            found |= stored(place.first, field, _number(field, resource, need, value))
    return found


def stored(first: int, field: RegisterField, number: int) -> dict[int, int]:
    """Return a number as it stands in the registers of a field, the highest byte first."""
    raw = (number & (1 << 8 * field.bytes) - 1).to_bytes(field.bytes, "big")
    return {first + field.at + n: byte for n, byte in enumerate(raw)}


def _number(field: RegisterField, resource: Resource, need: Requirement, value: Value) -> int:
    """Return what the registers of a field hold for a value; None is nothing."""
    if value is None and field.none is not None:
        return field.none
    if field.holds == "setting":
        return sum(_setting(setting, need) for setting in field.settings)
    if value is None:
        return 0
    if isinstance(value, int):
        return resource.on_bus(value)
    if field.holds == "base":
        return value.base // field.unit
    if need.item is not None and need.item.values.get(field.upper or ""):
        return (value.base + value.length) // field.unit
    return (field.top - value.length) // field.unit


def writable(place: Place, field: RegisterField) -> int:
    """Return the bits of a field that take what is written to them.

    What always stands there takes nothing, and a bit that its choices have alike (Spec 4.6, A.3.1).
    """
    if field.holds != "setting":
        return field.all_bits if place.fixed is None else 0
    found = {
        sum(_setting(setting, need) for setting in field.settings) & field.fixed
        for need in place.needs
        if need is not None
    }
    return field.all_bits & ~(field.fixed if len(found) == 1 else 0)


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


def held(place: Place, holds: str, registers: Registers) -> int | None:
    """Return what the registers of a place hold of one sort; None for nothing."""
    field = place.block.field(holds)
    assert field is not None
    numbers = range(place.first + field.at, place.first + field.at + field.bytes)
    number = int.from_bytes(bytes(registers[n] for n in numbers), "big")
    return None if number == (field.none or 0) else number * field.unit


def in_use(catalog: Catalog, device: DeviceRequirements, registers: Registers) -> Iterator[str]:
    """Yield the registers that hold something, as `60h: 02 20`."""
    empty = filled(catalog, device, None)
    for place in places_of(catalog, device):
        numbers = [
            place.first + field.at + n for field in place.block.fields for n in range(field.bytes)
        ]
        if any(registers[number] != empty[number] for number in numbers):
            yield f"{place.first:X}h: {bytes(registers[n] for n in numbers).hex(' ').upper()}"
