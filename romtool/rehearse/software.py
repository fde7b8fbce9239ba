"""PnP software at power-up: key, isolation, resource data, assignment, configuration.

It talks to any object with ports, and knows only what it reads there and what the host has taken.
Where the standard leaves it free, it does what `[protocol.software]` in the schemas says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from romtool.assign.answer import Assignment, Given
from romtool.assign.host import Host
from romtool.assign.paired import chosen
from romtool.image.model import Image
from romtool.rehearse.access import Access, Ports
from romtool.rehearse.configuring import activate, check_ranges, choose, configure
from romtool.rehearse.isolation import Heard, Isolated, isolate
from romtool.rehearse.reading import Read, read_card
from romtool.rehearse.remarks import Said
from romtool.rehearse.resources import having, image_of, requirements_in
from romtool.rehearse.steps import Note, unheard
from romtool.requirements.model import CardRequirements, DeviceRequirements
from romtool.schema.catalog import Catalog

Solver = Callable[[Catalog, Sequence[CardRequirements], Host], Assignment]
"""Finds out what each device is given."""


@dataclass(frozen=True)
class FoundDevice:
    """A device as the software sees it: what it was given (None: nothing), and if it is on.

    `fault`: why it stays off although it was given something.
    """

    requirements: DeviceRequirements
    given: Given | None
    problem: Said | None = None

    @property
    def is_on(self) -> bool:
        """Whether the software turned it on."""
        return self.given is not None and self.problem is None


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
    """All that the software knows at the end."""

    isolated: Isolated
    cards: tuple[FoundCard, ...]
    assignment: Assignment


def power_up(
    catalog: Catalog, ports: Ports, host: Host, solve: Solver, note: Note = unheard
) -> Found:
    """Play the software's part, and return what it found."""
    access = Access(catalog, ports, note)
    access.send_key()
    access.write("control", access.mask("control", "reset", "no_csn"))
    note("control")
    isolated = isolate(access, host)
    reads = [read_card(access, csn) for csn, _ in enumerate(isolated.cards, 1)]
    images = [image_of(catalog, read.data) for read in reads]
    requirements = [requirements_in(image) for image in images]
    assignment = solve(catalog, requirements, host)
    note("assign", assignment=assignment, devices=sum(len(card.devices) for card in requirements))
    given = {(one.card, one.number): one for one in assignment.devices}
    cards = []
    for place, (heard, read, image) in enumerate(zip(isolated.cards, reads, images, strict=True)):
        checks = having(image, catalog.protocol.registers["range-check"])
        devices = tuple(
            _configure(access, place + 1, device, given.get((place, device.number)), has_check=has)
            for device, has in zip(requirements[place].devices, checks, strict=True)
        )
        cards.append(FoundCard(place + 1, heard, read, image, devices))
    _activate(access, cards)
    access.write("control", access.mask("control", "wait"))
    note("wait")
    return Found(isolated, tuple(cards), assignment)


def _configure(
    access: Access, csn: int, device: DeviceRequirements, given: Given | None, *, has_check: bool
) -> FoundDevice:
    """Put what a device was given into its registers; one that is given nothing stays off."""
    if given is None:
        return FoundDevice(device, None)
    choose(access, csn, device)
    problem = configure(access, chosen(device.alternatives, given), given)
    if problem is None and has_check:
        problem = check_ranges(access, given)
    return FoundDevice(device, given, problem)


def _activate(access: Access, cards: Sequence[FoundCard]) -> None:
    """Turn all devices on, as the last thing: one may sit at READ_DATA and spoil what is read."""
    for card in cards:
        for device in card.devices:
            if device.is_on:
                activate(access, card.csn, device.requirements)
