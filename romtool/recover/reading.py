"""A read of a part as far as it is known, and the vote over several."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass


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
