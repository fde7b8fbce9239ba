"""What a file of bytes at addresses holds: the bytes, their first address, what it leaves out.

And what Intel HEX and S-records share: a line is a record in hex digits, with a sum at its end.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from romtool.errors import InputError, Problem
from romtool.formats import MAX_IMAGE

TOP = MAX_IMAGE - 1
"""The highest address that an image can have."""


class Contents(NamedTuple):
    """The bytes of a file, from the address `start` on.

    `gaps` are (start, stop) pairs of bytes that the file leaves out, which are FFh in `data`.
    `problems` are those with which the bytes can be read all the same, as `recover` does.
    """

    data: bytes
    start: int = 0
    gaps: tuple[tuple[int, int], ...] = ()
    problems: tuple[Problem, ...] = ()


class Chunk(NamedTuple):
    """Bytes of one record: where they belong, and the line that says so."""

    address: int
    data: bytes
    line: int


def refuse_line(line: int, message: str, hint: str, column: int = 1) -> InputError:
    """Return the refusal of a line (from 1) of a text; the caller raises it."""
    return InputError([Problem(message, hint, line=line, column=column)])


def refuse_above(address: int, line: int) -> None:
    """Refuse an address that no image reaches."""
    if address > TOP:
        hint = "an EEPROM of this kind ends below: is this the right file?"
        raise refuse_line(line, f"address {address:X}h is above {TOP:X}h", hint)


def joined(
    chunks: Sequence[Chunk], problems: Sequence[Problem] = (), filler: int = 0xFF
) -> Contents:
    """Return the bytes of all chunks, gaps filled and listed; raises InputError for an overlap."""
    if not chunks:
        raise refuse_line(1, "the file holds no data", "is this the right file?")
    ordered = sorted(chunks, key=lambda chunk: chunk.address)
    start, data = ordered[0].address, bytearray()
    gaps, gap_line, before = list[tuple[int, int]](), 0, ordered[0]
    for chunk in ordered:
        at = chunk.address - start
        if at < len(data):
            message = f"address {chunk.address:X}h is given twice"
            hint = f"line {min(chunk.line, before.line)} gives it too: take one of them out"
            raise refuse_line(max(chunk.line, before.line), message, hint)
        if at > len(data):
            gaps.append((len(data), at))
            line = max(chunk.line, before.line)
            gap_line = min(gap_line or line, line)
            data += bytes([filler]) * (at - len(data))
        data += chunk.data
        before = chunk
    if gaps:
        first, stop = gaps[0]
        message = f"no record gives addresses {start + first:X}h to {start + stop - 1:X}h"
        hint = "`recover` can fill a gap where the checksums prove what was there"
        problems = [Problem(message, hint, line=gap_line, column=1), *problems]
    return Contents(bytes(data), start, tuple(gaps), tuple(problems))


def numbered(text: str) -> Iterator[tuple[int, str]]:
    """Yield the lines that are not empty, each with its number from 1."""
    for number, line in enumerate(text.splitlines(), 1):
        if line.strip():
            yield number, line.strip()


def record(digits: str, line: int, before: int, length: int) -> bytes:
    """Return a record's bytes, sum included; raises InputError where it isn't as long as it says.

    `digits` stand after its mark. Its first byte says how many bytes follow, less `length`;
    `before` are those before its data.
    """
    try:
        data = bytes.fromhex(digits)
    except ValueError:
        raise refuse_line(line, "not pairs of hex digits", "the file is damaged here") from None
    if len(digits) != 2 * len(data):
        raise refuse_line(line, "white space inside a record", "the file is damaged here")
    if len(data) <= before or data[0] != len(data) - length:
        raise refuse_line(line, "the record's length is not what it says", "it is cut or damaged")
    return data


def check_sum(data: bytes, right: int, line: int) -> None:
    """Refuse a record whose last byte is not the sum that its other bytes make."""
    if data[-1] != right:
        message = f"the record's sum is {data[-1]:02X}h, its bytes make {right:02X}h"
        raise refuse_line(line, message, "a digit is wrong in this line: read the part again")


def chunk(address: int, data: bytes, line: int) -> Iterator[Chunk]:
    """Yield the data of a record, unless it has none; raises InputError above what can be."""
    if data:
        refuse_above(address + len(data) - 1, line)
        yield Chunk(address, data, line)
