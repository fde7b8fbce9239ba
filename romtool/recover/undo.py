"""The faults that a read can have, each undone: what the read was before, if it had that fault.

Source of the faults: common practice, no source. Whether it did have the fault, the image that
comes of it must show; nothing is judged here.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator
from dataclasses import replace

from romtool.image import corruption
from romtool.image.evidence import identifiers
from romtool.image.walk import walk
from romtool.recover.places import starts
from romtool.recover.reading import Reading, State, step, vote
from romtool.recover.typical import typical_frame
from romtool.schema.catalog import Catalog
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import address, sizes

MOST_FAULTS = 2
"""The most faults that are undone, one after the other."""
LEAST_OVERLAP = 32
"""The fewest bytes (or the whole of a smaller period) that must repeat to be believed."""
LEAST_VALUES = 4
"""The fewest different bytes that must be among them: fill repeats in any image."""
MOST_DIFFERENT = 8
"""Copies are copies if they differ in at most one byte of this many that aren't in a run."""


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
    # Twice, these two give the read back, which is known already.
    data = _known(corruption.inverted(state.reading.data), state.reading.unknown)
    yield state.after(data, step("inverted"))
    yield state.after(_turned(state.reading, corruption.bits_reversed), step("bits-reversed"))
    if not state.did("word-shifted"):
        yield from word_shifted(state)
    if not state.did("rotated"):
        yield from rotated(catalog, state, layout)
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
        swap = functools.partial(corruption.swapped_pairs, first=phase)
        reading = _turned(state.reading, swap)
        if phase and (len(reading) - phase) % 2:
            reading = reading.part(0, len(reading) - 1).filled(len(reading))
        after = state.after(reading, step("swapped-pairs"))
        yield replace(after, unaligned=after.unaligned or phase == 1)


def _turned(reading: Reading, turn: Callable[[bytes], bytes]) -> Reading:
    """Return a reading of which the bytes, known or not, are turned round in one way."""
    return Reading(turn(reading.data), turn(reading.unknown))


def _known(data: bytes, unknown: bytes) -> Reading:
    """Return a reading with 0 for what isn't known."""
    if not any(unknown):
        return Reading(data, unknown)
    return Reading(
        bytes(byte & ~mask & 0xFF for byte, mask in zip(data, unknown, strict=True)), unknown
    )


def bit_shifted(state: State) -> Iterator[State]:
    """Yield the read one bit earlier, bit 7 of each byte first; its last bit isn't known."""
    reading = state.reading
    size = len(reading)
    full = (1 << size * 8) - 1
    data = int.from_bytes(reading.data) << 1 & full
    unknown = (int.from_bytes(reading.unknown) << 1 & full) | 1
    earlier = Reading(data.to_bytes(size), unknown.to_bytes(size))
    # The bit that came first is a 0, unless other bytes stand before the image.
    no_dummy = bool(reading.data[0] & 0x80)
    after = state.after(earlier, step("bit-shifted"))
    yield replace(after, unaligned=after.unaligned or no_dummy)


def word_shifted(state: State) -> Iterator[State]:
    """Yield the read with the bits of each 16-bit word one place up, in either order of bytes.

    The bit that came first in each word is the dummy 0, and the last one of the word isn't known;
    unless something else came first: then it is the last one, which went round.
    """
    for phase in (False, True):
        reading = state.reading
        if phase:
            reading = _turned(reading, corruption.swapped_pairs)
        went_round = any(byte & 0x80 for byte in reading.data[:-1:2])
        data, unknown = _words_up(reading.data), _words_up(reading.unknown)
        if not went_round:
            unknown[1::2] = bytes(mask | 1 for mask in unknown[1::2])
        earlier = _known(bytes(data), bytes(unknown))
        if phase:
            earlier = _turned(earlier, corruption.swapped_pairs)
        after = state.after(earlier, step("word-shifted"))
        yield after if went_round else replace(after, doubts=(*after.doubts, "lost-bits"))


def _words_up(data: bytes) -> bytearray:
    """Return bytes with the bits of each 16-bit word one place up, the first one behind the last.

    An odd last byte stays.
    """
    up = bytearray(data)
    for at in range(1, len(data), 2):
        high, low = data[at - 1], data[at]
        up[at - 1], up[at] = (high << 1 | low >> 7) & 0xFF, (low << 1 | high >> 7) & 0xFF
    return up


def rotated(catalog: Catalog, state: State, layout: ImageLayout | None) -> Iterator[State]:
    """Yield the read begun where an image begins that goes on from its end to its first byte.

    Its items do, or its fill: a read as long as the part has lost nothing.
    """
    reading, length = state.reading, len(state.reading)
    if length not in catalog.part_sizes and not state.sized:
        return
    if state.unaligned:
        # The pair or the bit that was torn apart would come to stand inside the image, undone.
        return
    for start in starts(catalog, reading.data * 2, layout):
        at = start.at
        if at >= length:
            return
        before, after = reading.part(0, at), reading.part(at)
        turned = Reading(after.data + before.data, after.unknown + before.unknown)
        by_fill = set(before.data) == {reading.data[-1]} and not state.steps
        if by_fill or _pnp_end(catalog, turned.data) > length - at:
            yield state.after(turned, step("rotated", at=address(at), count=sizes(at)))


def _pnp_end(catalog: Catalog, data: bytes) -> int:
    """Return where the items after the first right identifier end; 0 without one."""
    place = next(identifiers(catalog, data), None)
    if place is None:
        return 0
    last = place + catalog.identifier.size
    for item in walk(catalog, data, last):
        last = item.end
    return last


def mirrored(catalog: Catalog, state: State) -> Iterator[State]:
    """Yield one period of a read that repeats; copies that differ slightly vote."""
    reading = state.reading
    found: set[int] = set()
    for slight in (False, True):
        period = next((p for p in _periods(catalog, reading) if repeats(reading, p, slight)), None)
        if period is None or period in found:
            continue
        found.add(period)
        copies = [reading.part(at).filled(period) for at in range(0, len(reading), period)]
        voted = vote(copies)
        words = f"{len(copies)} copies"
        if voted.count:
            words += f", which differ in {voted.count} bits"
        done = step("mirrored", period=sizes(period), copies=words)
        after = state.after(voted.reading, done)
        yield replace(after, dropped=0, sized=_is_regular(catalog, period))
    if not found:
        yield from _mirrored_before(catalog, state)


def _mirrored_before(catalog: Catalog, state: State) -> Iterator[State]:
    """Yield one period of a read that holds whole copies, and then something else."""
    period, copies = doubled(catalog, state.reading)
    if not copies:
        return
    rest = state.reading.data[copies * period :]
    words = f"{copies} copies, and {sizes(len(rest))} after them left out"
    done = step("mirrored", period=sizes(period), copies=words)
    after = state.after(state.reading.part(0, period), done)
    after = replace(after, dropped=0, sized=_is_regular(catalog, period))
    yield after if is_fill(rest) else after.without_data(len(rest))


def doubled(catalog: Catalog, reading: Reading) -> tuple[int, int]:
    """Return period (bytes) and number of the whole copies that a read begins with; or 0, 0.

    Something else follows them.
    """
    for period in _periods(catalog, reading) if reading.known() else ():
        one = reading.data[:period]
        copies = 1
        while reading.data[copies * period : (copies + 1) * period] == one:
            copies += 1
        is_image = period >= LEAST_OVERLAP and len(set(one)) >= LEAST_VALUES
        if copies > 1 and is_image and not repeats(reading, period):
            return period, copies
    return 0, 0


def _is_regular(catalog: Catalog, period: int) -> bool:
    """Whether a period is the size of a part, known or not."""
    return period & (period - 1) == 0 or period in catalog.part_sizes


def is_fill(data: bytes) -> bool:
    """Whether bytes are all the same: nothing is lost if they are left out."""
    return len(set(data)) < 2


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


def repeating(catalog: Catalog, reading: Reading) -> bool:
    """Whether a read repeats what stands at its beginning, but for a few bytes."""
    return any(repeats(reading, period, slight=True) for period in _periods(catalog, reading))


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
    ignored = int.from_bytes(reading.unknown[:-period]) | int.from_bytes(reading.unknown[period:])
    different = (int.from_bytes(first) ^ int.from_bytes(second)) & ~ignored
    if not different:
        return True
    if not slight:
        return False
    wrong = length - period - different.to_bytes(length - period).count(0)
    return wrong * MOST_DIFFERENT <= _changes(second)


def _changes(data: bytes) -> int:
    """Return how many bytes differ from the one before: what a run of fill doesn't add to."""
    size = len(data) - 1
    changes = int.from_bytes(data[1:]) ^ int.from_bytes(data[:-1])
    return size - changes.to_bytes(size).count(0)


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
        after = replace(after, dropped=start.at, sized=False, unaligned=False, doubts=doubts)
        lead = state.reading.data[: start.at]
        if state.did("bit-shifted"):
            # The dummy 0 stood after them, and is the last bit of them now.
            lead = lead[:-1] + bytes([lead[-1] | (lead[0] & 1)])
        yield after if is_fill(lead) else after.without_data(start.at)


def header_missing(state: State, layout: ImageLayout) -> State:
    """Return the read with a frame before it: typical configuration, the rest to be computed."""
    reading = state.reading
    frame = typical_frame(layout)
    joined = Reading(frame.data + reading.data, frame.unknown + reading.unknown)
    after = state.after(joined, step("header-missing", layout=layout.name))
    return replace(after, added=layout, sized=False)
