"""A reader written by hand that does what romtool's does: the honest yardstick for its speed.

It recognises the layout, computes both checksums, keeps the offset and the bytes of every item, and
gives their values in the words of a profile. What it knows stands in its code, for the items of the
card that is measured; it explains nothing, and gives other items as bytes. Sources as in
`tests.support.independent`.
"""

from __future__ import annotations

import struct
from typing import Any, NamedTuple

Values = dict[str, Any]

WORD = struct.Struct("<H").unpack_from
PORT = struct.Struct("<BHHBB").unpack_from

LAYOUTS = (("counted-19", b"\x55\xbb", 23), ("counted-7", b"\x55\xbb", 11),
           ("marked-8", b"\xa5", 8), ("plain", b"", 0))  # fmt: skip
"""Name, the bytes that it begins with, its size; from memory."""

PRIORITIES = ("good", "acceptable", "sub-optimal")
WIDTHS = ("8", "8+16", "16", "reserved")
SPEEDS = ("compatible", "A", "B", "F")


class Item(NamedTuple):
    """An item: where it begins, its bytes, its values."""

    offset: int
    raw: bytes
    values: Values


class Card(NamedTuple):
    """What was read; both checksums as stored and as computed."""

    layout: str
    id: str
    serial: int
    id_checksum: tuple[int, int]
    end_checksum: tuple[int, int]
    items: list[Item]


def table() -> list[list[int]]:
    """The identifier's register after a byte, by register and byte (Spec App. B.2)."""
    rows = []
    for start in range(256):
        row = []
        for byte in range(256):
            register = start
            for place in range(8):
                bit = (register ^ register >> 1 ^ byte >> place) & 1
                register = register >> 1 | bit << 7
            row.append(register)
        rows.append(row)
    return rows


REGISTER = table()


def pnp_id(data: bytes, at: int) -> str:
    """Three letters of 5 bits, four hex digits (Spec 6.1)."""
    first, second, third, fourth = data[at : at + 4]
    return (
        f"{chr(64 + (first >> 2 & 31))}{chr(64 + ((first & 3) << 3 | second >> 5))}"
        f"{chr(64 + (second & 31))}{third:02X}{fourth:02X}"
    )


def lines(mask: int) -> list[int]:
    """The lines of a mask, line 0 in its lowest bit."""
    return [line for line in range(16) if mask >> line & 1]


def register_over(data: bytes, at: int) -> int:
    """The identifier's checksum."""
    register = 0x6A
    for byte in data[at : at + 8]:
        register = REGISTER[register][byte]
    return register


def read(data: bytes) -> Card:
    """The card of the first layout whose signature, count and identifier's checksum are right."""
    for name, signature, size in LAYOUTS:
        if not data.startswith(signature) or register_over(data, size) != data[size + 8]:
            continue
        items, end = items_of(data, size + 9)
        if len(signature) == 2 and int.from_bytes(data[2:4], "big") != end - size:
            continue
        sums = (data[end - 1], -sum(data[size + 9 : end - 1]) & 0xFF)
        stored = (data[size + 8], register_over(data, size))
        serial = int.from_bytes(data[size + 4 : size + 8], "little")
        return Card(name, pnp_id(data, size), serial, stored, sums, items)
    raise ValueError("no layout is right")


def items_of(data: bytes, at: int) -> tuple[list[Item], int]:
    """The items from `at` to the end item (Spec 6.2), and where they end."""
    items: list[Item] = []
    while True:
        first = data[at]
        if first & 0x80:
            end = at + 3 + WORD(data, at + 1)[0]
            raw = data[at:end]
            values: Values = {"raw": raw[3:].hex(" ").upper()}
            if first == 0x82:
                values = {"name": raw[3:].decode("ascii", "backslashreplace")}
        else:
            end = at + 1 + (first & 7)
            raw = data[at:end]
            values = small(first, raw)
        items.append(Item(at, raw, values))
        at = end
        if first == 0x79:
            return items, at


def small(first: int, raw: bytes) -> Values:
    """The values of a small item."""
    if first == 0x47:
        info, low, high, align, length = PORT(raw, 1)
        values: Values = {"io": low if low == high else [low, high], "align": align}
        return values | {"length": length, "decode": 16 if info & 1 else 10}
    if first in (0x22, 0x23):
        trigger = None
        if first == 0x23:
            names = ("high-edge", "low-edge", "high-level", "low-level")
            trigger = [name for bit, name in enumerate(names) if raw[3] >> bit & 1]
        return {"irq": lines(WORD(raw, 1)[0]), "trigger": trigger}
    if first == 0x2A:
        info = raw[2]
        count = [word for bit, word in ((8, "byte"), (16, "word")) if info & bit]
        return {"dma": lines(raw[1]), "width": WIDTHS[info & 3], "bus_master": bool(info & 4),
                "count": count, "speed": SPEEDS[info >> 5 & 3]}  # fmt: skip
    if first in (0x30, 0x31):
        return {"priority": PRIORITIES[raw[1]] if first == 0x31 else None}
    if first in (0x15, 0x16):
        flags = int.from_bytes(raw[5:], "little")
        registers = [0x30 + bit for bit in range(1, 16) if flags >> bit & 1]
        return {"id": pnp_id(raw, 1), "boot": bool(flags & 1), "registers": registers}
    if first == 0x1C:
        return {"compatible": pnp_id(raw, 1)}
    if first == 0x0A:
        return {"pnp_version": f"{raw[1] >> 4}.{raw[1] & 15}", "vendor_version": raw[2]}
    if first == 0x79:
        return {"end_checksum": raw[1]}
    return {"raw": raw[1:].hex(" ").upper()} if len(raw) > 1 else {}
