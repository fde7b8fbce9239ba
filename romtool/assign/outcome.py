"""An assignment as the cards' owner looks at it: each device, what it got, what else it could have.

All that is to be told of it, as data: renderings only put it into words.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from romtool.assign.answer import Assignment, Given, Value
from romtool.assign.candidates import first_from
from romtool.assign.host import Host
from romtool.image.model import Image
from romtool.requirements.collide import Placed, ports_collide
from romtool.requirements.model import (
    Alternative,
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.requirements.read import pins_of
from romtool.schema.bus import Bus, Resource
from romtool.schema.catalog import Catalog
from romtool.schema.field_types import Lines as LineBits


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


class Instead(NamedTuple):
    """What else a need could have been given, all else as it is; `is_cut`: there is still more."""

    need: Requirement
    free: list[int]
    is_cut: bool


class DeviceOutcome(NamedTuple):
    """A device and what it gets, value by value, in the order of the items; without `given`:
    nothing. `instead`: what its needs could have been given in place of that.
    """

    device: DeviceRequirements
    given: Given | None
    alternative: Alternative | None
    got: tuple[Got, ...]
    instead: tuple[Instead, ...]

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


MOST_FREE = 8
"""The most free bases that are listed of a range."""


def still_free(
    catalog: Catalog, host: Host, given: Sequence[Given]
) -> Iterator[tuple[Resource, list[int]]]:
    """Yield the lines and channels that neither the host nor a device has taken, ascending."""
    for record in catalog.records.values():
        if record.requires is None or not isinstance(record.key_field.kind, LineBits):
            continue
        resource = catalog.resources[record.requires.kind]
        taken = set(host.lines(resource.name))
        every = (value for one in given for value in one.values[resource.name])
        taken |= {value for value in every if isinstance(value, int)}
        taken |= resource.not_on_slot | set(resource.renamed)
        yield resource, [line for line in range(record.key_field.kind.bits) if line not in taken]


def free_instead(
    catalog: Catalog, host: Host, given: Sequence[Given], mine: Given, alternative: Alternative
) -> Iterator[Instead]:
    """Yield what each need of a device could have been given instead, all else as it is.

    Of a wide range only the first `MOST_FREE` bases.
    """
    for need, value in mine.paired(alternative):
        if value is None:
            continue
        others = list(_others(host, given, mine, alternative, need, value))
        free = _free(catalog, need, value, others)
        is_cut = isinstance(need, RangeRequirement) and len(free) > MOST_FREE
        yield Instead(need, free[:MOST_FREE] if is_cut else free, is_cut)


def _others(
    host: Host,
    given: Sequence[Given],
    mine: Given,
    alternative: Alternative,
    need: Requirement,
    value: Value,
) -> Iterator[Value]:
    """Yield what else of the same kind is taken: by the host, by others, by the device itself."""
    yield from (entry.value for entry in host.entries(need.kind))
    for one in given:
        if one is not mine:
            yield from one.values[need.kind]
    for other, own in mine.paired(alternative):
        if other.kind == need.kind and own != value:
            yield own


def _free(catalog: Catalog, need: Requirement, value: Value, others: Sequence[Value]) -> list[int]:
    """Return what is free of a need but its value; of a wide range one more than is told."""
    if isinstance(need, LineRequirement):
        renamed = catalog.resources[need.kind].renamed
        lines = (line for line in need.lines if line != value)
        return [line for line in lines if not {line, renamed.get(line, line)} & set(others)]
    taken = [other for other in others if isinstance(other, Placed)]
    assert isinstance(value, Placed)
    free = (base for base in _free_bases(catalog.bus, need, taken) if base != value.base)
    return list(itertools.islice(free, MOST_FREE + 1))


def _free_bases(bus: Bus, need: RangeRequirement, taken: Sequence[Placed]) -> Iterator[int]:
    """Yield the bases at which a range hits nothing, ascending.

    A range in the way that has no aliases is left after in one step, however long it is.
    """
    bases = need.bases
    base = first_from(bases, bases.start)
    while base is not None:
        here = Placed(base, need.length, need.bits)
        hit = next((other for other in taken if ports_collide(bus, here, other)), None)
        if hit is None:
            yield base
        past = base + 1
        if hit is not None and not bus.aliases(need.bits) and not bus.aliases(hit.bits):
            past = hit.base + hit.length
        base = first_from(bases, past)
