"""The checksum algorithms that a schema can name; their parameters stand in the schema."""

from __future__ import annotations

import functools
from collections.abc import Callable

from romtool.schema.described import Described


def lfsr8(data: bytes, seed: int, taps: tuple[int, ...]) -> int:
    """Return the state of an 8-bit shift register after `data`, bit 0 of each byte first.

    Source: Plug and Play ISA Specification 1.0a, appendix B.2.
    """
    of_state, of_byte = _tables(taps)
    state = seed
    for byte in data:
        state = of_state[state] ^ of_byte[byte]
    return state


@functools.cache
def _tables(taps: tuple[int, ...]) -> tuple[list[int], list[int]]:
    """Return what each state, and what each byte, adds to the state after that byte.

    The register is linear: what several bits do together is the exclusive or of what each does.
    """
    of_state, of_byte = [0] * 256, [0] * 256
    for number in range(1, 256):
        lowest = number & -number
        if number == lowest:
            of_state[number] = _shifted(number, 0, taps)
            of_byte[number] = _shifted(0, number, taps)
        else:
            of_state[number] = of_state[lowest] ^ of_state[number ^ lowest]
            of_byte[number] = of_byte[lowest] ^ of_byte[number ^ lowest]
    return of_state, of_byte


def _shifted(state: int, byte: int, taps: tuple[int, ...]) -> int:
    """Return the register's next state, bit by bit."""
    for bit in range(8):
        state = shifted(state, taps, byte >> bit & 1)
    return state


def shifted(state: int, taps: tuple[int, ...], bit: int = 0) -> int:
    """Return the next state of an 8-bit shift register, one bit of data later (Spec B.2)."""
    for tap in taps:
        bit ^= state >> tap & 1
    return state >> 1 | bit << 7


def sum8(data: bytes, seed: int, taps: tuple[int, ...] = ()) -> int:
    """Return the byte that makes seed, `data` and itself sum to 0 modulo 256."""
    return -(seed + sum(data)) & 0xFF


def xor8(data: bytes, seed: int, taps: tuple[int, ...] = ()) -> int:
    """Return the exclusive or of seed and the bytes of `data`."""
    for byte in data:
        seed ^= byte
    return seed


ALGORITHMS: dict[str, Callable[[bytes, int, tuple[int, ...]], int]] = {
    "lfsr8": lfsr8,
    "sum8": sum8,
    "xor8": xor8,
}


class Checksum(Described):
    """A checksum of the schema: an algorithm with its parameters; all make one byte."""

    name: str
    algorithm: str
    seed: int
    taps: tuple[int, ...]
    source: str
    text: str

    def of(self, data: bytes) -> int:
        """Return the checksum (one byte) over `data`."""
        return ALGORITHMS[self.algorithm](data, self.seed, self.taps)

    def next(self, state: int, bit: int = 0) -> int:
        """Return the shift register's next state; for an algorithm that is one."""
        return shifted(state, self.taps, bit)
