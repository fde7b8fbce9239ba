"""Plug and Play cards on a bus, a second time: written by hand from the published standard.

Nothing of the program under test is in it. "Spec" is the *Plug and Play ISA Specification, Version
1.0a* (5 May 1994): chapter 3 (key and isolation), chapter 4 (states, resource data, activation),
appendix A (registers) and B.1 (key). It favours one long list of accesses over cleverness, and its
cards can have faults that the software has to live with.
"""

from __future__ import annotations

from dataclasses import dataclass, field

ADDRESS, WRITE_DATA = 0x279, 0xA79  # Spec chapter 3

# Spec B.1, as printed there.
KEY = bytes.fromhex(
    "6AB5DAEDF6FB7DBEDF6F371B0D86C361B0582C168B45A2D1E8743A9DCEE77339"
)  # fmt: skip


@dataclass
class BusCard:
    """One card. `data` is its identifier and items; after them it gives FFh.

    Faults: `slow`: so many times it says "not ready" before each byte; `stuck_at`: the byte that is
    never ready; `forgets`: registers that keep nothing; `echoes`: ports at which something else
    answers, with 00h.
    """

    data: bytes
    devices: int = 1
    slow: int = 0
    stuck_at: int | None = None
    forgets: frozenset[int] = frozenset()
    echoes: frozenset[int] = frozenset()
    state: str = "deaf"  # deaf (wait for key), asleep, racing (isolation), open (config)
    number: int = 0
    port: int | None = None
    chosen: int = 0
    device: int = 0
    at: int = 0
    wait: int = 0
    key_bytes: list[int] = field(default_factory=list)
    race: int = 0  # reads of register 01h since Wake: two a bit
    first_heard: int = 0
    registers: dict[tuple[int, int], int] = field(default_factory=dict)
    ranges: dict[int, dict[int, int]] = field(default_factory=dict)

    @property
    def bits(self) -> list[int]:
        """The 72 bits of the identifier, bit 0 of byte 0 first."""
        return [self.data[n // 8] >> n % 8 & 1 for n in range(72)]

    def written(self, port: int, value: int) -> None:
        """A write that all cards hear."""
        if port == ADDRESS and self.state == "deaf":
            self.key_bytes = [*self.key_bytes, value][-32:]
            # A wrong byte puts the shift register back to its seed, 6Ah (B.1): whatever comes
            # before, the key is heard when its 32 bytes come one after the other. (No beginning
            # of the key is repeated inside it: its first byte stands in it once.)
            if bytes(self.key_bytes) == KEY:
                self.state, self.key_bytes = "asleep", []
        elif port == ADDRESS:
            self.chosen = value
        elif port == WRITE_DATA and self.state != "deaf":
            self.write_register(value)

    def write_register(self, value: int) -> None:
        """A write to the register chosen last (Spec chapter 4, appendix A)."""
        if self.chosen == 0x00 and self.state == "racing":
            self.port = value << 2 | 3
        elif self.chosen == 0x02:
            if value & 1:
                self.registers.clear()
            if value & 4:
                self.number = 0
            if value & 2:
                self.state = "deaf"
        elif self.chosen == 0x03:
            mine = value == self.number
            self.state = ("open" if value else "racing") if mine else "asleep"
            self.at = self.race = 0
            self.wait = self.slow
        elif self.chosen == 0x06 and self.state in ("racing", "open"):
            if self.state == "racing":
                self.at = self.race // 2 // 8
            self.number, self.state = value, "open"
        elif self.chosen == 0x07 and self.state == "open":
            self.device = value
        elif self.chosen in self.forgets:
            return
        elif self.chosen >= 0x30 and self.state == "open" and self.device < self.devices:
            self.registers[self.device, self.chosen] = value

    def answers(self, port: int) -> int | None:
        """What the card puts on the bus for a read."""
        if port in self.echoes:
            return 0x00
        if port != self.port or self.state not in ("racing", "open"):
            return self.range_answer(port)
        if self.state == "racing":
            if self.chosen != 0x01 or self.race // 2 >= 72 or not self.bits[self.race // 2]:
                return None
            return 0xAA if self.race % 2 else 0x55
        if self.chosen == 0x04:
            return self.data[self.at] if self.at < len(self.data) else 0xFF
        if self.chosen == 0x05:
            return 0 if self.wait or self.at == self.stuck_at else 1
        if self.chosen == 0x06:
            return self.number
        if self.chosen == 0x07:
            return self.device
        if self.chosen >= 0x30 and self.device < self.devices:
            none = 4 if self.chosen in (0x74, 0x75) else 0  # DMA 4 is none (Spec App. A)
            return self.registers.get((self.device, self.chosen), none)
        return None

    def range_answer(self, port: int) -> int | None:
        """The pattern of the I/O range check, 31h: 55h with bit 0, AAh without (Spec App. A).

        `ranges` tells for each device how many ports each of its bases has.
        """
        for device, lengths in self.ranges.items():
            check = self.registers.get((device, 0x31), 0)
            if not check & 2 or self.registers.get((device, 0x30), 0) & 1:
                continue
            for place, length in lengths.items():
                high = self.registers.get((device, 0x60 + 2 * place), 0)
                base = high << 8 | self.registers.get((device, 0x61 + 2 * place), 0)
                if base and base <= port < base + length:
                    return 0x55 if check & 1 else 0xAA
        return None

    def heard(self, port: int, value: int) -> None:
        """What a read carried, to all cards."""
        if port != self.port:
            return
        if self.state == "racing" and self.chosen == 0x01 and self.race // 2 < 72:
            mine = self.bits[self.race // 2]
            if self.race % 2 == 0:
                self.first_heard = value
            self.race += 1
            if self.race % 2 == 0 and not mine and (self.first_heard, value) == (0x55, 0xAA):
                self.state = "asleep"
        elif self.state == "open" and self.chosen == 0x04:
            self.at += 1
            self.wait = self.slow
        elif self.state == "open" and self.chosen == 0x05 and self.wait:
            self.wait -= 1


@dataclass
class CardBus:
    """Cards that hear everything; a read is low in every bit that any of them pulls low."""

    cards: list[BusCard]

    def read(self, port: int) -> int:
        """A read of a port; FFh where nobody answers."""
        value = 0xFF
        for card in self.cards:
            answer = card.answers(port)
            value &= 0xFF if answer is None else answer
        for card in self.cards:
            card.heard(port, value)
        return value

    def write(self, port: int, value: int) -> None:
        """A write to a port."""
        for card in self.cards:
            card.written(port, value)
