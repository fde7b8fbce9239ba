"""Bits that stand for names and lists: flags, choices, lines of the bus, pins of the chip."""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from typing import Any

from romtool.errors import InvalidValue
from romtool.schema.field_types.base import (
    SHOWS,
    FieldType,
    NotRepresentable,
    a_list,
    number_schema,
    whole_number,
)
from romtool.schema.numbers import describe, did_you_mean, one_of, parse_number


class Flag(FieldType[int, bool]):
    """One bit: true or false."""

    usage = "write true or false"

    def to_value(self, stored: int) -> bool:
        return bool(stored)

    def to_stored(self, value: object) -> int:
        if not isinstance(value, bool):
            raise InvalidValue(f"{describe(value)} is not true or false")
        return int(value)

    def is_on(self, value: bool) -> bool:
        return value

    def show(self, value: bool) -> str:
        return "yes" if value else "no"

    def takes(self) -> str:
        return "true or false"

    def json_schema(self) -> dict[str, Any]:
        return {"type": "boolean"}


class Choice(FieldType[int, int | str]):
    """One of several names (or numbers); with `numbers`, values without a name are numbers."""

    names: Mapping[int, str | int]
    numbers: bool

    is_named = True

    def to_value(self, stored: int) -> int | str:
        if stored in self.names:
            return self.names[stored]
        if self.numbers:
            return stored
        raise NotRepresentable(f"value {stored} has no meaning")

    def to_stored(self, value: object) -> int:
        value = self._number(value)
        for stored, name in self.names.items():
            if value == name and type(value) is type(name):
                return stored
        if self.numbers and isinstance(value, int) and not isinstance(value, bool):
            if value in self.names:
                raise InvalidValue(f"{value} is written {self.names[value]}")
            if 0 <= value <= self.top:
                return value
        raise InvalidValue(
            f"{describe(value)} is not one of its values", f"write {self._choices()}"
        )

    def _number(self, value: object) -> object:
        """Return a number that is written as a text, such as "10h", where numbers are meant."""
        numeric = self.numbers or any(isinstance(name, int) for name in self.names.values())
        if not numeric or not isinstance(value, str) or value in self.names.values():
            return value
        try:
            return parse_number(value)
        except InvalidValue:
            return value

    def _choices(self) -> str:
        words = [f'"{n}"' if isinstance(n, str) else str(n) for n in self.names.values()]
        if self.numbers:
            words.append(f"a number from {max(self.names) + 1} to {self.top}")
        return one_of(words)

    def takes(self) -> str:
        return self._choices()

    def json_schema(self) -> dict[str, Any]:
        words = [name for name in self.names.values() if isinstance(name, str)]
        named = [{"enum": words}] if words else []
        runs = [(name, name) for name in self.names.values() if isinstance(name, int)]
        if self.numbers:
            runs += list(self._unnamed())
        if not runs:
            return named[0]
        return {"anyOf": [*named, *number_schema(*runs)["anyOf"]]}

    def _unnamed(self) -> Iterator[tuple[int, int]]:
        """Yield the runs of stored numbers that have no name."""
        first = 0
        for stop in [*sorted(self.names), self.top + 1]:
            if first < stop:
                yield first, stop - 1
            first = stop + 1


class Flags(FieldType[int, list[str]]):
    """A list of the names of the bits that are set."""

    names: tuple[str, ...]

    is_named = True

    def to_value(self, stored: int) -> list[str]:
        return [name for bit, name in enumerate(self.names) if stored >> bit & 1]

    def to_stored(self, value: object) -> int:
        stored = 0
        for index, name in enumerate(a_list(value)):
            if name not in self.names:
                hint = did_you_mean(str(name), self.names) or f"write {one_of(list(self.names))}"
                raise InvalidValue(
                    f"{describe(name)} is not one of its values", hint, inside=(index,)
                )
            if stored >> self.names.index(name) & 1:
                raise InvalidValue(f"{name} stands twice", "write it once", inside=(index,))
            stored |= 1 << self.names.index(name)
        return stored

    def show(self, value: list[str]) -> str:
        return " and ".join(value) if value else "none"

    def takes(self) -> str:
        return "a list of " + one_of([f'"{name}"' for name in self.names]) + ", each once"

    def json_schema(self) -> dict[str, Any]:
        return {"type": "array", "items": {"enum": list(self.names)}, "uniqueItems": True}


@functools.lru_cache(maxsize=4096)
def _ones(stored: int, first: int) -> tuple[int, ...]:
    """Return the places of the bits that are 1, the lowest counted as `first`."""
    return tuple(first + place for place in range(stored.bit_length()) if stored >> place & 1)


class Lines(FieldType[int, list[int]], form="show"):
    """A list of numbers, a bit each; the lowest bit stands for `first`."""

    first: int
    form: str

    def to_value(self, stored: int) -> list[int]:
        return list(_ones(stored, self.first))

    def to_stored(self, value: object) -> int:
        stored = 0
        for index, item in enumerate(a_list(value)):
            try:
                number = whole_number(item)
                if not 0 <= number - self.first < self.bits:
                    show = SHOWS[self.form]
                    raise InvalidValue(
                        f"{show(number)} is outside {show(self.first)} to {show(self.last)}",
                        "each number stands for one bit of the item",
                    )
                if stored >> (number - self.first) & 1:
                    raise InvalidValue(f"{SHOWS[self.form](number)} stands twice", "write it once")
            except InvalidValue as wrong:
                raise InvalidValue(wrong.message, wrong.hint, inside=(index,)) from None
            stored |= 1 << (number - self.first)
        return stored

    def show(self, value: list[int]) -> str:
        return one_of([SHOWS[self.form](number) for number in value]) if value else "none"

    @property
    def last(self) -> int:
        """The number that the highest bit stands for."""
        return self.first + self.bits - 1

    def takes(self) -> str:
        """Say the least and the greatest number of the list."""
        ends = (self.first, self.last)
        low, high = (str(n) if self.form == "decimal" else f"0x{n:X}" for n in ends)
        return f"a list of numbers from {low} to {high}, each once"

    def json_schema(self) -> dict[str, Any]:
        numbers = number_schema((self.first, self.last))
        return {"type": "array", "items": numbers, "uniqueItems": True}


class Pins(FieldType[int, list[int]]):
    """A list of numbers, one a pin of the chip: the bus line that is connected to it."""

    bus: str
    unconnected: int
    pin_bits: int

    is_wiring = True

    @property
    def pins(self) -> int:
        """How many pins the chip has."""
        return self.bits // self.pin_bits

    def to_value(self, stored: int) -> list[int]:
        mask = (1 << self.pin_bits) - 1
        return [stored >> pin * self.pin_bits & mask for pin in range(self.pins)]

    def to_stored(self, value: object) -> int:
        lines = a_list(value)
        if len(lines) != self.pins:
            raise InvalidValue(
                f"the chip has {self.pins} {self.bus.upper()} pins, {len(lines)} given",
                f"one number a pin, in pin order; {self.unconnected}: not connected",
            )
        stored = 0
        for pin, line in enumerate(lines):
            try:
                number = whole_number(line)
                if not 0 <= number < 1 << self.pin_bits:
                    raise InvalidValue(f"{number} is outside 0 to {(1 << self.pin_bits) - 1}")
            except InvalidValue as wrong:
                raise InvalidValue(wrong.message, wrong.hint, inside=(pin,)) from None
            stored |= number << pin * self.pin_bits
        return stored

    @staticmethod
    def pin_name(pin: int) -> str:
        """Return the letter of a pin, counted from 0."""
        return chr(ord("A") + pin)

    def connected(self, value: list[int]) -> set[int]:
        """Return the bus lines that have a pin."""
        return {line for line in value if line != self.unconnected}

    def show(self, value: list[int]) -> str:
        return ", ".join(self.show_pin(pin, line) for pin, line in enumerate(value))

    def show_pin(self, pin: int, line: int) -> str:
        """Return a pin and what is connected to it: `C 9`."""
        return f"{self.pin_name(pin)} {'-' if line == self.unconnected else line}"

    def takes(self) -> str:
        return f"{self.pins} numbers from 0 to {(1 << self.pin_bits) - 1}, one a pin"

    def json_schema(self) -> dict[str, Any]:
        return {
            "type": "array",
            "items": number_schema((0, (1 << self.pin_bits) - 1)),
            "minItems": self.pins,
            "maxItems": self.pins,
        }
