"""Items with room to spare, which never stand in the way.

Say the others, wherever they are placed, can block at most n of an item's bases. If the item has
more than n bases, then one is left for it, whatever the others are given: it can be left out of
the question whether all can be served, and be placed last. Once it is left out it blocks nobody,
and others may turn out to have room to spare too.

A range of length m blocks the bases at which the item would begin less than m after the range's
own base, or less than the item's length before it.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Sequence

from romtool.assign.asks import Ask, Asker, Values, placed, span_of
from romtool.requirements.collide import Placed
from romtool.schema.bus import Bus


def without_room(
    bus: Bus,
    askers: Sequence[Asker],
    crowd: Values,
    suspects: Sequence[Ask],
    blocks: Iterable[Placed],
) -> list[Ask]:
    """Return those of the suspects that the rest of a crowd may leave no base for.

    `crowd`: all items of one kind; `blocks`: what the host has taken of it.
    """
    left = set(crowd)
    room = {
        ask: len(crowd[ask]) - sum(_blocked(bus, ask, block) for block in blocks)
        for ask in suspects
    }
    changed = True
    while changed:
        changed = False
        for ask in suspects:
            if ask in left and _blocked_by_all(bus, askers, ask, left) < room[ask]:
                left.remove(ask)
                changed = True
    return [ask for ask in suspects if ask in left]


def _blocked_by_all(bus: Bus, askers: Sequence[Asker], ask: Ask, left: Collection[Ask]) -> int:
    """Return how many bases of an item the others in `left` can block at most."""

    def by(others: Iterable[Ask]) -> int:
        return sum(
            _blocked(bus, ask, placed(other, 0))
            for other in others
            if other in left and other is not ask
        )

    total = 0
    for place, asker in enumerate(askers):
        alternatives: Sequence[int] = range(len(asker.own))
        if place == ask.device and ask.alternative is not None:
            alternatives = (ask.alternative,)
        total += max(by(asker.in_effect(alternative)) for alternative in alternatives)
    return total


def _blocked(bus: Bus, ask: Ask, other: Placed) -> int:
    """Return how many bases of an item a range can block at most, wherever it is placed."""
    span, bases = span_of(ask), ask.values
    step = span.bases.step
    width = span.length + other.length - 1
    most = -(-width // step)
    if bus.aliases(span.bits):
        # No two bases are at the same place between two aliases: they are at least so far apart.
        most = -(-width // math.gcd(step, bus.alias_step))
    elif bus.aliases(other.bits):
        most *= (bases[-1] - bases[0] + width) // bus.alias_step + 1
    return min(most, len(bases))
