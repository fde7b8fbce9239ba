"""How reads and burns turn bytes round: pairs swapped, bits late, inverted or reversed.

Source: common practice, no source.
"""

from __future__ import annotations


def swapped_pairs(data: bytes, first: int = 0) -> bytes:
    """Return the bytes with each pair swapped, from byte `first` on.

    A last byte without a partner stays where it is.
    """
    swapped = bytearray(data)
    stop = first + (len(data) - first) // 2 * 2
    swapped[first:stop:2] = data[first + 1 : stop : 2]
    swapped[first + 1 : stop : 2] = data[first:stop:2]
    return bytes(swapped)


def one_bit_late(data: bytes) -> bytes:
    """Return the bytes as they read after a dummy 0: each bit one place on, the last one lost."""
    return (int.from_bytes(data, "big") >> 1).to_bytes(len(data), "big")


def inverted(data: bytes) -> bytes:
    """Return the bytes with every bit turned over."""
    return data.translate(_INVERTED)


def bits_reversed(data: bytes) -> bytes:
    """Return the bytes with the bits of each in reverse order."""
    return data.translate(_REVERSED)


_INVERTED = bytes(byte ^ 0xFF for byte in range(256))
_REVERSED = bytes(int(f"{byte:08b}"[::-1], 2) for byte in range(256))
