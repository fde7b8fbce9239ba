"""Several reads of one part: each brought to agree with the others, then put to the vote."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from romtool.recover.reading import Reading, Vote, vote
from romtool.recover.undo import State
from romtool.schema.catalog import Catalog

MOST_DIFFERENT = 10
"""Reads agree if at most one in so many of their bytes, the commonest left out, differs."""


@dataclass(frozen=True)
class Joined:
    """Reads in agreement: the vote over them, and the state of the one that led them."""

    state: State
    vote: Vote
    reads: int
    notes: tuple[str, ...] = ()
    left_out: tuple[int, ...] = ()
    """The positions of the reads that agree with none of these."""


def joined(state: State, readings: Sequence[Reading], notes: tuple[str, ...] = ()) -> Joined:
    """Return the vote over readings that a leading state brought together."""
    return Joined(state, vote(readings), len(readings), notes)


def together(
    catalog: Catalog,
    readings: Sequence[Reading],
    states: Callable[[State], list[State]],
    strength: Callable[[State], tuple[int, ...]],
) -> Iterator[Joined]:
    """Yield the ways of bringing reads together, the plainest first.

    First as they are, if they are of one length and agree; then each as it was before its own
    faults. `states` gives a read with its faults undone, `strength` how much a state says.
    """
    plain = len({len(reading) for reading in readings}) == 1
    if plain and all(agree(readings[0], other) for other in readings[1:]):
        yield joined(State(readings[0]), readings)
    ways = [states(State(reading)) for reading in readings]
    leaders: dict[int, tuple[tuple[int, ...], State]] = {}
    for way in (way for found in ways for way in found):
        value = (*strength(way), -len(way.steps))
        length = len(way.reading)
        if value[0] and (length not in leaders or value > leaders[length][0]):
            leaders[length] = value, way
    # The length that most reads come to is that of the part; a cut read may be shorter.
    found = [(_voted_with(catalog, way, ways), value) for value, way in leaders.values()]
    found.sort(key=lambda pair: (pair[0].reads, pair[1]), reverse=True)
    for join, _ in found:
        yield join
    if plain:
        yield joined(State(readings[0]), readings)


def _voted_with(catalog: Catalog, leader: State, ways: Sequence[Sequence[State]]) -> Joined:
    """Return the vote over each read as it agrees best with the leader."""
    chosen: list[Reading] = []
    undone: list[str] = []
    left_out: list[int] = []
    size = len(leader.reading)
    for number, states in enumerate(ways, 1):
        near = [
            (difference(leader.reading, state.reading), len(state.steps), index)
            for index, state in enumerate(states)
            if not state.unaligned and size // 4 <= len(state.reading) <= size
        ]
        near = [found for found in near if agree(leader.reading, states[found[2]].reading)]
        if not near:
            left_out.append(number - 1)
            continue
        state = states[min(near)[2]]
        chosen.append(state.reading.filled(size))
        if [done.name for done in state.steps] != [done.name for done in leader.steps]:
            titles = [catalog.read_faults[done.name].title for done in state.steps]
            told = "read-undone" if titles else "read-kept"
            undone.append(catalog.judgement(told, number=number, steps=" and ".join(titles)))
    if left_out:
        undone.append(catalog.judgement("reads-apart", count=len(left_out)))
    return Joined(leader, vote(chosen), len(chosen), tuple(undone), tuple(left_out))


def difference(first: Reading, second: Reading) -> int:
    """Return how many bits, known in both, two readings differ in."""
    size = min(len(first), len(second))
    ignored = _number(first.unknown, size) | _number(second.unknown, size)
    return ((_number(first.data, size) ^ _number(second.data, size)) & ~ignored).bit_count()


def agree(first: Reading, second: Reading) -> bool:
    """Whether two readings differ in so little that they are reads of the same bytes."""
    size = min(len(first), len(second))
    if not size:
        return False
    data = first.data[:size]
    common = max(set(data), key=data.count)
    told = sum(byte != common for byte in data)
    return difference(first, second) * MOST_DIFFERENT <= max(told, MOST_DIFFERENT) * 2


def _number(data: bytes, size: int) -> int:
    return int.from_bytes(data[:size], "big")
