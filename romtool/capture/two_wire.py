"""The two-wire bus: transfers from START to STOP, byte by byte with their acknowledgements.

SDA  ‾\\___ 7 ... 0 ACK ... __/‾    START: SDA falls while SCL is high; STOP: it rises.
SCL  ‾‾‾\\_/‾\\_/‾\\_..._/‾‾‾‾‾‾    A bit counts while SCL is high (UM10204, 3.1).

And what they are as commands to its parts.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from romtool.capture.commands import Command
from romtool.capture.levels import Levels
from romtool.schema.bench import SerialBus
from romtool.schema.image_layouts import Part

SCL, SDA, LOCK = 1, 2, 4
"""Bits of `Levels`: clock, data, and the line that protects from writing."""

BYTE = 8
"""Bits of a byte; one more clock is for the answer."""

MOST_EARLY = 1000
"""Clocks before the first START that are kept."""


class Transfer(NamedTuple):
    """Bytes between a START and what ends them.

    `answers`: for each byte whether the ninth bit was low; `bits`: of a byte that was broken off;
    `stopped`: a STOP ended it; `ended`: a STOP or a START did, not the end of the capture;
    `locked`: the protecting line was high as it ended.
    """

    time: float
    end: float
    data: bytes
    answers: bytes
    bits: int
    stopped: bool
    ended: bool
    locked: bool


class TransferReader:
    """Reads the transfers; what doesn't belong to one is counted."""

    def __init__(self) -> None:
        self.clocks = 0
        self.early: list[float] = []
        """When the clock rose before the first START: the first ones."""
        self.starts = 0

    def read(self, levels: Iterable[Levels]) -> Iterator[Transfer]:
        """Yield the transfers in order of time; also one that the capture's end cuts off."""
        data, answers = bytearray(), bytearray()
        start: float | None = None
        byte = count = 0
        before = None
        time: float = 0
        high = 0
        for time, high, _ in levels:
            if before is None:
                before = high
                continue
            was, before = before, high
            if high & SCL:
                bit = 1 if high & SDA else 0
                if not was & SCL:
                    self.clocks += 1
                    if start is None:
                        if not self.starts and len(self.early) < MOST_EARLY:
                            self.early.append(time)
                    elif count < BYTE:
                        byte = byte << 1 | bit
                        count += 1
                    else:
                        data.append(byte & 0xFF)
                        answers.append(1 - bit)
                        byte = count = 0
                elif (was ^ high) & SDA:
                    # The clock of a START or STOP was counted as a bit.
                    bits = max(0, count - 1)
                    if start is not None and (data or bits):
                        yield Transfer(
                            start, time, bytes(data), bytes(answers), bits,
                            bool(bit), True, bool(high & LOCK),
                        )  # fmt: skip
                    data.clear()
                    answers.clear()
                    byte = count = 0
                    start = None if bit else time
                    self.starts += not bit
        if start is not None and (data or count):
            yield Transfer(
                start, time, bytes(data), bytes(answers), count, False, False, bool(high & LOCK)
            )


BLOCK = 256
"""Bytes that an address byte reaches; larger parts have a 7-bit address for each such block."""

WIDE_SIZE = 1 << 16
"""Bytes that two address bytes reach."""

EARLY_SIZE = 128
"""Bytes of parts that have no device address: 7 bits of the first byte are the byte's."""


class TwoWireParts(NamedTuple):
    """How 7-bit addresses and address bytes belong to parts.

    `pages`: the sizes (bytes) that a page may have; `blocks`: 7-bit addresses that one part has;
    `size`: its bytes. `early`: the first byte of a transfer is a byte's address, there is no other;
    `wide`: an address has two bytes.
    """

    bus: SerialBus
    pages: tuple[int, ...]
    blocks: int = 1
    size: int = BLOCK
    early: bool = False
    wide: bool = False

    @classmethod
    def of(cls, bus: SerialBus, pages: tuple[int, ...], part: Part | None) -> TwoWireParts:
        """Return how the addresses of this part are; of an unknown one each is of its own."""
        if part is None:
            return cls(bus, pages)
        return cls(bus, (part.page or pages[0],), max(1, part.size // BLOCK), part.size)

    def after(self, address: int, stored: int) -> int | None:
        """Return where the pointer stands after `stored` bytes were stored; None: not known.

        It stays in the page that was written.
        """
        places = {address - address % page + (address + stored) % page for page in self.pages}
        return places.pop() if len(places) == 1 else None


def is_early(bus: SerialBus, transfers: Iterable[Transfer]) -> bool:
    """Whether the parts seem to have no device address: the first byte names the byte.

    Only where no EEPROM's address was ever called, and either several others answered, as no bus
    of that size has, or the address that the bus keeps for no device answered to a read.
    """
    answered = set()
    for transfer in transfers:
        if transfer.data and bus.is_eeprom(transfer.data[0] >> 1):
            return False
        if transfer.data and transfer.answers[0]:
            answered.add(transfer.data[0])
    return len({first >> 1 for first in answered}) > 8 or 1 in answered


def is_wide(bus: SerialBus, transfers: Sequence[Transfer]) -> bool:
    """Whether addresses have two bytes, as parts of more than 2 KiB want them.

    Then two bytes stand before each START that turns a transfer round to a read, never one alone.
    """
    sizes = {
        len(earlier.data) - 1
        for earlier, later in itertools.pairwise(transfers)
        if earlier.ended and not earlier.stopped and all(earlier.answers)
        and later.data and later.data[0] == earlier.data[0] | 1
        and not earlier.data[0] & 1 and bus.is_eeprom(earlier.data[0] >> 1)
    }  # fmt: skip
    return sizes == {2}


def commands_of(parts: TwoWireParts, transfers: Iterable[Transfer]) -> Iterator[Command]:
    """Yield a command for each transfer; it keeps each part's address pointer on the way."""
    pointers: dict[int, int | None] = {}
    for transfer in transfers:
        if not transfer.data:
            continue
        call, rest = transfer.data[0] >> 1, transfer.data[1:]
        is_read = bool(transfer.data[0] & 1)
        is_called = bool(transfer.answers[0])
        answered = is_called and (is_read or all(transfer.answers))
        is_whole = transfer.ended and not transfer.bits
        kind, address, part = ("read" if is_read else "write"), None, call
        took: bool | None = answered
        if parts.early:
            part, address = 0, call
            if not rest and not is_read:
                kind = "address"
        elif not parts.bus.is_eeprom(call):
            kind = kind if rest else "address"
        else:
            part, block = call & ~(parts.blocks - 1), call & (parts.blocks - 1)
            if is_read:
                pointer = pointers.get(part)
                if pointer is not None and parts.wide:
                    address = pointer
                elif pointer is not None:
                    address = (pointer % BLOCK + block * BLOCK) % parts.size
            elif len(rest) > parts.wide:
                address = (block * BLOCK + rest[0]) % parts.size
                if parts.wide:
                    address, rest = rest[0] << 8 | rest[1], rest[1:]
                rest = rest[1:]
            if not is_read and not rest:
                kind = "address"
            if is_called and address is not None:
                pointer = (address + len(rest)) % parts.size
                if not is_read and rest:
                    pointer = parts.after(address, len(rest))
                pointers[part] = pointer
        if kind == "write" and answered:
            took = None if transfer.stopped or not transfer.ended else False
        yield Command(
            transfer.time, transfer.end, kind, part, address, rest, answered, took,
            is_whole, transfer.locked, is_cut=not transfer.ended, called=is_called,
        )  # fmt: skip
