"""The items of a card, device by device and choice by choice, as PnP software takes them apart."""

from __future__ import annotations

from collections.abc import Iterable

from romtool.image.walk import Descriptor
from romtool.schema.numbers import hex_text


class ChoiceParts:
    """One choice (dependent function): where it starts, and its items."""

    def __init__(self, start: Descriptor) -> None:
        self.start = start
        self.items: list[Descriptor] = []


class DeviceParts:
    """One device: its ID item, the items that always apply, and its choices.

    `before` and `after` are those before and after the choices; `ends` close the choices. A
    second group of choices is merged into the first, as PnP software does (the PnP code of an
    operating system kernel, read and run).
    """

    def __init__(self, start: Descriptor) -> None:
        self.start = start
        self.before: list[Descriptor] = []
        self.choices: list[ChoiceParts] = []
        self.ends: list[Descriptor] = []
        self.after: list[Descriptor] = []

    @property
    def id(self) -> str:
        """The device's ID; its bytes where they spell none."""
        return id_words(self.start)

    @property
    def outside(self) -> list[Descriptor]:
        """The items that don't stand in a choice."""
        return [self.start, *self.before, *self.ends, *self.after]

    @property
    def items(self) -> list[Descriptor]:
        """All its items, those in choices last."""
        within = [item for choice in self.choices for item in choice.items]
        return [*self.outside, *within]


def device_parts(items: Iterable[Descriptor], *, by_name: bool = False) -> list[DeviceParts]:
    """Return the devices that these items describe; what stands before the first is in none.

    `by_name`: an item plays its part by its name alone, even where its content can't be
    understood; else only one that a profile can say.
    """
    devices: list[DeviceParts] = []
    open_ = False
    for item in items:
        role = item.record.role if by_name or item.representable else ""
        if role == "device":
            devices.append(DeviceParts(item))
            open_ = False
        elif devices and role != "end":
            open_ = _take(devices[-1], item, role, open_)
    return devices


def _take(device: DeviceParts, item: Descriptor, role: str, open_: bool) -> bool:
    """Put an item in its place in a device; return whether a choice is open after it."""
    if role == "choice":
        device.choices.append(ChoiceParts(item))
        return True
    if role == "choices-end":
        device.ends.append(item)
        return False
    if open_:
        device.choices[-1].items.append(item)
    elif device.choices:
        device.after.append(item)
    else:
        device.before.append(item)
    return open_


def id_words(item: Descriptor) -> str:
    """Return the ID in an item; its bytes where they spell none."""
    head = item.record.key_field
    value = item.values.get(head.key)
    if isinstance(value, str):
        return value
    return hex_text(item.content[head.at : head.at + (head.size or 0)]) or "without ID"
