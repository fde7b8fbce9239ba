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
    Stored,
    Value,
    a_list,
    whole_number,
)
from romtool.schema.numbers import address
from romtool.schema.spelt_numbers import number_schema


class Number(FieldType):
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
                raise InvalidValue(f"0 can't be stored: it would mean {address(self.zero_means)}")
        return self.stored_number(number)

    def stored_number(self, number: int) -> int:
        """Return a number in stored units; raises InvalidValue where it doesn't fit."""
        if not 0 <= number <= self.top * self.unit:
            raise InvalidValue(
                f"{self.show(number)} is outside {self.show(0)} to "
                f"{self.show(self.top * self.unit)}"
            )
        if number % self.unit:
            raise InvalidValue(
                f"{self.show(number)} is not a multiple of {self.show(self.unit)}",
                f"it is stored in steps of {self.unit} bytes",
            )
        return number // self.unit

    def show(self, value: Value) -> str:
        if value is None:
            return "none"
        if self.form == "hex":
            return f"{value:0{(self.bits + 3) // 4}X}h"
        return SHOWS[self.form](value)

    def takes(self) -> str:
        """Say the least and the greatest number, and the steps between them."""
        least = self.unit if self.zero_means is not None else 0
        most = max(self.top * self.unit, self.zero_means or 0)
        step = "" if self.unit == 1 else f", in steps of {self._spelt(self.unit)}"
        return f"{self._spelt(least)} to {self._spelt(most)}{step}"

    def _spelt(self, number: int) -> str:
        return str(number) if self.form == "decimal" else f"0x{number:X}"

    def json_schema(self) -> dict[str, Any]:
        highest = self.top * self.unit
        if self.zero_means is None:
            return number_schema((0, highest), unit=self.unit)
        special = (self.zero_means, self.zero_means)
        return number_schema((self.unit, highest), special, unit=self.unit)


class Range(Number):
    """Two numbers, lowest and highest, one after the other; one where they may be the same."""

    single: bool = False

    @functools.cached_property
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

    def show(self, value: Value) -> str:
        if isinstance(value, list):
            return f"{address(value[0])} to {address(value[1])}"
        return address(value)

    def takes(self) -> str:
        pair = f"[lowest, highest], each {super().takes()}"
        return f"{super().takes()}, or {pair}" if self.single else pair

    def json_schema(self) -> dict[str, Any]:
        number = super().json_schema()
        pair = {"type": "array", "items": number, "minItems": 2, "maxItems": 2}
        return {"anyOf": [*number["anyOf"], pair]} if self.single else pair


class Count(Number):
    """A number of bytes that is computed; `accepts` names other ways of counting."""

    counts: tuple[str, ...]
    accepts: Mapping[str, tuple[str, ...]]


class Check(Number):
    """A checksum that is computed; `covers` is the first and the last byte, None for all.

    `unchecked` is a stored value that is not checked, `left_out` one that stands where the chip
    computes the checksum itself.
    """

    checksum: Checksum
    covers: tuple[int, int] | None = None
    unchecked: int | None = None
    left_out: int | None = None

    def region(self, at: int) -> slice:
        """Return which bytes it covers, where it stands in byte `at` of their layout."""
        first, last = self.covers or (0, at - 1)
        return slice(first, last + 1)
