"""A read of a part as far as it is known: what of it was undone, the vote over several, a name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from romtool.schema.catalog import Catalog, ReadFault
from romtool.schema.image_layouts import ImageLayout
from romtool.schema.numbers import hex_text


@dataclass(frozen=True)
class Reading:
    """What was read; `unknown` has as many bytes, and a 1 for each bit that isn't known.

    Unknown bits are 0 in `data`, so that equal readings are equal.
    """

    data: bytes
    unknown: bytes

    @staticmethod
    def of(data: bytes, gaps: Iterable[tuple[int, int]] = ()) -> Reading:
        """Return a read of which the bytes in `gaps`, (first, after) pairs, aren't known."""
        known, unknown = bytearray(data), bytearray(len(data))
        for first, stop in gaps:
            known[first:stop] = bytes(stop - first)
            unknown[first:stop] = b"\xff" * (stop - first)
        return Reading(bytes(known), bytes(unknown))

    def __len__(self) -> int:
        return len(self.data)

    def open_bits(self, first: int = 0, stop: int | None = None) -> list[tuple[int, int]]:
        """Return (byte, bit) of the unknown bits from byte `first` to before `after`."""
        part = self.unknown[first:stop]
        if not any(part):
            return []
        return [
            (first + at, bit)
            for at, mask in enumerate(part)
            if mask
            for bit in range(8)
            if mask >> bit & 1
        ]

    def known(self, first: int = 0, stop: int | None = None) -> bool:
        """Whether every bit from byte `first` to before `after` is known."""
        return not any(self.unknown[first:stop])

    def part(self, first: int, stop: int | None = None) -> Reading:
        """Return the bytes from `first` to before `after`."""
        return Reading(self.data[first:stop], self.unknown[first:stop])

    def filled(self, size: int) -> Reading:
        """Return the first `size` bytes, those that aren't there as unknown ones."""
        missing = max(0, size - len(self))
        return Reading(self.data[:size] + bytes(missing), self.unknown[:size] + b"\xff" * missing)

    def overlaid(self, data: bytes, mask: bytes | None = None, at: int = 0) -> Reading:
        """Return the reading with its unknown bits from byte `at` on taken from `data`.

        `mask` has a 1 for each bit that may be taken; left out: all.
        """
        known, unknown = bytearray(self.data), bytearray(self.unknown)
        for index, byte in enumerate(data):
            open_bits = unknown[at + index]
            if mask is not None:
                open_bits &= mask[index]
            if open_bits:
                known[at + index] |= byte & open_bits
                unknown[at + index] &= ~open_bits & 0xFF
        return Reading(bytes(known), bytes(unknown))


@dataclass(frozen=True)
class Vote:
    """What several reads say together; `disputed` bits were not the same in all of them."""

    reading: Reading
    disputed: bytes

    @property
    def count(self) -> int:
        """How many bits are disputed."""
        return sum(byte.bit_count() for byte in self.disputed)

    @property
    def doubtful(self) -> Reading:
        """The reading with every disputed bit as unknown, whatever the majority says."""
        data, unknown = self.reading.data, self.reading.unknown
        return Reading(
            bytes(byte & ~bad & 0xFF for byte, bad in zip(data, self.disputed, strict=True)),
            bytes(byte | bad for byte, bad in zip(unknown, self.disputed, strict=True)),
        )


def vote(readings: Sequence[Reading]) -> Vote:
    """Return the vote, bit by bit, over readings of one length; a tie leaves a bit unknown."""
    data = bytearray(readings[0].data)
    unknown = bytearray(readings[0].unknown)
    disputed = bytearray(len(data))
    sure = not any(any(reading.unknown) for reading in readings)
    masks = [reading.unknown for reading in readings]
    for at, column in enumerate(zip(*(reading.data for reading in readings), strict=True)):
        first = column[0]
        if sure and column.count(first) == len(column):
            continue
        data[at], unknown[at], disputed[at] = _byte_vote(column, [mask[at] for mask in masks])
    return Vote(Reading(bytes(data), bytes(unknown)), bytes(disputed))


def _byte_vote(column: Sequence[int], masks: Sequence[int]) -> tuple[int, int, int]:
    """Return byte, unknown bits and disputed bits of a vote over one byte."""
    value = unknown = disputed = 0
    for bit in range(8):
        known = [
            byte >> bit & 1 for byte, mask in zip(column, masks, strict=True) if not mask >> bit & 1
        ]
        ones = sum(known)
        if 2 * ones > len(known):
            value |= 1 << bit
        elif 2 * ones == len(known):
            unknown |= 1 << bit
        if 0 < ones < len(known):
            disputed |= 1 << bit
    return value, unknown, disputed


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
    was put before it; `doubts`: names of judgements that speak against the undoing; `left_out`: so
    many bytes were left out that are no fill, which only the user may do.
    """

    reading: Reading
    steps: tuple[Step, ...] = ()
    dropped: int = 0
    sized: bool = False
    unaligned: bool = False
    added: ImageLayout | None = None
    doubts: tuple[str, ...] = ()
    left_out: int = 0

    def did(self, name: str) -> bool:
        """Whether this fault is undone already."""
        return any(done.name == name for done in self.steps)

    def after(self, reading: Reading, done: Step) -> State:
        """Return the state after one more step."""
        return replace(self, reading=reading, steps=(*self.steps, done))

    def without_data(self, count: int) -> State:
        """Return the state with `count` bytes more left out that are no fill."""
        return replace(self, left_out=self.left_out + count)


# --- reads of which nothing can be made, named for what they are


FEWEST_WORDS = 32
"""The fewest words that must begin with a 0 bit for it to be no chance."""
LATE_FILL = (0x7F, 0xFF)
"""A word of fill, read one bit late."""


@dataclass(frozen=True)
class Named:
    """A hopeless read: what it is, and the bytes that it consists of, if it does."""

    fault: ReadFault
    pattern: bytes = b""

    @property
    def title(self) -> str:
        """What it is, in words."""
        if not self.pattern or self.fault.pattern:
            return self.fault.title
        return f"{self.fault.title}: {hex_text(self.pattern)}"


def name(catalog: Catalog, reading: Reading) -> Named | None:
    """Return what a read is that holds nothing but a short pattern; None for any other."""
    data = reading.data
    known = ~int.from_bytes(reading.unknown)
    for fault in catalog.read_faults.values():
        pattern = fault.pattern or data[: fault.period or 0]
        if not pattern or (fault.period and len(data) < 2 * fault.period):
            continue
        if not reading.known(0, fault.period or 0):
            continue
        other = (pattern * (len(data) // len(pattern) + 1))[: len(data)]
        # Bits that were not read say nothing; the others must all be the pattern's.
        if not (int.from_bytes(data) ^ int.from_bytes(other)) & known:
            return Named(fault, pattern)
    return None


def late_words(catalog: Catalog, reading: Reading) -> Named | None:
    """Return that each 16-bit word of a read was read behind a dummy 0; None if that isn't so.

    Its last bit is lost then, and with it more than can be put right.
    """
    even, odd = reading.data[::2], reading.data[1::2]
    for high, low in ((even, odd), (odd, even)):
        is_late = len(high) >= FEWEST_WORDS and max(high) < 0x80
        if is_late and LATE_FILL in zip(high, low, strict=False):
            return Named(catalog.read_faults["word-shifted"])
    return None
