"""The checksum algorithms that a schema can name; their parameters stand in the schema."""

from __future__ import annotations

from collections.abc import Callable

from romtool.schema.described import Described


def lfsr8(data: bytes, seed: int, taps: tuple[int, ...]) -> int:
    """Return the state of an 8-bit shift register after `data`, bit 0 of each byte first.

    Source: Plug and Play ISA Specification 1.0a, appendix B.2.
    """
    state = seed
    for byte in data:
        for bit in range(8):
            new = byte >> bit & 1
            for tap in taps:
                new ^= state >> tap & 1
            state = state >> 1 | new << 7
    return state


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
    taps: tuple[int, ...] = ()
    source: str = ""
    text: str = ""

    def of(self, data: bytes) -> int:
        """Return the checksum (one byte) over `data`."""
        return ALGORITHMS[self.algorithm](data, self.seed, self.taps)
