"""Faults of a burn: each makes, of what should be there, what was read, all bytes of it.

Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from romtool.schema.numbers import sizes

FEW = 4
"""The fewest bytes that must differ where a fault leaves free what the others hold."""
CHANCE = 0.05
"""How often bytes that differ by chance may all stand after what was written."""
BLANKS = (0xFF, 0x00)


class Explained(NamedTuple):
    """A fault that explains every byte that differs: its name, and the words of its title."""

    name: str
    words: Mapping[str, object]


def burn_faults(
    read: bytes, want: bytes, used: int, pages: Sequence[int], *, is_whole: bool
) -> Explained | None:
    """Return the fault that makes just this readback, of the same length, of what should be there.

    `used`: bytes up to the end of what isn't fill; `pages`: the page sizes (bytes) that the part
    may have; `is_whole`: the readback is an image that nothing is wrong with.
    """
    if len(read) != len(want) or read == want:
        return None
    finders: Sequence[Callable[[], Explained | None]] = (
        lambda: stuck_bit(read, want),
        lambda: every_second_byte(read, want),
        lambda: page_wrap(read, want, pages),
        lambda: partly_written(read, want, used, is_whole=is_whole),
    )
    return next((found for found in (finder() for finder in finders) if found), None)


def stuck_bit(read: bytes, want: bytes) -> Explained | None:
    """Return a data bit that is the same in every byte, where nothing else differs."""
    mask = 0
    differing = 0
    for have, should in zip(read, want, strict=True):
        mask |= have ^ should
        differing += have != should
    if mask.bit_count() != 1 or differing < 2:
        return None
    values = {byte & mask for byte in read}
    if len(values) > 1:
        return None
    return Explained("stuck-bit", {"bit": mask.bit_length() - 1, "value": int(values != {0})})


def every_second_byte(read: bytes, want: bytes) -> Explained | None:
    """Return that only the even, or only the odd addresses were written."""
    for parity, which in enumerate(("even", "odd")):
        other = read[1 - parity :: 2]
        if read[parity::2] != want[parity::2]:
            continue
        pairs = list(zip(other, want[1 - parity :: 2], strict=True))
        wrong = sum(have != should for have, should in pairs)
        is_blank = len(set(other)) == 1 and other[0] in BLANKS
        if wrong >= FEW and (is_blank or wrong * 2 > sum(s not in BLANKS for _, s in pairs)):
            return Explained("every-second-byte", {"which": which})
    return None


def page_wrap(read: bytes, want: bytes, pages: Sequence[int]) -> Explained | None:
    """Return that blocks of several pages were sent, and each wrapped within its first page.

    Of a block its last bytes stand in its first page; the other pages stay as they were.
    """
    for page in pages:
        block = 2 * page
        while block <= len(want):
            starts = range(0, len(want), block)
            if all(read[at : at + page] == _wrapped(want[at : at + block], page) for at in starts):
                rest = b"".join(read[at + page : at + block] for at in starts)
                first = b"".join(read[at : at + page] for at in starts)
                expected = b"".join(want[at : at + page] for at in starts)
                wrong = sum(a != b for a, b in zip(first, expected, strict=True))
                if wrong >= FEW or (_is_blank(rest) and wrong):
                    return Explained("page-wrap", {"block": sizes(block), "page": sizes(page)})
            block *= 2
    return None


def _wrapped(block: bytes, page: int) -> bytes:
    """Return what the first page holds after all of a block was sent to it."""
    held = bytearray(block[:page])
    for at, byte in enumerate(block):
        held[at % page] = byte
    return bytes(held)


def _is_blank(rest: bytes) -> bool:
    return len(set(rest)) == 1 and rest[0] in BLANKS


def partly_written(read: bytes, want: bytes, used: int, *, is_whole: bool) -> Explained | None:
    """Return that only the first bytes were written; the rest is blank, or as it was before."""
    wrong = [at for at, (have, should) in enumerate(zip(read, want, strict=True)) if have != should]
    first = wrong[0]
    if not first or len(wrong) < FEW:
        return None
    is_blank = _is_blank(read[first:])
    if not is_blank:
        # By chance, places that are wrong would stand before that one too.
        places = sum(at - 1 not in wrong for at in wrong)
        free = 1 - min(first, used) / max(used, 1)
        if is_whole or places < FEW or free**places > CHANCE:
            return None
    rest = "the rest is blank" if is_blank else "the rest is as it was before"
    return Explained("partly-written", {"size": sizes(first), "rest": rest})
