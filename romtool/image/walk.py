"""The walk through the items: from one header to the next, until an end item or a dead end."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from romtool.schema.catalog import Catalog
from romtool.schema.numbers import hex_text
from romtool.schema.records import Header, Record


@dataclass(frozen=True)
class Item:
    """One item as it stands: `offset` in the image, its bytes, and what the schema makes of it.

    `explained`: a profile can say all of it; if not, `values` holds what could be read.
    """

    offset: int
    raw: bytes
    record: Record

    @property
    def content(self) -> bytes:
        """The bytes behind the header."""
        return self.raw[self.record.header.size :]

    @property
    def end(self) -> int:
        """The address behind the item's last byte."""
        return self.offset + len(self.raw)

    @functools.cached_property
    def _read(self) -> tuple[dict[str, Any], bool]:
        if not self.record.takes(len(self.content)) or self.record.role == "reserved":
            return {}, False
        return self.record.read(self.content)

    @property
    def values(self) -> dict[str, Any]:
        """The values under the schema's keys; empty for a length that the record can't have."""
        return self._read[0]

    @property
    def head(self) -> Any:
        """The value of the record's first field: an ID, a name, a priority, lines, a base."""
        return self.values[self.record.head.key]

    @property
    def explained(self) -> bool:
        """Whether a profile can say every bit of it."""
        return self._read[1]

    @property
    def words(self) -> str:
        """The item in the words of the trade, or its bytes where it has none."""
        if self.explained:
            return self.record.in_words(self.values)
        return f"{self.record.title}, odd: {hex_text(self.raw)}"

    def has_role(self, role: str) -> bool:
        """Whether it plays this part in the order of the items, all of it understood."""
        return self.record.role == role and self.explained


@functools.lru_cache(maxsize=8)
def _first_bytes(catalog: Catalog) -> list[Header]:
    """Return the header that each first byte of an item belongs to."""
    table: list[Header] = []
    for first in range(256):
        for header in catalog.headers.values():
            if header.read(bytes([first]) + bytes(header.size - 1)) is not None:
                table.append(header)
                break
    return table


@functools.lru_cache(maxsize=8)
def _stops(catalog: Catalog) -> frozenset[int]:
    """Return the first bytes at which software stops reading."""
    found = [header.ends_reading for header in catalog.headers.values()]
    return frozenset(byte for byte in found if byte is not None)


@functools.lru_cache(maxsize=1024)
def _read(header: Header, data: bytes) -> tuple[int, int] | None:
    return header.read(data)


def walk(catalog: Catalog, data: bytes, start: int) -> Iterator[Item]:
    """Yield the items from `start` on, the end item last.

    It stops early where no whole item stands: at a header cut off or running past the last
    byte, and at a byte that ends the reading for PnP software too.
    """
    table, stops = _first_bytes(catalog), _stops(catalog)
    at = start
    while at < len(data) and data[at] not in stops:
        header = table[data[at]]
        head = data[at : at + header.size]
        if len(head) < header.size:
            return
        found = _read(header, head)
        if found is None:
            return
        code, length = found
        end = at + header.size + length
        if end > len(data):
            return
        item = Item(at, data[at:end], catalog.by_code[header.name, code])
        yield item
        if item.record.role == "end":
            return
        at = end


def announced(catalog: Catalog, data: bytes, at: int) -> tuple[Record, int] | None:
    """Return what the header at `at` announces: the record and the whole item's bytes."""
    if at >= len(data) or data[at] in _stops(catalog):
        return None
    header = _first_bytes(catalog)[data[at]]
    head = data[at : at + header.size]
    found = _read(header, head) if len(head) == header.size else None
    if found is None:
        return None
    code, length = found
    return catalog.by_code[header.name, code], header.size + length


def whole_items(catalog: Catalog, data: bytes) -> int | None:
    """Return None if `data` is a run of whole items, else where the one begins that is cut."""
    at = 0
    while at < len(data):
        found = announced(catalog, data, at)
        # Such a byte is an empty item, which a profile may ask for all the same.
        size = 1 if data[at] in _stops(catalog) else found[1] if found else len(data) + 1
        if at + size > len(data):
            return at
        at += size
    return None
