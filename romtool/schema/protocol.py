"""The bus protocol as the schema describes it: the key, a card's registers, its descriptors."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from romtool.schema.checksums import Checksum
from romtool.schema.described import Described


class Register(Described):
    """One register of a card: its number, the states in which the card heeds it, its bits.

    `announced`: the field of a device's ID item that says whether the device has it.
    """

    name: str
    title: str
    source: str
    number: int
    states: frozenset[str]
    bits: Mapping[str, int]
    announced: str | None

    def mask(self, *names: str) -> int:
        """Return the byte in which just these bits are set."""
        return sum(1 << self.bits[name] for name in names)


class Setting(Described):
    """Bits of a descriptor that follow from a field of the item: its value to the bits."""

    field: str
    values: Mapping[str, int]


class RegisterField(Described, settings="setting"):
    """Some registers of a descriptor: what they hold, in steps of `unit`, highest byte first.

    `holds`: line, base, limit (the length, or the first address after it where the item's field
    `upper` is true), setting. `none`: what stands there where nothing is given.
    """

    at: int
    bytes: int
    holds: str
    unit: int
    none: int
    upper: str | None
    settings: tuple[Setting, ...]


class RegisterBlock(Described, cells="cell"):
    """The registers for one kind of resource, `at` one after the other.

    `bits`: only for items with so many address bits; 0: for all.
    """

    resource: str
    title: str
    source: str
    bits: int
    at: tuple[int, ...]
    cells: tuple[RegisterField, ...]

    def numbers(self) -> Iterator[int]:
        """Yield the numbers of all its registers."""
        for first in self.at:
            for cell in self.cells:
                yield from range(first + cell.at, first + cell.at + cell.bytes)


class Software(Described):
    """What PnP software does where the standard leaves it free."""

    title: str
    source: str
    last_csn: int
    most_polls: int


class Remark(Described):
    """Words about a card in a PC; {words} are filled in.

    `requirements`: what of the standard it stands for.
    """

    name: str
    text: str
    source: str
    requirements: tuple[str, ...]


class Protocol(Described):
    """What cards and PnP software say to each other."""

    title: str
    source: str
    key_register: Checksum
    key_length: int
    key_lead: bytes
    isolation_reply: bytes
    range_patterns: bytes
    device_registers_from: int
    software: Software
    registers: Mapping[str, Register]
    descriptors: tuple[RegisterBlock, ...]
    remarks: Mapping[str, Remark]

    def key(self) -> Iterator[int]:
        """Yield the bytes of the initiation key: the states of the register (Spec B.1)."""
        state = self.key_register.seed
        for _ in range(self.key_length):
            yield state
            state = self.key_register.next(state)

    def descriptors_of(self, resource: str, bits: int) -> Iterator[RegisterBlock]:
        """Yield the descriptors for items of a kind that decode so many address bits."""
        for descriptor in self.descriptors:
            if descriptor.resource == resource and descriptor.bits in (0, bits):
                yield descriptor
