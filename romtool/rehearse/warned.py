"""What deserves a look on the cards that were seen, though the software makes nothing of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.rehearse.losses import Slot
from romtool.rehearse.registers import held
from romtool.rehearse.remarks import Said, say
from romtool.rehearse.software import FoundCard
from romtool.requirements.model import DeviceRequirements
from romtool.requirements.wired import wired
from romtool.schema.catalog import Catalog


@dataclass(frozen=True)
class Warned:
    """What deserves a look on a card that was seen: its slot, the device if it is one's, why."""

    slot: int
    device: DeviceRequirements | None
    said: Said


@dataclass(frozen=True)
class Seen:
    """A card that the software saw, and the slot in which it stands."""

    slot: int
    card: FoundCard


def warnings(
    catalog: Catalog,
    slots: Sequence[Slot],
    seen: Sequence[Seen],
    clashes: Sequence[tuple[int, ...]],
) -> Iterator[Warned]:
    """Yield what deserves a look; `clashes`: slots that answered a read with different things."""
    for one in seen:
        clashing = sorted({n for clash in clashes if one.slot in clash for n in clash})
        if clashing:
            names = " and ".join(slots[n].name for n in clashing)
            yield Warned(one.slot, None, say(catalog, "garbage", names=names, csn=one.card.csn))
        if one.card.read.problem is not None:
            yield Warned(one.slot, None, one.card.read.problem)
        elif one.card.sums_right is False:
            yield Warned(one.slot, None, say(catalog, "end-checksum"))
        for device in one.card.devices:
            if device.problem is not None:
                yield Warned(one.slot, device.requirements, device.problem)
            elif device.is_on:
                for said in _undriven(catalog, slots[one.slot], device.requirements.number):
                    yield Warned(one.slot, device.requirements, said)


def _undriven(catalog: Catalog, slot: Slot, number: int) -> Iterator[Said]:
    """Yield the lines in a device's registers that the frame's wiring puts on no pin."""
    if slot.card is None or slot.image.layout is None or number >= len(slot.card.devices):
        return
    registers = slot.card.devices[number].registers
    for resource in catalog.resources.values():
        connected = wired(slot.image, resource)
        for line in held(catalog.protocol, resource.name, "line", registers):
            if connected is not None and line is not None and line not in connected:
                key = slot.image.layout.wiring(resource.name)[0].key
                words = {"title": resource.title, "line": line, "key": key}
                yield say(catalog, "undriven", **words)
