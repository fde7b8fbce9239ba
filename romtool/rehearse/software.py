"""PnP software at power-up: key, isolation, resource data, assignment, configuration.

It talks to any object with ports, believes what it reads there, and knows nothing else but what
the host has taken. Where the standard leaves it free, it does what `[pnp_software]` in
the schemas says.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from romtool.answers.rehearsal import Remark
from romtool.assign.answer import Assignment, Given
from romtool.assign.host import Entry, Host
from romtool.image.decode import read_as
from romtool.image.model import Image
from romtool.image.walk import peek_tag
from romtool.limits import MAX_IMAGE
from romtool.rehearse.access import Access, Ports
from romtool.rehearse.device import DeviceData, devices_in
from romtool.rehearse.registers import filled, in_use
from romtool.rehearse.steps import Note, remark, unheard
from romtool.requirements.collide import Placed, answers_at
from romtool.requirements.model import (
    CardRequirements,
    DeviceRequirements,
    RangeRequirement,
    Requirement,
    card_words,
)
from romtool.requirements.read import requirements_of
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Check
from romtool.schema.numbers import address

Solver = Callable[[Catalog, Sequence[CardRequirements], Host, Collection[int]], Assignment]
"""Finds out what each device is given; the last are ports that no device may be given."""


@dataclass(frozen=True)
class Heard:
    """What one round of isolation brought: the identifier's bytes, and the checksum they make."""

    raw: bytes
    computed: int

    @property
    def is_silent(self) -> bool:
        """Whether no card answered at all."""
        return not any(self.raw)

    @property
    def is_right(self) -> bool:
        """Whether the checksum that was sent is that of the bits before it."""
        return self.raw[-1] == self.computed


@dataclass(frozen=True)
class Isolated:
    """The cards found, those of CSN 1, 2, … in order, and READ_DATA, where it was last.

    `last`: the round that brought no card and ended the search; None where numbers ran out, or
    nobody searched.
    """

    read_port: int | None
    cards: tuple[Heard, ...]
    last: Heard | None


@dataclass(frozen=True)
class Read:
    """What was read of a card: whole items only, the identifier before them.

    `problem`: why there is no end item, None if it came; `doubt`: why the bytes may be wrong.
    """

    data: bytes
    problem: Remark | None
    doubt: Remark | None = None


@dataclass(frozen=True)
class FoundDevice:
    """A device as the software sees it: what it was given (None: nothing), and if it is on.

    `why_off`: why it stays off, where there is more to say than that it was given nothing.
    """

    requirements: DeviceRequirements
    given: Given | None
    why_off: Remark | None = None

    @property
    def is_on(self) -> bool:
        """Whether the software turned it on."""
        return self.given is not None and self.why_off is None


@dataclass(frozen=True)
class FoundCard:
    """A card as the software sees it: its number, what isolation brought, what was read of it."""

    csn: int
    heard: Heard
    read: Read
    image: Image | None
    devices: tuple[FoundDevice, ...]

    @property
    def sums_right(self) -> bool | None:
        """Whether the end checksum that was read is right; None where none was."""
        end = self.image.end_checksum if self.image else None
        return None if end is None else end.ok


@dataclass(frozen=True)
class Found:
    """All that the software knows at the end, and how long it has waited (microseconds)."""

    isolated: Isolated
    cards: tuple[FoundCard, ...]
    assignment: Assignment
    elapsed: int


def power_up(
    catalog: Catalog,
    ports: Ports,
    host: Host,
    solve: Solver,
    note: Note = unheard,
    *,
    boot_only: bool = False,
) -> Found:
    """Play the software's part after RESET_DRV, and return what it found.

    `boot_only`: it configures only devices that may take part in boot, as a BIOS does that leaves
    the rest to a PnP system (Spec 6.2.2.2, C.1).
    """
    access, waits = Access(catalog, ports, note), catalog.protocol.waits
    access.delay(waits.reset)
    note("delay", microseconds=waits.reset)
    access.send_key()
    access.write("control", access.mask("control", "reset", "no_csn"))
    note("control")
    access.delay(waits.reset)
    note("delay", microseconds=waits.reset)
    isolated = isolate(access, host)
    reads = [_read_card(access, csn, heard) for csn, heard in enumerate(isolated.cards, 1)]
    images = [read_as(catalog, read.data, catalog.default_layout) for read in reads]
    requirements = [
        CardRequirements(None, None, ()) if image is None else requirements_of(image)
        for image in images
    ]
    devices = [devices_in(image) for image in images]
    work = _Configuring(access, host, solve, requirements, devices, boot_only=boot_only)
    assignment, found = work.settle()
    rows = zip(isolated.cards, reads, images, found, strict=True)
    cards = tuple(
        FoundCard(csn, heard, read, image, tuple(devices))
        for csn, (heard, read, image, devices) in enumerate(rows, 1)
    )
    _activate(access, cards)
    access.write("control", access.mask("control", "wait"))
    note("wait")
    return Found(isolated, cards, assignment, access.elapsed)


# --- isolation (Spec 3.3): which cards are there, one after the other -----------------------------


def isolate(access: Access, host: Host) -> Isolated:
    """Find the cards: at the first port for READ_DATA at which one is heard."""
    found = Isolated(None, (), None)
    for port in access.catalog.pnp_software.read_scan.ports:
        if port not in access.catalog.bus.read_ports:
            continue
        if any(answers_at(access.catalog.bus, taken, port) for taken in host.ranges("io")):
            access.note("port-taken", port=port)
            continue
        access.wake(0)
        access.use_read_port(port)
        found = _rounds(access, port)
        if found.cards:
            break
        access.note("moved", port=port)
    return found


def _rounds(access: Access, port: int) -> Isolated:
    """Number the cards until a round brings none."""
    refused = access.catalog.pnp_software.refused_checksum
    cards: list[Heard] = []
    while len(cards) < access.catalog.pnp_software.last_csn:
        started = access.elapsed
        heard = _round(access)
        taken = heard.is_right and heard.computed != refused
        name = "round" if taken else "round-silent" if heard.is_silent else "round-refused"
        access.note(
            name,
            number=len(cards) + 1,
            bits=heard.raw[:-1],
            sum=heard.raw[-1],
            computed=heard.computed,
            card=card_words(*identity(access.catalog, heard.raw)),
            microseconds=access.elapsed - started,
        )
        if not taken:
            return Isolated(port, tuple(cards), heard)
        cards.append(heard)
        access.note("csn", csn=len(cards))
        access.write("csn", len(cards))
        access.wake(0)
    return Isolated(port, tuple(cards), None)


def _round(access: Access) -> Heard:
    """Read the identifier, a pair of reads a bit, bit 0 of each byte first."""
    reply, waits = access.protocol.isolation_reply, access.protocol.waits
    raw = bytearray(access.catalog.identifier.size)
    access.point("isolation")
    for place in range(8 * len(raw)):
        access.delay(waits.pair if place else waits.round)
        pair = bytes([access.read_on() for _ in reply])
        raw[place // 8] |= (pair == reply) << place % 8
    return Heard(bytes(raw), checksum_of(access.catalog, bytes(raw)))


def checksum_of(catalog: Catalog, identifier: bytes) -> int:
    """Return the checksum that an identifier's bits make (Spec B.2)."""
    field = catalog.identifier.check_field
    assert isinstance(field.kind, Check)
    return field.kind.checksum.of(identifier[field.kind.region(field.at)])


def identity(catalog: Catalog, identifier: bytes) -> tuple[str | None, int | None]:
    """Return the ID and the serial number of an identifier; None where there is none."""
    layout = catalog.identifier.field_layout
    values, _ = layout.values(layout.parse(identifier))
    card, serial = (
        values[catalog.identifier.id_field.key],
        values[catalog.identifier.serial_field.key],
    )
    return card if isinstance(card, str) else None, serial if isinstance(serial, int) else None


# --- resource data (Spec 4.5): read item by item until one ends it --------------------------------


def _read_card(access: Access, csn: int, heard: Heard) -> Read:
    """Wake a card and read its data.

    The first bytes are the identifier again, of which the checksum isn't valid here (Spec 4.5):
    those that isolation brought stand in their place.
    """
    access.wake(csn)
    reader = _Reader(access)
    reader.take(len(heard.raw))
    problem = reader.items()
    read = Read(heard.raw + bytes(reader.data[len(heard.raw) :]), problem, reader.doubt)
    end = "to the end item" if problem is None else problem.text
    access.note("data", csn=csn, size=len(read.data), end=end)
    return read


class _Reader:
    """Resource data as it is read; `doubt`: the first byte that was never ready."""

    def __init__(self, access: Access) -> None:
        self.access = access
        self.data = bytearray()
        self.doubt: Remark | None = None

    def take(self, count: int) -> None:
        """Read so many bytes, each as soon as the card says that it is ready."""
        access, software = self.access, self.access.catalog.pnp_software
        ready = access.mask("status", "ready")
        for _ in range(count):
            if any(access.read("status") & ready for _ in range(software.most_polls)):
                self.data.append(access.read("data"))
                continue
            if self.doubt is None:
                words = {"at": len(self.data), "instead": software.never_ready}
                self.doubt = remark(access.catalog, "not-ready", **words)
            self.data.append(software.never_ready)

    def items(self) -> Remark | None:
        """Read items up to the end item; return why there is none."""
        catalog, data = self.access.catalog, self.data
        marks = (header.ends_reading for header in catalog.headers.values())
        ends = {bytes([mark]) for mark in marks if mark is not None}
        stops = catalog.pnp_software.stops
        while True:
            whole = len(data)
            self.take(1)
            while (found := peek_tag(catalog, bytes(data[whole:]), 0)) is None:
                if bytes(data[whole:]) in ends:
                    break
                self.take(1)
            begun = bytes(data[whole:])
            if begun in ends:
                del data[whole:]
                return remark(catalog, "stopped", at=whole, bytes=begun)
            if begun in stops or found is None or whole + found[1] > MAX_IMAGE:
                del data[whole:]
                return remark(catalog, "no-end", at=whole)
            record, size = found
            self.take(whole + size - len(data))
            if record.role == "end":
                return None


# --- configuration (Spec 4.6): what a device was given goes into its registers --------------------


class _Configuring:
    """The devices of all cards, assigned, programmed and checked for what else answers there."""

    def __init__(
        self,
        access: Access,
        host: Host,
        solve: Solver,
        requirements: Sequence[CardRequirements],
        devices: Sequence[Sequence[DeviceData]],
        *,
        boot_only: bool,
    ) -> None:
        self.access, self.host, self.solve, self.devices = access, host, solve, devices
        self.catalog, self.boot_only = access.catalog, boot_only
        self.kept = (self.catalog.bus.write_port, access.read_port)
        self.requirements = [
            card._replace(devices=tuple(d.requirements for d in own if self._why_not(d) is None))
            for card, own in zip(requirements, devices, strict=True)
        ]

    def _why_not(self, device: DeviceData) -> Remark | None:
        """Return why the software gives a device nothing, whatever is free; None if it does."""
        last = self.catalog.pnp_software.devices - 1
        if self.boot_only and not device.boot:
            return remark(self.catalog, "not-for-boot")
        if device.requirements.number > last:
            words = {"number": device.requirements.number, "last": last}
            return remark(self.catalog, "number-too-high", **words)
        over = _ports_in_the_way(device.requirements, self.kept)
        if over:
            return remark(self.catalog, "ports-kept", ports=" and ".join(map(address, over)))
        return None

    def settle(self) -> tuple[Assignment, list[list[FoundDevice]]]:
        """Assign, program and check, until no range is found to be taken (Spec 4.3)."""
        while True:
            assignment = self.solve(self.catalog, self.requirements, self.host, self.kept)
            total = sum(map(len, self.devices))
            self.access.note("assign", given=len(assignment.devices), devices=total)
            given = {(one.card, one.number): one for one in assignment.devices}
            heard: set[int] = set()
            found = []
            for place, devices in enumerate(self.devices):
                rows = []
                for device in devices:
                    one = given.get((place, device.requirements.number))
                    rows.append(self._device(place + 1, device, one, heard))
                found.append(rows)
            if not heard:
                return assignment, found
            ports = (Placed(port, 1, 16) for port in sorted(heard))
            what = "something that answers a range check there"
            self.host = self.host.taking(*(Entry("io", port, what) for port in ports))

    def _device(
        self, csn: int, device: DeviceData, given: Given | None, heard: set[int]
    ) -> FoundDevice:
        """Program a device; add ports of it at which others answer to `heard`."""
        why_not = self._why_not(device)
        if self.boot_only and not device.boot:
            return FoundDevice(device.requirements, None, why_not)
        choose(self.access, csn, device.requirements)
        problem = self._program(device.requirements, given)
        if given is not None and problem is None and device.has_check:
            heard |= self._check_ranges(given)
        return FoundDevice(device.requirements, given, problem if given is not None else why_not)

    def _program(self, device: DeviceRequirements, given: Given | None) -> Remark | None:
        """Write a device's registers, and read them back; return what is wrong with them."""
        access, registers = self.access, filled(self.catalog, device, given)
        access.write("activate", 0)
        for number, value in registers.items():
            access.write(number, value)
        words = ", ".join(in_use(self.catalog, device, registers))
        access.note("registers", registers=words or "none of them in use")
        odd = [number for number, value in registers.items() if access.read(number) != value]
        if odd:
            words = ", ".join(address(number) for number in odd)
            return remark(self.catalog, "not-kept", registers=words)
        return None

    def _check_ranges(self, given: Given) -> set[int]:
        """Let an inactive device answer at its ports with a pattern; return where others do too."""
        access = self.access
        ports = [
            port
            for placed in given.values["io"]
            if isinstance(placed, Placed)
            for port in range(placed.base, placed.base + placed.length)
        ]
        wrong = set()
        for bit, pattern in reversed([*enumerate(access.protocol.range_patterns)]):
            bits = ("on", "pattern") if bit else ("on",)
            access.write("range-check", access.mask("range-check", *bits))
            wrong |= {port for port in ports if access.ports.read(port) != pattern}
        access.write("range-check", 0)
        name = "range-check-taken" if wrong else "range-check"
        access.note(name, count=len(ports), wrong=len(wrong))
        return wrong


def _ports_in_the_way(device: DeviceRequirements, kept: Sequence[int]) -> list[int]:
    """Return ports without which no choice of a device can be had; none if one can."""
    over: set[int] = set()
    for alternative in device.alternatives:
        needed = {p for need in alternative.of_kind("io") for p in kept if _always_over(need, p)}
        if not needed:
            return []
        over |= needed
    return sorted(over)


def _always_over(need: Requirement, port: int) -> bool:
    """Whether a range holds a port at each of its bases, aliases left out of account."""
    assert isinstance(need, RangeRequirement)
    bases = need.bases
    return 0 < len(bases) <= need.length and all(port - b in range(need.length) for b in bases)


def choose(access: Access, csn: int, device: DeviceRequirements) -> None:
    """Make the registers from 30h on those of this device of this card."""
    access.wake(csn)
    access.write("device", device.number)
    access.note("device", number=device.number, id=device.id)


def _activate(access: Access, cards: Sequence[FoundCard]) -> None:
    """Turn all devices on, as the last thing, and read each of them back (Spec 4.6.2, 5.1)."""
    for card in cards:
        for device in card.devices:
            if device.is_on:
                choose(access, card.csn, device.requirements)
                access.write("activate", access.mask("activate", "active"))
                access.note("activate", id=device.requirements.id)
                access.note("read-back", active=access.read("activate"))
