"""The whole rehearsal: chips load, cards stand on the bus, the software looks for them.

It knows the slots, and so can say what the software can't: which cards it never saw and why, and
what deserves a look on those that it saw.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romtool.answers.rehearsal import Remark, Step
from romtool.assign.answer import Assignment, Given
from romtool.assign.host import EMPTY_PC, Entry, Host, taken_with
from romtool.image.model import Image
from romtool.rehearse import ALL, BOOT, NONE, software
from romtool.rehearse.bus import Backplane
from romtool.rehearse.card import Card
from romtool.rehearse.chip import LoadedChip, load
from romtool.rehearse.device import LogicalDevice
from romtool.rehearse.identify import IsolationResult, IsolationRound, checksum_of, identity
from romtool.rehearse.registers import held
from romtool.rehearse.software import FoundCard, PowerUpResult
from romtool.rehearse.steps import Note, Steps, remark
from romtool.requirements.collide import Placed
from romtool.requirements.model import Alternative, DeviceRequirements
from romtool.requirements.read import wired
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check


@dataclass(frozen=True)
class Slot:
    """A card in its slot: the name of its image, what its chip loaded, the card on the bus.

    `card` is None where the chip loaded nothing.
    """

    name: str
    image: Image
    loaded: LoadedChip
    card: Card | None

    @property
    def id(self) -> str | None:
        """The card's ID; None where none can be spelt."""
        return self.image.card_id if self.image.layout else None


@dataclass(frozen=True)
class SeenCard:
    """A card that the software saw, and the slot in which it stands."""

    slot: int
    card: FoundCard


@dataclass(frozen=True)
class UnseenCard:
    """A card that the software never saw: its slot, and why."""

    slot: int
    id: str | None
    why: tuple[Remark, ...]


@dataclass(frozen=True)
class CardRemark:
    """What deserves a look on a card that was seen: its slot, the device if it is one's, why."""

    slot: int
    device: DeviceRequirements | None
    remark: Remark


@dataclass(frozen=True)
class Rehearsal:
    """What a power-up brings: what the PC sees, what it doesn't, and every step on the way.

    `microseconds`: what is waited for.
    """

    host: Host
    configured_by: str
    slots: tuple[Slot, ...]
    read_port: int | None
    seen: tuple[SeenCard, ...]
    lost: tuple[UnseenCard, ...]
    warnings: tuple[CardRemark, ...]
    assignment: Assignment
    microseconds: int
    steps: tuple[Step, ...]

    @property
    def is_unconfigured(self) -> bool:
        """Whether nobody configures the cards."""
        return self.configured_by == NONE

    def given_in(self, slot: int) -> dict[int, Alternative | None]:
        """Return what each device of a card ends up with, by its number; None: it stays off."""
        found: dict[int, Alternative | None] = {}
        for seen in self.seen:
            for device in seen.card.devices if seen.slot == slot else ():
                given = device.given if device.is_on else None
                found[device.requirements.number] = _settled(device.requirements, given)
        card = self.slots[slot].card
        for one in card.devices if self.is_unconfigured and card is not None else ():
            found[one.requirements.number] = _settled(one.requirements, one.power_up)
        return found

    def logical(self, slot: int, device: DeviceRequirements) -> LogicalDevice | None:
        """Return what a device really is on the bus; None where the card has none of its number."""
        card, number = self.slots[slot].card, device.number
        return card.devices[number] if card is not None and number < len(card.devices) else None


def rehearse(
    catalog: Catalog,
    images: Sequence[tuple[str, Image]],
    solve: software.Solver,
    host: Host = EMPTY_PC,
    configured_by: str = ALL,
) -> Rehearsal:
    """Play the power-up of a PC with these images (each with its name) in its cards' EEPROMs."""
    steps = Steps(catalog)
    slots = [_slot(catalog, place, *one, steps) for place, one in enumerate(images)]
    cards = [slot.card for slot in slots if slot.card is not None]
    bus = Backplane(catalog.bus, cards, host.ranges(catalog.port_resource.name))
    steps("reset-drv")
    bus.reset_drv()
    for card in cards:
        for device in card.devices:
            if device.power_up is not None:
                what = given_words(catalog, device.power_up)
                steps("active", slot=card.slot + 1, device=device.requirements.id, what=what)
    if configured_by == NONE:
        wait = catalog.protocol.waits.reset
        found = PowerUpResult(IsolationResult(None, (), None), (), Assignment(True, 0, ()), wait)
    else:
        boot = configured_by == BOOT
        found = software.power_up(catalog, bus, host, solve, steps, boot_only=boot)
    seen = tuple(SeenCard(_slot_of(slots, card.csn), card) for card in found.cards)
    clashes = [tuple(cards[n].slot for n in clash) for clash in sorted(bus.clashes)]
    return Rehearsal(
        host,
        configured_by,
        tuple(slots),
        found.isolated.read_port,
        seen,
        tuple(_losses(catalog, slots, found.isolated, configured_by)),
        (
            *_warnings(catalog, slots, seen, clashes, found.isolated.read_port),
            *(_from_start(catalog, slots, host) if configured_by == NONE else ()),
        ),
        found.assignment,
        found.elapsed,
        tuple(steps.all),
    )


def _settled(requirements: DeviceRequirements, given: Given | None) -> Alternative | None:
    return None if given is None else given.settled(given.of(requirements.alternatives))


def given_words(catalog: Catalog, given: Given) -> str:
    """Return what a device gets, in words: IRQ 5; DMA 1; I/O 220h-22Fh."""
    return "; ".join(words for *_, words in _values(catalog, given)) or "needs nothing"


def _values(catalog: Catalog, given: Given) -> Iterator[tuple[str, int | Placed, str]]:
    """Yield what a device gets, kind by kind: the kind, the value, both in words."""
    for kind, resource in catalog.resources.items():
        for value in given.values[kind]:
            if value is not None:
                shown = value if isinstance(value, int) else value.in_words()
                yield kind, value, f"{resource.short} {shown}"


def _slot(catalog: Catalog, place: int, name: str, image: Image, note: Note) -> Slot:
    """Let the chip of an image load, and put the card in its slot."""
    loaded = load(image)
    card = None
    if loaded.data is None:
        note("load-ignored", slot=place + 1, name=name)
    else:
        responds = loaded.ignores_key is None
        card = Card(catalog, loaded.data, responds_to_key=responds, slot=place, note=note)
        step = "load" if responds else "load-no-key"
        note(step, slot=place + 1, name=name, size=len(loaded.data))
    return Slot(name, image, loaded, card)


def _slot_of(slots: Sequence[Slot], csn: int) -> int:
    """Return the first slot whose card has this number."""
    return next(n for n, slot in enumerate(slots) if slot.card and slot.card.csn == csn)


# --- why the software never saw a card ------------------------------------------------------------


def _losses(
    catalog: Catalog,
    slots: Sequence[Slot],
    isolated: IsolationResult,
    configured_by: str,
) -> Iterator[UnseenCard]:
    """Yield every card that got no number of its own, with the reason."""
    for place, slot in enumerate(slots):
        why = tuple(_why(catalog, slots, place, isolated, configured_by))
        if why:
            yield UnseenCard(place, slot.id, why)


def _why(
    catalog: Catalog,
    slots: Sequence[Slot],
    place: int,
    isolated: IsolationResult,
    configured_by: str,
) -> Iterator[Remark]:
    slot = slots[place]
    if slot.loaded.ignored is not None:
        yield slot.loaded.ignored
    elif configured_by == NONE or slot.card is None:
        return
    elif slot.loaded.ignores_key is not None:
        yield slot.loaded.ignores_key
    elif slot.card.csn:
        yield from _duplicate(catalog, slots, place, slot.card.csn)
    elif isolated.read_port is None:
        yield remark(catalog, "no-read-port")
    else:
        yield from _unnumbered(catalog, slots, slot.card, isolated.last)


def _duplicate(catalog: Catalog, slots: Sequence[Slot], place: int, csn: int) -> Iterator[Remark]:
    for other in slots[:place]:
        if other.card is not None and other.card.csn == csn:
            _, serial = identity(catalog, other.card.identifier)
            name = "duplicate-reason-none" if serial is None else "duplicate-reason-same"
            reason = remark(catalog, name, serial=serial).text
            yield remark(catalog, "duplicate", name=other.name, reason=reason, csn=csn)
            return


def _unnumbered(
    catalog: Catalog, slots: Sequence[Slot], card: Card, last: IsolationRound | None
) -> Iterator[Remark]:
    """Yield why a card that responds to the key got no number."""
    field, sent = catalog.identifier.check_field, card.identifier
    computed = checksum_of(catalog, sent)
    if sent[field.at] != computed:
        yield remark(catalog, "identifier-wrong", stored=sent[field.at], computed=computed)
        assert isinstance(field.kind, Check)
        if sent[field.at] == field.kind.left_out:
            yield remark(catalog, "identifier-left-out")
    elif computed == catalog.pnp_software.refused_checksum:
        yield remark(catalog, "identifier-refused", computed=computed)
    elif last is None:
        yield remark(catalog, "no-number", most=catalog.pnp_software.last_csn)
    else:
        heard = [slot for slot in slots if slot.card is not None and slot.card.responds_to_key]
        first = next((s for s in heard if s.card and s.card.identifier == last.raw), None)
        if first is not None:
            yield remark(catalog, "after", id=first.id, name=first.name)
        else:
            yield remark(catalog, "disturbed")


# --- what deserves a look, though the software makes nothing of it --------------------------------


def _warnings(
    catalog: Catalog,
    slots: Sequence[Slot],
    seen: Sequence[SeenCard],
    clashes: Sequence[tuple[int, ...]],
    read_port: int | None,
) -> Iterator[CardRemark]:
    """Yield what deserves a look; `clashes`: slots that answered a read with different things."""
    for one in seen:
        clashing = sorted({n for clash in clashes if one.slot in clash for n in clash})
        if clashing:
            names = " and ".join(slots[n].name for n in clashing)
            words = {"names": names, "csn": one.card.csn}
            yield CardRemark(one.slot, None, remark(catalog, "garbage", **words))
        lead = slots[one.slot].image.lead
        if lead is not None:
            yield CardRemark(one.slot, None, remark(catalog, "lead-played", count=len(lead)))
        read = one.card.read
        for said in (read.doubt, read.problem):
            if said is not None:
                yield CardRemark(one.slot, None, said)
        if read.problem is None and one.card.sums_right is False:
            yield CardRemark(one.slot, None, remark(catalog, "end-checksum"))
        for device in one.card.devices:
            if device.why_off is not None:
                yield CardRemark(one.slot, device.requirements, device.why_off)
            elif device.is_on:
                for said in _on(catalog, slots[one.slot], device.requirements.number, read_port):
                    yield CardRemark(one.slot, device.requirements, said)


def _on(catalog: Catalog, slot: Slot, number: int, read_port: int | None) -> Iterator[Remark]:
    """Yield what deserves a look on a device that is on."""
    if slot.card is None or number >= len(slot.card.devices):
        return
    device = slot.card.devices[number]
    if read_port is not None and device.answer(read_port) is not None:
        yield remark(catalog, "read-port-spoilt", port=read_port)
    for place in device.places:
        if place.block.field("line") is not None:
            line = held(place, "line", device.registers)
            resource = catalog.resources[place.block.resource]
            connected = wired(slot.image, resource)
            if line is not None and connected is not None and line not in connected:
                assert slot.image.layout is not None
                key = slot.image.layout.wiring(resource.name)[0].key
                words = {"title": resource.title, "line": line, "key": key}
                yield remark(catalog, "undriven", **words)


def _from_start(catalog: Catalog, slots: Sequence[Slot], host: Host) -> Iterator[CardRemark]:
    """Yield what deserves a look on devices that are on from the start, and that nobody moves."""
    active = [
        (place, device.requirements, device.power_up)
        for place, slot in enumerate(slots)
        for device in (slot.card.devices if slot.card is not None else ())
        if device.power_up is not None
    ]
    taken: list[tuple[DeviceRequirements | None, str, Entry]] = [
        (None, f"{entry.what} of {host.name}" if entry.what else host.name, entry)
        for entry in host.entries()
    ]
    taken += [
        (device, f"{device.id} of {slots[place].name}", entry)
        for place, device, given in active
        for kind, value, _ in _values(catalog, given)
        for entry in taken_with(catalog, kind, value)
    ]
    for place, device, given in active:
        for said in _on(catalog, slots[place], device.number, None):
            yield CardRemark(place, device, said)
        for kind, value, what in _values(catalog, given):
            owners = dict.fromkeys(
                who
                for owner, who, entry in taken
                if owner is not device and entry.kind == kind and entry.has_taken(catalog, value)
            )
            if owners:
                who = " and ".join(owners)
                said = remark(catalog, "taken-at-power-up", what=what, who=who)
                yield CardRemark(place, device, said)
