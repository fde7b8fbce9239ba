"""A reader written by hand for this one purpose: `struct`, slotted dataclasses, nothing else.

What a program costs that knows only its own records, keeps raw numbers, and explains nothing: the
lower bound that the reader made from the schemas is compared with. Sources as in
`tests.support.independent`.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass


@dataclass(slots=True)
class Version:
    offset: int
    bcd: int
    vendor: int


@dataclass(slots=True)
class Device:
    offset: int
    id: bytes
    flags: int


@dataclass(slots=True)
class Compatible:
    offset: int
    id: bytes


@dataclass(slots=True)
class Irq:
    offset: int
    mask: int
    info: int


@dataclass(slots=True)
class Dma:
    offset: int
    mask: int
    info: int


@dataclass(slots=True)
class Start:
    offset: int
    priority: int


@dataclass(slots=True)
class EndDependent:
    offset: int


@dataclass(slots=True)
class Port:
    offset: int
    info: int
    low: int
    high: int
    align: int
    length: int


@dataclass(slots=True)
class Name:
    offset: int
    text: bytes


@dataclass(slots=True)
class End:
    offset: int
    checksum: int


@dataclass(slots=True)
class Other:
    offset: int
    raw: bytes


Descriptor = (
    Version | Device | Compatible | Irq | Dma | Start | EndDependent | Port | Name | End | Other
)

PORT = struct.Struct("<BHHBB").unpack_from
IRQ = struct.Struct("<H").unpack_from
HEAD = struct.Struct("<H").unpack_from


def read(data: bytes, at: int) -> list[Descriptor]:
    """Return the items from `at` to the end item, with their offsets."""
    items: list[Descriptor] = []
    add = items.append
    while True:
        first = data[at]
        if first & 0x80:
            end = at + 3 + HEAD(data, at + 1)[0]
            if first == 0x82:
                add(Name(at, data[at + 3 : end]))
            else:
                add(Other(at, data[at:end]))
            at = end
            continue
        body, end = at + 1, at + 1 + (first & 7)
        if first == 0x47:
            add(Port(at, *PORT(data, body)))
        elif first == 0x22:
            add(Irq(at, IRQ(data, body)[0], 1))
        elif first == 0x23:
            add(Irq(at, IRQ(data, body)[0], data[body + 2]))
        elif first == 0x2A:
            add(Dma(at, data[body], data[body + 1]))
        elif first == 0x31:
            add(Start(at, data[body]))
        elif first == 0x30:
            add(Start(at, 1))
        elif first == 0x38:
            add(EndDependent(at))
        elif first == 0x15:
            add(Device(at, data[body : body + 4], data[body + 4]))
        elif first == 0x16:
            add(Device(at, data[body : body + 4], IRQ(data, body + 4)[0]))
        elif first == 0x1C:
            add(Compatible(at, data[body : body + 4]))
        elif first == 0x0A:
            add(Version(at, data[body], data[body + 1]))
        elif first == 0x79:
            add(End(at, data[body]))
            return items
        else:
            add(Other(at, data[at:end]))
        at = end
