"""The bases of wide ranges that are worth trying: those that lean on something.

Take, of all placements of some items, the one whose list of bases is the smallest. If an item stood
neither at its lowest base nor at its first base at or after the end of another range, then the
base before could be taken instead: it collides with nothing, as whatever it would collide with
ends at or before the item, and so the item would be leaning on it. That placement would be smaller
still. So an item at another base than its lowest leans on a range, which again is the host's, or
at its lowest base, or leans on another.

Followed down, this comes to an end, because a range begins above the one that it leans on. The
bases worth trying are those that are reached upwards from all ends of it: from what the host has
taken, from lowest bases, and from every base of the items that keep all of theirs.

Aliases spoil this where what leans on something could, aliases later, be leant on by it. So only
one kind of items leans, and the others keep all their bases, of those with aliases at most one a
port between two aliases:
- those that decode all bits: among themselves there are no aliases;
- or those with aliases that nowhere reach over the address at which aliases begin anew. Counted
  from there, a range begins above the one that it leans on, too.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence

from romtool.assign.asks import Ask, Values, placed, span_of
from romtool.errors import refuse
from romtool.requirements.collide import Placed
from romtool.schema.bus import Bus

MOST_BASES = 20_000
"""So many bases to be looked at are refused: no real set of cards comes near it."""


def leaning_values(
    bus: Bus, crowd: Values, wide: Iterable[Ask], blocks: Iterable[Placed]
) -> dict[Ask, Sequence[int]]:
    """Return the bases worth trying of the wide items of a crowd that can do with few.

    `crowd`: all items of one kind, with all their bases; `blocks`: what the host has taken. Raises
    InputError where these would be very many.
    """
    known: dict[Ask, set[int]] = {ask: set() for ask in _leaning(bus, crowd, wide)}
    kept = [(ask, base) for ask, bases in crowd.items() if ask not in known for base in bases]
    waiting: list[tuple[Ask | None, Placed]] = [(None, block) for block in blocks]
    waiting += [(ask, placed(ask, base)) for ask, base in kept]

    def reach(ask: Ask, base: int | None) -> None:
        if base is not None and base not in known[ask]:
            known[ask].add(base)
            waiting.append((ask, placed(ask, base)))

    for ask in known:
        reach(ask, crowd[ask][0])
    while waiting:
        source, there = waiting.pop()
        for ask in known:
            if len(waiting) > MOST_BASES:
                message = "so many ranges that go nearly anywhere, and hardly fit, can't be placed"
                raise refuse(message, "give them an alignment, or fewer bases")
            if source is None or (source is not ask and source.meets(ask)):
                for end in ends(bus, ask, there):
                    reach(ask, first_from(crowd[ask], end))
    return {ask: sorted(bases) for ask, bases in known.items()}


def _leaning(bus: Bus, crowd: Values, wide: Iterable[Ask]) -> list[Ask]:
    """Return the wide items that lean; the others keep all their bases."""
    plain = [ask for ask in wide if not bus.aliases(span_of(ask).bits)]
    in_one_turn = []
    for ask in wide:
        if bus.aliases(span_of(ask).bits):
            bases, length = crowd[ask], span_of(ask).length
            if bases[0] % bus.alias_step + bases[-1] - bases[0] + length <= bus.alias_step:
                in_one_turn.append(ask)
    if in_one_turn and all(len(crowd[ask]) <= bus.alias_step for ask in plain):
        return in_one_turn
    return plain


def ends(bus: Bus, ask: Ask, other: Placed) -> Iterator[int]:
    """Yield the places after another range, at each of its aliases among an item's bases."""
    end = other.base + other.length
    if not (bus.aliases(span_of(ask).bits) or bus.aliases(other.bits)):
        yield end
        return
    bases = ask.values
    first = bases[0] + (end - bases[0]) % bus.alias_step
    yield from range(first, bases[-1] + 1, bus.alias_step)


def first_from(bases: Sequence[int], place: int) -> int | None:
    """Return the first of the bases at or after a place; None where there is none."""
    index = bisect_left(bases, place)
    return bases[index] if index < len(bases) else None
