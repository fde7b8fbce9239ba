"""The walk through the items: from one header to the next, until an end item or a dead end."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.codec import RESERVED
from romtool.schema.fields import Field
from romtool.schema.numbers import hex_text
from romtool.schema.records import DescriptorType


class Descriptor:
    """One item as it stands: `offset` in the image, its bytes, and what the schema makes of it.

    Its values are read when they are first asked for.
    """

    __slots__ = ("_read", "offset", "raw", "record")

    def __init__(self, offset: int, raw: bytes, record: DescriptorType) -> None:
        self.offset = offset
        self.raw = raw
        self.record = record
        self._read: tuple[dict[str, Any], bool] | None = None

    @property
    def content(self) -> bytes:
        """The bytes after the header."""
        return self.raw[self.record.header.size :]

    def address_of(self, field: Field) -> int:
        """Return the address of a field's first byte."""
        return self.offset + self.record.header.size + field.at

    @property
    def end(self) -> int:
        """The address after the item's last byte."""
        return self.offset + len(self.raw)

    def _reading(self) -> tuple[dict[str, Any], bool]:
        """Return `values` and `representable`, and keep them."""
        self._read = read = self.record.read(self.raw[self.record.header.size :])
        return read

    @property
    def values(self) -> dict[str, Any]:
        """The values under the schema's keys; empty for a length that the record can't have."""
        return (self._read or self._reading())[0]

    @property
    def representable(self) -> bool:
        """Whether a profile can say every bit of it; if not, `values` has what could be read."""
        return (self._read or self._reading())[1]

    @property
    def key_value(self) -> Any:
        """The value of the record's first field: an ID, a name, a priority, lines, a base."""
        return self.values[self.record.key_field.key]

    @property
    def is_odd(self) -> bool:
        """Whether reserved bits or values are used in it, or it has an odd length."""
        values, representable = self._read or self._reading()
        return not representable or RESERVED in values

    @property
    def words(self) -> str:
        """The item in the words of the trade, or its bytes where it has none."""
        if self.representable:
            return self.record.in_words(self.values)
        return f"{self.record.title}, odd: {hex_text(self.raw)}"

    @property
    def role(self) -> str:
        """The part that it plays in the order of the items.

        Software of the field goes by its name alone: odd bits or an odd length don't make it
        another item.
        """
        return self.record.role

    def has_role(self, role: str) -> bool:
        """Whether it plays this part, all of it understood."""
        return self.record.role == role and self.representable


def walk(catalog: Catalog, data: bytes, start: int) -> Iterator[Descriptor]:
    """Yield the items from `start` on, the end item last.

    It stops early where no whole item stands: at a header cut off or running past the last
    byte, and at a byte that ends the reading for PnP software too.
    """
    tag_infos, length, at = catalog.tag_infos, len(data), start
    while at < length:
        begins = tag_infos[data[at]]
        if begins is None:
            return
        size = begins.size or begins.whole_size(data[at : at + begins.header.size])
        if size is None or at + size > length:
            return
        yield Descriptor(at, data[at : at + size], begins.record)
        if begins.ends:
            return
        at += size


def peek_tag(catalog: Catalog, data: bytes, at: int) -> tuple[DescriptorType, int] | None:
    """Return what the header at `at` announces: the record and the whole item's bytes."""
    begins = catalog.tag_infos[data[at]] if at < len(data) else None
    if begins is None:
        return None
    size = begins.whole_size(data[at : at + begins.header.size])
    return None if size is None else (begins.record, size)


def whole_items(catalog: Catalog, data: bytes) -> int | None:
    """Return None if `data` is a run of whole items, else where the one begins that is cut."""
    at = 0
    while at < len(data):
        found = peek_tag(catalog, data, at)
        # A byte that ends the reading is an empty item, which a profile may ask for all the same.
        size = 1 if catalog.tag_infos[data[at]] is None else found[1] if found else len(data) + 1
        if at + size > len(data):
            return at
        at += size
    return None
