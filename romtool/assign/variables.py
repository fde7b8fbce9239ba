"""The items of all cards that need a value, device by device, and the values each can take."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from romtool.requirements.collide import Placed
from romtool.requirements.model import (
    CardRequirements,
    DeviceRequirements,
    LineRequirement,
    RangeRequirement,
    Requirement,
)
from romtool.schema.catalog import Catalog


@dataclass(frozen=True, eq=False)
class Variable:
    """An item that is to be given a value: a variable, in the words of constraint solving.

    It belongs to a device (counted over all cards), and to one of its alternatives.

    `alternative` is its place among the device's alternatives; None: it always applies. `values`:
    those that it can take, ascending: lines, or bases of a range.
    """

    device: int
    alternative: int | None
    need: Requirement
    values: Sequence[int]

    def meets(self, other: Variable) -> bool:
        """Whether both can be in effect together."""
        return (
            self.device != other.device
            or None in (self.alternative, other.alternative)
            or self.alternative == other.alternative
        )


Domains = Mapping[Variable, Sequence[int]]
"""Items with the values that are worth trying, ascending."""


@dataclass(frozen=True, eq=False)
class DeviceVariables:
    """A device with its items; one that asks for nothing is None, and keeps its place."""

    card: int
    requirements: DeviceRequirements
    before: tuple[Variable | None, ...]
    own: tuple[tuple[Variable | None, ...], ...]
    after: tuple[Variable | None, ...]

    def in_order(self, alternative: int) -> tuple[Variable | None, ...]:
        """Return what is in effect with an alternative, in the order of the items."""
        return (*self.before, *self.own[alternative], *self.after)

    def every(self) -> Iterator[Variable]:
        """Yield all items, those that always apply once."""
        for group in (self.before, *self.own, self.after):
            yield from (item for item in group if item is not None)

    def in_effect(self, alternative: int) -> list[Variable]:
        """Return the items that are in effect with an alternative."""
        return [item for item in self.in_order(alternative) if item is not None]


def variables_of(
    catalog: Catalog, cards: Sequence[CardRequirements], kept: Collection[int]
) -> list[DeviceVariables]:
    """Return the devices of all cards, in the order of the cards and on each card.

    `kept`: ports that none of their ranges may hold, whatever their aliases.
    """

    def items(alternative: int | None, needs: Sequence[Requirement]) -> tuple[Variable | None, ...]:
        return tuple(
            None
            if need.is_empty
            else Variable(len(found), alternative, need, _values(catalog, need, kept))
            for need in needs
        )

    found: list[DeviceVariables] = []
    for number, card in enumerate(cards):
        for requirements in card.devices:
            own = tuple(
                items(n, alternative.own) for n, alternative in enumerate(requirements.alternatives)
            )
            before, after = (
                items(None, requirements.before),
                items(None, requirements.after),
            )
            found.append(DeviceVariables(number, requirements, before, own, after))
    return found


def settled(device: DeviceVariables, alternative: int, place: int) -> DeviceVariables:
    """Return a device with the items of one alternative only, at a place of its own."""
    items = tuple(
        None if item is None else replace(item, device=place, alternative=None)
        for item in device.in_order(alternative)
    )
    return DeviceVariables(device.card, device.requirements, items, ((),), ())


def _values(catalog: Catalog, need: Requirement, kept: Collection[int]) -> Sequence[int]:
    """Return the values that an item can take, ascending: lines, or bases of a range.

    Of a range that answers at aliases too, bases at the same place between two aliases collide
    with the same things, so only the lowest of them is ever needed: those before the places
    repeat. Only what holds a port that is kept makes way for the next one there.
    """
    if isinstance(need, LineRequirement):
        return need.lines
    bus, over = catalog.bus, kept if catalog.resources[need.kind].is_io else ()
    turns = bus.alias_step // math.gcd(need.bases.step, bus.alias_step)
    first = need.bases[:turns] if bus.aliases(need.bits) else need.bases

    def is_free(base: int) -> bool:
        return not any(base <= port < base + need.length for port in over)

    low, high = first[0] if first else 0, (first[-1] if first else 0) + need.length
    if not any(low <= port < high for port in over):
        return first
    if not bus.aliases(need.bits):
        return [base for base in first if is_free(base)]
    lowest = (next(filter(is_free, need.bases[n::turns]), None) for n in range(len(first)))
    return sorted(base for base in lowest if base is not None)


def range_of(item: Variable) -> RangeRequirement:
    """Return the range that an item is about."""
    assert isinstance(item.need, RangeRequirement)
    return item.need


def given_value(item: Variable, value: int) -> int | Placed:
    """Return what an item gets: a line or channel, or its range at a base."""
    return value if isinstance(item.need, LineRequirement) else placed(item, value)


def placed(item: Variable, base: int) -> Placed:
    """Return the range of an item at a base."""
    span = range_of(item)
    return Placed(base, span.length, span.bits)
