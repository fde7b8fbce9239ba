"""Intel HEX. Source: Intel, Hexadecimal Object File Format Specification, Rev. A, 1988.

intelhex writes it. It can't read it here: it says nothing of a text without an end record, nothing
of records after one, and has no lines for a gap; it refuses two start records, which are harmless.
"""

from __future__ import annotations

import io
from collections.abc import Iterator

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


def recognises(text: str) -> bool:
    """Whether a text is Intel HEX: it begins with a colon."""
    return text.startswith(":")


def read(text: str) -> Contents:
    """Return the bytes of a text; raises InputError at the first fault."""
    return joined(list(_chunks(text)))


def _chunks(text: str) -> Iterator[Chunk]:
    base, ended, last = 0, False, 1
    for last, line in numbered(text):
        if ended:
            raise refuse_line(last, "a record after the end record", "take it out")
        if not line.startswith(":"):
            raise refuse_line(last, "the line does not begin with :", "every line is one record")
        data = record(line[1:], last, before=4, length=5)
        check_sum(data, -sum(data[:-1]) & 0xFF, last)
        address, kind, body = int.from_bytes(data[1:3], "big"), data[3], data[4:-1]
        if kind == 0:
            yield from chunk(base + address, body, last)
        elif kind == 1:
            ended = True
        elif kind in (2, 4) and len(body) == 2:
            base = int.from_bytes(body, "big") << (4 if kind == 2 else 16)
        elif kind not in (3, 5):
            message = f"a record of unknown type {kind:02X}h"
            raise refuse_line(last, message, "types are 00 to 05")
    if not ended:
        hint = "the file is cut short: save or read it again"
        raise refuse_line(last, "no end record", hint)


def write(data: bytes) -> bytes:
    """Return bytes as Intel HEX, from address 0."""
    from intelhex import IntelHex

    file, out = IntelHex(), io.StringIO()
    file.frombytes(data)
    file.write_hex_file(out, eolstyle="native")
    return out.getvalue().encode()
