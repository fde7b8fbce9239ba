"""Which values of each item are worth trying: its candidates.

An item with few bases keeps all of them. Of one with many, a *wide* one, two things are known.

**Room to spare.** Say the others, wherever they are placed, can block at most n of an item's bases.
If it has more than n, one is left whatever the others are given: the item can be left out of the
question whether all can be served, and be placed last. Left out it blocks nobody, so others may
have room to spare then, too. What remains are the *constrained items*. A range of length m blocks
the bases at which the item would begin less than m after the range's own base, or less than the
item's length before it:

         base      base + m
          |  range  |
    ......xxxxxxxxxxx......    x: no base for an item of length 4
       xxx                     x: nor here, the item would run into the range

**Left-justified.** An item is left-justified if it stands at its lowest base, or at its first base
at or after the end of another range, on which it *leans*:

    |host  ||item 1  |   |item 2|          item 1 leans on the host's range,
    0123456789...                          item 2 stands at its lowest base

Take, of all placements of some items, the one whose list of bases is the smallest. In it all items
are left-justified: else one could be moved to the base before. It would collide with nothing there,
as whatever it would collide with ends at or before the item's old place, and so the item would
have been leaning on it; and the list would be smaller still. Each range begins above the one that
it leans on, so the chain from an item down ends: at a range of the host, at a lowest base, or at
an item that keeps all its bases. The candidates are what is reached upwards from all those ends.

Aliases spoil this where what leans on something could, aliases later, be leant on by it. So only
one kind of items is left-justified, and the others keep all their bases, of those with aliases at
most one a port between two aliases:
- those that decode all bits: among themselves there are no aliases;
- or those with aliases that nowhere reach over the address at which aliases begin anew. Counted
  from there, a range begins above the one that it leans on, too.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Collection, Iterable, Iterator, Sequence

from romtool.assign.host import Entry
from romtool.assign.variables import DeviceVariables, Domains, Variable, placed, range_of
from romtool.errors import refuse
from romtool.requirements.collide import Placed
from romtool.requirements.model import RangeRequirement
from romtool.schema.bus import Bus

MOST_BASES = 20_000
"""The most bases that are looked at; more are refused: no real set of cards comes near it."""


MANY = 64
"""The most bases that a range simply keeps; one with more is wide."""


def fast_candidates(
    bus: Bus,
    devices: Sequence[DeviceVariables],
    entries: Iterable[Entry],
    *,
    keep: Variable | None = None,
) -> Domains:
    """Return values for all items that are not wide, and for `keep`.

    What can't be served with these can't be served at all: the wide items are overlooked.
    """
    return _values(bus, devices, entries, keep, overlook=True)


def complete_candidates(
    bus: Bus,
    devices: Sequence[DeviceVariables],
    entries: Iterable[Entry],
    *,
    keep: Variable | None = None,
) -> Domains:
    """Return values that suffice to tell what can be served together, beside what is taken.

    Left out are the items, save for `keep`, that can be served whatever the others are given. The
    values suffice for any part of the devices and of the entries, too.
    """
    return _values(bus, devices, entries, keep, overlook=False)


def _values(
    bus: Bus,
    devices: Sequence[DeviceVariables],
    entries: Iterable[Entry],
    keep: Variable | None,
    *,
    overlook: bool,
) -> Domains:
    found = {item: item.values for device in devices for item in device.every()}
    wide = [
        a
        for a, values in found.items()
        if isinstance(a.need, RangeRequirement) and len(values) > MANY
    ]
    for kind in dict.fromkeys(item.need.kind for item in wide):
        taken = [entry.value for entry in entries if entry.kind == kind]
        blocks = [value for value in taken if isinstance(value, Placed)]
        contenders = {item: values for item, values in found.items() if item.need.kind == kind}
        suspects = [item for item in wide if item in contenders and item is not keep]
        spared = set(suspects)
        if not overlook:
            spared -= set(constrained_items(bus, devices, contenders, suspects, blocks))
        for item in spared:
            del found[item], contenders[item]
        found |= left_justified(
            bus, contenders, [item for item in wide if item in contenders], blocks
        )
    return found


# --- room to spare --------------------------------------------------------------------------------


def constrained_items(
    bus: Bus,
    devices: Sequence[DeviceVariables],
    contenders: Domains,
    suspects: Sequence[Variable],
    blocks: Iterable[Placed],
) -> list[Variable]:
    """Return those of the suspects that the rest of the contenders may leave no base for.

    `contenders`: all items of one kind; `blocks`: what the host has taken of it.
    """
    left = set(contenders)
    room = {
        item: len(contenders[item]) - sum(_blocked(bus, item, block) for block in blocks)
        for item in suspects
    }
    changed = True
    while changed:
        changed = False
        for item in suspects:
            if item in left and _blocked_by_all(bus, devices, item, left) < room[item]:
                left.remove(item)
                changed = True
    return [item for item in suspects if item in left]


def _blocked_by_all(
    bus: Bus, devices: Sequence[DeviceVariables], item: Variable, left: Collection[Variable]
) -> int:
    """Return how many bases of an item the others in `left` can block at most."""

    def by(others: Iterable[Variable]) -> int:
        return sum(
            _blocked(bus, item, placed(other, 0))
            for other in others
            if other in left and other is not item
        )

    total = 0
    for place, device in enumerate(devices):
        alternatives: Sequence[int] = range(len(device.own))
        if place == item.device and item.alternative is not None:
            alternatives = (item.alternative,)
        total += max(by(device.in_effect(alternative)) for alternative in alternatives)
    return total


def _blocked(bus: Bus, item: Variable, other: Placed) -> int:
    """Return how many bases of an item a range can block at most, wherever it is placed."""
    span, bases = range_of(item), item.values
    step = span.bases.step
    width = span.length + other.length - 1
    most = -(-width // step)
    if bus.aliases(span.bits):
        # No two bases are at the same place between two aliases: they are at least so far apart.
        most = -(-width // math.gcd(step, bus.alias_step))
    elif bus.aliases(other.bits):
        most *= (bases[-1] - bases[0] + width) // bus.alias_step + 1
    return min(most, len(bases))


# --- left-justified -------------------------------------------------------------------------------


def left_justified(
    bus: Bus, contenders: Domains, wide: Iterable[Variable], blocks: Iterable[Placed]
) -> dict[Variable, Sequence[int]]:
    """Return the bases of the wide items among the contenders that can do with few.

    `contenders`: all items of one kind, with all their bases; `blocks`: what the host has taken.
    Raises InputError where these would be very many.
    """
    known: dict[Variable, set[int]] = {
        item: set() for item in _can_be_justified(bus, contenders, wide)
    }
    kept = [
        (item, base) for item, bases in contenders.items() if item not in known for base in bases
    ]
    waiting: list[tuple[Variable | None, Placed]] = [(None, block) for block in blocks]
    waiting += [(item, placed(item, base)) for item, base in kept]

    def reach(item: Variable, base: int | None) -> None:
        if base is not None and base not in known[item]:
            known[item].add(base)
            waiting.append((item, placed(item, base)))

    for item in known:
        reach(item, contenders[item][0])
    while waiting:
        source, there = waiting.pop()
        for item in known:
            if len(waiting) > MOST_BASES:
                message = "too many ranges that go nearly anywhere, and hardly fit, to be placed"
                raise refuse(message, "give them an alignment, or fewer bases")
            if source is None or (source is not item and source.meets(item)):
                for end in ends(bus, item, there):
                    reach(item, first_from(contenders[item], end))
    return {item: sorted(bases) for item, bases in known.items()}


def _can_be_justified(bus: Bus, contenders: Domains, wide: Iterable[Variable]) -> list[Variable]:
    """Return the wide items that lean; the others keep all their bases."""
    plain = [item for item in wide if not bus.aliases(range_of(item).bits)]
    in_one_period = []
    for item in wide:
        if bus.aliases(range_of(item).bits):
            bases, length = contenders[item], range_of(item).length
            if bases[0] % bus.alias_step + bases[-1] - bases[0] + length <= bus.alias_step:
                in_one_period.append(item)
    if in_one_period and all(len(contenders[item]) <= bus.alias_step for item in plain):
        return in_one_period
    return plain


def ends(bus: Bus, item: Variable, other: Placed) -> Iterator[int]:
    """Yield the places after another range, at each of its aliases among an item's bases."""
    end = other.base + other.length
    if not (bus.aliases(range_of(item).bits) or bus.aliases(other.bits)):
        yield end
        return
    bases = item.values
    first = bases[0] + (end - bases[0]) % bus.alias_step
    yield from range(first, bases[-1] + 1, bus.alias_step)


def first_from(bases: Sequence[int], place: int) -> int | None:
    """Return the first of the bases at or after a place; None where there is none."""
    index = bisect_left(bases, place)
    return bases[index] if index < len(bases) else None
