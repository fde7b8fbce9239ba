"""Intel HEX and S-record texts, record by record, every fault with its line.

Sources: Intel, Hexadecimal Object File Format Specification, Rev. A, 1988; the S-record format
is common practice, no source.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import NamedTuple

from romtool.errors import InputError, Problem
from romtool.limits import MAX_IMAGE

TOP = MAX_IMAGE - 1
"""The highest address that an image can have."""


class Miscounted(InputError):
    """The records are not as many as the text says; all of them could be read."""


class Chunk(NamedTuple):
    """Data of one record: where it belongs, and the line that says so."""

    address: int
    data: bytes
    line: int


def _fault(line: int, message: str, hint: str, column: int = 1) -> InputError:
    return InputError([Problem(message, hint, line=line, column=column)])


def _record(text: str, line: int, mark: str) -> bytes:
    """Return a record's bytes after its mark; raises InputError."""
    if not text.startswith(mark):
        raise _fault(line, f"the line does not begin with {mark}", "every line is one record")
    digits = text[len(mark) :]
    try:
        data = bytes.fromhex(digits)
    except ValueError:
        raise _fault(line, "not pairs of hex digits", "the file is damaged here") from None
    if len(digits) != 2 * len(data):
        raise _fault(line, "white space inside a record", "the file is damaged here")
    return data


def _check(data: bytes, head: int, length: int, right: int, line: int) -> None:
    """Refuse a record that is not as long as it says, or whose last byte is not the `right` sum.

    `head`: bytes before its data, the length included; `length`: what its first byte must say.
    """
    if len(data) <= head or data[0] != length:
        raise _fault(line, "the record's length is not what it says", "it is cut or damaged")
    if data[-1] != right:
        message = f"the record's sum is {data[-1]:02X}h, its bytes make {right:02X}h"
        raise _fault(line, message, "a digit is wrong in this line: read the part again")


def hex_chunks(text: str) -> Iterator[Chunk]:
    """Yield the data of an Intel HEX text; raises InputError at the first fault."""
    base, ended, last = 0, False, 1
    for number, raw_line in enumerate(text.splitlines(), 1):
        line = raw_line.strip()
        if not line:
            continue
        last = number
        if ended:
            raise _fault(number, "a record after the end record", "take it out")
        data = _record(line, number, ":")
        _check(data, 4, len(data) - 5, -sum(data[:-1]) & 0xFF, number)
        address, kind, body = int.from_bytes(data[1:3], "big"), data[3], data[4:-1]
        if kind == 0:
            yield from _placed(base + address, body, number)
        elif kind == 1:
            ended = True
        elif kind in (2, 4) and len(body) == 2:
            base = int.from_bytes(body, "big") << (4 if kind == 2 else 16)
        elif kind not in (3, 5):
            raise _fault(number, f"a record of unknown type {kind:02X}h", "types are 00 to 05")
    if not ended:
        raise _fault(last, "no end record", "the file is cut short: save or read it again")


_ADDRESS_BYTES = {"0": 2, "1": 2, "2": 3, "3": 4, "5": 2, "6": 3, "7": 4, "8": 3, "9": 2}


def srec_chunks(text: str) -> Iterator[Chunk]:
    """Yield the data of an S-record text; raises InputError at the first fault.

    A wrong count of records (S5, S6) is told last: what is missing or too much shows better in
    the addresses.
    """
    ended, records, last = False, 0, 1
    peek_tag: tuple[int, int] | None = None
    for number, raw_line in enumerate(text.splitlines(), 1):
        line = raw_line.strip()
        if not line:
            continue
        last = number
        if ended:
            raise _fault(number, "a record after the end record", "take it out")
        kind = line[1:2]
        if line[:1] != "S" or kind not in _ADDRESS_BYTES:
            raise _fault(number, "the line is no S-record", "every line is one record")
        data, width = _record(line[2:], number, ""), _ADDRESS_BYTES[kind]
        _check(data, width + 1, len(data) - 1, ~sum(data[:-1]) & 0xFF, number)
        address = int.from_bytes(data[1 : 1 + width], "big")
        if kind in "123":
            records += 1
            yield from _placed(address, data[1 + width : -1], number)
        elif kind in "56":
            peek_tag = address, number
        elif kind in "789":
            ended = True
    if not ended:
        hint = "the file is cut short, or was written without one (S9): save it again"
        raise _fault(last, "no end record", hint)
    if peek_tag is not None and peek_tag[0] != records:
        message = f"{peek_tag[0]} records are announced, {records} are there"
        raise Miscounted(
            [Problem(message, "a line is missing or twice", line=peek_tag[1], column=1)]
        )


def _placed(address: int, data: bytes, line: int) -> Iterator[Chunk]:
    if data and address + len(data) - 1 > TOP:
        message = f"address {address + len(data) - 1:X}h is above {TOP:X}h"
        raise _fault(line, message, "an EEPROM of this kind ends below: is this the right file?")
    if data:
        yield Chunk(address, data, line)


class Placed(NamedTuple):
    """The bytes of a text of records: from `start`, with the gaps as (first, after) pairs."""

    start: int
    data: bytes
    gaps: tuple[tuple[int, int], ...]
    gap_line: int | None


def joined(chunks: list[Chunk], filler: int = 0xFF) -> Placed:
    """Return the bytes of all chunks, gaps filled and listed; raises InputError for an overlap."""
    if not chunks:
        raise _fault(1, "the file holds no data", "is this the right file?")
    ordered = sorted(chunks, key=lambda chunk: chunk.address)
    start, data = ordered[0].address, bytearray()
    gaps, gap_line, before = [], None, ordered[0]
    for chunk in ordered:
        at = chunk.address - start
        if at < len(data):
            line = max(chunk.line, before.line)
            message = f"address {chunk.address:X}h is given twice"
            hint = f"line {min(chunk.line, before.line)} gives it too: take one of them out"
            raise _fault(line, message, hint)
        if at > len(data):
            gaps.append((len(data), at))
            line = max(chunk.line, before.line)
            gap_line = line if gap_line is None else min(gap_line, line)
            data += bytes([filler]) * (at - len(data))
        data += chunk.data
        before = chunk
    return Placed(start, bytes(data), tuple(gaps), gap_line)


def hex_text(data: bytes) -> str:
    """Return bytes as Intel HEX, from address 0."""
    from intelhex import IntelHex

    file, out = IntelHex(), io.StringIO()
    file.frombytes(data)
    file.write_hex_file(out, eolstyle="native")
    return out.getvalue()


def srec_text(data: bytes, per_line: int = 16) -> str:
    """Return bytes as S-records with 16-bit addresses, from address 0."""
    lines = [_srec("0", 0, b"")]
    for at in range(0, len(data), per_line):
        lines.append(_srec("1", at, data[at : at + per_line]))
    count = len(lines) - 1
    lines += [_srec("5", count, b""), _srec("9", 0, b"")]
    return "\n".join(lines) + "\n"


def _srec(kind: str, address: int, data: bytes) -> str:
    body = bytes([len(data) + 3]) + address.to_bytes(2, "big") + data
    return f"S{kind}{body.hex().upper()}{~sum(body) & 0xFF:02X}"
