"""The whole rehearsal: chips load, cards stand on the bus, the software looks for them.

It knows the slots, and so can say what the software can't: which cards it never saw, and which
lines it gave that no pin of the chip is wired to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.assign.answer import Assignment
from romtool.assign.host import EMPTY_PC, Host
from romtool.image.model import Image
from romtool.rehearse import software
from romtool.rehearse.bus import Backplane
from romtool.rehearse.card import Card
from romtool.rehearse.chip import load
from romtool.rehearse.losses import Lost, Slot, losses
from romtool.rehearse.registers import held
from romtool.rehearse.remarks import Said, say
from romtool.rehearse.steps import Note, Step, Steps
from romtool.schema.catalog import Catalog
from romtool.schema.kinds import Pins
from romtool.wants.needs import DeviceWants


@dataclass(frozen=True)
class Warned:
    """What deserves a look on a card that was seen: its slot, the device if it is one's, why."""

    slot: int
    device: DeviceWants | None
    said: Said


@dataclass(frozen=True)
class Seen:
    """A card that the software saw, and the slot in which it stands."""

    slot: int
    card: software.FoundCard


@dataclass(frozen=True)
class Rehearsal:
    """What a power-up brings: what the PC sees, what it doesn't, and every step on the way."""

    host: Host
    slots: tuple[Slot, ...]
    read_port: int | None
    seen: tuple[Seen, ...]
    lost: tuple[Lost, ...]
    warnings: tuple[Warned, ...]
    assignment: Assignment
    steps: tuple[Step, ...]

    @property
    def is_well(self) -> bool:
        """Whether every card is seen and every device is on."""
        devices = [device for seen in self.seen for device in seen.card.devices]
        return not self.lost and all(device.is_on for device in devices)


def rehearse(
    catalog: Catalog,
    images: Sequence[tuple[str, Image]],
    solve: software.Solver,
    host: Host = EMPTY_PC,
) -> Rehearsal:
    """Play the power-up of a PC with these images (each with its name) in its cards' EEPROMs."""
    steps = Steps()
    slots = [_slot(catalog, place, *one, steps) for place, one in enumerate(images)]
    cards = [slot.card for slot in slots if slot.card is not None]
    bus = Backplane(catalog.bus, cards, host.io)
    found = software.power_up(catalog, bus, host, solve, steps)
    seen = tuple(Seen(_slot_of(slots, card.csn), card) for card in found.cards)
    clashes = [tuple(cards[n].slot for n in clash) for clash in sorted(bus.clashes)]
    return Rehearsal(
        host,
        tuple(slots),
        found.isolated.read_port,
        seen,
        tuple(losses(catalog, slots, found.isolated)),
        tuple(_warnings(catalog, slots, seen, clashes)),
        found.assignment,
        tuple(steps.taken),
    )


def _slot(catalog: Catalog, place: int, name: str, image: Image, note: Note) -> Slot:
    """Let the chip of an image load, and put the card in its slot."""
    loaded = load(image)
    card = None
    if loaded.data is not None:
        heeds = loaded.deaf is None
        card = Card(catalog, loaded.data, heeds_key=heeds, slot=place, note=note)
    note("load", slot=place, name=name, loaded=loaded)
    return Slot(name, image, loaded, card)


def _slot_of(slots: Sequence[Slot], csn: int) -> int:
    """Return the first slot whose card has this number."""
    return next(n for n, slot in enumerate(slots) if slot.card and slot.card.csn == csn)


def _warnings(
    catalog: Catalog,
    slots: Sequence[Slot],
    seen: Sequence[Seen],
    clashes: Sequence[tuple[int, ...]],
) -> Iterator[Warned]:
    for one in seen:
        for clash in clashes:
            if one.slot in clash:
                names = " and ".join(slots[n].name for n in clash)
                said = say(catalog, "garbage", names=names, csn=one.card.csn)
                yield Warned(one.slot, None, said)
        if one.card.read.fault is not None:
            yield Warned(one.slot, None, one.card.read.fault)
        elif one.card.sums_right is False:
            yield Warned(one.slot, None, say(catalog, "end-checksum"))
        for device in one.card.devices:
            if device.fault is not None:
                yield Warned(one.slot, device.wants, device.fault)
            elif device.is_on:
                for said in _undriven(catalog, slots[one.slot], device.wants.number):
                    yield Warned(one.slot, device.wants, said)


def _undriven(catalog: Catalog, slot: Slot, number: int) -> Iterator[Said]:
    """Yield the lines in a device's registers that the frame's wiring puts on no pin."""
    if slot.card is None or slot.image.frame is None or number >= len(slot.card.devices):
        return
    registers = slot.card.devices[number].registers
    for resource in catalog.resources.values():
        fields = slot.image.frame.wiring(resource.name)
        wired = set[int]()
        for field in fields:
            assert isinstance(field.kind, Pins)
            lines = field.kind.connected(slot.image.config[field.key])
            wired |= {resource.renamed.get(line, line) for line in lines}
        for line in held(catalog.protocol, resource.name, "line", registers):
            if fields and line is not None and line not in wired:
                words = {"title": resource.title, "line": line, "key": fields[0].key}
                yield say(catalog, "undriven", **words)
