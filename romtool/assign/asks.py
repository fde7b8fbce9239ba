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
from romtool.schema.bus import Bus


@dataclass(frozen=True, eq=False)
class Ask:
    """An item that needs a value: of which device (counted over all cards), in which alternative.

    `alternative` is its place among the device's alternatives; None: it always applies. `values`:
    those that it can take, ascending: lines, or bases of a range.
    """

    device: int
    alternative: int | None
    need: Requirement
    values: Sequence[int]

    def meets(self, other: Ask) -> bool:
        """Whether both can be in effect together."""
        return (
            self.device != other.device
            or None in (self.alternative, other.alternative)
            or self.alternative == other.alternative
        )


Values = Mapping[Ask, Sequence[int]]
"""Items with the values that are worth trying, ascending."""


@dataclass(frozen=True, eq=False)
class Asker:
    """A device with its asks; an item that asks for nothing is None, and keeps its place."""

    card: int
    requirements: DeviceRequirements
    before: tuple[Ask | None, ...]
    own: tuple[tuple[Ask | None, ...], ...]
    after: tuple[Ask | None, ...]

    def in_order(self, alternative: int) -> tuple[Ask | None, ...]:
        """Return what is in effect with an alternative, in the order of the items."""
        return (*self.before, *self.own[alternative], *self.after)

    def asks(self) -> Iterator[Ask]:
        """Yield all asks, those that always apply once."""
        for group in (self.before, *self.own, self.after):
            yield from (ask for ask in group if ask is not None)

    def in_effect(self, alternative: int) -> list[Ask]:
        """Return the asks that are in effect with an alternative."""
        return [ask for ask in self.in_order(alternative) if ask is not None]


def askers_of(bus: Bus, cards: Sequence[CardRequirements], kept: Collection[int]) -> list[Asker]:
    """Return the devices of all cards, in the order of the cards and on each card.

    `kept`: ports that none of their ranges may hold, whatever their aliases.
    """

    def asks(alternative: int | None, needs: Sequence[Requirement]) -> tuple[Ask | None, ...]:
        return tuple(
            None if need.is_empty else Ask(len(found), alternative, need, _values(bus, need, kept))
            for need in needs
        )

    found: list[Asker] = []
    for number, card in enumerate(cards):
        for requirements in card.devices:
            own = tuple(
                asks(n, alternative.own) for n, alternative in enumerate(requirements.alternatives)
            )
            before, after = asks(None, requirements.before), asks(None, requirements.after)
            found.append(Asker(number, requirements, before, own, after))
    return found


def settled(asker: Asker, alternative: int, place: int) -> Asker:
    """Return a device that asks for what it does with one alternative, at a place of its own."""
    asks = tuple(
        None if ask is None else replace(ask, device=place, alternative=None)
        for ask in asker.in_order(alternative)
    )
    return Asker(asker.card, asker.requirements, asks, ((),), ())


def _values(bus: Bus, need: Requirement, kept: Collection[int]) -> Sequence[int]:
    """Return the values that an item can take, ascending: lines, or bases of a range.

    Of a range that answers at aliases too, bases at the same place between two aliases collide
    with the same things, so only the lowest of them is ever needed: those before the places
    repeat. Only what holds a port that is kept makes way for the next one there.
    """
    if isinstance(need, LineRequirement):
        return need.lines
    over = {port for port in kept if need.kind == "io"}
    turn = bus.alias_step // math.gcd(need.bases.step, bus.alias_step)
    first = need.bases[:turn] if bus.aliases(need.bits) else need.bases

    def is_free(base: int) -> bool:
        return not any(base <= port < base + need.length for port in over)

    low, high = first[0] if first else 0, (first[-1] if first else 0) + need.length
    if not any(low <= port < high for port in over):
        return first
    if not bus.aliases(need.bits):
        return [base for base in first if is_free(base)]
    lowest = (next(filter(is_free, need.bases[n::turn]), None) for n in range(len(first)))
    return sorted(base for base in lowest if base is not None)


def span_of(ask: Ask) -> RangeRequirement:
    """Return the range that an ask is about."""
    assert isinstance(ask.need, RangeRequirement)
    return ask.need


def placed(ask: Ask, base: int) -> Placed:
    """Return the range of an ask at a base."""
    span = span_of(ask)
    return Placed(base, span.length, span.bits)
