"""A rehearsal as its answer: what is told of it, as plain data."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.answers.rehearsal import LostCard, PlayedCard, PlayedDevice, RehearsalAnswer
from romtool.assign.answer import Given
from romtool.assign.outcome import DeviceOutcome, got
from romtool.rehearse.device import LogicalDevice
from romtool.rehearse.identify import identity
from romtool.rehearse.rehearsal import Rehearsal, SeenCard, Slot
from romtool.rehearse.software import FoundCard
from romtool.rehearse.steps import remark
from romtool.requirements.model import DeviceRequirements
from romtool.schema.catalog import Catalog


def answer_of(catalog: Catalog, found: Rehearsal) -> RehearsalAnswer:
    """Return what is told of a rehearsal."""
    lost = (LostCard(o.slot, found.slots[o.slot].name, o.id, o.why) for o in found.lost)
    return RehearsalAnswer(
        host=found.host.name,
        configured_by=found.configured_by,
        slots=len(found.slots),
        read_port=found.read_port,
        milliseconds=found.microseconds / 1000,
        cards=tuple(_seen(catalog, found, seen) for seen in found.seen),
        unconfigured=tuple(_unconfigured(catalog, found)),
        lost=tuple(lost),
        conflict=found.assignment.conflict,
        steps=found.steps,
    )


def _seen(catalog: Catalog, found: Rehearsal, seen: SeenCard) -> PlayedCard:
    """Return a card that the software saw."""
    slot, card = found.slots[seen.slot], seen.card
    devices = []
    for one in card.devices:
        remarks = [w.remark for w in found.warnings if w.device is one.requirements]
        really = found.logical(seen.slot, one.requirements)
        told = _outcome(catalog, slot, one.requirements, one.given)
        registers = _registers(catalog, really)
        devices.append(PlayedDevice(told, one.is_on, registers, tuple(remarks)))
    card_id, serial = identity(catalog, card.heard.raw)
    of_card = (w.remark for w in found.warnings if w.slot == seen.slot and w.device is None)
    return PlayedCard(
        slot=seen.slot,
        file=slot.name,
        csn=card.csn,
        id=card_id,
        serial=serial,
        resource_bytes=len(card.read.data),
        has_end=card.read.problem is None,
        checksum=_checksum(card),
        remarks=tuple(of_card),
        devices=tuple(devices),
    )


def _checksum(card: FoundCard) -> str:
    end = card.image.end_checksum if card.image is not None else None
    return "missing" if end is None else end.verdict


def _unconfigured(catalog: Catalog, found: Rehearsal) -> Iterator[PlayedCard]:
    """Yield the cards that nobody looks for: only what is active from the start is on."""
    for place, slot in enumerate(found.slots if found.is_unconfigured else ()):
        if slot.card is None:
            continue
        devices = []
        for one in slot.card.devices:
            told = _outcome(catalog, slot, one.requirements, one.power_up)
            remarks = [w.remark for w in found.warnings if w.device is one.requirements]
            if not one.is_active:
                remarks.append(remark(catalog, "nobody"))
            registers = _registers(catalog, one)
            devices.append(PlayedDevice(told, one.is_active, registers, tuple(remarks)))
        card_id, serial = identity(catalog, slot.card.identifier)
        yield PlayedCard(
            slot=place,
            file=slot.name,
            csn=None,
            id=card_id,
            serial=serial,
            resource_bytes=0,
            has_end=False,
            checksum="missing",
            remarks=(),
            devices=tuple(devices),
        )


def _outcome(
    catalog: Catalog, slot: Slot, device: DeviceRequirements, given: Given | None
) -> DeviceOutcome:
    if given is None:
        return DeviceOutcome(device, None, None, (), ())
    alternative = given.of(device.alternatives)
    return DeviceOutcome(device, given, alternative, tuple(got(catalog, slot.image, given)), ())


def _registers(catalog: Catalog, device: LogicalDevice | None) -> list[list[int]]:
    """Return the registers that the standard gives a device: number, and what stands there."""
    if device is None:
        return []
    protocol = catalog.protocol
    numbers = (n for n in protocol.device_registers if n not in protocol.vendor_registers)
    return [[number, device.read(number)] for number in numbers]
