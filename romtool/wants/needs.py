"""Needs: one line or channel of several, one base address of several."""

from __future__ import annotations

from dataclasses import dataclass, field

from romtool.image.walk import Item
from romtool.schema.kinds import Value


@dataclass(frozen=True)
class Lines:
    """One line or channel out of `lines` (ascending); none at all where the list is empty.

    `kind` names the resource (irq, dma); `width` the bits moved at a time, where it is a channel.
    """

    kind: str
    lines: tuple[int, ...]
    width: str | None = None
    item: Item | None = field(default=None, compare=False, repr=False)

    @property
    def is_empty(self) -> bool:
        """Whether it asks for nothing, and only keeps its place."""
        return not self.lines


@dataclass(frozen=True)
class Span:
    """A range of `length` addresses that begins at a base from `low` to `high`, every `step`.

    `kind` names the resource (io, memory); `bits`: how many address bits the device decodes.
    Addresses and lengths are in ports or bytes.
    """

    kind: str
    low: int
    high: int
    step: int
    length: int
    bits: int
    item: Item | None = field(default=None, compare=False, repr=False)

    @property
    def is_empty(self) -> bool:
        """Whether it asks for nothing, and only keeps its place."""
        return self.length == 0

    @property
    def bases(self) -> range:
        """The bases to pick one from; none where the lowest is above the highest."""
        return range(self.low, self.high + 1, self.step or 1)


Need = Lines | Span


@dataclass(frozen=True)
class Alternative:
    """What is in effect together: a choice (dependent function) with what always applies.

    `number` counts the choices from 0, None for a device without choices. `rank`: what the
    priority counts as, the lower the better. `own` are the needs of the choice itself; `needs`
    are all, in the order in which they stand in the image.
    """

    number: int | None
    priority: Value
    rank: int
    own: tuple[Need, ...]
    needs: tuple[Need, ...]

    def of_kind(self, kind: str) -> list[Need]:
        """Return the needs of one resource, in order."""
        return [need for need in self.needs if need.kind == kind]


@dataclass(frozen=True)
class DeviceWants:
    """What one device asks for: `number` is its place on the card, from 0.

    `before` and `after` are the needs that always apply, before and behind the choices.
    """

    id: str
    number: int
    name: str | None
    before: tuple[Need, ...]
    alternatives: tuple[Alternative, ...]
    after: tuple[Need, ...]


@dataclass(frozen=True)
class CardWants:
    """What the devices of one card ask for."""

    id: str | None
    serial: int | None
    devices: tuple[DeviceWants, ...]
