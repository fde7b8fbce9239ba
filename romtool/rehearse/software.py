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
from romtool.rehearse.access import Access, Ports
from romtool.rehearse.device import DeviceData, devices_in
from romtool.rehearse.identify import (
    IsolationResult,
    IsolationRound,
    ResourceData,
    isolate,
    read_card,
)
from romtool.rehearse.registers import filled, in_use
from romtool.rehearse.steps import Note, remark, unheard
from romtool.requirements.collide import Placed
from romtool.requirements.model import (
    CardRequirements,
    DeviceRequirements,
    RangeRequirement,
    Requirement,
)
from romtool.schema.catalog import Catalog
from romtool.schema.numbers import address

Solver = Callable[[Catalog, Sequence[CardRequirements], Host, Collection[int]], Assignment]
"""Finds out what each device is given; the last are ports that no device may be given."""


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
    heard: IsolationRound
    read: ResourceData
    image: Image | None
    devices: tuple[FoundDevice, ...]

    @property
    def sums_right(self) -> bool | None:
        """Whether the end checksum that was read is right; None where none was."""
        end = self.image.end_checksum if self.image else None
        return None if end is None else end.ok


@dataclass(frozen=True)
class PowerUpResult:
    """All that the software knows at the end, and how long it has waited (microseconds)."""

    isolated: IsolationResult
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
) -> PowerUpResult:
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
    reads = [read_card(access, csn, heard) for csn, heard in enumerate(isolated.cards, 1)]
    images = [read_as(catalog, read.data, catalog.default_layout) for read in reads]
    devices = [devices_in(image) for image in images]
    work = _Configuring(access, host, solve, devices, boot_only=boot_only)
    assignment, found = work.settle()
    rows = zip(isolated.cards, reads, images, found, strict=True)
    cards = tuple(
        FoundCard(csn, heard, read, image, tuple(devices))
        for csn, (heard, read, image, devices) in enumerate(rows, 1)
    )
    _activate(access, cards)
    access.write("control", access.mask("control", "wait"))
    note("wait")
    return PowerUpResult(isolated, cards, assignment, access.elapsed)


# --- configuration (Spec 4.6): what a device was given goes into its registers --------------------


class _Configuring:
    """The devices of all cards, assigned, programmed and checked for what else answers there."""

    def __init__(
        self,
        access: Access,
        host: Host,
        solve: Solver,
        devices: Sequence[Sequence[DeviceData]],
        *,
        boot_only: bool,
    ) -> None:
        self.access, self.host, self.solve, self.devices = access, host, solve, devices
        self.catalog, self.boot_only = access.catalog, boot_only
        self.ports = self.catalog.port_resource.name
        self.kept = (self.catalog.bus.write_port, access.read_port)
        wanted = ([d.requirements for d in own if self._why_not(d) is None] for own in devices)
        self.requirements = [CardRequirements(None, None, tuple(own)) for own in wanted]

    def _why_not(self, device: DeviceData) -> Remark | None:
        """Return why the software gives a device nothing, whatever is free; None if it does."""
        last = self.catalog.pnp_software.devices - 1
        if self.boot_only and not device.boot:
            return remark(self.catalog, "not-for-boot")
        if device.requirements.number > last:
            words = {"number": device.requirements.number, "last": last}
            return remark(self.catalog, "number-too-high", **words)
        over = _ports_in_the_way(device.requirements, self.ports, self.kept)
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
            self.host = self.host.taking(*(Entry(self.ports, port, what) for port in ports))

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
            for placed in given.values[self.ports]
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


def _ports_in_the_way(device: DeviceRequirements, kind: str, kept: Sequence[int]) -> list[int]:
    """Return ports without which no choice of a device can be had; none if one can."""
    over: set[int] = set()
    for alternative in device.alternatives:
        needed = {p for need in alternative.of_kind(kind) for p in kept if _always_over(need, p)}
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
