"""A rehearsal for people: what the PC sees, what each device got, what is lost and why."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.rehearse import ALL, BOOT, NONE
from romtool.rehearse.rehearsal import Rehearsal, Seen, Unconfigured, given_words
from romtool.rehearse.software import FoundCard, FoundDevice, identity
from romtool.requirements.model import CardRequirements, DeviceRequirements, card_words
from romtool.requirements.read import requirements_of
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address, sizes
from romtool.text.assignment import Card, choice_words, clash_lines
from romtool.text.page import SEVERITY_STYLES, line, title
from romtool.text.trace import trace_lines

CONFIGURED_BY = {
    ALL: "PnP software: every device",
    BOOT: "a BIOS that leaves all but boot devices to a PnP system",
    NONE: "nobody: no PnP software runs",
}


def rehearsal_lines(catalog: Catalog, found: Rehearsal, *, trace: bool) -> Iterator[str]:
    """Yield what a person reads of a rehearsal, the steps before it if they are asked for."""
    if trace:
        yield from title("Step by step")
        yield from trace_lines(found.steps)
        yield ""
    nobody = found.configured_by == NONE
    counted = "" if nobody else f"{len(found.seen)} of {len(found.slots)} cards seen"
    yield from title(f"Power-up: {found.host.name}", counted)
    yield from line("Configures", CONFIGURED_BY[found.configured_by])
    if not nobody:
        yield from line("READ_DATA", _read_port(found))
    yield from line("Takes", f"{found.microseconds / 1000:g} ms, the waits alone")
    for seen in found.seen:
        yield ""
        yield from _card(catalog, found, seen)
    if nobody:
        yield from _unconfigured(catalog, found)
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
    slot, image = found.slots[seen.slot], seen.card.image
    requirements = CardRequirements(None, None, ()) if image is None else requirements_of(image)
    return Card(slot.name, slot.image, requirements)


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
            yield from line("warning", warned.remark.text, indent=2, style=style)


def _device(catalog: Catalog, device: FoundDevice) -> str:
    name = f"{device.requirements.name}: " if device.requirements.name else ""
    if device.given is None:
        return f"{name}nothing, and stays off"
    choice = choice_words(catalog, device.requirements, device.given)
    words = [f"choice {choice}"] if choice else []
    return name + "; ".join([*words, given_words(catalog, device.given)])


def _unconfigured(catalog: Catalog, found: Rehearsal) -> Iterator[str]:
    """Yield what the devices are that nobody configures, card by card."""
    for place, slot in enumerate(found.slots):
        own = [one for one in found.unconfigured if one.slot == place]
        if slot.card is not None:
            yield ""
            yield from line(f"Slot {place + 1}", f"{slot.id or 'no ID'}  {slot.name}")
            for one in own:
                yield from line(one.device.requirements.id, _alone(catalog, one), indent=2)


def _alone(catalog: Catalog, one: Unconfigured) -> str:
    name = f"{one.device.requirements.name}: " if one.device.requirements.name else ""
    if one.given is None:
        return f"{name}off: {catalog.protocol.remarks['nobody'].text}"
    return f"{name}active from the start: {given_words(catalog, one.given)}"
