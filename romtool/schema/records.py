"""Items of the PnP data, as the schema describes them: headers and records."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

from romtool.errors import InvalidValue
from romtool.schema.bus import RequirementSpec
from romtool.schema.codec import BIG, RESERVED, OnDemand, Reader, reserved_mask
from romtool.schema.described import Described
from romtool.schema.field_types import (
    Check,
    Constant,
    Number,
    Range,
    Reserved,
    Stored,
    Value,
    number,
    whole_number,
)
from romtool.schema.field_types.texts import bytes_of
from romtool.schema.fields import Field, FieldLayout, FieldOf
from romtool.schema.numbers import hex_text, shorten


class Tag(Described):
    """How an item begins: a constant bit, the item's name and the length of what follows."""

    name: str
    title: str
    source: str
    size: int
    field_layout: FieldLayout
    ends_reading: int | None

    @property
    def top_code(self) -> int:
        """The greatest item name."""
        return self.field_layout.by_key["code"].kind.top

    @property
    def top_length(self) -> int:
        """The greatest length of an item's content."""
        return self.field_layout.by_key["length"].kind.top

    def read(self, data: bytes) -> tuple[int, int] | None:
        """Return name and length from a header's bytes, None if another header stands there."""
        stored = self.field_layout.parse(data)
        for field in self.field_layout.fields:
            if isinstance(field.kind, Constant) and stored[field.key] != field.kind.value:
                return None
        return number(stored["code"]), number(stored["length"])

    def length(self, data: bytes) -> int:
        """Return the length of the content from a header's bytes."""
        return number(self.field_layout.parse(data)["length"])

    def write(self, code: int, length: int) -> bytes:
        """Return the header of an item."""
        return self._written[code, length]

    @functools.cached_property
    def _written(self) -> OnDemand[tuple[int, int], bytes]:
        """The headers by name and length; a card has few different ones."""
        return OnDemand(self._build)

    def _build(self, code_and_length: tuple[int, int]) -> bytes:
        stored: dict[str, Stored] = dict(zip(("code", "length"), code_and_length, strict=True))
        for field in self.field_layout.fields:
            if isinstance(field.kind, Constant):
                stored[field.key] = field.kind.value
        return self.field_layout.build(stored, self.size)


class TagInfo(Described):
    """What the first byte of an item says: the record, and for some headers the whole size.

    `ends`: it is the last item.
    """

    header: Tag
    record: DescriptorType
    size: int | None
    ends: bool

    def whole_size(self, head: bytes) -> int | None:
        """Return the item's size in bytes by its header's bytes; None where some are missing."""
        if len(head) < self.header.size:
            return None
        return self.header.size + self.header.length(head)


class DescriptorType(Described):
    """An item of the PnP data: what its content means and how a profile writes it."""

    name: str
    title: str
    source: str
    header: Tag
    codes: frozenset[int]
    role: str
    entry: bool
    form: str | None
    length_key: str | None
    refuses: tuple[Any, ...]
    phrase: str
    requires: RequirementSpec | None
    field_layout: FieldLayout

    @property
    def key_field(self) -> Field:
        """The field whose key stands for the item in a profile's list of resources."""
        return self.field_layout.fields[0]

    @property
    def align_field(self) -> FieldOf[Number] | None:
        """The field with the step between the bases of a range; None where it has none."""
        steps = self.field_layout.of_type(Number)
        return next((field for field in steps if field.key == self.key_field.align), None)

    @functools.cached_property
    def profile_fields(self) -> tuple[Field, ...]:
        """The fields that a person sees: all but reserved bits."""
        return tuple(f for f in self.field_layout.fields if not isinstance(f.kind, Reserved))

    @functools.cached_property
    def say_first(self) -> str:
        """The whole words that every item of its kind begins with: `IRQ `, `compatible with `."""
        from string import Formatter

        first, *_ = next(iter(Formatter().parse(self.phrase)), ("",))
        return first[: first.rfind(" ") + 1]

    def takes(self, length: int) -> bool:
        """Whether an item of this kind can have content of this length."""
        return self.field_layout.takes(length)

    def lengths_in_words(self) -> str:
        """Return the lengths that it can have, for a message."""
        low, high = self.field_layout.length_limits
        if high is None:
            return f"at least {low}"
        return " or ".join(str(length) for length in self.field_layout.lengths())

    def size_in_words(self) -> str:
        """Return the same with its unit: `1 byte`, `5 or 6 bytes`."""
        low, high = self.field_layout.length_limits
        return f"{self.lengths_in_words()} byte{'' if low == 1 == (high or 1) else 's'}"

    def read(self, content: bytes) -> tuple[dict[str, Value], bool]:
        """Return the values of an item's content, and whether a profile can say all of it.

        Content of a length that the record can't have, or of no known meaning, has no values.
        """
        reader = self._readers[len(content)]
        return reader.values(content) if reader is not None else ({}, False)

    @functools.cached_property
    def _readers(self) -> OnDemand[int, Reader | None]:
        """What reads content of each length."""
        return OnDemand(self._reader)

    def _reader(self, length: int) -> Reader | None:
        known = self.role != "reserved" and self.field_layout.takes(length)
        return self.field_layout.reader(length) if known else None

    def write(self, values: Mapping[str, object], length: int | None = None) -> bytes:
        """Return the whole item for the values of a profile; raises InvalidValue.

        Keys left out take their defaults; `length` asks for a longer content than needed.
        """
        stored, size = self.laid_out(values, length)
        return self.header.write(min(self.codes), size) + self.field_layout.build(stored, size)

    def writes(self, values: Mapping[str, object], item: bytes) -> bool:
        """Whether these values are written as just this item; found without building it."""
        stored, size = self.laid_out(values)
        head, content = item[: self.header.size], item[self.header.size :]
        return (
            size == len(content)
            and self.header.read(head) == (min(self.codes), size)
            and self.field_layout.parse(content) == stored
        )

    def laid_out(
        self, values: Mapping[str, object], length: int | None = None
    ) -> tuple[dict[str, Stored], int]:
        """Return what is stored for the values of a profile, and in how many bytes of content.

        As `write` takes them; raises InvalidValue.
        """
        stored: dict[str, Stored] = {}
        for field in self.field_layout.fields:
            stored[field.key] = self._stored(field, values)
        if RESERVED in values:
            stored = {k: 0 if v is None else v for k, v in stored.items()}
            stored |= self.reserved_bits(values[RESERVED])
        shortest = self.field_layout.length_for(stored)
        if shortest > self.header.top_length:
            raise InvalidValue(
                f"{self.title}: {shortest} bytes are more than the {self.header.top_length} "
                "that fit an item",
                "shorten it, or split it into several entries",
            )
        wanted = shortest if length is None else length
        if wanted < shortest or not self.takes(wanted):
            raise InvalidValue(
                f"{self.title}: {wanted} bytes can't hold it",
                f"its content takes {self.size_in_words()}",
            )
        if wanted > shortest:
            stored = {k: 0 if v is None else v for k, v in stored.items()}
        return stored, wanted

    @functools.cached_property
    def reserved_mask(self) -> bytes:
        """The bytes in which reserved bits are, with a 1 for each of them; none without any."""
        return b"".join(map(reserved_mask, self.field_layout.units))

    def reserved_bits(self, text: object) -> dict[str, Stored]:
        """Return the reserved bits of an entry as the fields that they are; raises InvalidValue."""
        mask = self.reserved_mask
        if not mask:
            raise InvalidValue(f"{self.title} has no reserved bits", "", inside=(RESERVED,))
        try:
            data = bytes_of(text, 8 * len(mask))
        except InvalidValue as wrong:
            raise InvalidValue(
                f"{RESERVED}: {wrong.message}", wrong.hint, inside=(RESERVED,)
            ) from None
        if any(byte & ~own for byte, own in zip(data, mask, strict=True)):
            hint = f"only the bits of {hex_text(mask)} are"
            message = f"{RESERVED}: {shorten(str(text))} has bits that are not reserved"
            raise InvalidValue(message, hint, inside=(RESERVED,))
        stored: dict[str, Stored] = {}
        at = 0
        for unit in self.field_layout.units:
            if not any(reserved_mask(unit)):
                continue
            size = unit.size or 0
            number = int.from_bytes(
                data[at : at + size], "big" if unit.fields[0].endian == BIG else "little"
            )
            at += size
            for field in unit.fields:
                if isinstance(field.kind, Reserved):
                    stored[field.key] = number >> field.low & field.kind.top
        return stored

    def _stored(self, field: Field, values: Mapping[str, object]) -> Stored:
        if isinstance(field.kind, Reserved):
            there = not field.optional or any(
                values.get(f.key) is not None for f in self.field_layout.fields if f.at == field.at
            )
            return 0 if there else None
        if isinstance(field.kind, Check) and field.key not in values:
            return 0
        if field.key in values and values[field.key] is not None:
            return field.stored_of(values[field.key])
        if field.optional:
            return None
        return field.stored_of(field.default)

    def entry_of(
        self, values: Mapping[str, Value], *, always_head: bool = True
    ) -> dict[str, Value]:
        """Return an item as a profile writes it, without what is at its default.

        `always_head`: the first field is written even then, as in an entry of a list.
        """
        entry: dict[str, Value] = {}
        for field in self.profile_fields:
            value = values[field.key]
            ranged = field.stated_with_range and isinstance(values[self.key_field.key], list)
            if (always_head and field is self.key_field) or ranged or not field.is_default(value):
                entry[field.key] = value
        if RESERVED in values:
            entry[RESERVED] = values[RESERVED]
        return entry

    def in_words(self, values: Mapping[str, Value]) -> str:
        """Return an item as a builder reads it: `I/O 220h-22Fh`."""
        words = self.phrase.format_map(_Shown(self, values))
        for field in self.field_layout.fields:
            value = values.get(field.key)
            if field.phrase and (field.phrase_always or not field.is_default(value)):
                words += ", " + field.phrase.format_map(_Shown(self, values))
        if RESERVED in values:
            words += f", reserved bits {values[RESERVED]}"
        return words


class _Shown(dict[str, str]):
    """The words for each field of an item, made when a text asks for them."""

    def __init__(self, record: DescriptorType, values: Mapping[str, Any]) -> None:
        super().__init__()
        self.record = record
        self.shown = values

    def __missing__(self, key: str) -> str:
        field = self.record.field_layout.by_key[key]
        value = self.shown[key]
        if value is None:
            return field.absent or "none"
        if field.length is not None:
            return self._span(field, value, self.shown[field.length])
        return field.kind.show(value)

    def _span(self, field: Field, value: int | list[int], length: int) -> str:
        """Return a range of addresses: 220h-22Fh, or where it may be put."""
        if isinstance(value, list) and isinstance(field.kind, Range):
            low, high = value
            if low != high:
                kind = self.record.field_layout.by_key[field.length or ""].kind
                assert isinstance(kind, Number)
                count = kind.show(length)
                things = f" {field.unit_noun}" if field.unit_noun and kind.form == "decimal" else ""
                step = self.shown.get(field.align or "")
                every = f", every {step:X}h" if step is not None else ""
                return f"{low:X}h to {high:X}h, {count}{things}{every}"
            value = low
        base = whole_number(value)
        if length == 0:
            return f"{base:X}h, none"
        return f"{base:X}h" if length == 1 else f"{base:X}h-{base + length - 1:X}h"
