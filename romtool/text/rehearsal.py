"""A rehearsal for people: what the PC sees, what each device got, what is lost and why."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.assign.answer import Given
from romtool.rehearse.rehearsal import Rehearsal
from romtool.rehearse.resources import identity, requirements_in
from romtool.rehearse.software import FoundCard, FoundDevice
from romtool.rehearse.warned import Seen
from romtool.requirements.model import DeviceRequirements
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, sizes
from romtool.text.assignment import Card, choice_words, clash_lines
from romtool.text.page import SEVERITY_STYLES, line, title
from romtool.text.trace import card_words, trace_lines


def rehearsal_lines(catalog: Catalog, found: Rehearsal, *, trace: bool) -> Iterator[str]:
    """Yield what a person reads of a rehearsal, the steps before it if they are asked for."""
    if trace:
        yield from title("Step by step")
        yield from trace_lines(catalog, found.steps)
        yield ""
    counted = f"{len(found.seen)} of {len(found.slots)} cards seen"
    yield from title(f"Power-up: {found.host.name}", counted)
    yield from line("READ_DATA", _read_port(found))
    for seen in found.seen:
        yield ""
        yield from _card(catalog, found, seen)
    for lost in found.lost:
        yield ""
        slot = found.slots[lost.slot]
        yield from line("Lost", f"{lost.id or 'no ID'}  {slot.name}", style="red")
        for said in lost.why:
            yield from line("", said.text)
    if found.assignment.conflict is not None:
        yield ""
        cards = [_asking(found, seen) for seen in found.seen]
        yield from clash_lines(catalog, cards, found.host, found.assignment.conflict)


def _asking(found: Rehearsal, seen: Seen) -> Card:
    """Return a card that was seen as one that asks for something."""
    slot = found.slots[seen.slot]
    return Card(slot.name, slot.image, requirements_in(seen.card.image))


def _read_port(found: Rehearsal) -> str:
    if found.read_port is None:
        return "no port is free"
    return address(found.read_port) if found.seen else "no card answers at any port"


def _card(catalog: Catalog, found: Rehearsal, seen: Seen) -> Iterator[str]:
    card = seen.card
    words = card_words(*identity(catalog, card.heard.raw))
    yield from line(f"Card {card.csn}", f"{words}  {found.slots[seen.slot].name}")
    yield from line("read", _read(card), indent=2)
    yield from _warnings(found, seen.slot, None)
    for device in card.devices:
        yield from line(device.requirements.id, _device(catalog, device), indent=2)
        yield from _warnings(found, seen.slot, device.requirements)


def _read(card: FoundCard) -> str:
    if card.read.problem is not None:
        return f"{sizes(len(card.read.data))}, no end item"
    end = card.image.end_checksum if card.image else None
    if end is None:
        right = "missing"
    elif end.stored == end.computed:
        right = "right"
    else:
        right = "not checked" if end.ok else "wrong"
    return f"{sizes(len(card.read.data))} to the end item, end checksum {right}"


def _warnings(found: Rehearsal, slot: int, device: DeviceRequirements | None) -> Iterator[str]:
    for warned in found.warnings:
        if (warned.slot, warned.device) == (slot, device):
            style = SEVERITY_STYLES["warning"]
            yield from line("warning", warned.said.text, indent=2, style=style)


def _device(catalog: Catalog, device: FoundDevice) -> str:
    name = f"{device.requirements.name}: " if device.requirements.name else ""
    if device.given is None:
        return f"{name}nothing, and stays off"
    choice = choice_words(catalog, device.requirements, device.given)
    words = [f"choice {choice}"] if choice else []
    return name + "; ".join([*words, *_given(device.given)] or ["needs nothing"])


def _given(given: Given) -> Iterator[str]:
    yield from (f"IRQ {line}" for line in given.irq if line is not None)
    yield from (f"DMA {channel}" for channel in given.dma if channel is not None)
    yield from (f"I/O {ports.in_words()}" for ports in given.io if ports is not None)
    yield from (f"memory {range_.in_words()}" for range_ in given.memory if range_ is not None)
