"""An assignment as the cards' owner looks at it: each device, what it got, what else it could have.

All that is to be told of it, as data: renderings only put it into words.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from romtool.assign.answer import Assignment, Given
from romtool.assign.free import free_instead, still_free
from romtool.assign.host import Host
from romtool.image.model import Image
from romtool.requirements.collide import Placed
from romtool.requirements.model import (
    Alternative,
    CardRequirements,
    DeviceRequirements,
    Requirement,
)
from romtool.requirements.read import pins_of
from romtool.schema.bus import Resource
from romtool.schema.catalog import Catalog


class AssignedCard(NamedTuple):
    """A card of the call: the name of its file, its image, and what its devices ask for."""

    name: str
    image: Image
    requirements: CardRequirements


class Got(NamedTuple):
    """A line, channel or range that a device gets.

    `pin`: the pin of the chip that the board wires to the line; None where nobody knows, empty
    where there is none.
    """

    resource: Resource
    value: int | Placed
    pin: str | None

    @property
    def lacks_pin(self) -> bool:
        """Whether it is a line that no pin of the chip is wired to."""
        return self.pin == ""


class DeviceOutcome(NamedTuple):
    """A device and what it gets; without `given`: nothing.

    `got`: value by value, in the order of the items. `instead`: what needs could have been given
    in place of it, all else as it is.
    """

    device: DeviceRequirements
    given: Given | None
    alternative: Alternative | None
    got: tuple[Got, ...]
    instead: tuple[tuple[Requirement, list[int]], ...]

    @property
    def settled(self) -> Alternative | None:
        """Its choice as one that asks for nothing but what it was given."""
        if self.given is None or self.alternative is None:
            return None
        return self.given.settled(self.alternative)


class CardOutcome(NamedTuple):
    """A card with its devices."""

    card: AssignedCard
    devices: tuple[DeviceOutcome, ...]

    @property
    def given(self) -> dict[int, Alternative | None]:
        """What each device ends up with, by its number; None: nothing."""
        return {one.device.number: one.settled for one in self.devices}


@dataclass(frozen=True)
class Outcome:
    """What a PC can give some cards. `free`: the lines and channels that nobody has taken."""

    host: Host
    assignment: Assignment
    cards: tuple[CardOutcome, ...]
    free: tuple[tuple[Resource, list[int]], ...]

    @property
    def devices(self) -> list[DeviceOutcome]:
        """All devices, card by card."""
        return [device for card in self.cards for device in card.devices]


def outcome(
    catalog: Catalog, cards: Sequence[AssignedCard], host: Host, assignment: Assignment
) -> Outcome:
    """Return what an assignment brings each device of some cards."""
    given = {(one.card, one.number): one for one in assignment.devices}
    rows = []
    for place, card in enumerate(cards):
        devices = (
            _device(
                catalog, card.image, host, assignment, device, given.get((place, device.number))
            )
            for device in card.requirements.devices
        )
        rows.append(CardOutcome(card, tuple(devices)))
    free = tuple(still_free(catalog, host, assignment.devices))
    return Outcome(host, assignment, tuple(rows), free)


def _device(
    catalog: Catalog,
    image: Image,
    host: Host,
    assignment: Assignment,
    device: DeviceRequirements,
    given: Given | None,
) -> DeviceOutcome:
    if given is None:
        return DeviceOutcome(device, None, None, (), ())
    alternative = given.of(device.alternatives)
    instead = free_instead(catalog, host, assignment.devices, given, alternative)
    return DeviceOutcome(
        device, given, alternative, tuple(got(catalog, image, given)), tuple(instead)
    )


def got(catalog: Catalog, image: Image, given: Given) -> Iterator[Got]:
    """Yield what a device of an image gets, kind by kind, each line with its pin of the chip."""
    for kind, values in given.values.items():
        resource = catalog.resources[kind]
        pins = pins_of(image, resource)
        for value in values:
            if value is not None:
                pin = None
                if isinstance(value, int) and pins is not None:
                    pin = pins.get(value, "")
                yield Got(resource, value, pin)
