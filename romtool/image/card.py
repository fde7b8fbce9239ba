"""The card that an image describes: its devices, their choices, what they ask for."""

from __future__ import annotations

from romtool.image.model import Image
from romtool.image.walk import Descriptor
from romtool.schema.fields import Field
from romtool.schema.numbers import hex_text

Entry = dict[str, object]

Place = tuple[int, int | None]
"""The device and the choice that an item belongs to, each from 0; None: to no choice."""


class Choice:
    """One alternative (dependent function): its start item and what it asks for."""

    def __init__(self, start: Descriptor) -> None:
        self.start = start
        self.items: list[Descriptor] = []

    @property
    def priority(self) -> object:
        """Its priority; None where none is stated."""
        return self.start.key_value

    @property
    def all_items(self) -> list[Descriptor]:
        """Its start item and what it asks for, as they stand in the image."""
        return [self.start, *self.items]

    @property
    def words(self) -> str:
        """The alternative in words: how good it is, and what it asks for."""
        asked = "; ".join(item.words for item in self.items) or "nothing"
        return f"{self.priority_words}: {asked}"

    @property
    def priority_words(self) -> str:
        """Its priority in words."""
        return priority_words(self.start.record.key_field, self.priority)


class Device:
    """One function of the card: its items in the usual places, and what stands elsewhere."""

    def __init__(self, start: Descriptor) -> None:
        self.start = start
        self.compatible: list[Descriptor] = []
        self.name: Descriptor | None = None
        self.items: list[Descriptor] = []
        self.choices: list[Choice] = []
        self.closed: Descriptor | None = None
        self.after: list[Descriptor] = []

    @property
    def values(self) -> dict[str, object]:
        """The values of the device's ID item."""
        return self.start.values

    @property
    def all_items(self) -> list[Descriptor]:
        """All that belongs to it, as it stands in the image."""
        name = [] if self.name is None else [self.name]
        closed = [] if self.closed is None else [self.closed]
        chosen = [item for choice in self.choices for item in choice.all_items]
        return [self.start, *self.compatible, *name, *self.items, *chosen, *closed, *self.after]


class Card:
    """The items of an image in their usual order; `items`: those before the first device."""

    def __init__(self) -> None:
        self.version: Descriptor | None = None
        self.name: Descriptor | None = None
        self.items: list[Descriptor] = []
        self.devices: list[Device] = []
        self.end: Descriptor | None = None

    def places(self) -> dict[int, Place]:
        """Return where each item of a device, by its offset, belongs."""
        found: dict[int, Place] = {}
        for number, device in enumerate(self.devices):
            for item in device.all_items:
                found[item.offset] = number, None
            for index, choice in enumerate(device.choices):
                for item in choice.all_items:
                    found[item.offset] = number, index
        return found


def card_of(image: Image) -> Card:
    """Return the card that the items of an image describe; nothing is left out or moved."""
    card = Card()
    rest = list(image.items)
    if rest and rest[0].has_role("version"):
        card.version = rest.pop(0)
    if rest and rest[0].has_role("name"):
        card.name = rest.pop(0)
    if rest and rest[-1].has_role("end"):
        card.end = rest.pop()
    for item in rest:
        if item.has_role("device"):
            card.devices.append(Device(item))
        elif card.devices:
            _place(card.devices[-1], item)
        else:
            card.items.append(item)
    return card


def _place(device: Device, item: Descriptor) -> None:
    """Put an item in its place in a device: the usual one, or where it stands."""
    if device.closed is not None:
        device.after.append(item)
    elif device.choices:
        if item.has_role("choice"):
            device.choices.append(Choice(item))
        elif item.has_role("choices-end"):
            device.closed = item
        else:
            device.choices[-1].items.append(item)
    elif item.has_role("choice"):
        device.choices.append(Choice(item))
    elif device.items or device.name is not None:
        device.items.append(item)
    elif item.has_role("compatible"):
        device.compatible.append(item)
    elif item.has_role("name"):
        device.name = item
    else:
        device.items.append(item)


def priority_words(field: Field, value: object) -> str:
    """Return the priority of a choice in words; `field` is that of the item which opens it."""
    if value is None:
        return field.absent or "none"
    shown = field.kind.show(value)
    return f"{field.title} {shown}" if isinstance(value, int) else shown


def entry_of(image: Image, item: Descriptor) -> Entry:
    """Return an item as an entry of a profile's list: in words where that keeps its bytes."""
    record = item.record
    if record.entry and item.representable:
        entry: Entry = record.entry_of(item.values)
        if image.catalog.shortest(record.key_field.key, item.values) is not record:
            entry["form"] = record.form
        if record.write(item.values) == item.raw:
            return entry
    return {"raw": hex_text(item.raw)}
