"""A scan of a Plug and Play bus, a second time: written by hand from the published standard.

Nothing of the program under test is in it. "Spec" is the *Plug and Play ISA Specification, Version
1.0a* (5 May 1994), chapters 3 and 4, appendices A and B. It is as strict as the standard and no
stricter: a checksum of 00h is as good as another, and READ_DATA may be anywhere in 203h-3FFh.
"""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

ADDRESS, WRITE_DATA = 0x279, 0xA79  # Spec chapter 3


class Ports(Protocol):
    """What has ports."""

    def read(self, port: int) -> int: ...

    def write(self, port: int, value: int) -> None: ...


class Card(NamedTuple):
    """A card that was found: its number, the 9 bytes of isolation, and all that it reads out."""

    csn: int
    identifier: bytes
    data: bytes


def shift(register: int, bit: int) -> int:
    """The shift register of appendix B, one bit on."""
    return register >> 1 | ((register ^ register >> 1 ^ bit) & 1) << 7


def key() -> list[int]:
    """The 32 bytes of B.1: the register run with data 0."""
    found = [0x6A]
    while len(found) < 32:
        found.append(shift(found[-1], 0))
    return found


class Scan:
    """A scan of the cards on a bus, through READ_DATA at this port."""

    def __init__(self, ports: Ports, port: int = 0x203) -> None:
        assert 0x203 <= port <= 0x3FF and port % 4 == 3  # Spec chapter 3
        self.ports = ports
        self.port = port

    def put(self, register: int, value: int) -> None:
        self.ports.write(ADDRESS, register)
        self.ports.write(WRITE_DATA, value)

    def get(self, register: int) -> int:
        self.ports.write(ADDRESS, register)
        return self.ports.read(self.port)

    def send_key(self, key_bytes: list[int] | None = None) -> None:
        for byte in [0, 0, *(key() if key_bytes is None else key_bytes)]:
            self.ports.write(ADDRESS, byte)

    def isolate(self) -> list[bytes]:
        """Give numbers to all cards, 1 to the first; return their identifiers in that order."""
        self.send_key()
        self.put(0x02, 0x04)  # all forget their number
        found: list[bytes] = []
        while True:
            self.put(0x03, 0)
            self.put(0x00, self.port >> 2)
            self.ports.write(ADDRESS, 0x01)
            bits = [
                (self.ports.read(self.port), self.ports.read(self.port)) == (0x55, 0xAA)
                for _ in range(72)
            ]
            if not any(bits):
                return found
            raw = bytes(sum(bits[8 * n + b] << b for b in range(8)) for n in range(9))
            register = 0x6A  # Spec B.2
            for bit in bits[:64]:
                register = shift(register, bit)
            if register != raw[8]:
                return found
            found.append(raw)
            self.put(0x06, len(found))

    def byte(self) -> int:
        """The next byte of resource data, once it is ready."""
        for _ in range(100):
            if self.get(0x05) & 1:
                return self.get(0x04)
        raise TimeoutError

    def items(self) -> bytes:
        """Items from here to the end item (Spec 6.2)."""
        data = bytearray()
        while True:
            first = self.byte()
            data.append(first)
            if first & 0x80:
                head = [self.byte(), self.byte()]
                data += bytes(head)
                length = head[0] | head[1] << 8
            else:
                length = first & 7
            data += bytes(self.byte() for _ in range(length))
            if first & 0xF8 == 0x78:
                return bytes(data)

    def scan(self) -> list[Card]:
        """All cards, each read out from its identifier on."""
        found = []
        for csn, identifier in enumerate(self.isolate(), 1):
            self.put(0x03, csn)
            again = bytes(self.byte() for _ in range(9))
            found.append(Card(csn, identifier, again + self.items()))
        self.put(0x02, 0x02)
        return found

    def open(self, csn: int, device: int) -> None:
        """Choose a device of a card."""
        self.put(0x03, csn)
        self.put(0x07, device)

    def given(self, csn: int, device: int) -> dict[str, list[Any]]:
        """What stands in a device's descriptors (Spec App. A), by kind and place.

        Memory as (base, control, limit or length); 24-bit descriptors count in 256 bytes.
        """
        self.open(csn, device)

        def number(first: int, size: int) -> int:
            return int.from_bytes(bytes(self.get(first + n) for n in range(size)), "big")

        return {
            "irq": [self.get(0x70), self.get(0x72)],
            "types": [self.get(0x71), self.get(0x73)],
            "dma": [self.get(0x74), self.get(0x75)],
            "io": [number(0x60 + 2 * n, 2) for n in range(8)],
            "memory24": [
                (number(at, 2) << 8, self.get(at + 2), number(at + 3, 2) << 8)
                for at in (0x40, 0x48, 0x50, 0x58)
            ],
            "memory32": [
                (number(at, 4), self.get(at + 4), number(at + 5, 4))
                for at in (0x76, 0x80, 0x90, 0xA0)
            ],
        }
