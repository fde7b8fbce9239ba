"""What every kind of value has in common."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from typing import Any, Generic, TypeVar

from romtool.errors import InvalidValue
from romtool.schema.described import Described
from romtool.schema.numbers import address, describe, parse_number, sizes

Value = bool | int | str | list[int] | list[str] | None
"""A value for people, where its field is not known: what TOML and JSON can hold."""
Stored = int | bytes | None
"""Stored bits, where their field is not known: a number, bytes, or None for an absent field."""
S = TypeVar("S")
"""What is stored: `int`, or `bytes` for texts and hex digits."""
V = TypeVar("V")
"""What people read and write for it."""
SizeOf = Callable[[str], int]
"""What returns the size in bytes of a region of an image that a count can count, by its name."""


def no_region(name: str) -> int:
    """Return the size of a region where there is none."""
    return 0


class NotRepresentable(ValueError):
    """Stored bits that no value stands for."""


class FieldType(Described, Generic[S, V]):
    """The base of all kinds; `bits` is the field's width, 0 for one that runs to the end.

    `is_bytes`: bytes are stored, not a number. `is_constant`: always the same. `is_computed`:
    constant, or worked out from other bytes: no profile chooses it. `is_reserved`: it has no value.
    `is_wiring`: what the board connects, which no convention tells. `is_named`: its values are
    words. `usage`: how it is written, the hint of an error.
    """

    bits: int

    is_bytes = False
    is_constant = False
    is_computed = False
    is_reserved = False
    is_wiring = False
    is_named = False
    usage = ""

    def to_value(self, stored: S) -> V:
        """Return the value that the stored bits stand for; raises NotRepresentable."""
        raise NotImplementedError

    def to_stored(self, value: object) -> S:
        """Return the bits to store for a value that a person wrote; raises InvalidValue."""
        raise NotImplementedError

    def expected(self, at: int, data: bytes, size_of: SizeOf = no_region) -> S | None:
        """Return what should be stored in byte `at` of `data`; None where a person chooses it.

        `data`: the bytes of the layout up to the field, or more; `size_of`: what tells the size
        of a region of the image.
        """
        return None

    def ways(self, size_of: SizeOf) -> Mapping[str, S]:
        """Return what else may be stored there and is not wrong, by the name of its way."""
        return {}

    def is_unchecked(self, stored: object) -> bool:
        """Whether this stored value is never compared with what is expected."""
        return False

    def is_left_out(self, stored: object) -> bool:
        """Whether this stands where the chip works the value out itself."""
        return False

    def is_on(self, value: V) -> bool | None:
        """Whether the value turns something on; None where it does neither, on or off."""
        return None

    def show(self, value: V) -> str:
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


AnyKind = FieldType[Any, Any]
"""A kind of which only the schema knows what it stores."""


def number(stored: Stored) -> int:
    """Return a stored number, of a field that is there and holds no bytes."""
    assert isinstance(stored, int)
    return stored


def whole_number(value: object) -> int:
    """Return a number written as 544, 0x220 or "220h"; raises InvalidValue."""
    if isinstance(value, str):
        return parse_number(value)
    if type(value) is int and value.bit_length() > 64:
        raise InvalidValue("the number is too long", "no field is wider than 32 bits")
    if type(value) is not int:
        raise InvalidValue(f"{describe(value)} is not a number", 'write 544, 0x220 or "220h"')
    return value


def number_schema(*runs: tuple[int, int], unit: int = 1) -> dict[str, Any]:
    """Return the JSON Schema of the numbers in these runs, in steps of `unit`."""
    from romtool.schema.spelt_numbers import number_schema  # which few calls need

    return number_schema(*runs, unit=unit)


def a_list(value: object) -> list[object]:
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
