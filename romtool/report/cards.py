"""What a card says of itself and of its devices, as tables."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.image.card import Card, Device, card_of, id_in
from romtool.image.explain import stated
from romtool.image.model import Image
from romtool.image.walk import Descriptor
from romtool.report.pc import InThatPC
from romtool.schema.numbers import clip

MOST_DEVICES, MOST_CHOICES, MOST_ITEMS = 64, 64, 24
"""The most devices of a card, choices of a device and items of a choice that are shown."""

LONGEST_NAME = 200


@dataclass(frozen=True)
class Fact:
    """Something to know, by its name; `remark` is said less loudly."""

    title: str
    words: str
    remark: str = ""


@dataclass(frozen=True)
class ChoiceRow:
    """What applies together: `number` counts from 1, 0 for what always applies."""

    number: int
    priority: str
    asks: tuple[str, ...]
    is_given: bool = False


@dataclass(frozen=True)
class DeviceTable:
    """A device (counted from 1) with its choices; `left_out`: choices too many."""

    number: int
    id: str
    name: str
    facts: tuple[Fact, ...]
    rows: tuple[ChoiceRow, ...]
    left_out: int


@dataclass(frozen=True)
class CardTable:
    """The card with its settings and its devices; `left_out`: devices too many."""

    id: str
    name: str
    facts: tuple[Fact, ...]
    settings: tuple[Fact, ...]
    devices: tuple[DeviceTable, ...]
    left_out: int


def card_table(image: Image, pc: InThatPC | None) -> CardTable:
    """Return what the card of an image says."""
    card = card_of(image)
    devices = [
        _device(device, number, pc) for number, device in enumerate(card.devices[:MOST_DEVICES])
    ]
    return CardTable(
        image.card_id or "",
        card_name(card),
        tuple(_card_facts(image, card)),
        tuple(_settings(image)),
        tuple(devices),
        max(0, len(card.devices) - MOST_DEVICES),
    )


def card_name(card: Card) -> str:
    """Return the name of a card, empty if it has none."""
    return clip(str(card.name.key_value), LONGEST_NAME) if card.name else ""


def _card_facts(image: Image, card: Card) -> Iterator[Fact]:
    values = image.identifier_values[0]
    identifier = image.catalog.identifier
    for field in identifier.field_layout.fields:
        if field is not identifier.check_field:
            words = field.kind.show(values[field.key])
            yield Fact(field.title, words if values[field.key] is not None else "none")
    if card.version is not None:
        yield Fact("version", card.version.words)
    if card.items:
        yield Fact("also", "; ".join(_words(card.items)))


def _settings(image: Image) -> Iterator[Fact]:
    """Yield the wiring, what is turned on, and the settings that are not as usual."""
    typical = 0
    for field in image.layout.config_fields if image.layout else ():
        value = image.config[field.key]
        words = stated(field.kind, image.layout_stored[field.key], None)
        if field.kind.is_wiring or field.kind.is_on(value):
            yield Fact(field.title, words)
        elif field.is_worth_telling(value):
            usual = field.kind.show(field.default)
            yield Fact(field.title, words, f"typical: {usual}")
        else:
            typical += 1
    if typical:
        yield Fact("the rest", f"{typical} settings, all typical")


def _device(device: Device, number: int, pc: InThatPC | None) -> DeviceTable:
    given = pc.given(number) if pc is not None else None
    rows = []
    if device.items or not (device.choices or device.after):
        rows.append(ChoiceRow(0, "", tuple(_words(device.items))))
    for index, choice in enumerate(device.choices[:MOST_CHOICES]):
        is_given = given is not None and given.choice == index
        asks = tuple(_words(choice.items))
        rows.append(ChoiceRow(index + 1, choice.priority_words, asks, is_given))
    if device.after:
        rows.append(ChoiceRow(0, "", tuple(_words(device.after))))
    name = clip(str(device.name.key_value), LONGEST_NAME) if device.name else ""
    left_out = max(0, len(device.choices) - MOST_CHOICES)
    facts = tuple(_device_facts(device))
    return DeviceTable(number + 1, device.id, name, facts, tuple(rows), left_out)


def _device_facts(device: Device) -> Iterator[Fact]:
    if device.compatible:
        ids = [id_in(item) for item in device.compatible[:MOST_ITEMS]]
        yield Fact("compatible with", ", ".join(ids))
    for field in device.start.record.profile_fields[1:] if device.values else ():
        if not field.is_default(device.values[field.key]):
            yield Fact(field.title, field.kind.show(device.values[field.key]))


def _words(items: Sequence[Descriptor]) -> Iterator[str]:
    for item in items[:MOST_ITEMS]:
        yield clip(item.words, LONGEST_NAME)
    if len(items) > MOST_ITEMS:
        yield f"{len(items) - MOST_ITEMS} more"
