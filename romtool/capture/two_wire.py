"""Transfers of the two-wire bus: from START to STOP, byte by byte with their acknowledgements.

SDA  ‾\\___ 7 ... 0 ACK ... __/‾    START: SDA falls while SCL is high; STOP: it rises.
SCL  ‾‾‾\\_/‾\\_/‾\\_..._/‾‾‾‾‾‾    A bit counts while SCL is high (UM10204, 3.1).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from romtool.capture.levels import Levels

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
