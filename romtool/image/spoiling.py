"""How reads and burns turn bytes round: pairs swapped, a bit late (common practice, no source)."""

from __future__ import annotations


def swapped_pairs(data: bytes, first: int = 0) -> bytes:
    """Return the bytes with each pair swapped, from byte `first` on.

    A last byte without a partner stays where it is.
    """
    swapped = bytearray(data)
    behind = first + (len(data) - first) // 2 * 2
    swapped[first:behind:2] = data[first + 1 : behind : 2]
    swapped[first + 1 : behind : 2] = data[first:behind:2]
    return bytes(swapped)


def one_bit_late(data: bytes) -> bytes:
    """Return the bytes as they read behind a dummy 0: each bit one place on, the last one lost."""
    return (int.from_bytes(data, "big") >> 1).to_bytes(len(data), "big")
