"""The faults that a read can have, each undone: what the read was before, if it had that fault.

Source of the faults: common practice, no source. Whether it did have the fault, the image that
comes of it must show; nothing is judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from romtool.image.spoiling import swapped_pairs as swap
from romtool.recover.places import starts
from romtool.recover.reading import Reading, vote
from romtool.recover.typical import typical_frame
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import sizes

MOST_FAULTS = 2
"""So many faults are undone, one after the other."""
LEAST_OVERLAP = 32
"""So many bytes (or the whole of a smaller period) must repeat to be believed."""
LEAST_VALUES = 4
"""So many different bytes must be among them: fill repeats in any image."""
MOST_DIFFERENT = 8
"""Copies are copies if they differ in at most one for so many bytes that aren't in a run."""


@dataclass(frozen=True)
class Step:
    """One thing that was undone: its name, and the words that the schema's sentence takes."""

    name: str
    words: tuple[tuple[str, str], ...] = ()


def step(name: str, **words: object) -> Step:
    """Return a step with the words for its sentence."""
    return Step(name, tuple((key, str(value)) for key, value in words.items()))


@dataclass(frozen=True)
class State:
    """A read with some faults undone.

    `dropped`: bytes left out before the image; `sized`: its length is that of the part, since it
    repeats; `unaligned`: it makes sense only if an offset is undone next; `added`: the frame that
    was put before it; `doubts`: what speaks against the undoing.
    """

    reading: Reading
    steps: tuple[Step, ...] = ()
    dropped: int = 0
    sized: bool = False
    unaligned: bool = False
    added: ImageLayout | None = None
    doubts: tuple[str, ...] = ()

    def did(self, name: str) -> bool:
        """Whether this fault is undone already."""
        return any(done.name == name for done in self.steps)

    def after(self, reading: Reading, done: Step) -> State:
        """Return the state after one more step."""
        return replace(self, reading=reading, steps=(*self.steps, done))


def ways(catalog: Catalog, first: State, layout: ImageLayout | None) -> list[State]:
    """Return a read with up to two faults undone, in every order; equal results once."""
    found, level = [first], [first]
    seen = {(first.reading, first.added, first.dropped)}
    for _ in range(MOST_FAULTS):
        following = []
        for state in level:
            for after in undone(catalog, state, layout):
                key = (after.reading, after.added, after.dropped)
                if key not in seen:
                    seen.add(key)
                    following.append(after)
        found += following
        level = following
    return found


def undone(catalog: Catalog, state: State, layout: ImageLayout | None) -> Iterator[State]:
    """Yield the states before each fault that this read may have.

    A lost frame was lost before anything else went wrong: nothing is undone after it.
    """
    if state.added is not None:
        return
    if not state.did("swapped-pairs"):
        yield from swapped_pairs(state)
    if not state.did("bit-shifted"):
        yield from bit_shifted(state)
    if not state.did("mirrored"):
        yield from mirrored(catalog, state)
    if not state.did("leading-bytes"):
        yield from leading_bytes(catalog, state, layout)
    if layout is not None and layout.size:
        yield header_missing(state, layout)


def swapped_pairs(state: State) -> Iterator[State]:
    """Yield the read with the bytes of each pair exchanged; an odd last byte stays.

    After an odd number of bytes before the image, the pairs begin at the second byte. One left
    over at the end is then the second of a pair whose first was pushed off, so it isn't known.
    """
    for phase in (0, 1):
        reading = Reading(swap(state.reading.data, phase), swap(state.reading.unknown, phase))
        if phase and (len(reading) - phase) % 2:
            reading = reading.part(0, len(reading) - 1).filled(len(reading))
        after = state.after(reading, step("swapped-pairs"))
        yield replace(after, unaligned=after.unaligned or phase == 1)


def bit_shifted(state: State) -> Iterator[State]:
    """Yield the read one bit earlier, bit 7 of each byte first; its last bit isn't known."""
    reading = state.reading
    size = len(reading)
    full = (1 << size * 8) - 1
    data = int.from_bytes(reading.data, "big") << 1 & full
    unknown = (int.from_bytes(reading.unknown, "big") << 1 & full) | 1
    earlier = Reading(data.to_bytes(size, "big"), unknown.to_bytes(size, "big"))
    # The bit that came first is a 0, unless other bytes stand before the image.
    no_dummy = bool(reading.data[0] & 0x80)
    after = state.after(earlier, step("bit-shifted"))
    yield replace(after, unaligned=after.unaligned or no_dummy)


def mirrored(catalog: Catalog, state: State) -> Iterator[State]:
    """Yield one period of a read that repeats; copies that differ slightly vote."""
    reading = state.reading
    found: set[int] = set()
    for slight in (False, True):
        period = next((p for p in _periods(catalog, reading) if repeats(reading, p, slight)), None)
        if period is None or period in found:
            continue
        found.add(period)
        copies = [
            reading.part(at, at + period).filled(period) for at in range(0, len(reading), period)
        ]
        voted = vote(copies)
        words = f"{len(copies)} copies"
        if voted.count:
            words += f", which differ in {voted.count} bits"
        done = step("mirrored", period=sizes(period), copies=words)
        after = state.after(voted.reading, done)
        regular = period & (period - 1) == 0 or period in catalog.part_sizes
        yield replace(after, dropped=0, sized=regular)


def _periods(catalog: Catalog, reading: Reading) -> list[int]:
    """Return the periods to try, in bytes, ascending."""
    length = len(reading)
    periods = {1 << power for power in range(5, length.bit_length()) if 1 << power < length}
    periods |= {size for size in catalog.part_sizes if size < length}
    # Copies of whatever length: where the first bytes stand again.
    head = reading.data[:LEAST_OVERLAP]
    at = reading.data.find(head, LEAST_OVERLAP)
    if at > 0 and reading.known(0, LEAST_OVERLAP):
        periods.add(at)
    # A file of whole copies, which may begin with fill.
    if reading.known():
        whole = (reading.data * 2).find(reading.data, 1)
        if whole < length:
            periods.add(whole)
    return sorted(periods)


def repeating(catalog: Catalog, reading: Reading, slight: bool = False) -> bool:
    """Whether a read repeats what stands at its beginning; `slight`: but for a few bytes."""
    return any(repeats(reading, period, slight) for period in _periods(catalog, reading))


def repeats(reading: Reading, period: int, slight: bool = False) -> bool:
    """Whether a read repeats every `period` bytes; `slight` lets a few of them differ."""
    length = len(reading)
    if length - period < min(period, LEAST_OVERLAP):
        return False
    first, second = reading.data[:-period], reading.data[period:]
    if len(set(second)) < LEAST_VALUES:
        return False
    if first == second and reading.known():
        return True
    ignored = int.from_bytes(reading.unknown[:-period], "big") | int.from_bytes(
        reading.unknown[period:], "big"
    )
    different = (int.from_bytes(first, "big") ^ int.from_bytes(second, "big")) & ~ignored
    if not different:
        return True
    if not slight:
        return False
    wrong = length - period - different.to_bytes(length - period, "big").count(0)
    return wrong * MOST_DIFFERENT <= _changes(second)


def _changes(data: bytes) -> int:
    """Return how many bytes differ from the one before: what a run of fill doesn't add to."""
    size = len(data) - 1
    changes = int.from_bytes(data[1:], "big") ^ int.from_bytes(data[:-1], "big")
    return size - changes.to_bytes(size, "big").count(0)


def leading_bytes(catalog: Catalog, state: State, layout: ImageLayout | None) -> Iterator[State]:
    """Yield the read from where an image begins, for each such place but the first byte.

    If the read is whole copies as it is, those bytes stood before the image in each of them:
    the repetition came last, and is undone first.
    """
    length = len(state.reading)
    periods = _periods(catalog, state.reading) if not state.did("mirrored") else []
    if any(not length % period and repeats(state.reading, period) for period in periods):
        return
    for start in starts(catalog, state.reading.data, layout):
        done = step("leading-bytes", count=sizes(start.at))
        after = state.after(state.reading.part(start.at), done)
        doubts = (*state.doubts, *start.doubts)
        yield replace(after, dropped=start.at, sized=False, unaligned=False, doubts=doubts)


def header_missing(state: State, layout: ImageLayout) -> State:
    """Return the read with a frame before it: typical configuration, the rest to be computed."""
    reading = state.reading
    frame = typical_frame(layout)
    joined = Reading(frame.data + reading.data, frame.unknown + reading.unknown)
    after = state.after(joined, step("header-missing", layout=layout.name))
    return replace(after, added=layout, sized=False)
