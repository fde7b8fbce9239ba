"""What Intel HEX and S-records share: a line is a record in hex digits, with a sum at its end."""

from __future__ import annotations

from collections.abc import Iterator

from romtool.formats.contents import Chunk, refuse_above, refuse_line


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
