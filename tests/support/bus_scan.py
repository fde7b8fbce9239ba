"""A scan of a Plug and Play bus, a second time: written by hand from the published standard.

Nothing of the program under test is in it. "Spec" is the *Plug and Play ISA Specification, Version
1.0a* (5 May 1994), chapters 3 and 4, appendices A and B. It is as strict as the standard and no
stricter: a checksum of 00h is as good as another, and READ_DATA may be anywhere in 203h-3FFh.
"""

from __future__ import annotations

from typing import Any, NamedTuple, Protocol

ADDRESS, WRITE_DATA = 0x279, 0xA79  # Spec 3.1
TRIES = 4  # places for READ_DATA: "a few" are enough to know that no card is there (Spec 3.3.2)


class Ports(Protocol):
    """What has ports."""

    def read(self, port: int) -> int: ...

    def write(self, port: int, value: int) -> None: ...


class Card(NamedTuple):
    """A card that was found: its number, the 9 bytes of isolation, and those with its items.

    In `data` byte 8 is that of isolation: as resource data it isn't valid (Spec 4.5).
    """

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


def sums_right(identifier: bytes) -> bool:
    """Whether byte 8 is the checksum of the 64 bits before it (Spec B.2)."""
    register = 0x6A
    for n in range(64):
        register = shift(register, identifier[n // 8] >> n % 8 & 1)
    return register == identifier[8]


class Scan:
    """A scan of the cards on a bus, with READ_DATA at this port first.

    `waited` adds up what the standard makes software wait, in microseconds.
    """

    def __init__(self, ports: Ports, port: int = 0x203) -> None:
        assert 0x203 <= port <= 0x3FF and port % 4 == 3  # Spec 3.1, 4.3
        self.ports = ports
        self.port = port
        self.waited = 0

    def put(self, register: int, value: int) -> None:
        """Write a card register."""
        self.ports.write(ADDRESS, register)
        self.ports.write(WRITE_DATA, value)

    def get(self, register: int) -> int:
        """Read a card register."""
        self.ports.write(ADDRESS, register)
        return self.ports.read(self.port)

    def send_key(self, key_bytes: list[int] | None = None) -> None:
        """The key, after the two writes of 00h that reset the shift register (Spec 3.2)."""
        for byte in [0, 0, *(key() if key_bytes is None else key_bytes)]:
            self.ports.write(ADDRESS, byte)

    def round(self) -> bytes | None:
        """One round of isolation: the 9 bytes heard, None if they are no identifier (3.3.2).

        It counts as none without any 55h, AAh, or with a wrong checksum.
        """
        self.put(0x03, 0)
        self.put(0x00, self.port >> 2)
        self.ports.write(ADDRESS, 0x01)
        self.waited += 1000  # Spec 3.3.2, 4.4: before the first pair
        bits = list[bool]()
        for n in range(72):
            self.waited += 250 if n else 0
            bits.append((self.ports.read(self.port), self.ports.read(self.port)) == (0x55, 0xAA))
        raw = bytes(sum(bits[8 * n + b] << b for b in range(8)) for n in range(9))
        return raw if any(bits) and sums_right(raw) else None

    def isolate(self) -> list[bytes]:
        """Give numbers to all cards, 1 to the first; return their identifiers in that order."""
        self.waited += 2000  # Spec 4.3: after RESET_DRV
        self.send_key()
        self.put(0x02, 0x04)  # all cards: CSN 0
        found: list[bytes] = []
        first = self.port
        for tried in range(TRIES):
            # From 203h to 3FFh, 127 places; in steps of ten of them, so that they lie apart.
            self.port = 0x203 + (first - 0x203 + 40 * tried) % 0x200
            while (raw := self.round()) is not None:
                found.append(raw)
                self.put(0x06, len(found))
            if found:
                break
        else:
            self.port = first
        return found

    def byte(self) -> int:
        """The next byte of resource data, once it is ready (Spec 4.3: 05h before each 04h)."""
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
        """All cards, each read out from its identifier on; then they wait for the key again."""
        found = []
        for csn, identifier in enumerate(self.isolate(), 1):
            self.put(0x03, csn)
            again = bytes(self.byte() for _ in range(9))
            assert again[:8] == identifier[:8]
            found.append(Card(csn, identifier, identifier + self.items()))
        self.put(0x02, 0x02)
        return found

    def open(self, csn: int, device: int) -> None:
        """Choose a device of a card."""
        self.put(0x03, csn)
        self.put(0x07, device)

    def given(self, csn: int, device: int) -> dict[str, list[Any]]:
        """What stands in a device's registers (Spec A.3), by kind and place.

        Memory as (base, control, limit or mask), addresses in bytes: the low byte of a 24-bit
        address has no register and is 0.
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
