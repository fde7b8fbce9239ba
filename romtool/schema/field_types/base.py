"""What every kind of value has in common."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from romtool.errors import InvalidValue
from romtool.schema.described import Described
from romtool.schema.numbers import address, parse_number, sizes
from romtool.schema.tables import describe

Value = Any
Stored = Any


class NotRepresentable(ValueError):
    """Stored bits that no value stands for."""


class FieldType(Described):
    """The base of all kinds; `bits` is the field's width, 0 for one that runs to the end."""

    bits: int

    is_bytes = False
    usage = ""

    def to_value(self, stored: Stored) -> Value:
        """Return the value that the stored bits stand for."""
        raise NotImplementedError

    def to_stored(self, value: Value) -> Stored:
        """Return the bits to store for a value that a person wrote."""
        raise NotImplementedError

    def show(self, value: Value) -> str:
        """Return the value in words."""
        return str(value)

    def takes(self) -> str:
        """Say in a few words which values it takes, as a profile writes them."""
        return ""

    def json_schema(self) -> dict[str, Any]:
        """Return the JSON Schema of the value."""
        return {}

    def json_limits(self, least: int, most: int) -> dict[str, Any]:
        """Return the JSON Schema of what `least` to `most` bytes hold, of a field without width."""
        return {}

    @functools.cached_property
    def top(self) -> int:
        """The greatest stored number."""
        return (1 << self.bits) - 1


def whole_number(value: Value) -> int:
    """Return a number written as 544, 0x220 or "220h"; raises InvalidValue."""
    if isinstance(value, str):
        return parse_number(value)
    if type(value) is int and value.bit_length() > 64:
        raise InvalidValue("the number is too long", "no field is wider than 32 bits")
    if type(value) is not int:
        raise InvalidValue(f"{describe(value)} is not a number", 'write 544, 0x220 or "220h"')
    return value


def a_list(value: Value) -> list[Value]:
    """Return a list; raises InvalidValue for anything else."""
    if not isinstance(value, list):
        raise InvalidValue(f"{describe(value)} is not a list", "put it in [ ]")
    return value


SHOWS: dict[str, Callable[[int], str]] = {
    "decimal": str,
    "hex": address,
    "address": address,
    "size": sizes,
}
