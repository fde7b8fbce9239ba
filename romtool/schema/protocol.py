"""The bus protocol as the schema describes it: the key, a card's registers, its register blocks."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from typing import Any

from romtool.schema.checksums import Checksum
from romtool.schema.described import Described
from romtool.schema.numbers import address, hex_text, sizes


class Register(Described):
    """One register of a card: its number, its bits, and when the card responds to it.

    `read`, `write`: the states in which it responds to a read or a write. `announced`: the field of
    a device's ID item that says whether the device has it.
    """

    name: str
    title: str
    source: str
    number: int
    read: frozenset[str]
    write: frozenset[str]
    bits: Mapping[str, int]
    announced: str | None

    def mask(self, *names: str) -> int:
        """Return the byte in which just these bits are set."""
        return sum(1 << self.bits[name] for name in names)


class Setting(Described):
    """Bits of a register field that follow from a field of the item: its value to the bits."""

    field: str
    values: Mapping[str, int]


class RegisterField(Described, settings="setting"):
    """Some registers of a block: what they hold, in steps of `unit`, highest byte first.

    `holds`: line, base, limit (the first address after the range where the item's field `upper`
    is true, else a mask of the address bits that are compared), setting. `none`: what is written
    for nothing, if that is neither 0 nor, in a setting, what the item says; `missing`: what they
    read where the device lacks them; `mask`: the bits that there are, if not all; `fixed`: those
    of them that can't be written.
    """

    at: int
    bytes: int
    holds: str
    unit: int
    none: int | None
    missing: int
    mask: int | None
    fixed: int
    upper: str | None
    settings: tuple[Setting, ...]

    @property
    def all_bits(self) -> int:
        """The bits that there are."""
        return self.mask or (1 << 8 * self.bytes) - 1

    @property
    def top(self) -> int:
        """The first address or length that is too high for these registers."""
        return self.unit << 8 * self.bytes


class RegisterBlock(Described, fields="field"):
    """The registers for one kind of resource, `at` one after the other.

    `bits`: only for items with this many address bits; 0: for all.
    """

    resource: str
    title: str
    source: str
    bits: int
    at: tuple[int, ...]
    fields: tuple[RegisterField, ...]

    def numbers(self) -> Iterator[int]:
        """Yield the numbers of all its registers."""
        for first in self.at:
            for field in self.fields:
                yield from range(first + field.at, first + field.at + field.bytes)

    def field(self, holds: str) -> RegisterField | None:
        """Return the field that holds this; None where there is none."""
        return next((field for field in self.fields if field.holds == holds), None)

    def bases(self, stated: range, length: int, *, is_upper: bool) -> range:
        """Return those of the stated bases of a range that the registers can hold (Spec A.3.1).

        A base is a multiple of its unit. A length stands there as a mask: it is a power of two,
        and the base is a multiple of it. An upper limit (`is_upper`) has to fit its registers.
        """
        base, limit = self.field("base"), self.field("limit")
        step = base.unit if base is not None else 1
        if limit is not None and length:
            if is_upper:
                stated = stated[: max(0, _index(stated, limit.top - length))]
            elif length.bit_count() > 1:
                return stated[:0]
            else:
                step = max(step, length)
        return _multiples(stated, step)


def _index(numbers: range, end: int) -> int:
    """Return how many of ascending numbers are below an end."""
    return -(-(end - numbers.start) // numbers.step)


def _multiples(numbers: range, step: int) -> range:
    """Return those of the numbers that are multiples of a step."""
    common = math.gcd(numbers.step, step)
    if step == 1 or not numbers:
        return numbers
    if numbers.start % common:
        return numbers[:0]
    turn = step // common
    first = -numbers.start // common * pow(numbers.step // common, -1, turn) % turn
    return numbers[first::turn]


class Waits(Described):
    """What PnP software waits for at least, in microseconds.

    `reset`: after RESET_DRV and Reset; `round`: before the first pair of reads of a round; `pair`:
    before each later one.
    """

    title: str
    source: str
    reset: int
    round: int
    pair: int


class Remark(Described):
    """Words about a card in a PC; {words} are filled in.

    `requirements`: what of the standard it stands for.
    """

    name: str
    text: str
    source: str
    requirements: tuple[str, ...]

    def filled(self, **words: object) -> str:
        """Return the text with these words filled in."""
        return filled(self.text, words)


class Sentence(Remark):
    """Words about a step of a power-up, and a label before them; {words} are filled in."""

    label: str

    def labelled(self, **words: object) -> tuple[str, str]:
        """Return label and text with these words filled in."""
        return filled(self.label, words), self.filled(**words)


def filled(text: str, words: Mapping[str, object]) -> str:
    """Return a text with words filled in; after a colon stands how: {port:address} becomes 220h."""
    return text.format_map({name: _Filled(word) for name, word in words.items()})


class _Filled:
    """A word as it is filled in."""

    def __init__(self, value: Any) -> None:
        self.value = value

    def __format__(self, how: str) -> str:
        shown = _WAYS.get(how)
        return format(self.value, how) if shown is None else shown(self.value)


_WAYS: Mapping[str, Callable[[Any], str]] = {
    "address": address,
    "hex": hex_text,
    "size": sizes,
    "ms": lambda microseconds: f"{microseconds / 1000:g} ms",
}


class Protocol(Described):
    """What cards and PnP software say to each other."""

    title: str
    source: str
    key_register: Checksum
    key_length: int
    key_lead: bytes
    isolation_reply: bytes
    isolation_compares: int
    range_patterns: bytes
    device_registers: range
    vendor_registers: range
    waits: Waits
    registers: Mapping[str, Register]
    blocks: tuple[RegisterBlock, ...]
    steps: Mapping[str, Sentence]
    remarks: Mapping[str, Remark]

    def key(self) -> Iterator[int]:
        """Yield the bytes of the initiation key: the states of the register (Spec B.1)."""
        state = self.key_register.seed
        for _ in range(self.key_length):
            yield state
            state = self.key_register.next(state)

    def blocks_of(self, resource: str, bits: int) -> Iterator[RegisterBlock]:
        """Yield the register blocks for items of a kind that decode `bits` address bits."""
        for block in self.blocks:
            if block.resource == resource and block.bits in (0, bits):
                yield block
