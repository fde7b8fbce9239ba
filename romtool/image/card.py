"""The card that an image describes: its devices, their choices, what they ask for."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

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
        """Its priority; None where none is stated, or none can be read."""
        return self.start.values.get(self.start.record.key_field.key)

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


class Group:
    """Choices side by side; the item that closes them; what follows, up to the next group."""

    def __init__(self) -> None:
        self.choices: list[Choice] = []
        self.end: Descriptor | None = None
        self.after: list[Descriptor] = []

    @property
    def all_items(self) -> Iterator[Descriptor]:
        """Its items, as they stand in the image."""
        for choice in self.choices:
            yield from choice.all_items
        if self.end is not None:
            yield self.end
        yield from self.after


class Section:
    """Items side by side: those before the choices, then groups of choices.

    The standard allows a device one group; software of the field merges a second one into the
    first (the PnP code of an operating system kernel, read and run), and so do `choices`.
    """

    def __init__(self, items: Iterable[Descriptor] = ()) -> None:
        self.before: list[Descriptor] = []
        self.groups: list[Group] = []
        for item in items:
            self.take(item)

    def take(self, item: Descriptor) -> None:
        """Put the next item in its place."""
        role = item.role
        group = self.groups[-1] if self.groups else None
        if role == "choice":
            if group is None or group.end is not None:
                group = Group()
                self.groups.append(group)
            group.choices.append(Choice(item))
        elif group is None:
            self.before.append(item)
        elif group.end is not None:
            group.after.append(item)
        elif role == "choices-end":
            group.end = item
        else:
            group.choices[-1].items.append(item)

    @property
    def choices(self) -> list[Choice]:
        """The choices of all groups."""
        return [choice for group in self.groups for choice in group.choices]

    @property
    def ends(self) -> list[Descriptor]:
        """The items that close a group."""
        return [group.end for group in self.groups if group.end is not None]

    @property
    def after(self) -> list[Descriptor]:
        """The items after choices that are closed."""
        return [item for group in self.groups for item in group.after]

    @property
    def all_items(self) -> list[Descriptor]:
        """All its items, as they stand in the image."""
        return [*self.before, *(item for group in self.groups for item in group.all_items)]


class Device(Section):
    """One function of the card, from its ID item on."""

    def __init__(self, start: Descriptor) -> None:
        super().__init__()
        self.start = start

    @property
    def id(self) -> str:
        """Its ID; its bytes where they spell none."""
        return id_in(self.start)

    @property
    def values(self) -> dict[str, object]:
        """The values of its ID item."""
        return self.start.values

    @property
    def name(self) -> Descriptor | None:
        """The item with its name, before what it asks for."""
        return _named(self.before, "compatible")

    @property
    def compatible(self) -> list[Descriptor]:
        """The items with IDs that it is compatible with, wherever they stand."""
        return [item for item in self.all_items if item.role == "compatible"]

    @property
    def leading(self) -> tuple[list[Descriptor], Descriptor | None, list[Descriptor]]:
        """What stands before the choices: compatible IDs and name in their usual places, the rest.

        There a profile has a key for them; elsewhere they are entries among the others.
        """
        rest = list(self.before)
        ids: list[Descriptor] = []
        while rest and rest[0].role == "compatible" and rest[0].representable:
            ids.append(rest.pop(0))
        named = bool(rest) and rest[0].role == "name" and rest[0].representable
        name = rest.pop(0) if named else None
        return ids, name, rest

    @property
    def items(self) -> list[Descriptor]:
        """What it asks for in any case, before its choices."""
        return self.leading[2]

    @property
    def all_items(self) -> list[Descriptor]:
        """All that belongs to it, as it stands in the image."""
        return [self.start, *super().all_items]

    def with_items(self, items: Iterable[Descriptor]) -> Device:
        """Return the device with these items after its own, whatever they are."""
        device = Device(self.start)
        for item in (*super().all_items, *items):
            device.take(item)
        return device


class Card:
    """The items of an image: those before the first device, the devices, the end item."""

    def __init__(self, items: Iterable[Descriptor]) -> None:
        self.outside = Section()
        self.devices: list[Device] = []
        self.end: Descriptor | None = None
        section = self.outside
        for item in items:
            if item.role == "device":
                section = Device(item)
                self.devices.append(section)
            elif item.role == "end":
                self.end = item
            else:
                section.take(item)

    @property
    def leading(self) -> tuple[Descriptor | None, Descriptor | None, list[Descriptor]]:
        """What stands before the devices: version and name in their usual places, the rest."""
        rest = self.outside.all_items
        found: list[Descriptor | None] = []
        for role in ("version", "name"):
            there = bool(rest) and rest[0].role == role and rest[0].representable
            found.append(rest.pop(0) if there else None)
        return found[0], found[1], rest

    @property
    def version(self) -> Descriptor | None:
        """The item with the version of PnP, in its usual place."""
        return self.leading[0]

    @property
    def name(self) -> Descriptor | None:
        """The item with the card's name, before all but the version."""
        return _named(self.outside.before, "version")

    @property
    def items(self) -> list[Descriptor]:
        """What else stands before the first device."""
        return self.leading[2]

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
    return Card(image.items)


def _named(items: Iterable[Descriptor], other: str) -> Descriptor | None:
    """Return the first item with a name, where only items of `other` role stand before it.

    Software of the field takes the next one where a name is empty.
    """
    for item in items:
        if item.has_role("name") and item.key_value.strip():
            return item
        if item.role not in ("name", other):
            break
    return None


def id_in(item: Descriptor) -> str:
    """Return the ID in an item; its bytes where they spell none."""
    head = item.record.key_field
    value = item.values.get(head.key)
    if isinstance(value, str):
        return value
    return hex_text(item.content[head.at : head.at + (head.size or 0)]) or "without ID"


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
        entry: Entry = {**record.entry_of(item.values)}
        if image.catalog.shortest(record.key_field.key, item.values) is not record:
            entry["form"] = record.form
        if record.writes(item.values, item.raw):
            return entry
    return {"raw": hex_text(item.raw)}
