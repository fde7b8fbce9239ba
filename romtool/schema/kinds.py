"""What a field can hold: each kind turns the stored bits into a value for people, and back.

A stored value is a number (or bytes, for texts and hex); a value is what stands in profiles and
JSON. `to_value` raises Unexplained where the stored bits mean nothing that a profile can say: the
bytes then stay raw. `to_stored` raises Wrong where a person wrote what the field can't take.
"""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from romtool.errors import Wrong
from romtool.schema.checksums import Checksum
from romtool.schema.numbers import (
    address,
    hex_text,
    one_of,
    parse_hex,
    parse_number,
    shorten,
    sizes,
)
from romtool.schema.tables import describe

Value = Any
Stored = Any


class Unexplained(ValueError):
    """Stored bits that no value stands for."""


@dataclass(frozen=True, kw_only=True)
class Kind:
    """The base of all kinds; `bits` is the field's width, 0 for one that runs to the end."""

    bits: int

    is_bytes = False

    def to_value(self, stored: Stored) -> Value:
        """Return the value that the stored bits stand for."""
        raise NotImplementedError

    def to_stored(self, value: Value) -> Stored:
        """Return the bits to store for a value that a person wrote."""
        raise NotImplementedError

    def show(self, value: Value) -> str:
        """Return the value in words."""
        return str(value)

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        return {}

    @property
    def top(self) -> int:
        """The greatest stored number."""
        return (1 << self.bits) - 1


def whole_number(value: Value) -> int:
    """Return a number written as 544, 0x220 or "220h"; raises Wrong."""
    if isinstance(value, str):
        return parse_number(value)
    if isinstance(value, bool) or not isinstance(value, int):
        raise Wrong(f"{describe(value)} is not a number", 'write 544, 0x220 or "220h"')
    return value


def a_list(value: Value) -> list[Value]:
    """Return a list; raises Wrong for anything else."""
    if not isinstance(value, list):
        raise Wrong(f"{describe(value)} is not a list", "put it in [ ]")
    return value


NUMBER_SCHEMA: dict[str, Any] = {
    "anyOf": [
        {"type": "integer", "minimum": 0},
        {"type": "string", "pattern": "^(0[xX][0-9A-Fa-f]+|[0-9A-Fa-f]+[hH]|[0-9]+)$"},
    ]
}

SHOWS = {"decimal": str, "hex": address, "address": address, "size": sizes}


@dataclass(frozen=True, kw_only=True)
class Number(Kind):
    """A number, in steps of `unit`; `none` and `zero_means` are stored values of special sense."""

    unit: int = 1
    none: int | None = None
    zero_means: int | None = None
    form: str = "decimal"

    def to_value(self, stored: Stored) -> Value:
        if stored == self.none:
            return None
        if stored == 0 and self.zero_means is not None:
            return self.zero_means
        return stored * self.unit

    def to_stored(self, value: Value) -> Stored:
        if value is None and self.none is not None:
            return self.none
        number = whole_number(value)
        if self.zero_means is not None:
            if number == self.zero_means:
                return 0
            if number == 0:
                raise Wrong(f"0 can't be stored: it would mean {address(self.zero_means)}")
        return self.stored_number(number)

    def stored_number(self, number: int) -> int:
        """Return a number in stored units; raises Wrong where it doesn't fit."""
        if not 0 <= number <= self.top * self.unit:
            raise Wrong(
                f"{self.show(number)} is outside {self.show(0)} to "
                f"{self.show(self.top * self.unit)}"
            )
        if number % self.unit:
            raise Wrong(
                f"{self.show(number)} is not a multiple of {self.show(self.unit)}",
                f"it is stored in steps of {self.unit} bytes",
            )
        return number // self.unit

    def show(self, value: Value) -> str:
        return "none" if value is None else SHOWS[self.form](value)

    def json_schema(self) -> dict[str, Any]:
        return NUMBER_SCHEMA


@dataclass(frozen=True, kw_only=True)
class Range(Number):
    """Two numbers, lowest and highest, one behind the other; one where they may be the same."""

    single: bool = False

    @property
    def top(self) -> int:
        return int((1 << self.bits // 2) - 1)

    def to_value(self, stored: Stored) -> Value:
        low = (stored & self.top) * self.unit
        high = (stored >> self.bits // 2) * self.unit
        return low if self.single and low == high else [low, high]

    def to_stored(self, value: Value) -> Stored:
        if self.single and not isinstance(value, list):
            low = high = self.stored_number(whole_number(value))
        else:
            pair = a_list(value)
            if len(pair) != 2:
                raise Wrong(
                    f"a range has 2 numbers, {len(pair)} given", "write [lowest, highest] base"
                )
            ends = []
            for index, end in enumerate(pair):
                try:
                    ends.append(self.stored_number(whole_number(end)))
                except Wrong as wrong:
                    raise Wrong(wrong.message, wrong.hint, inside=(index,)) from None
            low, high = ends
        return low | high << self.bits // 2

    def show(self, value: Value) -> str:
        if isinstance(value, list):
            return f"{address(value[0])} to {address(value[1])}"
        return address(value)

    def json_schema(self) -> dict[str, Any]:
        pair = {"type": "array", "items": NUMBER_SCHEMA, "minItems": 2, "maxItems": 2}
        return {"anyOf": [*NUMBER_SCHEMA["anyOf"], pair]} if self.single else pair


@dataclass(frozen=True, kw_only=True)
class Flag(Kind):
    """One bit: true or false."""

    def to_value(self, stored: Stored) -> Value:
        return bool(stored)

    def to_stored(self, value: Value) -> Stored:
        if not isinstance(value, bool):
            raise Wrong(f"{describe(value)} is not true or false")
        return int(value)

    def show(self, value: Value) -> str:
        return "yes" if value else "no"

    def json_schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


@dataclass(frozen=True, kw_only=True)
class Choice(Kind):
    """One of several names (or numbers); with `numbers`, values without a name are numbers."""

    names: Mapping[int, str | int]
    numbers: bool = False

    def to_value(self, stored: Stored) -> Value:
        if stored in self.names:
            return self.names[stored]
        if self.numbers:
            return stored
        raise Unexplained(f"value {stored} has no meaning")

    def to_stored(self, value: Value) -> Stored:
        for stored, name in self.names.items():
            if value == name and not isinstance(value, bool):
                return stored
        if self.numbers and isinstance(value, int) and not isinstance(value, bool):
            if value in self.names:
                raise Wrong(f"{value} is written {self.names[value]}")
            if 0 <= value <= self.top:
                return value
        raise Wrong(f"{describe(value)} is not one of its values", f"write {self._choices()}")

    def _choices(self) -> str:
        words = [f'"{n}"' if isinstance(n, str) else str(n) for n in self.names.values()]
        if self.numbers:
            words.append(f"a number from {max(self.names) + 1} to {self.top}")
        return one_of(words)

    def json_schema(self) -> dict[str, Any]:
        named = {"enum": list(self.names.values())}
        if not self.numbers:
            return named
        number = {"type": "integer", "minimum": max(self.names) + 1, "maximum": self.top}
        return {"anyOf": [named, number]}


@dataclass(frozen=True, kw_only=True)
class Flags(Kind):
    """A list of the names of the bits that are set."""

    names: tuple[str, ...]

    def to_value(self, stored: Stored) -> Value:
        return [name for bit, name in enumerate(self.names) if stored >> bit & 1]

    def to_stored(self, value: Value) -> Stored:
        stored = 0
        for index, name in enumerate(a_list(value)):
            if name not in self.names:
                near = difflib.get_close_matches(str(name), self.names, n=1)
                hint = f"did you mean {near[0]}?" if near else f"write {one_of(list(self.names))}"
                raise Wrong(f"{describe(name)} is not one of its values", hint, inside=(index,))
            stored |= 1 << self.names.index(name)
        return stored

    def show(self, value: Value) -> str:
        return " and ".join(value) if value else "none"

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"enum": list(self.names)}}


@dataclass(frozen=True, kw_only=True)
class Lines(Kind):
    """A list of numbers, a bit each; the lowest bit stands for `first`."""

    first: int
    form: str = "decimal"

    def to_value(self, stored: Stored) -> Value:
        return [self.first + bit for bit in range(self.bits) if stored >> bit & 1]

    def to_stored(self, value: Value) -> Stored:
        stored = 0
        for index, item in enumerate(a_list(value)):
            try:
                number = whole_number(item)
                if not 0 <= number - self.first < self.bits:
                    show = SHOWS[self.form]
                    last = show(self.first + self.bits - 1)
                    raise Wrong(
                        f"{show(number)} is outside {show(self.first)} to {last}",
                        "each number stands for one bit of the item",
                    )
                if stored >> (number - self.first) & 1:
                    raise Wrong(f"{SHOWS[self.form](number)} stands twice", "write it once")
            except Wrong as wrong:
                raise Wrong(wrong.message, wrong.hint, inside=(index,)) from None
            stored |= 1 << (number - self.first)
        return stored

    def show(self, value: Value) -> str:
        return one_of([SHOWS[self.form](number) for number in value]) if value else "none"

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": NUMBER_SCHEMA}


@dataclass(frozen=True, kw_only=True)
class Pins(Kind):
    """A list of numbers, one a pin of the chip: the bus line that is connected to it."""

    bus: str
    unconnected: int
    pin_bits: int = 4

    @property
    def pins(self) -> int:
        """How many pins the chip has."""
        return self.bits // self.pin_bits

    def to_value(self, stored: Stored) -> Value:
        mask = (1 << self.pin_bits) - 1
        return [stored >> pin * self.pin_bits & mask for pin in range(self.pins)]

    def to_stored(self, value: Value) -> Stored:
        lines = a_list(value)
        if len(lines) != self.pins:
            raise Wrong(
                f"the chip has {self.pins} {self.bus.upper()} pins, {len(lines)} given",
                f"one number a pin, in pin order; {self.unconnected}: not connected",
            )
        stored = 0
        for pin, line in enumerate(lines):
            try:
                number = whole_number(line)
                if not 0 <= number < 1 << self.pin_bits:
                    raise Wrong(f"{number} is outside 0 to {(1 << self.pin_bits) - 1}")
            except Wrong as wrong:
                raise Wrong(wrong.message, wrong.hint, inside=(pin,)) from None
            stored |= number << pin * self.pin_bits
        return stored

    def connected(self, value: Value) -> set[int]:
        """Return the bus lines that have a pin."""
        return {line for line in value if line != self.unconnected}

    def show(self, value: Value) -> str:
        pins = (
            f"{chr(ord('A') + pin)} {'-' if line == self.unconnected else line}"
            for pin, line in enumerate(value)
        )
        return ", ".join(pins)

    def json_schema(self) -> dict[str, Any]:
        return {
            "type": "array",
            "items": NUMBER_SCHEMA,
            "minItems": self.pins,
            "maxItems": self.pins,
        }


@dataclass(frozen=True)
class Group:
    """Some characters of a spelled text: all of one alphabet and width."""

    count: int
    bits: int
    alphabet: str
    before: str = ""


@dataclass(frozen=True)
class Spelling:
    """A text packed into bits, highest bits first; `unused` highest bits are 0."""

    name: str
    title: str
    bits: int
    unused: int
    usual: str
    endian: str
    groups: tuple[Group, ...]

    def characters(self) -> list[tuple[str, int, str]]:
        """Return what stands before each character, its width in bits, and its alphabet."""
        return [
            (group.before if index == 0 else "", group.bits, group.alphabet)
            for group in self.groups
            for index in range(group.count)
        ]


@dataclass(frozen=True, kw_only=True)
class Spelled(Kind):
    """A short text packed into bits, such as a vendor's letters and a product's digits."""

    spelling: Spelling

    def to_value(self, stored: Stored) -> Value:
        text, left = "", self.bits - self.spelling.unused
        if stored >> left:
            raise Unexplained("a bit is set that no character uses")
        for before, bits, alphabet in self.spelling.characters():
            left -= bits
            code = stored >> left & (1 << bits) - 1
            if code >= len(alphabet):
                raise Unexplained(f"character code {code} has no meaning")
            text += before + alphabet[code]
        return text

    def to_stored(self, value: Value) -> Stored:
        fault = Wrong(f"{describe(value)} is not {self.spelling.title}")
        if not isinstance(value, str):
            raise fault
        stored, place = 0, 0
        for before, bits, alphabet in self.spelling.characters():
            if not value.startswith(before, place):
                raise fault
            place += len(before)
            code = alphabet.find(value[place : place + 1].upper()) if place < len(value) else -1
            if code < 0:
                raise fault
            stored = stored << bits | code
            place += 1
        if place != len(value):
            raise fault
        return stored

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string"}


@dataclass(frozen=True, kw_only=True)
class Text(Kind):
    """Characters to the end of the item."""

    encoding: str
    is_bytes = True

    def to_value(self, stored: Stored) -> Value:
        try:
            text = bytes(stored).decode(self.encoding)
        except UnicodeDecodeError:
            raise Unexplained(f"bytes that are not {self.encoding}") from None
        if not all(self._plain(char) for char in text):
            raise Unexplained("characters that can't be printed")
        return text

    def _plain(self, char: str) -> bool:
        return " " <= char <= "~" if self.encoding == "ascii" else char.isprintable()

    def to_stored(self, value: Value) -> Stored:
        if not isinstance(value, str):
            raise Wrong(f"{describe(value)} is not a text", "put it in quotes")
        for place, char in enumerate(value, 1):
            if not self._plain(char):
                raise Wrong(
                    f"{shorten(value)}: character {place} ({char!r}) is not printable"
                    + (" ASCII" if self.encoding == "ascii" else ""),
                    "use letters, digits, spaces and the signs of a plain keyboard"
                    if self.encoding == "ascii"
                    else "leave control characters out",
                )
        return value.encode(self.encoding, "surrogatepass")

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string"} | (
            {"pattern": "^[ -~]*$"} if self.encoding == "ascii" else {}
        )


@dataclass(frozen=True, kw_only=True)
class Hex(Kind):
    """Bytes as they are."""

    is_bytes = True

    def to_value(self, stored: Stored) -> Value:
        return hex_text(stored)

    def to_stored(self, value: Value) -> Stored:
        if not isinstance(value, str):
            raise Wrong(f"{describe(value)} is not bytes in hex digits", 'write "55 BB 00"')
        data = parse_hex(value)
        if self.bits and len(data) * 8 != self.bits:
            raise Wrong(f"{self.bits // 8} bytes belong here, {len(data)} given")
        return data

    def json_schema(self) -> dict[str, Any]:
        return {"type": "string", "pattern": "^[0-9A-Fa-f\\s]*$"}


@dataclass(frozen=True, kw_only=True)
class Constant(Hex):
    """Bytes (or bits) that are always the same."""

    value: bytes | int

    @property
    def is_bytes(self) -> bool:  # type: ignore[override]
        """Whether whole bytes are fixed, not bits of one."""
        return isinstance(self.value, bytes)


@dataclass(frozen=True, kw_only=True)
class Reserved(Kind):
    """Bits that are 0; an item in which they are not stays raw."""

    def to_value(self, stored: Stored) -> Value:
        if stored:
            raise Unexplained("a reserved bit is set")
        return 0

    def to_stored(self, value: Value) -> Stored:
        return 0


@dataclass(frozen=True, kw_only=True)
class Count(Number):
    """A number of bytes that is computed; `accepts` names other ways of counting."""

    counts: tuple[str, ...]
    accepts: Mapping[str, tuple[str, ...]]


@dataclass(frozen=True, kw_only=True)
class Check(Number):
    """A checksum that is computed; `covers` is the first and the last byte, None for all."""

    checksum: Checksum
    covers: tuple[int, int] | None = None
    unchecked: int | None = None
