"""Which values of each item are worth trying: all, or as few bases of a wide range as suffice.

Two facts let a range of 4 GiB be cut down to a handful of bases, and lose no answer.

**An item with room to spare never stands in the way.** Say the others, wherever they are placed,
can block at most n of an item's bases: each blocks those less than its own length behind, and less
than its length before it. If the item has more than n bases, then one is left for it, whatever
the others are given: it can be left out of the question whether all can be served, and be placed
last. Once it is left out it blocks nobody, and others may turn out to have room to spare too.

**In the best placement every base is the lowest, or leans on something.** Take the placement whose
list of bases is the smallest. If an item stood neither at its lowest base nor at its first base at
or behind the end of another range, then the base before could be taken instead: it collides with
nothing, as whatever it collided with would end at or before the item. That list would be smaller
still. So an item leans on a range with a lower base, which again leans, down to one at its lowest
base or one that is not to be moved: the bases worth trying are those that are reached from there.
This holds for ranges that decode all bits. What decodes only 10 repeats at every alias, could lean
on itself in a circle, and so keeps all its bases, at most one a port between two aliases.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from romtool.assign.asks import Ask, Asker, placed, span_of, values_of
from romtool.assign.host import Entry
from romtool.schema.bus import Bus
from romtool.wants.collide import Placed
from romtool.wants.needs import Span

MANY = 256
"""An item with up to so many values simply keeps them."""

Values = Mapping[Ask, Sequence[int]]


def narrow_values(bus: Bus, askers: Sequence[Asker]) -> dict[Ask, Sequence[int]]:
    """Return the values of the items that have few of them; the others are left out."""
    found = {ask: values_of(bus, ask.need) for asker in askers for ask in asker.asks()}
    return {ask: values for ask, values in found.items() if len(values) <= MANY}


def enough_values(
    bus: Bus, askers: Sequence[Asker], entries: Sequence[Entry], *, keep: Ask | None = None
) -> dict[Ask, Sequence[int]]:
    """Return values that suffice to tell what can be served together beside what is taken.

    Items with room to spare are left out, save for `keep`: they can be served whatever the others
    are given. The values suffice for any part of the devices and of the entries, too.
    """
    found = narrow_values(bus, askers)
    asks = [ask for asker in askers for ask in asker.asks()]
    for kind in dict.fromkeys(ask.need.kind for ask in asks if ask not in found):
        taken = (entry.value for entry in entries if entry.kind == kind)
        blocks = [value for value in taken if isinstance(value, Placed)]
        crowd = [ask for ask in asks if ask.need.kind == kind]
        tight = _without_room(bus, askers, crowd, blocks, found, keep)
        found |= _reached(bus, [ask for ask in crowd if ask in found], tight, blocks, found)
    return {ask: found[ask] for ask in asks if ask in found}


def first_from(bases: range, place: int) -> int | None:
    """Return the first of the bases at or behind a place; None where there is none."""
    index = max(0, -(-(place - bases.start) // bases.step))
    return bases[index] if index < len(bases) else None


def ends(bus: Bus, span: Span, other: Placed) -> Iterator[int]:
    """Yield the places behind another range, at each of its aliases among the span's bases."""
    end = other.base + other.length
    if not (bus.aliases(span.bits) or bus.aliases(other.bits)):
        yield end
        return
    bases = span.bases
    first = bases.start + (end - bases.start) % bus.alias_step
    yield from range(first, bases[-1] + 1, bus.alias_step)


def _without_room(
    bus: Bus,
    askers: Sequence[Asker],
    crowd: Sequence[Ask],
    blocks: Sequence[Placed],
    narrow: Values,
    keep: Ask | None,
) -> list[Ask]:
    """Return the wide items of a crowd that the others may leave no base for."""
    left = dict.fromkeys(crowd)
    wide = [ask for ask in crowd if ask not in narrow]
    room = {}
    for ask in wide:
        by_host = sum(_blocked(bus, ask, block) for block in blocks)
        room[ask] = len(values_of(bus, ask.need)) - by_host
    changed = True
    while changed:
        changed = False
        for ask in wide:
            if ask in left and ask is not keep and _hindrance(bus, askers, ask, left) < room[ask]:
                del left[ask]
                changed = True
    return [ask for ask in wide if ask in left]


def _hindrance(bus: Bus, askers: Sequence[Asker], ask: Ask, left: Mapping[Ask, None]) -> int:
    """Return how many bases of an ask the others in `left` can block at most."""

    def by(others: Sequence[Ask]) -> int:
        spans = (placed(other, 0) for other in others if other in left and other is not ask)
        return sum(_blocked(bus, ask, span) for span in spans)

    total = 0
    for place, asker in enumerate(askers):
        alternatives: Sequence[int] = range(len(asker.own))
        if place == ask.device and ask.alternative is not None:
            alternatives = (ask.alternative,)
        total += max(by(asker.in_effect(alternative)) for alternative in alternatives)
    return total


def _blocked(bus: Bus, ask: Ask, other: Placed) -> int:
    """Return how many bases of an ask a range can block at most, wherever it is placed."""
    span = span_of(ask)
    bases = values_of(bus, span)
    assert isinstance(bases, range)
    width = span.length + other.length - 1
    most = -(-width // bases.step)
    if bus.aliases(span.bits):
        # Its bases lie at different places between two aliases, so far apart at least.
        most = -(-width // math.gcd(bases.step, bus.alias_step))
    elif bus.aliases(other.bits):
        most *= (bases[-1] - bases[0] + width) // bus.alias_step + 1
    return min(most, len(bases))


def _reached(
    bus: Bus,
    fixed: Sequence[Ask],
    tight: Sequence[Ask],
    blocks: Sequence[Placed],
    values: Values,
) -> dict[Ask, Sequence[int]]:
    """Return the bases of tight items that are worth trying, beside `fixed` ones that have theirs.

    See the second fact above: from the lowest bases and the ends of what is there, on and on.
    """
    whole = {
        a: values_of(bus, a.need) for a in tight if len(values_of(bus, a.need)) <= bus.alias_step
    }
    waiting: list[tuple[Ask | None, Placed]] = [(None, block) for block in blocks]
    waiting += [(ask, placed(ask, base)) for ask in fixed for base in values[ask]]
    waiting += [(ask, placed(ask, base)) for ask, bases in whole.items() for base in bases]
    leaning: dict[Ask, set[int]] = {ask: set() for ask in tight if ask not in whole}
    for ask, known in leaning.items():
        known.add(span_of(ask).low)
        waiting.append((ask, placed(ask, span_of(ask).low)))
    while waiting:
        source, there = waiting.pop()
        for ask, known in leaning.items():
            if source is ask or (source is not None and not source.meets(ask)):
                continue
            for end in ends(bus, span_of(ask), there):
                base = first_from(span_of(ask).bases, end)
                if base is not None and base not in known:
                    known.add(base)
                    waiting.append((ask, placed(ask, base)))
    return {**whole, **{ask: sorted(known) for ask, known in leaning.items()}}
