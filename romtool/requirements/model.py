"""Needs: one line or channel of several, one base address of several."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import NamedTuple

from romtool.image.walk import Descriptor
from romtool.schema.bus import Resource
from romtool.schema.field_types import Value


class LineRequirement(NamedTuple):
    """One line or channel out of `lines` (ascending); none at all where the list is empty.

    `item` is where it is asked for; two needs that ask for the same are equal wherever they stand.
    `kind` names the resource (irq, dma); `width` the bits moved at a time, where it is a channel.
    """

    kind: str
    lines: tuple[int, ...]
    width: str | None = None
    item: Descriptor | None = None

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self[:-1] == other[:-1]

    def __hash__(self) -> int:
        return hash(self[:-1])

    @property
    def is_empty(self) -> bool:
        """Whether it asks for nothing, and only keeps its place."""
        return not self.lines


class RangeRequirement(NamedTuple):
    """A range of `length` addresses that begins at a base from `low` to `high`, every `step`.

    `item` is where it is asked for; two needs that ask for the same are equal wherever they stand.
    `kind` names the resource (io, memory); `bits`: how many address bits the device decodes.
    Addresses and lengths are in ports or bytes. `held`: the bases among them that the device's
    registers can hold, None for all.
    """

    kind: str
    low: int
    high: int
    step: int
    length: int
    bits: int
    held: range | None = None
    item: Descriptor | None = None

    def __eq__(self, other: object) -> bool:
        return type(self) is type(other) and self[:-1] == other[:-1]

    def __hash__(self) -> int:
        return hash(self[:-1])

    @property
    def is_empty(self) -> bool:
        """Whether it asks for nothing, and only keeps its place."""
        return self.length == 0

    @property
    def bases(self) -> range:
        """The bases to pick one from; none where the lowest is above the highest."""
        return self.stated if self.held is None else self.held

    @property
    def stated(self) -> range:
        """The bases that the item states, whether the registers can hold them or not."""
        return range(self.low, self.high + 1, self.step or 1)


Requirement = LineRequirement | RangeRequirement


class Alternative(NamedTuple):
    """What is in effect together: a choice (dependent function) with what always applies.

    `number` counts the choices from 0, None for a device without choices. `rank`: what the
    priority counts as, the lower the better. `own` are the needs of the choice itself; `needs`
    are all, in the order in which they stand in the image.
    """

    number: int | None
    priority: Value
    rank: int
    own: tuple[Requirement, ...]
    needs: tuple[Requirement, ...]

    def of_kind(self, kind: str) -> list[Requirement]:
        """Return the needs of one resource, in order."""
        return [need for need in self.needs if need.kind == kind]

    def in_registers(self, resources: Mapping[str, Resource]) -> tuple[Requirement, ...]:
        """Return the needs that a device has registers for: the first of each kind, in order."""
        counts: Counter[str] = Counter()
        kept = []
        for need in self.needs:
            counts[need.kind] += 1
            if counts[need.kind] <= resources[need.kind].max_per_device:
                kept.append(need)
        return tuple(kept)


class DeviceRequirements(NamedTuple):
    """What one device asks for: `number` is its place on the card, from 0.

    `before` and `after` are the needs that always apply, before and after the choices.
    """

    id: str
    number: int
    name: str | None
    before: tuple[Requirement, ...]
    alternatives: tuple[Alternative, ...]
    after: tuple[Requirement, ...]


class CardRequirements(NamedTuple):
    """What the devices of one card ask for."""

    id: str | None
    serial: int | None
    devices: tuple[DeviceRequirements, ...]


def card_words(id: str | None, serial: int | None) -> str:
    """Return what tells a card from others, in words."""
    number = "no serial number" if serial is None else f"serial {serial}"
    return f"{id or 'no readable ID'}, {number}"
