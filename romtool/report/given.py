"""What an assignment gives to each item of a card."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from romtool.assign.answer import Assignment, Given
from romtool.assign.host import Host
from romtool.requirements.collide import Placed
from romtool.requirements.model import CardRequirements, Requirement


@dataclass(frozen=True)
class InThatPC:
    """A PC, and what PnP software can give there to the card alone: the answer of `assign`."""

    host: Host
    assignment: Assignment

    def given(self, device: int) -> Given | None:
        """Return what a device of the card (from 0) gets."""
        return next((one for one in self.assignment.devices if one.number == device), None)


@dataclass(frozen=True)
class GivenTo:
    """A line, a channel or a range, by the offset of the item that asked for it."""

    by_item: dict[int, int | Placed] = field(default_factory=dict)

    def to(self, need: Requirement) -> int | Placed | None:
        """Return what a need was given."""
        return self.by_item.get(need.item.offset) if need.item is not None else None


def given_to(requirements: CardRequirements, pc: InThatPC | None) -> GivenTo:
    """Return what each item of a card is given, nothing without a PC."""
    return GivenTo(dict(_pairs(requirements, pc)) if pc is not None else {})


def _pairs(requirements: CardRequirements, pc: InThatPC) -> Iterator[tuple[int, int | Placed]]:
    for device in requirements.devices:
        given = pc.given(device.number)
        if given is None:
            continue
        for need, value in given.paired(given.of(device.alternatives)):
            if need.item is not None and value is not None:
                yield need.item.offset, value
