"""Numbers: plain, ranges of addresses, and those that are computed."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

from romtool.errors import InvalidValue
from romtool.schema.checksums import Checksum
from romtool.schema.field_types.base import (
    SHOWS,
    FieldType,
    SizeOf,
    V,
    a_list,
    no_region,
    number_schema,
    whole_number,
)
from romtool.schema.numbers import address


class Stepped(FieldType[int, V], form="show"):
    """What all numbers share: they are stored in steps of `unit`, and shown in one form."""

    unit: int
    form: str

    def stored_number(self, number: int) -> int:
        """Return a number in stored units; raises InvalidValue where it doesn't fit."""
        highest = self.top * self.unit
        if not 0 <= number <= highest:
            words = f"{self.show_number(0)} to {self.show_number(highest)}"
            raise InvalidValue(f"{self.show_number(number)} is outside {words}")
        if number % self.unit:
            raise InvalidValue(
                f"{self.show_number(number)} is not a multiple of {self.show_number(self.unit)}",
                f"it is stored in steps of {self.unit} bytes",
            )
        return number // self.unit

    def show_number(self, number: int) -> str:
        """Return a number in the form of the field."""
        if self.form == "hex":
            return f"{number:0{(self.bits + 3) // 4}X}h"
        return SHOWS[self.form](number)

    def spelt(self, number: int) -> str:
        """Return a number as a profile writes it."""
        return str(number) if self.form == "decimal" else f"0x{number:X}"

    def _limits(self, least: int, most: int) -> str:
        step = "" if self.unit == 1 else f", in steps of {self.spelt(self.unit)}"
        return f"{self.spelt(least)} to {self.spelt(most)}{step}"


class Number(Stepped[int | None]):
    """A number; `none` and `zero_means` are stored values of special sense."""

    none: int | None
    zero_means: int | None

    def to_value(self, stored: int) -> int | None:
        if stored == self.none:
            return None
        if stored == 0 and self.zero_means is not None:
            return self.zero_means
        return stored * self.unit

    def to_stored(self, value: object) -> int:
        if value is None and self.none is not None:
            return self.none
        number = whole_number(value)
        if self.zero_means is not None:
            if number == self.zero_means:
                return 0
            if number == 0:
                raise InvalidValue(f"0 can't be stored: it would mean {address(self.zero_means)}")
        return self.stored_number(number)

    def show(self, value: int | None) -> str:
        return "none" if value is None else self.show_number(value)

    def takes(self) -> str:
        """Say the least and the greatest number, and the steps between them."""
        least = self.unit if self.zero_means is not None else 0
        return self._limits(least, self.highest)

    @property
    def highest(self) -> int:
        """The highest number that can be stored."""
        return max(self.top * self.unit, self.zero_means or 0)

    def json_schema(self) -> dict[str, Any]:
        highest = self.top * self.unit
        if self.zero_means is None:
            return number_schema((0, highest), unit=self.unit)
        special = (self.zero_means, self.zero_means)
        return number_schema((self.unit, highest), special, unit=self.unit)


class Range(Stepped[int | list[int]]):
    """Two numbers, lowest and highest, one after the other; one where they may be the same."""

    single: bool

    @functools.cached_property
    def top(self) -> int:
        return int((1 << self.bits // 2) - 1)

    def to_value(self, stored: int) -> int | list[int]:
        low = (stored & self.top) * self.unit
        high = (stored >> self.bits // 2) * self.unit
        return low if self.single and low == high else [low, high]

    def to_stored(self, value: object) -> int:
        if self.single and not isinstance(value, list):
            low = high = self.stored_number(whole_number(value))
        else:
            pair = a_list(value)
            if len(pair) != 2:
                raise InvalidValue(
                    f"a range has 2 numbers, {len(pair)} given", "write [lowest, highest] base"
                )
            ends = []
            for index, end in enumerate(pair):
                try:
                    ends.append(self.stored_number(whole_number(end)))
                except InvalidValue as wrong:
                    raise InvalidValue(wrong.message, wrong.hint, inside=(index,)) from None
            low, high = ends
        return low | high << self.bits // 2

    def show(self, value: int | list[int]) -> str:
        if isinstance(value, list):
            return f"{address(value[0])} to {address(value[1])}"
        return address(value)

    def show_number(self, number: int) -> str:
        return address(number)

    def takes(self) -> str:
        number = self._limits(0, self.top * self.unit)
        pair = f"[lowest, highest], each {number}"
        return f"{number}, or {pair}" if self.single else pair

    def json_schema(self) -> dict[str, Any]:
        number = number_schema((0, self.top * self.unit), unit=self.unit)
        pair = {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
        return {"anyOf": [*number["anyOf"], pair]} if self.single else pair


class Computed(Stepped[int]):
    """A number that is worked out from other bytes."""

    is_computed = True

    def to_value(self, stored: int) -> int:
        return stored * self.unit

    def to_stored(self, value: object) -> int:
        return self.stored_number(whole_number(value))

    def show(self, value: int) -> str:
        return self.show_number(value)

    def takes(self) -> str:
        return self._limits(0, self.top * self.unit)

    def json_schema(self) -> dict[str, Any]:
        return number_schema((0, self.top * self.unit), unit=self.unit)


class Count(Computed):
    """The sum of the sizes (bytes) of some regions; `accepts` names other ways of counting."""

    counts: tuple[str, ...]
    accepts: Mapping[str, tuple[str, ...]]

    def expected(self, at: int, data: bytes, size_of: SizeOf = no_region) -> int:
        return sum(map(size_of, self.counts))

    def ways(self, size_of: SizeOf) -> dict[str, int]:
        return {way: sum(map(size_of, counts)) for way, counts in self.accepts.items()}

    def uncounted(self, way: str) -> tuple[str, ...]:
        """Return the regions that another way of counting leaves out."""
        return tuple(name for name in self.counts if name not in self.accepts[way])


class Check(Computed):
    """A checksum; `covers` is the first and the last byte of those that it covers, None for all.

    `unchecked` is a stored value that is not checked, `left_out` one that stands where the chip
    computes the checksum itself.
    """

    checksum: Checksum
    covers: tuple[int, int] | None
    unchecked: int | None
    left_out: int | None

    def region(self, at: int) -> slice:
        """Return which bytes it covers, where it stands in byte `at` of their layout."""
        first, last = self.covers or (0, at - 1)
        return slice(first, last + 1)

    def expected(self, at: int, data: bytes, size_of: SizeOf = no_region) -> int:
        return self.checksum.of(data[self.region(at)])

    def holds(self, at: int, data: bytes) -> bool:
        """Whether the checksum that is stored in byte `at` of `data` is right."""
        return data[at] == self.expected(at, data)

    def is_unchecked(self, stored: object) -> bool:
        return stored is not None and stored == self.unchecked

    def is_left_out(self, stored: object) -> bool:
        return stored is not None and stored == self.left_out
