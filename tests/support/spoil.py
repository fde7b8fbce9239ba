"""Spoil an image the ways in which reads go wrong; nothing here comes from the tool's own code.

Each function takes an image (or what another of them made of it) and returns what a bad read would
have saved. The faults are common practice, no source; the PnP data is walked as in the *Plug and
Play ISA Specification, Version 1.0a* ("Spec").
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import StringIO
from random import Random

from intelhex import IntelHex

from .independent import FRAMES, frame_bytes, identifier_checksum, item_at

Span = tuple[int, int]
"""Where something begins, and the place after its end."""


def swap_pairs(image: bytes) -> bytes:
    """A 16-bit part read in the other order; an odd last byte has no partner and stays."""
    out = bytearray(image)
    even = len(out) // 2 * 2
    out[0:even:2], out[1:even:2] = image[1:even:2], image[0:even:2]
    return bytes(out)


def repeat(image: bytes, length: int) -> bytes:
    """Address bits that the part doesn't have: its contents again and again."""
    return (image * (length // len(image) + 1))[:length]


def one_bit_late(image: bytes) -> bytes:
    """Bits as they come, bit 7 first: a dummy 0 before the first, so the last one is lost."""
    return (int.from_bytes(image, "big") >> 1).to_bytes(len(image), "big")


def push(image: bytes, lead: bytes) -> bytes:
    """Bytes before the image in a file of the image's length: as many at the end are gone."""
    return (lead + image)[: len(image)]


def pnp_span(image: bytes, layout: str) -> Span:
    """The PnP data, identifier to end item; ValueError if it has no end (Spec 6.1, 6.2)."""
    frame = FRAMES[layout]
    start = len(frame.signature) + (2 if frame.counted else 0) + len(frame.config)
    at = start + 9
    try:
        while image[at] != 0x79:
            at += len(item_at(image, at))
    except IndexError as error:
        raise ValueError("no end item") from error
    if at + 2 > len(image):
        raise ValueError("the end item is cut short")
    return start, at + 2


def lose_frame(image: bytes, layout: str, length: int = 0, fill: int = 0xFF) -> bytes:
    """Only the PnP data, filled up to a length."""
    start, end = pnp_span(image, layout)
    return image[start:end].ljust(length, bytes([fill]))


def flip(image: bytes, bits: Iterable[int]) -> bytes:
    """Turn single bits over; bit 0 is the lowest of the first byte."""
    out = bytearray(image)
    for bit in bits:
        out[bit // 8] ^= 1 << bit % 8
    return bytes(out)


def flipped_reads(image: bytes, seed: int, flips: Sequence[int], span: Span) -> list[bytes]:
    """Poor contact: so many bits turned over in each read, within a span, no bit in two reads."""
    bits = Random(seed).sample(range(span[0] * 8, span[1] * 8), sum(flips))
    reads = []
    for count in flips:
        reads.append(flip(image, bits[:count]))
        del bits[:count]
    return reads


def stuck(image: bytes, bit: int, value: int) -> bytes:
    """A data line without contact, or with a short: one bit of every byte is always the same."""
    return bytes(byte | 1 << bit if value else byte & ~(1 << bit) & 0xFF for byte in image)


def invert(image: bytes) -> bytes:
    """A programmer that inverts its buffer."""
    return bytes(byte ^ 0xFF for byte in image)


def reverse_bits(image: bytes) -> bytes:
    """The lowest bit of each byte first."""
    return bytes(int(f"{byte:08b}"[::-1], 2) for byte in image)


def rotate(image: bytes, start: int) -> bytes:
    """The part's address counter wasn't reset: its contents begin in the middle."""
    return image[start:] + image[:start]


def words_one_bit_late(image: bytes) -> bytes:
    """A dummy 0 before each 16-bit word, whose last bit is lost."""
    words = (int.from_bytes(image[at : at + 2], "big") for at in range(0, len(image), 2))
    return b"".join((word >> 1).to_bytes(2, "big") for word in words)


def words_gone_round(image: bytes) -> bytes:
    """The same where the last bit of each word is read first: nothing is lost."""
    words = (int.from_bytes(image[at : at + 2], "big") for at in range(0, len(image), 2))
    return b"".join((word >> 1 | (word & 1) << 15).to_bytes(2, "big") for word in words)


def every_second(image: bytes, first: int, before: bytes) -> bytes:
    """Only every second byte was written, from the first or the second on."""
    out = bytearray(before)
    out[first::2] = image[first::2]
    return bytes(out)


def wrapped_pages(image: bytes, page: int, pages: int, before: bytes) -> bytes:
    """Blocks of several pages were sent: each byte goes to the page that the block began in."""
    out = bytearray(before)
    for start in range(0, len(image), page * pages):
        for at, byte in enumerate(image[start : start + page * pages]):
            out[start + at % page] = byte
    return bytes(out)


def first_part(image: bytes, length: int, before: bytes) -> bytes:
    """The burn ended after so many bytes."""
    return image[:length] + before[length:]


def blank(length: int) -> bytes:
    """Nothing in the part, or no contact: all FFh."""
    return b"\xff" * length


def zero(length: int) -> bytes:
    """No contact, the line held low: all 00h."""
    return bytes(length)


def two_bytes(length: int, pattern: bytes) -> bytes:
    """Wrong organisation, or no power: the same two bytes over and over."""
    return repeat(pattern, length)


def hex_text(image: bytes, base: int = 0, holes: Iterable[Span] = ()) -> bytes:
    """Intel HEX from a first address on, without the bytes in the holes (places in the image)."""
    out = IntelHex()
    out.frombytes(image, offset=base)
    for start, end in holes:
        for at in range(start, end):
            del out[base + at]
    text = StringIO()
    out.write_hex_file(text)
    return text.getvalue().encode("ascii")


def sound(image: bytes, layout: str) -> bool:
    """Whether what can be checked in an image of this layout is right (Spec 6.1, 6.2.2.11).

    An end checksum of 0 says "not checked" and passes.
    """
    frame = FRAMES[layout]
    try:
        start, end = pnp_span(image, layout)
    except ValueError:
        return False
    before = frame_bytes({"image": {"layout": layout}}, end - start)
    checked = len(before) - len(frame.config)
    pnp = image[start:end]
    return (
        image[:checked] == before[:checked]
        and identifier_checksum(pnp[:8]) == pnp[8]
        and (pnp[-1] == 0 or sum(pnp[9:]) % 256 == 0)
    )
