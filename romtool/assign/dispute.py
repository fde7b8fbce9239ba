"""What a clash is about: the kinds of resources that stand in the way, and who accepts what."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romtool.assign.answer import Assignment, Clash
from romtool.assign.assign import assign
from romtool.assign.host import host_with
from romtool.requirements.model import (
    Alternative,
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.catalog import Catalog


def disputed(catalog: Catalog, cards: Sequence[CardRequirements], clash: Clash) -> list[str]:
    """Return the resources without which a clash would be none; all, if no single one is it."""
    sides = sides_of(cards, clash)
    kinds = dict.fromkeys(need.kind for side in sides for need in _needs(side))
    found = [kind for kind in kinds if _solved(catalog, sides, clash, without=kind).feasible]
    return found or list(kinds)


def sides_of(cards: Sequence[CardRequirements], clash: Clash) -> list[DeviceRequirements]:
    """Return the devices of a clash."""
    return [cards[card].devices[number] for card, number, _ in clash.devices]


def accepted(device: DeviceRequirements, kind: str) -> Iterator[Requirement]:
    """Yield what a device accepts of a resource: lines of all its choices together, ranges."""
    needs = [need for need in _needs(device) if need.kind == kind and not need.is_empty]
    lines = sorted(
        {line for need in needs if isinstance(need, LineRequirement) for line in need.lines}
    )
    if lines:
        yield LineRequirement(kind, tuple(lines))
    yield from dict.fromkeys(need for need in needs if isinstance(need, RangeRequirement))


def _needs(device: DeviceRequirements) -> Iterator[Requirement]:
    for alternative in device.alternatives:
        yield from alternative.needs


def _solved(
    catalog: Catalog, sides: Sequence[DeviceRequirements], clash: Clash, *, without: str
) -> Assignment:
    """Return what the devices of a clash get beside its entries if a resource didn't matter."""
    devices = tuple(_without(device, without) for device in sides)
    return assign(catalog, [CardRequirements(None, None, devices)], host_with(clash.entries))


def _without(device: DeviceRequirements, kind: str) -> DeviceRequirements:
    def left(needs: Sequence[Requirement]) -> tuple[Requirement, ...]:
        return tuple(need for need in needs if need.kind != kind)

    def lighter(one: Alternative) -> Alternative:
        return one._replace(own=left(one.own), needs=left(one.needs))

    return device._replace(
        before=left(device.before),
        alternatives=tuple(map(lighter, device.alternatives)),
        after=left(device.after),
    )
