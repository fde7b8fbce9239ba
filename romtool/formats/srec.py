"""S-records. Common practice, no source."""

from __future__ import annotations

import re
from collections.abc import Iterator

from romtool.errors import Problem
from romtool.formats.contents import (
    Chunk,
    Contents,
    check_sum,
    chunk,
    joined,
    numbered,
    record,
    refuse_line,
)

_ADDRESS_BYTES = {"0": 2, "1": 2, "2": 3, "3": 4, "5": 2, "6": 3, "7": 4, "8": 3, "9": 2}
_PER_LINE = 16


def recognises(text: str) -> bool:
    """Whether a text is S-records: it begins with S and a digit."""
    return re.match("S[0-9]", text) is not None


def read(text: str) -> Contents:
    """Return the bytes of a text; raises InputError at the first fault.

    A wrong count of records (S5, S6) comes last: what is missing or too much shows better in the
    addresses.
    """
    problems = list[Problem]()
    return joined(list(_chunks(text, problems)), problems)


def _chunks(text: str, problems: list[Problem]) -> Iterator[Chunk]:
    ended, records, last = False, 0, 1
    stated: tuple[int, int] | None = None
    for last, line in numbered(text):
        if ended:
            raise refuse_line(last, "a record after the end record", "take it out")
        kind = line[1:2]
        if line[:1] != "S" or kind not in _ADDRESS_BYTES:
            raise refuse_line(last, "the line is no S-record", "every line is one record")
        width = _ADDRESS_BYTES[kind]
        data = record(line[2:], last, before=width + 1, length=1)
        check_sum(data, ~sum(data[:-1]) & 0xFF, last)
        address = int.from_bytes(data[1 : 1 + width], "big")
        if kind in "123":
            records += 1
            yield from chunk(address, data[1 + width : -1], last)
        elif kind in "56":
            stated = address, last
        elif kind in "789":
            ended = True
    if not ended:
        hint = "the file is cut short, or was written without one (S9): save it again"
        raise refuse_line(last, "no end record", hint)
    if stated is not None and stated[0] != records:
        message = f"{stated[0]} records are announced, {records} are there"
        problems.append(Problem(message, "a line is missing or twice", line=stated[1], column=1))


def write(data: bytes) -> bytes:
    """Return bytes as S-records with 16-bit addresses, from address 0."""
    rows = range(0, len(data), _PER_LINE)
    lines = [_line("0", 0, b""), *(_line("1", at, data[at : at + _PER_LINE]) for at in rows)]
    lines += [_line("5", len(rows), b""), _line("9", 0, b""), ""]
    return "\n".join(lines).encode()


def _line(kind: str, address: int, data: bytes) -> str:
    body = bytes([len(data) + 3]) + address.to_bytes(2, "big") + data
    return f"S{kind}{body.hex().upper()}{~sum(body) & 0xFF:02X}"
