"""The whole rehearsal: chips load, cards stand on the bus, the software looks for them.

It knows the slots, and so can say what the software can't: which cards it never saw, and which
lines it gave that no pin of the chip is wired to.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from romtool.assign.answer import Assignment
from romtool.assign.host import EMPTY_PC, Host
from romtool.image.model import Image
from romtool.rehearse import software
from romtool.rehearse.bus import Backplane
from romtool.rehearse.card import Card
from romtool.rehearse.chip import load
from romtool.rehearse.losses import Lost, Slot, losses
from romtool.rehearse.steps import Note, Step, Steps
from romtool.rehearse.warned import Seen, Warned, warnings
from romtool.schema.catalog import Catalog


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
        tuple(warnings(catalog, slots, seen, clashes)),
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
