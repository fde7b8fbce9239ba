"""Fields and layouts: where each value stands in a run of bytes.

Bytes are read by the places of the fields, and built by the `construct` structure made of them.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping
from typing import Any, Generic, TypeVar, cast

from romtool.errors import InvalidValue, Path
from romtool.schema.codec import OnDemand, Reader, Structure, raw_value
from romtool.schema.described import Described
from romtool.schema.field_types import (
    AnyKind,
    FieldType,
    NotRepresentable,
    SizeOf,
    Stored,
    Value,
    no_region,
    number,
)


class _Missing:
    """Where there is no value, not even None; known again when it is unpickled."""

    def __reduce__(self) -> str:
        return "MISSING"


MISSING: Any = _Missing()


class Field(Described, min_size="min_bytes"):
    """One field of a layout; `size` is None for one that runs to the end of the item."""

    key: str
    title: str
    text: str
    source: str
    kind: AnyKind
    at: int
    size: int | None
    min_size: int | None
    low: int
    endian: str
    default: Value
    optional: bool
    absent: str | None
    absent_value: Value
    at_least: int
    phrase: str | None
    phrase_always: bool
    stated_with_range: bool
    length: str | None
    align: str | None
    unit_noun: str | None
    disables: str | None
    off_value: int | None
    least: int | None
    unassigned: tuple[int, ...]
    path: Path

    @property
    def may_be_left_out(self) -> bool:
        """Whether a profile need not name it."""
        return self.optional or self.default is not MISSING

    def expected(self, data: bytes, size_of: SizeOf = no_region) -> Stored:
        """Return what should be stored, where something settles it: what is constant or computed.

        `data`: the bytes of the layout, those before the field at least; `size_of`: what tells the
        size in bytes of a region of the image.
        """
        return self.kind.expected(self.at, data, size_of)

    def value_of(self, stored: Stored) -> Value:
        """Return the value for people; raises NotRepresentable."""
        return None if stored is None else self.kind.to_value(stored)

    def stored_of(self, value: object) -> Stored:
        """Return the bits to store; raises InvalidValue with the field's hint if it has none."""
        try:
            stored: Stored = self.kind.to_stored(value)
        except InvalidValue as wrong:
            hint = wrong.hint or self.text or self.kind.usage
            raise InvalidValue(
                f"{self.title}: {wrong.message}", hint, inside=wrong.inside
            ) from None
        return stored

    def is_worth_telling(self, value: object) -> bool:
        """Whether a reader wants to know of this setting: wiring, what is on, what is not usual."""
        return bool(self.kind.is_wiring or self.kind.is_on(value) or not self.is_default(value))

    def is_untypical(self, value: object) -> bool:
        """Whether a setting differs from the typical one.

        Wiring is the board's own, and so is what it doesn't have: a function that is off.
        """
        is_off = value == self.off_value or self.kind.is_on(value) is False
        return not (self.kind.is_wiring or self.is_default(value) or is_off)

    def is_default(self, value: object) -> bool:
        """Whether a profile may leave this value out."""
        if value is None:
            return self.optional or self.default is None
        return self.default is not MISSING and bool(value == self.default)

    def byte_mask(self, first: int = 0, bits: int | None = None) -> bytes:
        """Return which bits of its bytes are the field's own, or `bits` of them from `first`.

        Only for a field of known size.
        """
        size = self.size or 0
        mask = ((1 << (self.kind.bits if bits is None else bits)) - 1) << self.low + first
        return mask.to_bytes(size, "little" if self.endian == "little" else "big")

    @property
    def bit_numbers(self) -> str:
        """`4:0`, the highest and the lowest bit, or nothing for a field of whole bytes."""
        if self.size is None or self.kind.bits == self.size * 8:
            return ""
        high = self.low + self.kind.bits - 1
        return str(high) if high == self.low else f"{high}:{self.low}"

    @property
    def bit_range(self) -> str:
        """`bits 4:0`, or nothing for a field of whole bytes."""
        words = "bit" if self.kind.bits == 1 else "bits"
        return f"{words} {self.bit_numbers}" if self.bit_numbers else ""


F_co = TypeVar("F_co", bound=AnyKind, covariant=True)
F = TypeVar("F", bound=AnyKind)
V = TypeVar("V")


class FieldOf(Field, Generic[F_co]):
    """A field of which the code knows what it holds: for type checkers, all are `Field`."""

    kind: F_co


def typical_value(field: FieldOf[FieldType[Any, V]]) -> V:
    """Return the value that a profile may leave out."""
    return field.kind.to_value(field.kind.to_stored(field.default))


class Unit(Described):
    """A run of bytes that is read as one number (or as bytes); its fields, highest bits first."""

    at: int
    size: int | None
    fields: tuple[Field, ...]

    @property
    def min_size(self) -> int:
        """How many of its bytes must be there."""
        first = self.fields[0]
        if self.size is None:
            return first.at_least
        if first.optional:
            return 0
        return first.min_size or self.size

    def there(self, length: int) -> int:
        """Return how many of its bytes stand in content of this length."""
        rest = max(0, length - self.at)
        return rest if self.size is None else min(self.size, rest)


class FieldLayout(Described):
    """The fields of a frame, an item, the identifier or an item's header, in order."""

    fields: tuple[Field, ...]
    units: tuple[Unit, ...]

    @functools.cached_property
    def by_key(self) -> Mapping[str, Field]:
        """The fields by their keys."""
        return {field.key: field for field in self.fields}

    def of_type(self, kind: type[F]) -> tuple[FieldOf[F], ...]:
        """Return the fields that hold this."""
        found = tuple(field for field in self.fields if isinstance(field.kind, kind))
        return cast("tuple[FieldOf[F], ...]", found)

    @functools.cached_property
    def length_limits(self) -> tuple[int, int | None]:
        """The least and the greatest number of bytes, None for any number."""
        full = sum(unit.size or 0 for unit in self.units)
        if not self.units:
            return 0, 0
        last = self.units[-1]
        if last.size is None:
            return full + last.min_size, None
        return full - last.size + last.min_size, full

    def takes(self, length: int) -> bool:
        """Whether a run of this many bytes can be read."""
        low, high = self.length_limits
        if not low <= length <= (length if high is None else high):
            return False
        optional = bool(self.units) and self.units[-1].fields[0].optional
        return not optional or length in (low, high)

    def lengths(self) -> Iterator[int]:
        """Yield the lengths that a layout of limited size takes, shortest first."""
        low, high = self.length_limits
        for length in range(low, (low if high is None else high) + 1):
            if self.takes(length):
                yield length

    @functools.cached_property
    def _readers(self) -> OnDemand[int, Reader]:
        return OnDemand(functools.partial(Reader, self.units, self.fields))

    def reader(self, length: int) -> Reader:
        """Return what reads content of this length, made once."""
        return self._readers[length]

    def parse(self, data: bytes) -> dict[str, Stored]:
        """Return what is stored under each key, None for an absent field."""
        return self.reader(len(data)).stored(data)

    @functools.cached_property
    def _structures(self) -> OnDemand[int, Structure]:
        return OnDemand(functools.partial(Structure, self.units))

    def structure(self, length: int) -> Structure:
        """Return the structure that builds content of this length, made once."""
        return self._structures[length]

    def build(self, stored: Mapping[str, Stored], length: int) -> bytes:
        """Return the bytes for stored values, where `length` bytes are there."""
        return self.structure(length).build(stored)

    def values(self, stored: Mapping[str, Stored]) -> tuple[dict[str, Value], bool]:
        """Return the values for people, and whether all of them could be explained."""
        values: dict[str, Value] = {}
        representable = True
        for field in self.fields:
            try:
                values[field.key] = field.value_of(stored[field.key])
            except NotRepresentable:
                values[field.key] = raw_value(stored[field.key])
                representable = False
        return values, representable

    def length_for(self, stored: Mapping[str, Stored]) -> int:
        """Return the shortest length that holds the stored values."""
        if not self.units:
            return 0
        last = self.units[-1]
        if last.size is None:
            rest = stored[last.fields[0].key]
            return last.at + (len(rest) if isinstance(rest, bytes) else 0)
        if last.fields[0].optional:
            there = any(stored[field.key] is not None for field in last.fields)
            return last.at + (last.size if there else 0)
        bits = 0
        for field in last.fields:
            if not field.kind.is_bytes:
                bits |= number(stored[field.key]) << field.low
        return last.at + max(last.min_size, (bits.bit_length() + 7) // 8)
