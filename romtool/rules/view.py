"""What the checks look at: an image with its devices, their choices and needs, taken apart once."""

from __future__ import annotations

import functools
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from romtool.image.card import Card, Device, Place, card_of
from romtool.image.model import Image
from romtool.image.walk import Descriptor
from romtool.requirements.model import CardRequirements, DeviceRequirements, Requirement
from romtool.requirements.read import requirement_of, requirements_in
from romtool.rules.findings import Finding, finding
from romtool.schema.catalog import Catalog

MOST_NUMBERS = 4
"""The most choices or devices that are named in a message; the rest is counted."""


class Trouble(NamedTuple):
    """What a rule has against an item; the same words about several items are told once."""

    rule: str
    item: Descriptor
    words: tuple[tuple[str, object], ...]


def trouble(rule: str, item: Descriptor, **words: object) -> Trouble:
    """Return what a rule has against an item, with these words for its message."""
    return Trouble(rule, item, tuple(words.items()))


class View:
    """An image taken apart for the checks."""

    def __init__(self, image: Image) -> None:
        self.image = image
        self.catalog: Catalog = image.catalog

    @functools.cached_property
    def card(self) -> Card:
        """The items, section by section."""
        return card_of(self.image)

    @functools.cached_property
    def requirements(self) -> CardRequirements:
        """What each device asks for."""
        return requirements_in(self.image, self.card.devices)

    @property
    def devices(self) -> Iterator[tuple[Device, DeviceRequirements]]:
        """The devices: their items, and what they ask for."""
        return zip(self.card.devices, self.requirements.devices, strict=True)

    @functools.cached_property
    def needs(self) -> list[tuple[Descriptor, Requirement]]:
        """The items that ask for something, those that belong to no device too."""
        found = ((item, requirement_of(self.catalog, item)) for item in self.image.items)
        return [(item, need) for item, need in found if need is not None]

    @functools.cached_property
    def _places(self) -> dict[int, Place]:
        """The place of each item (by its offset): device and choice, counted from 0."""
        return self.card.places()

    def where(self, items: Iterable[Descriptor]) -> str:
        """Return where these items stand, in the card's terms: `device QRL0001, choice 2`."""
        found: dict[int, list[int | None]] = {}
        for item in items:
            number, choice = self._places.get(item.offset, (-1, None))
            choices = found.setdefault(number, [])
            if choice not in choices:
                choices.append(choice)
        whole = all(number >= 0 and choices == [None] for number, choices in found.items())
        if len(found) > 1 and whole:
            return f"devices {joined([self.card.devices[number].id for number in found])}"
        words = [self._place(number, choices) for number, choices in found.items()]
        return joined(words, "; ", "; ")

    def _place(self, number: int, choices: Sequence[int | None]) -> str:
        if number < 0:
            return "card"
        device = f"device {self.card.devices[number].id}"
        numbers = [str(choice + 1) for choice in choices if choice is not None]
        if None in choices or not numbers:
            return device
        plural = "s" if len(numbers) > 1 else ""
        return f"{device}, choice{plural} {joined(numbers)}"

    def told_once(self, troubles: Iterable[Trouble]) -> Iterator[Finding]:
        """Yield a finding for each trouble; those in the same words are one, at the first item."""
        found: dict[tuple[str, tuple[tuple[str, object], ...]], list[Descriptor]] = {}
        for one in troubles:
            found.setdefault((one.rule, one.words), []).append(one.item)
        for (rule, words), items in found.items():
            where = self.where(items)
            yield finding(self.catalog, rule, items[0].offset, where=where, **dict(words))


def joined(words: Sequence[str], between: str = ", ", last: str = " and ") -> str:
    """Join words the way one says them, the first few of many: 1, 2 and 3."""
    shown = list(words[:MOST_NUMBERS])
    if len(words) > len(shown):
        shown.append(f"{len(words) - len(shown)} more")
    if len(shown) == 1:
        return shown[0]
    return between.join(shown[:-1]) + last + shown[-1]
