"""Fields and layouts: where each value stands in a run of bytes, and the structure made of them.

The bytes are parsed and built by `construct`; its structures are made here from the schema. A
layout refuses to exist if its fields overlap or leave a bit unaccounted for.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import construct

from romtool.errors import Fault, Path, Refused, Wrong
from romtool.schema.kinds import Kind, Reserved, Stored, Unexplained, Value

MISSING: Any = object()


@dataclass(frozen=True, kw_only=True)
class Field:
    """One field of a layout; `size` is None for one that runs to the end of the item."""

    key: str
    title: str
    text: str
    source: str
    kind: Kind
    at: int
    size: int | None
    min_size: int | None = None
    low: int = 0
    endian: str = "little"
    default: Value = MISSING
    optional: bool = False
    absent: str | None = None
    absent_value: Value = None
    at_least: int = 0
    say: str | None = None
    always: bool = False
    stated_with_range: bool = False
    length: str | None = None
    align: str | None = None
    things: str | None = None
    warn: bool = False
    path: Path = ()

    @property
    def may_be_left_out(self) -> bool:
        """Whether a profile need not name it."""
        return self.optional or self.default is not MISSING

    def value_of(self, stored: Stored) -> Value:
        """Return the value for people; raises Unexplained."""
        return None if stored is None else self.kind.to_value(stored)

    def stored_of(self, value: Value) -> Stored:
        """Return the bits to store; raises Wrong with the field's own hint where it has none."""
        try:
            return self.kind.to_stored(value)
        except Wrong as wrong:
            hint = wrong.hint or self.text or self.kind.usage
            raise Wrong(f"{self.title}: {wrong.message}", hint, inside=wrong.inside) from None

    def is_default(self, value: Value) -> bool:
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
    def bit_range(self) -> str:
        """`bits 4:0`, or nothing for a field of whole bytes."""
        if self.size is None or self.kind.bits == self.size * 8:
            return ""
        high = self.low + self.kind.bits - 1
        return f"bit {high}" if high == self.low else f"bits {high}:{self.low}"


@dataclass(frozen=True)
class Unit:
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

    def struct(self, size: int) -> construct.Construct:
        """Return the construct for this unit where `size` bytes of it are there."""
        first = self.fields[0]
        if first.kind.is_bytes or self.size is None:
            return first.key / construct.Bytes(size)
        little = first.endian == "little"
        if len(self.fields) == 1 and first.kind.bits == size * 8:
            return first.key / construct.BytesInteger(size, swapped=little)
        bits = []
        for field in self.fields:
            width = min(field.kind.bits, size * 8 - field.low)
            if width > 0:
                bits.append(field.key / construct.BitsInteger(width))
        inner = construct.BitStruct(*bits)
        return construct.ByteSwapped(inner) if little and size > 1 else inner


@dataclass(frozen=True, eq=False)
class Layout:
    """The fields of a frame, an item, the identifier or an item's header, in order."""

    fields: tuple[Field, ...]
    units: tuple[Unit, ...]

    @functools.cached_property
    def by_key(self) -> Mapping[str, Field]:
        """The fields by their keys."""
        return {field.key: field for field in self.fields}

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
    def _structs(self) -> dict[int, _Joined]:
        return {}

    def _struct(self, length: int) -> _Joined:
        """Return the structure for content of this length, made once."""
        if length not in self._structs:
            self._structs[length] = self._made(length)
        return self._structs[length]

    def _made(self, length: int) -> _Joined:
        parts = []
        for unit in self.units:
            there = length - unit.at if unit.size is None else min(unit.size, length - unit.at)
            if there > 0 or unit.size is None:
                parts.append(unit.struct(there))
        return _Joined(parts)

    def parse(self, data: bytes) -> dict[str, Stored]:
        """Return what is stored under each key, None for an absent field."""
        found = self._struct(len(data)).parse(data)
        missing: dict[str, Stored] = {}
        for field in self.fields:
            absent = None if field.optional else 0
            missing[field.key] = found.get(field.key, absent)
        return missing

    def build(self, stored: Mapping[str, Stored], length: int) -> bytes:
        """Return the bytes for stored values, where `length` bytes are there."""
        return bytes(self._struct(length).build(stored))

    def values(self, stored: Mapping[str, Stored]) -> tuple[dict[str, Value], bool]:
        """Return the values for people, and whether all of them could be explained."""
        values: dict[str, Value] = {}
        explained = True
        for field in self.fields:
            try:
                values[field.key] = field.value_of(stored[field.key])
            except Unexplained:
                raw = stored[field.key]
                values[field.key] = raw.hex(" ").upper() if isinstance(raw, bytes) else raw
                explained = False
        return values, explained

    def named(self, values: Mapping[str, Value]) -> dict[str, Value]:
        """Return the values without those of reserved bits."""
        return {
            field.key: values[field.key]
            for field in self.fields
            if not isinstance(field.kind, Reserved)
        }

    def length_for(self, stored: Mapping[str, Stored]) -> int:
        """Return the shortest length that holds the stored values."""
        if not self.units:
            return 0
        last = self.units[-1]
        if last.size is None:
            return last.at + len(stored[last.fields[0].key])
        if last.fields[0].optional:
            there = any(stored[field.key] is not None for field in last.fields)
            return last.at + (last.size if there else 0)
        number = 0
        for field in last.fields:
            if not field.kind.is_bytes:
                number |= stored[field.key] << field.low
        return last.at + max(last.min_size, (number.bit_length() + 7) // 8)


class _Joined:
    """Several constructs one behind the other, their results in one flat dictionary.

    `construct.Struct` would nest what stands in one byte; here every field has its own key.
    """

    def __init__(self, parts: Sequence[Any]) -> None:
        self.struct = construct.Struct(
            *(part if part.name else f"#{index}" / part for index, part in enumerate(parts))
        )
        self.flat = tuple(bool(part.name) for part in parts)

    def parse(self, data: bytes) -> dict[str, Stored]:
        found: dict[str, Stored] = {}
        for key, value in self.struct.parse(data).items():
            if isinstance(value, dict):
                found.update((k, v) for k, v in value.items() if k != "_io")
            elif key != "_io":
                found[key] = value
        return found

    def build(self, stored: Mapping[str, Stored]) -> bytes:
        given: dict[str, Any] = dict(stored)
        for index, flat in enumerate(self.flat):
            if not flat:
                given[f"#{index}"] = stored
        return bytes(self.struct.build(given))


def layout_of(fields: Sequence[Field], size: int | None, path: Path) -> Layout:
    """Return the layout of `fields`; raises Refused where they overlap or leave a gap.

    `size` is the number of bytes that they must fill, None for an item, which ends where its
    last field ends.
    """
    groups: dict[tuple[int, int | None, str], list[Field]] = {}
    for field in sorted(fields, key=lambda f: (f.at, -f.low)):
        groups.setdefault((field.at, field.size, field.endian), []).append(field)
    units = tuple(Unit(at, length, tuple(group)) for (at, length, _), group in groups.items())
    keys: set[str] = set()
    for field in fields:
        if field.key in keys:
            hint = "give each a key of its own"
            raise Refused([Fault(f"two fields have the key {field.key}", hint, field.path)])
        keys.add(field.key)
    at = 0
    for unit in units:
        first = unit.fields[0]
        if unit.at < at:
            raise Refused(
                [
                    Fault(
                        f"{first.key} begins at byte {unit.at}, inside the field before it",
                        f"fields must not overlap: the next free byte is {at}",
                        first.path,
                    )
                ]
            )
        if unit.at > at:
            raise Refused([_gap(at, unit.at - 1, first.path)])
        _check_bits(unit)
        if unit.size is None and unit is not units[-1]:
            hint = "only the last field of an item may run to its end"
            raise Refused([Fault(f"{first.key} takes the rest, but isn't last", hint, first.path)])
        if unit is not units[-1] and unit.min_size != unit.size:
            hint = "an item can end only before its last field"
            raise Refused([Fault(f"{first.key} may be absent, but isn't last", hint, first.path)])
        at += unit.size or 0
    if size is not None and units and units[-1].size is None:
        message = f"{units[-1].fields[0].key} takes the rest, but size says where it ends"
        raise Refused([Fault(message, "write its bytes as a number", units[-1].fields[0].path)])
    if size is not None and at < size:
        raise Refused([_gap(at, size - 1, path)])
    if size is not None and at > size:
        message = f"the fields end at byte {at - 1}, but size is {size}"
        raise Refused([Fault(message, f"write size = {at}", path)])
    return Layout(tuple(fields), units)


def _gap(first: int, last: int, path: Path) -> Fault:
    where = f"byte {first} is" if first == last else f"bytes {first} to {last} are"
    hint = "every byte must be in a field: name it, if only as reserved or unknown"
    return Fault(f"{where} not accounted for", hint, path)


def _check_bits(unit: Unit) -> None:
    if unit.size is None or unit.fields[0].kind.is_bytes:
        if len(unit.fields) > 1:
            message = f"{unit.fields[1].key} overlaps {unit.fields[0].key}"
            hint = "bytes that are one value have one field"
            raise Refused([Fault(message, hint, unit.fields[1].path)])
        return
    owner: dict[int, Field] = {}
    for field in unit.fields:
        for bit in range(field.low, field.low + field.kind.bits):
            if bit in owner:
                message = f"{field.key} takes bit {bit} of byte {unit.at}, as {owner[bit].key} does"
                raise Refused([Fault(message, "fields must not overlap", field.path)])
            owner[bit] = field
    free = sorted(set(range(unit.size * 8)) - set(owner))
    if free:
        high = free[0]
        while high + 1 in free:
            high += 1
        raise Refused([_bit_gap(unit, free[0], high, unit.fields[-1].path)])


def _bit_gap(unit: Unit, low: int, high: int, path: Path) -> Fault:
    where = f"bit {low} is" if low == high else f"bits {high}:{low} are"
    return Fault(
        f"{where} not accounted for in byte {unit.at}",
        "every bit must be in a field: name it, if only as reserved or unknown",
        path,
    )
