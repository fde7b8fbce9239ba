"""Plug and Play cards on a bus, a second time: written by hand from the published standard.

Nothing of the program under test is in it. "Spec" is the *Plug and Play ISA Specification, Version
1.0a* (5 May 1994): chapter 3 (key and isolation), chapter 4 (states, commands), chapter 6 (items),
appendix A (registers), appendix B (shift register). A card knows its devices by its own items, has
the registers that they need and no others, and may have faults that the software has to live with.
What software does that the standard forbids, the card writes down in `complaints`.
"""

from __future__ import annotations

from dataclasses import dataclass, field

ADDRESS, WRITE_DATA = 0x279, 0xA79  # Spec 3.1

# Spec B.1, as printed there.
KEY = bytes.fromhex(
    "6AB5DAEDF6FB7DBEDF6F371B0D86C361B0582C168B45A2D1E8743A9DCEE77339"
)  # fmt: skip
SEED = 0x6A  # Spec B: the shift register's value after a reset

# First register and number of register sets of each kind (Spec 4.6, A.3).
IRQ, DMA, IO = 0x70, 0x74, 0x60
MEMORY_24 = (0x40, 0x48, 0x50, 0x58)
MEMORY_32 = (0x76, 0x80, 0x90, 0xA0)


def shift(register: int, bit: int = 0) -> int:
    """The shift register one step on: bit 7 becomes bit 0 XOR bit 1 XOR data (Spec B.1, B.2)."""
    return register >> 1 | ((register ^ register >> 1 ^ bit) & 1) << 7


# --- what the items say ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Ports:
    """An I/O item: the bases it admits, how many ports it has, whether it decodes 16 bits."""

    low: int
    high: int
    length: int
    wide: bool
    fixed: bool


@dataclass
class Device:
    """What a logical device has registers for, by its items.

    Each list holds the alternatives for one set of registers: the nth item of a kind belongs to
    the nth set, and each dependent function counts from the number after the common items
    (Spec 4.6.1).
    """

    flags: int
    io: list[list[Ports]] = field(default_factory=list)
    irq: int = 0
    dma: int = 0
    memory: list[int] = field(default_factory=list)  # the info byte of each set's first item
    is_32: bool = False

    def has(self, register: int) -> int:
        """The bits of a register that can be written; 0 where the device has no such register.

        What isn't there reads 0, DMA channels 4 (Spec A, A.3.4).
        """
        if register == 0x30:
            return 0x01
        if register == 0x31:
            return 0x03 if self.flags & 0x02 else 0  # Spec 6.2.2.2: bit 1 announces it
        if IO <= register < IO + 16:
            place, low_byte = divmod(register - IO, 2)
            if place >= len(self.io):
                return 0
            wide = any(one.wide for one in self.io[place])
            return 0xFF if low_byte or wide else 0x03  # Spec 4.6.2: 10 bits of address
        if IRQ <= register < IRQ + 4:
            place, is_type = divmod(register - IRQ, 2)
            return (0x03 if is_type else 0x0F) if place < self.irq else 0
        if DMA <= register < DMA + 2:
            return 0x07 if register - DMA < self.dma else 0
        for place, info in enumerate(self.memory):
            first = (MEMORY_32 if self.is_32 else MEMORY_24)[place]
            address, last = (4, 8) if self.is_32 else (2, 4)
            at = register - first
            if at == address:
                # Bit 0 is read-only; the width can be chosen where the item leaves it open
                # (Spec A.3.1, 6.2.3.1: bits 4:3 are 10 for 8 and 16).
                either = info >> 3 & 3 == 2
                return (0x06 if self.is_32 else 0x02) if either else 0
            if 0 <= at <= last:
                return 0xFF
        return 0

    def at_reset(self) -> dict[int, int]:
        """What the registers hold that don't hold 0 (Spec A.3.1, A.3.4)."""
        held = {DMA: 4, DMA + 1: 4}
        for place, info in enumerate(self.memory):
            width, limit = info >> 3 & 3, info >> 2 & 1
            if self.is_32:  # 7Ah: bits 2:1 are 00 8, 01 16, 11 32; bit 0 says upper limit
                held[MEMORY_32[place] + 4] = (width if width != 2 else 0) << 1 | limit
            else:  # 42h: bit 1 is 16 bits wide, bit 0 says upper limit
                held[MEMORY_24[place] + 2] = (width == 1) << 1 | limit
        return held


def devices_of(items: bytes) -> list[Device]:
    """The logical devices that items describe, the first at index 0 (Spec 6.2)."""
    devices: list[Device] = []
    counts: dict[str, int] = {}
    common: dict[str, int] = {}
    at = 0
    while at < len(items):
        first = items[at]
        if first & 0x80:
            name, head = 0x80 | first & 0x7F, 3
            length = int.from_bytes(items[at + 1 : at + 3], "little")
        else:
            name, head, length = first >> 3, 1, first & 7
        content = items[at + head : at + head + length]
        at += head + length
        if name == 0xF:  # end
            break
        if name == 0x2:  # logical device ID
            devices.append(Device(flags=content[4]))
            counts, common = {}, {}
        if not devices:
            continue
        device = devices[-1]
        if name == 0x6:  # start of dependent functions
            common = common or dict(counts)
            counts = dict(common)
        kind = {0x4: "irq", 0x5: "dma", 0x8: "io", 0x9: "io", 0x81: "memory", 0x85: "memory"}
        kind |= {0x86: "memory"}
        if name not in kind:
            continue
        place = counts.get(kind[name], 0)
        counts[kind[name]] = place + 1
        if name == 0x4:
            device.irq = max(device.irq, place + 1)
        elif name == 0x5:
            device.dma = max(device.dma, place + 1)
        elif name in (0x8, 0x9):
            if place == len(device.io):
                device.io.append([])
            device.io[place].append(_ports(name, content))
        elif place == len(device.memory):
            device.memory.append(content[0])
            device.is_32 = name != 0x81
    return devices


def _ports(name: int, content: bytes) -> Ports:
    """An I/O item's content (Spec 6.2.2.8, 6.2.2.9)."""
    low = int.from_bytes(content[:2] if name == 0x9 else content[1:3], "little")
    if name == 0x9:
        return Ports(low & 0x3FF, low & 0x3FF, content[2], wide=False, fixed=True)
    high = int.from_bytes(content[3:5], "little")
    return Ports(low, high, content[6], wide=bool(content[0] & 1), fixed=False)


def window(base: int, control: int, last: int, bits: int) -> tuple[int, int] | None:
    """The addresses that memory registers make a card decode: first, and one past the last.

    `base` and `last` as addresses of `bits` bits; None where the range is turned off. Bit 0 of
    `control` says that `last` is an upper limit, one past the last byte; without it, it is a mask
    of the address bits that are compared (Spec A.3.1).
    """
    if not base and not last:
        return None
    if control & 1:
        return base, last
    length = (1 << bits) - last
    assert length & length - 1 == 0, f"a mask with a hole: {last:X}h"
    assert base & ~last & (1 << bits) - 1 == 0, f"{base:X}h is not on a multiple of {length:X}h"
    return base, base + length


# --- the card -------------------------------------------------------------------------------------


@dataclass
class BusCard:
    """One card. `data` is its identifier and items; after them it gives FFh.

    `active`: devices that come up active, with their registers' values then (Spec 4.3, C.1).
    `computes`: its logic works the identifier's checksum out (Spec 3.3.1), whatever is stored;
    `sum_as_read`: what byte 8 reads as in resource data, where it isn't valid (Spec 4.5).

    Faults: `slow`: so many times it says "not ready" before each byte; `stuck_at`: the byte that is
    never ready; `forgets`: registers that keep nothing; `echoes`: ports at which something else
    answers, with 00h.
    """

    data: bytes
    active: dict[int, dict[int, int]] = field(default_factory=dict)
    computes: bool = False
    sum_as_read: int | None = None
    slow: int = 0
    stuck_at: int | None = None
    forgets: frozenset[int] = frozenset()
    echoes: frozenset[int] = frozenset()

    devices: list[Device] = field(init=False)
    state: str = field(init=False)  # "wait for key", "sleep", "isolation" or "config"
    number: int = field(init=False)  # the card select number
    port: int | None = field(init=False)  # READ_DATA; None while undefined
    chosen: int = field(init=False)  # the register index written to ADDRESS
    device: int = field(init=False)  # the logical device number
    lfsr: int = field(init=False)
    key_bytes: int = field(init=False)  # bytes of the key that came right
    at: int = field(init=False)  # the serial memory's pointer, in bytes
    reads: int = field(init=False)  # reads of 01h since the last Wake: two a bit
    first_heard: int = field(init=False)
    wait: int = field(init=False)
    registers: dict[tuple[int, int], int] = field(init=False)
    written_to: list[tuple[int, int, int]] = field(default_factory=list, init=False)
    complaints: list[str] = field(default_factory=list, init=False)

    def __post_init__(self) -> None:
        self.devices = devices_of(self.data[9:])
        self.reset_drv()

    def reset_drv(self) -> None:
        """The bus's reset line, and power-up (Spec 4.3, 4.4)."""
        self.state, self.number, self.port = "wait for key", 0, None
        self.lfsr, self.key_bytes = SEED, 0
        self.chosen = self.device = self.at = self.reads = self.first_heard = 0
        self.wait = self.slow
        self.reset_devices()

    def reset_devices(self) -> None:
        """All devices back to their power-up values (Spec 4.3, 02h bit 0)."""
        self.registers = {
            (number, register): value
            for number, device in enumerate(self.devices)
            for register, value in {**device.at_reset(), **self.active.get(number, {})}.items()
        }

    @property
    def identifier(self) -> bytes:
        """The 72 bits that isolation sends, as bytes."""
        if not self.computes:
            return self.data[:9]
        register = SEED
        for n in range(64):
            register = shift(register, self.data[n // 8] >> n % 8 & 1)
        return self.data[:8] + bytes([register])

    def bit(self) -> int:
        """The bit whose turn it is, bit 0 of byte 0 first (Spec 3.3)."""
        n = self.reads // 2
        return self.identifier[n // 8] >> n % 8 & 1

    def held(self, device: int, register: int) -> int:
        """What a register of a device reads as."""
        return self.registers.get((device, register), 0)

    # --- writes

    def written(self, port: int, value: int) -> None:
        """A write that all cards hear."""
        if port == ADDRESS:
            if self.state == "wait for key":
                self.hear_key(value)
            else:
                self.chosen = value
        elif port == WRITE_DATA and self.state != "wait for key":
            self.write_register(value)

    def hear_key(self, value: int) -> None:
        """A byte compared with the shift register (Spec 3.2, B.1).

        A wrong one resets it and counts for nothing itself (the standard doesn't say whether it
        may be a first byte; the two writes of 00h before the key make it all the same).
        """
        if value != self.lfsr:
            self.lfsr, self.key_bytes = SEED, 0
            return
        self.lfsr, self.key_bytes = shift(self.lfsr), self.key_bytes + 1
        if self.key_bytes == len(KEY):
            self.state, self.key_bytes = "sleep", 0

    def write_register(self, value: int) -> None:
        """A write to the register chosen last: the table of Spec 4.3 to 4.5 and appendix A."""
        if self.chosen == 0x00 and self.state == "isolation":
            self.port = value << 2 | 3
        elif self.chosen == 0x02:
            self.control(value)
        elif self.chosen == 0x03:
            self.wake(value)
        elif self.chosen == 0x06 and self.state in ("isolation", "config"):
            self.take_number(value)
        elif self.state != "config":
            return
        elif self.chosen == 0x07:
            # With one device it is read-only 00h (Spec A.1).
            self.device = value if len(self.devices) > 1 else 0
        elif self.chosen >= 0x30 and self.device < len(self.devices):
            self.write_device(value)

    def control(self, value: int) -> None:
        """02h: three commands in one write (Spec 4.3); 07h is as good as RESET_DRV."""
        if value & 7 == 7:
            self.reset_drv()
            return
        if value & 1:
            self.reset_devices()
        if value & 4:
            self.number, self.port = 0, None
        if value & 2:
            self.state, self.key_bytes = "wait for key", 0

    def wake(self, number: int) -> None:
        """03h: any Wake rewinds the memory and the shift register, matching or not (Spec 4.3)."""
        mine = number == self.number
        self.state = ("config" if number else "isolation") if mine else "sleep"
        self.at = self.reads = 0
        self.wait, self.lfsr = self.slow, SEED

    def take_number(self, number: int) -> None:
        """06h: a number to a card in isolation makes it configurable (Spec 4.3, 4.4).

        In config the standard states nothing; 4.7 lets software give numbers anew.
        """
        if number == 0:
            self.complaints.append("CSN 0 written to 06h (Spec 4.3)")
            return
        if self.state == "isolation":
            if self.reads != 144:
                self.complaints.append(f"a CSN after {self.reads} reads of 01h, not 144 (4.3)")
            self.at = self.reads // 2 // 8
        self.number, self.state = number, "config"

    def write_device(self, value: int) -> None:
        """A write to a register of the chosen device."""
        register, device = self.chosen, self.device
        self.written_to.append((device, register, value))
        if register == 0x30 and value & 1 and self.held(device, 0x31) & 2:
            self.complaints.append("activated with the range check on (Spec A.2)")
        if register in (IRQ, IRQ + 2) and value == 2:
            self.complaints.append("IRQ 2 chosen: that line is 9 (Spec 4.6.2)")
        if register >= 0x40 and self.held(device, 0x30) & 1:
            self.complaints.append(f"{register:02X}h written while active (Spec 4.7)")
        bits = self.devices[device].has(register)
        if bits and register not in self.forgets:
            kept = self.held(device, register) & ~bits
            self.registers[device, register] = kept | value & bits

    # --- reads

    def answers(self, port: int) -> int | None:
        """What the card puts on the bus for a read; None where it floats."""
        if port in self.echoes:
            return 0x00
        device = self.device_answers(port)
        own = self.answers_read_data() if port == self.port else None
        if device is None or own is None:
            return own if device is None else device
        return own & device

    def answers_read_data(self) -> int | None:
        """READ_DATA, by state and register (Spec 3.3.1, 4.3, appendix A)."""
        if self.state == "isolation":
            if self.chosen != 0x01 or self.reads >= 144 or not self.bit():
                return None
            return 0xAA if self.reads % 2 else 0x55
        if self.state != "config":
            return None
        if self.chosen in (0x00, 0x01, 0x02, 0x03):
            return None  # written only, and 01h answers in isolation only (Spec A.1)
        if self.chosen == 0x04:
            return self.next_byte()
        if self.chosen == 0x05:
            return int(self.is_ready)
        if self.chosen == 0x06:
            return self.number
        if self.chosen == 0x07:
            return self.device
        if self.chosen < 0x30:
            return 0x00  # Spec A: what isn't implemented reads 0
        return self.held(self.device, self.chosen) if self.device < len(self.devices) else None

    @property
    def is_ready(self) -> bool:
        """Whether the next byte is gathered (Spec 4.5, 05h)."""
        return not self.wait and self.at != self.stuck_at

    def next_byte(self) -> int:
        """The byte of resource data whose turn it is."""
        if self.at == 8 and self.sum_as_read is not None:
            return self.sum_as_read
        return self.data[self.at] if self.at < len(self.data) else 0xFF

    def device_answers(self, port: int) -> int | None:
        """A device at its I/O ranges: active, with 00h; inactive, the pattern of 31h (Spec 4.3).

        The pattern is 55h with bit 0 of 31h, AAh without.
        """
        for number, device in enumerate(self.devices):
            is_active = self.held(number, 0x30) & 1
            check = self.held(number, 0x31)
            if not is_active and not check & 2:
                continue
            for place, alternatives in enumerate(device.io):
                at = IO + 2 * place
                base = self.held(number, at) << 8 | self.held(number, at + 1)
                if base and _covers(alternatives, base, port):
                    return 0x00 if is_active else 0x55 if check & 1 else 0xAA
        return None

    def heard(self, port: int, value: int) -> None:
        """What a read carried, to all cards: only data lines 1:0 are looked at (Spec 3.3.1)."""
        if port != self.port:
            return
        if self.state == "isolation" and self.chosen == 0x01 and self.reads < 144:
            self.hear_pair(value & 3)
        elif self.state == "config" and self.chosen == 0x04:
            if not self.is_ready:
                self.complaints.append("04h read before 05h said that a byte is ready (Spec 4.3)")
            self.at += 1
            self.wait = self.slow
        elif self.state == "config" and self.chosen == 0x05 and self.wait:
            self.wait -= 1

    def hear_pair(self, value: int) -> None:
        """One of the two reads of a bit; a card that floats and hears 01, 10 drops out."""
        mine, is_second = self.bit(), self.reads % 2
        self.reads += 1
        if not is_second:
            self.first_heard = value
            return
        self.lfsr = shift(self.lfsr, mine)
        if not mine and (self.first_heard, value) == (0b01, 0b10):
            self.state = "sleep"


def _covers(alternatives: list[Ports], base: int, port: int) -> bool:
    """Whether a device at this base answers at this port."""
    fitting = [one for one in alternatives if one.low <= base <= one.high] or alternatives[:1]
    one = fitting[0]
    if one.wide:
        return base <= port < base + one.length
    return (port - base) % 0x400 < one.length  # Spec 6.2.2.8: address bits 9:0 only


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

    def reset_drv(self) -> None:
        """The bus's reset line."""
        for card in self.cards:
            card.reset_drv()
